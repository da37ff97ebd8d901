"""The page of words: a list at the left, what the chosen one means at the right."""

from __future__ import annotations

from html import escape

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QListWidget, QListWidgetItem, QTextBrowser

from app.window.pages import Page, PageTools
from app.window.theme import GAP, MARGIN, UNIT, Theme, Type
from app.words import glossary as words


class Glossary(Page):
    """Explains one word at a time."""

    def __init__(self, tools: PageTools) -> None:
        super().__init__()
        self.setProperty("panel", True)
        self._terms = words.terms()
        self._theme = tools.theme
        self.list = QListWidget()
        self.list.setAccessibleName(words.list_name())
        self.list.setFrameShape(QFrame.Shape.NoFrame)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setWordWrap(True)
        for term in self._terms:
            QListWidgetItem(term.name, self.list)
        self.text = QTextBrowser()
        self.text.document().setDocumentMargin(GAP)
        self.text.setFrameShape(QFrame.Shape.NoFrame)
        self.text.setOpenLinks(False)
        self.text.setTabChangesFocus(True)
        self.stops = (self.list, self.text)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(GAP, GAP, MARGIN, GAP)
        layout.setSpacing(MARGIN)
        layout.addWidget(self.list, 1)
        layout.addWidget(self.text, 2)
        self.list.currentRowChanged.connect(self._write)
        self.set_theme(tools.theme)
        self.list.setCurrentRow(0)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self.list.setFont(theme.font(Type.BODY))
        self.list.setStyleSheet(f"QListWidget::item {{ padding: {UNIT + 2}px; }}")
        self.text.setStyleSheet(
            f"QTextBrowser {{ background: transparent; border: 2px solid transparent; }}"
            f"QTextBrowser:focus {{ border: 2px solid {theme.palette.focus}; }}"
        )
        self._write(self.list.currentRow())

    def show_part(self, key: str) -> None:
        """Choose a word."""
        row = next((row for row, term in enumerate(self._terms) if term.key == key), 0)
        self.list.setCurrentRow(row)

    def _write(self, row: int) -> None:
        if not 0 <= row < len(self._terms):
            return
        term = self._terms[row]
        palette = self._theme.palette
        lead, advice = self._theme.font(Type.LEAD), self._theme.font(Type.ADVICE)
        body = self._theme.font(Type.BODY)
        self.text.setAccessibleName(words.text_name(term.name))
        origin = words.own_word() if term.own else words.trade_word()
        self.text.document().setDefaultStyleSheet(
            f"p {{ color: {palette.text}; margin: 0 0 {GAP}px 0; font-size: {lead.pixelSize()}px; }}"
            f"p.name {{ font-size: {advice.pixelSize()}px; font-weight: 600; }}"
            f"p.origin {{ color: {palette.muted}; font-size: {body.pixelSize()}px; }}"
        )
        self.text.setHtml(
            f'<p class="name">{escape(term.name)}</p><p>{escape(term.text)}</p>'
            f'<p class="origin">{escape(origin)}</p>'
        )
