"""Explains the verdict and the words that it uses, in place of the chart, for as long as somebody reads."""

from __future__ import annotations

from html import escape

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QBoxLayout, QFrame, QHBoxLayout, QLabel, QTextBrowser, QVBoxLayout, QWidget

from app.coach.judgement import Judgement
from app.window.controls import Button
from app.window.services import PartChoice
from app.window.theme import GAP, MARGIN, UNIT, Theme, Type
from app.words import advice, conform, glossary
from app.words import card as words

_TERMS = ("dbfs", "average", "peak", "headroom", "noise_floor", "low_gain")


class Why(QFrame):
    """One explanation; it stays as it is while it is open, so that nothing moves under the reader's eyes."""

    closed = Signal()

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("panel", True)
        self._theme = theme
        self._judgement: Judgement | None = None
        self._part: PartChoice | None = None
        self._title = QLabel()
        self.close_button = Button(words.close_why("Esc"))
        self.close_button.clicked.connect(self.closed)
        self.prove_button = Button(conform.proof_button("P"))
        self.words_button = Button(glossary.all_words_button(""))
        self.text = QTextBrowser()
        self.text.document().setDocumentMargin(GAP)
        self.text.setFrameShape(QFrame.Shape.NoFrame)
        self.text.setOpenLinks(False)
        self.text.setTabChangesFocus(True)
        self.stops = (self.text, self.words_button, self.prove_button, self.close_button)
        """What the keyboard reaches, in order."""
        buttons = QHBoxLayout()
        for button in (self.words_button, self.prove_button, self.close_button):
            buttons.addWidget(button)
        self._head = head = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        head.addWidget(self._title, 1)
        head.addLayout(buttons)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, GAP, GAP, GAP)
        layout.setSpacing(UNIT)
        layout.addLayout(head)
        layout.addWidget(self.text, 1)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        lead = theme.font(Type.LEAD)
        down, along = QBoxLayout.Direction.TopToBottom, QBoxLayout.Direction.LeftToRight
        self._head.setDirection(down if theme.has_large_texts else along)
        self._title.setStyleSheet(f"font-size: {lead.pixelSize()}px; font-weight: {lead.weight().value};")
        self.text.setStyleSheet(
            f"QTextBrowser {{ background: transparent; border: 2px solid transparent; }}"
            f"QTextBrowser:focus {{ border: 2px solid {theme.palette.focus}; }}"
        )
        self._write()

    def explain(self, judgement: Judgement | None, part: PartChoice | None = None) -> None:
        """Explain a judgement, then what the trade says of the part; without either, the words alone."""
        self._judgement, self._part = judgement, part
        self._write()

    def _write(self) -> None:
        judgement = self._judgement
        verdict = advice.verdict_name(judgement.verdict.value) if judgement is not None else ""
        title = words.why_title(verdict)
        self._title.setText(title)
        self.text.setAccessibleName(title)
        paragraphs = []
        if judgement is not None:
            paragraphs.append(_paragraph(advice.explanation(judgement.verdict.value)))
        if self._part is not None and self._part.hints:
            paragraphs.append(_heading(self._part.label))
            paragraphs += map(_paragraph, self._part.hints)
        for term in _TERMS:
            paragraphs.append(_heading(words.term_name(term)))
            paragraphs.append(_paragraph(advice.term_explanation(term)))
        body, palette = self._theme.font(Type.BODY), self._theme.palette
        self.text.document().setDefaultStyleSheet(
            f"p {{ font-size: {body.pixelSize()}px; color: {palette.text}; margin: 0 0 {2 * UNIT}px 0; }}"
            f"p.term {{ font-weight: 600; margin: {GAP}px 0 {UNIT // 2}px 0; }}"
        )
        self.text.setHtml("".join(paragraphs))


def _heading(text: str) -> str:
    return f'<p class="term">{escape(text)}</p>'


def _paragraph(text: str) -> str:
    return f"<p>{escape(text)}</p>"
