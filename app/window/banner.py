"""One line that says what is open while all is well, and what is wrong when something is.

It always has its place, so that nothing jumps while somebody plays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QSizePolicy, QWidget

from app.coach.judgement import Verdict
from app.window.controls import Button, announce
from app.window.theme import GAP, RADIUS, TARGET, UNIT, Theme, Type
from app.words import messages as words


@dataclass(frozen=True, slots=True)
class Message:
    """One sentence for the user."""

    text: str
    urgent: bool = False
    """Readings cannot be trusted or will be lost, as opposed to something to know."""
    detail: str = ""
    """What the library said; offered to be saved."""
    stays: bool = False
    """Cannot be waved away: it goes when its cause goes."""


class Banner(QFrame):
    """Shows the first message of several, and how many wait behind it."""

    dismissed = Signal(str)
    """The text of a message that the user has waved away."""
    details_wanted = Signal(str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("banner")
        self._theme = theme
        self._facts = ""
        self._messages: tuple[Message, ...] = ()
        self._text = QLabel()
        self._text.setTextFormat(Qt.TextFormat.PlainText)
        self._text.setWordWrap(True)
        self._text.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self._more = QLabel()
        self.save = Button(words.save_details())
        self.close_button = Button(words.dismiss())
        self.stops = (self.save, self.close_button)
        """What the keyboard reaches, in order."""
        self.save.clicked.connect(self._ask_for_details)
        self.close_button.clicked.connect(self.dismiss)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(GAP + UNIT, 0, UNIT, 0)
        layout.setSpacing(GAP)
        layout.addWidget(self._text, 1)
        for widget in (self._more, self.save, self.close_button):
            layout.addWidget(widget)
            widget.hide()
        self.set_theme(theme)

    @property
    def text(self) -> str:
        """What is shown now."""
        return self._text.text()

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self.setFixedHeight(max(TARGET, round(2.6 * theme.font(Type.SMALL).pixelSize())) + UNIT)
        self._style()

    def show_facts(self, facts: str) -> None:
        """What to say while nothing is wrong."""
        if facts != self._facts:
            self._facts = facts
            if not self._messages:
                self._text.setText(facts)

    def show_messages(self, messages: Sequence[Message]) -> None:
        """Show these, the most important first."""
        messages = tuple(messages)
        if messages == self._messages:
            return
        before, self._messages = self._messages, messages
        first = messages[0] if messages else None
        self._text.setText(first.text if first else self._facts)
        self._more.setVisible(len(messages) > 1)
        self._more.setText(words.more_messages(len(messages) - 1))
        self.save.setVisible(first is not None and bool(first.detail))
        self.close_button.setVisible(first is not None and not first.stays)
        self._style()
        if first is not None and (not before or before[0] != first):
            self.setAccessibleName(first.text)
            announce(self, first.text)

    def dismiss(self) -> None:
        """Wave the message away, where that is possible."""
        if self._messages and not self._messages[0].stays:
            self.dismissed.emit(self._messages[0].text)

    def _ask_for_details(self) -> None:
        if self._messages:
            self.details_wanted.emit(self._messages[0].detail)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Set long sentences smaller where there is little room."""
        super().resizeEvent(event)
        self._style()

    def _style(self) -> None:
        palette = self._theme.palette
        first = self._messages[0] if self._messages else None
        if first is None:
            ground, ink, edge = "transparent", palette.muted, "transparent"
        elif first.urgent:
            ground, ink = palette.verdicts[Verdict.AWASH], palette.on_verdicts[Verdict.AWASH]
            edge = ground
        else:
            ground, ink, edge = palette.panel, palette.text, palette.focus
        body, small = self._theme.font(Type.BODY), self._theme.font(Type.SMALL)
        room = self._text.width()
        advance = self._text.fontMetrics().averageCharWidth() * len(self._text.text()) * 1.1
        size = body if room <= 0 or advance < room * 1.05 else small
        self.setStyleSheet(
            f"QFrame#banner {{ background: {ground}; border: 1px solid {edge};"
            f" border-left: {UNIT if first else 1}px solid {edge}; border-radius: {RADIUS}px; }}"
            f"QFrame#banner QLabel {{ color: {ink}; font-size: {size.pixelSize()}px; }}"
        )
