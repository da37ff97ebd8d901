"""The verdict card: a picture, a word, what to do, and why. Made to be read at two metres."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, QTimer
from PySide6.QtGui import (
    QColor,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QResizeEvent,
)
from PySide6.QtWidgets import QFrame, QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from app.coach.forecast import Forecast
from app.coach.judgement import Judgement, Verdict
from app.window.controls import Button, announce
from app.window.fit import fit_label, fitting_label
from app.window.guard import painting
from app.window.hull import paint_scene
from app.window.theme import GAP, RADIUS, UNIT, Theme, Type
from app.words import advice
from app.words import card as words
from app.words import session as session_words

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
        self._shown: tuple[Judgement | None, str, bool, str] | None = None
        self._verdict: Verdict | None = None
        self._scene = _Scene(self)
        self._word, self._advice, self._reason, self._forecast = (fitting_label(self) for _ in range(4))
        self.guide_button = Button(session_words.guide_button("G"), tip=session_words.guide_tip())
        self.why_button = Button(words.why_button("W"), tip=words.why_tip())
        self.stops = (self.guide_button, self.why_button)
        """What the keyboard reaches, in order."""
        layout = QVBoxLayout(self)
        layout.setContentsMargins(1, 1, 1, GAP - 1)
        layout.setSpacing(0)
        layout.addWidget(self._scene, 40)
        for label, stretch in (
            (self._word, 17),
            (self._advice, 20),
            (self._reason, 15),
            (self._forecast, 12),
        ):
            layout.addWidget(label, stretch)
        buttons = QHBoxLayout()
        buttons.setContentsMargins(GAP, UNIT, GAP, 0)
        buttons.setSpacing(GAP)
        buttons.addWidget(self.guide_button, 1)
        buttons.addWidget(self.why_button)
        layout.addLayout(buttons)
        self.set_theme(theme)
        self.show_judgement(None, "", old=False)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self._scene.theme = theme
        self._set_fonts()
        self.update()

    def show_judgement(
        self,
        judgement: Judgement | None,
        channel_name: str,
        *,
        old: bool,
        forecast: Forecast | None = None,
    ) -> None:
        """Show the judgement of a channel; ``channel_name`` is empty where there is only one.

        Nothing is touched while nothing changes, so that a screen reader hears each verdict once.
        """
        coming = forecast_text(forecast) if forecast is not None and judgement is not None and not old else ""
        shown = (judgement, channel_name, old, coming)
        if shown == self._shown:
            return
        self._shown = shown
        verdict = judgement.verdict if judgement is not None and not old else None
        if judgement is None or verdict is None:
            self._put(words.old_reading() if old else words.no_verdict(), "", "", "")
        else:
            reason = advice.reason_sentence(judgement.reason.value, judgement.values)
            if channel_name:
                reason = f"{channel_name}: {reason}"
            self._put(
                advice.verdict_name(verdict.value),
                advice.advice_sentence(judgement.reason.value, judgement.gain_change_db, judgement.values),
                reason,
                coming,
            )
        labels = (self._word, self._advice, self._reason, self._forecast)
        spoken = ". ".join(label.text().rstrip(".") for label in labels if label.text())
        self.setAccessibleDescription(spoken)
        if verdict is not self._verdict:
            self._verdict = verdict
            self._scene.verdict = verdict
            self._scene.update()
            announce(self, spoken)

    def _put(self, word: str, what: str, why: str, coming: str) -> None:
        self._word.setText(word)
        self._advice.setText(what)
        self._reason.setText(why)
        self._forecast.setText(coming)
        self._set_fonts()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Let the texts grow with the card."""
        super().resizeEvent(event)
        # Not before the layout has given the labels their room.
        QTimer.singleShot(0, self, self._set_fonts)

    def _set_fonts(self) -> None:
        scale = card_scale(self)
        for label, kind in (
            (self._word, Type.VERDICT),
            (self._advice, Type.ADVICE),
            (self._reason, Type.BODY),
            (self._forecast, Type.BODY),
        ):
            fit_label(label, self._theme, kind, scale)


def card_scale(card: QWidget) -> float:
    """How much larger than in the type scale the texts of a card of this size are."""
    scale = min(card.width() / _BASE.width(), card.height() / _BASE.height())
    return max(0.6, min(3.0, round(scale, 1)))


def forecast_text(forecast: Forecast) -> str:
    """What a take would do, in a sentence."""
    return session_words.forecast_sentence(
        forecast.clip_probability, forecast.clip_probability_high, forecast.take_s
    )


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
