"""The page about the program itself."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from PySide6.QtWidgets import QFrame, QTextBrowser, QVBoxLayout

from app import __version__
from app.window.pages import Page
from app.window.theme import GAP, MARGIN, UNIT, Theme, Type
from app.window.works import work, works
from app.words import about as words


class About(Page):
    """Version, licences, and what the program never does."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.setProperty("panel", True)
        self._theme = theme
        self._own = work("swellmark").licence or words.licence_unknown()
        self._works = works()
        self.text = QTextBrowser()
        self.text.document().setDocumentMargin(GAP)
        self.text.setFrameShape(QFrame.Shape.NoFrame)
        self.text.setOpenLinks(False)
        self.text.setTabChangesFocus(True)
        self.text.setAccessibleName(words.about_title())
        self.stops = (self.text,)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, GAP, MARGIN, GAP)
        layout.addWidget(self.text, 1)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        palette = theme.palette
        body, lead, advice = (theme.font(kind).pixelSize() for kind in (Type.BODY, Type.LEAD, Type.ADVICE))
        self.text.setStyleSheet(
            f"QTextBrowser {{ background: transparent; border: 2px solid transparent; }}"
            f"QTextBrowser:focus {{ border: 2px solid {palette.focus}; }}"
        )
        self.text.document().setDefaultStyleSheet(
            f"p, td, th {{ font-size: {body}px; color: {palette.text}; }} p {{ margin: 0 0 {GAP}px 0; }}"
            f"td, th {{ padding: {UNIT}px {MARGIN}px {UNIT}px 0; }}"
            f"th, p.quiet {{ color: {palette.muted}; }} th {{ text-align: left; font-weight: 400; }}"
            f"p.name {{ font-size: {advice}px; font-weight: 600; }}"
            f"p.head {{ font-size: {lead}px; font-weight: 600; }}"
        )
        rows = [_row("th", words.works_headings())]
        for found in self._works:
            version = found.version or words.not_installed()
            rows.append(_row("td", (found.name, version, found.licence or words.licence_unknown())))
        self.text.setHtml(
            _paragraph(words.version_line(__version__), "name")
            + _paragraph(words.summary())
            + _paragraph(words.own_licence(self._own))
            + _paragraph(words.works_title(), "head")
            + f"<table>{''.join(rows)}</table>"
            + _paragraph(words.works_caution(), "quiet")
        )


def _paragraph(text: str, kind: str = "") -> str:
    return f'<p class="{kind}">{escape(text)}</p>'


def _row(cell: str, texts: Sequence[str]) -> str:
    return f"<tr>{''.join(f'<{cell}>{escape(text)}</{cell}>' for text in texts)}</tr>"
