"""The page of words: a list; beside it what the chosen one means, in words and as a picture."""

from __future__ import annotations

from html import escape

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QListWidget, QListWidgetItem, QTextBrowser, QVBoxLayout

from app.window.pages import Page, PageTools
from app.window.theme import GAP, MARGIN, UNIT, Theme, Type
from app.window.wordpicture import WordPicture
from app.words import glossary as words

_LEAST_PICTURE = 30 * UNIT
_NO_LIMIT = 16_777_215
"""Of a widget's height, to Qt."""


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
        self.picture = WordPicture(tools.theme)
        right = QVBoxLayout()
        right.setSpacing(GAP)
        right.addWidget(self.text, 1)
        right.addWidget(self.picture, 1)
        layout.addLayout(right, 2)
        self.list.currentRowChanged.connect(self._write)
        self._resized = QTimer(self)
        self._resized.setSingleShot(True)
        self._resized.timeout.connect(self._share_out)
        self.set_theme(tools.theme)
        self.list.setCurrentRow(0)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self.picture.set_theme(theme)
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
        self.picture.show_word(term.key)
        self._share_out()
        self._resized.start(0)  # and again once the text has been broken into its lines

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Once the layout has been made anew."""
        super().resizeEvent(event)
        self._resized.start(0)

    def _share_out(self) -> None:
        """The words first: the picture has the room that they leave, if it is enough."""
        row = self.list.currentRow()
        need = round(self.text.document().size().height()) + 2 * UNIT
        left = self.height() - 3 * GAP - need
        # Large letters have the page to themselves.
        pictured = 0 <= row < len(self._terms) and self.picture.has(self._terms[row].key)
        shown = pictured and left >= _LEAST_PICTURE and not self._theme.has_large_texts
        self.text.setMaximumHeight(need if shown else _NO_LIMIT)
        self.picture.setVisible(shown)
