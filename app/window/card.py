"""The verdict card: a picture, a word, what to do, and why. Made to be read at two metres."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt, QTimer
from PySide6.QtGui import (
    QColor,
    QFont,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QResizeEvent,
)
from PySide6.QtWidgets import QFrame, QLabel, QSizePolicy, QVBoxLayout, QWidget

from app.coach.judgement import Judgement, Verdict
from app.window.controls import announce
from app.window.fit import fitting_pixels
from app.window.guard import painting
from app.window.hull import paint_scene
from app.window.theme import MARGIN, RADIUS, UNIT, Theme, Type
from app.words import advice
from app.words import window as words

_BASE = QSize(372, 360)
"""The size at which texts have the size of the type scale; they grow and shrink with the card."""


class VerdictCard(QFrame):
    """Shows one judgement; without one, or with an old one, it says so."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("panel", True)
        self.setAccessibleName(words.card_name())
        self.setMinimumSize(260, 200)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Expanding)
        self._theme = theme
        self._shown: tuple[Judgement | None, str, bool] | None = None
        self._verdict: Verdict | None = None
        self._scene = _Scene(self)
        self._word = _text(self)
        self._advice = _text(self)
        self._reason = _text(self)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(1, 1, 1, MARGIN)
        layout.setSpacing(0)
        layout.addWidget(self._scene, 44)
        for label, stretch in ((self._word, 17), (self._advice, 20), (self._reason, 19)):
            label.setContentsMargins(MARGIN, 0, MARGIN, 0)
            layout.addWidget(label, stretch)
        self.set_theme(theme)
        self.show_judgement(None, "", old=False)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self._scene.theme = theme
        self._set_fonts()
        self.update()

    def show_judgement(self, judgement: Judgement | None, channel_name: str, *, old: bool) -> None:
        """Show the judgement of a channel; ``channel_name`` is empty where there is only one.

        Nothing is touched while nothing changes, so that a screen reader hears each verdict once.
        """
        shown = (judgement, channel_name, old)
        if shown == self._shown:
            return
        self._shown = shown
        verdict = judgement.verdict if judgement is not None and not old else None
        if judgement is None or verdict is None:
            self._put(words.old_reading() if old else words.no_verdict(), "", "")
        else:
            reason = advice.reason_sentence(judgement.reason.value, judgement.values)
            if channel_name:
                reason = f"{channel_name}: {reason}"
            self._put(
                advice.verdict_name(verdict.value),
                advice.advice_sentence(judgement.reason.value, judgement.gain_change_db, judgement.values),
                reason,
            )
        spoken = ". ".join(label.text() for label in (self._word, self._advice, self._reason) if label.text())
        self.setAccessibleDescription(spoken)
        if verdict is not self._verdict:
            self._verdict = verdict
            self._scene.verdict = verdict
            self._scene.update()
            announce(self, spoken)

    def _put(self, word: str, what: str, why: str) -> None:
        self._word.setText(word)
        self._advice.setText(what)
        self._reason.setText(why)
        self._set_fonts()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Let the texts grow with the card."""
        super().resizeEvent(event)
        # Not before the layout has given the labels their room.
        QTimer.singleShot(0, self, self._set_fonts)

    def _set_fonts(self) -> None:
        scale = min(self.width() / _BASE.width(), self.height() / _BASE.height())
        scale = max(0.6, min(3.0, round(scale, 1)))
        palette = self._theme.palette
        for label, kind in (
            (self._word, Type.VERDICT),
            (self._advice, Type.ADVICE),
            (self._reason, Type.BODY),
        ):
            font = QFont(self._theme.font(kind, scale))
            font.setPixelSize(max(font.pixelSize(), self._theme.font(Type.SMALL).pixelSize()))
            room = label.contentsRect().size()
            # Before the first layout there is no room to go by; a resize follows.
            sized = room.width() > 2 * MARGIN and room.height() > 2 * UNIT
            pixels = fitting_pixels(label.text(), font, room, wrap=True) if sized else font.pixelSize()
            colour = palette.muted if kind is Type.BODY else palette.text
            style = f"font-size: {pixels}px; font-weight: {font.weight().value}; color: {colour};"
            if label.styleSheet() != style:
                label.setStyleSheet(style)


class _Scene(QWidget):
    """The picture, edge to edge with the card's upper corners."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.theme = Theme()
        self.verdict: Verdict | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        self.setMinimumHeight(15 * UNIT)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002 - Qt's signature
        """Paint the boat and its water."""
        rect = QRectF(self.rect())
        # Rounded above, straight below, where the texts follow.
        frame = QPainterPath()
        frame.addRoundedRect(rect.adjusted(0, 0, 0, 2 * RADIUS), RADIUS, RADIUS)
        edge = QColor(self.theme.palette.edge)
        with painting(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setClipPath(frame)
            paint_scene(painter, rect, self.verdict, self.theme.palette)
            painter.fillRect(QRectF(rect.left(), rect.bottom() - 1, rect.width(), 1), edge)


def _text(parent: QWidget) -> QLabel:
    label = QLabel(parent)
    label.setWordWrap(True)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setAlignment(Qt.AlignmentFlag.AlignCenter)
    label.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
    return label
