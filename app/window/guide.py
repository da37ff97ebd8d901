"""The guided gain session in place of the verdict card: where it stands, and the one thing to do now."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, QTimer
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from app.coach.judgement import Verdict
from app.coach.session import Cue, SessionState, Step
from app.window.card import card_scale, forecast_text
from app.window.controls import Button, announce
from app.window.course import Course
from app.window.fit import fit_label, fitting_label, fitting_pixels
from app.window.theme import GAP, RADIUS, UNIT, Theme, Type
from app.words import advice
from app.words import card as card_words
from app.words import session as words

# A card is low where so many lines of its lead text, and so many pixels for the picture, have no room.
_LOW_LINES, _LOW_PIXELS = 9, 110
_LARGE_LEAD_PIXELS = 24

_LEGS = (Step.QUIET, Step.LOUD, Step.TURN, Step.CHECK)


class Guide(QFrame):
    """Shows one state of a session at a time."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("panel", True)
        self.setMinimumSize(260, 200)
        self._theme = theme
        self._shown: tuple[SessionState, str, int, bool] | None = None
        self._announced: tuple[Step, Cue, bool] | None = None
        self._title = QLabel()
        self._title.setTextFormat(Qt.TextFormat.PlainText)
        self._title.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._title.setProperty("quiet", True)
        self.course = Course(theme, [words.step_name(step.value) for step in _LEGS])
        self._clips = QLabel()
        self._clips.setTextFormat(Qt.TextFormat.PlainText)
        self._clips.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._cue, self._found = fitting_label(self), fitting_label(self)
        self.skip_button = Button(words.skip_button("N"), tip=words.skip_tip())
        self.leave_button = Button(words.leave_button("Esc"))
        self.stops = (self.skip_button, self.leave_button)
        """What the keyboard reaches, in order."""
        layout = QVBoxLayout(self)
        layout.setContentsMargins(1, GAP - UNIT, 1, GAP - 1)
        layout.setSpacing(UNIT)
        layout.addWidget(self._title)
        layout.addWidget(self.course, 34)
        layout.addWidget(self._clips)
        layout.addWidget(self._cue, 40)
        layout.addWidget(self._found, 26)
        buttons = QHBoxLayout()
        buttons.setContentsMargins(GAP, 0, GAP, 0)
        buttons.setSpacing(GAP)
        buttons.addWidget(self.skip_button, 1)
        buttons.addWidget(self.leave_button, 1)
        layout.addLayout(buttons)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self.course.theme = theme
        self._set_fonts()
        self.update()

    def show_session(self, state: SessionState, channel_name: str, clips: int, *, old: bool) -> None:
        """Show where a session stands.

        Parameters
        ----------
        channel_name
            Empty where there is only one channel.
        clips
            How often the channel clipped in this step.
        old
            Nothing new comes from the input, so the session stands still.
        """
        shown = (state, channel_name, clips, old)
        if shown == self._shown:
            return
        self._shown = shown
        self._title.setText(words.guide_title(channel_name))
        leg = _LEGS.index(state.step) if state.step in _LEGS else len(_LEGS)
        self.course.show_place(leg, _along(state))
        self._cue.setText(
            card_words.old_reading()
            if old
            else words.cue_sentence(
                state.cue.value, gain_change_db=state.gain_change_db, remaining_db=state.remaining_db
            )
        )
        self._found.setText("" if old else found_text(state))
        self._clips.setVisible(clips > 0)
        self._clips.setText(words.clipped_now(clips) if clips else "")
        self._show_skip(state)
        self._set_fonts()
        self._speak(state, leg, old=old)

    def _crowded(self, lead_pixels: int) -> bool:
        return bool(self._clips.text()) or lead_pixels > _LARGE_LEAD_PIXELS

    def _show_skip(self, state: SessionState) -> None:
        """Out of listening only what was heard leads on."""
        self.skip_button.setVisible(state.step is not Step.DONE)
        possible = state.step is not Step.LOUD or state.progress > 0.0
        self.skip_button.setEnabled(possible)
        self.skip_button.setToolTip(words.skip_tip() if possible else words.nothing_to_skip_with())

    def _speak(self, state: SessionState, leg: int, *, old: bool) -> None:
        name = words.step_name(state.step.value)
        where = name if state.step is Step.DONE else words.step_spoken(leg + 1, len(_LEGS), name)
        self.setAccessibleName(f"{self._title.text()}. {where}")
        lines = (self._clips.text(), self._cue.text(), self._found.text())
        self.setAccessibleDescription(". ".join(line.rstrip(".") for line in lines if line))
        now = (state.step, state.cue, bool(self._clips.text()))
        if now != self._announced and not old:
            before, self._announced = self._announced, now
            new_step = before is None or before[0] is not state.step
            text = self.accessibleDescription() if new_step else ". ".join(filter(None, lines[:2]))
            announce(self, f"{where}. {text}" if new_step else text)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Let the texts grow with the card."""
        super().resizeEvent(event)
        # Not before the layout has given the labels their room.
        QTimer.singleShot(0, self, self._set_fonts)

    def _set_fonts(self) -> None:
        lead_pixels = self._theme.font(Type.LEAD).pixelSize()
        # In a low window with large letters what to do comes before what the card is called, and why.
        low = self.height() < _LOW_LINES * lead_pixels + _LOW_PIXELS
        self._title.setVisible(not low)
        self._found.setVisible(bool(self._found.text()) and not (low and self._crowded(lead_pixels)))
        self.course.setMinimumHeight(self.course.least_height(self.width()))
        layout = self.layout()
        if layout is not None:
            layout.activate()
        scale = card_scale(self)
        fit_label(self._cue, self._theme, Type.ADVICE, 1.2 * scale)
        fit_label(self._found, self._theme, Type.BODY, scale)
        lead, palette = self._theme.font(Type.LEAD), self._theme.palette
        room = QSize(max(1, self.width() - 4 * GAP), self.height())
        pixels = fitting_pixels(self._clips.text(), lead, room, wrap=False)
        style = (
            f"background: {palette.verdicts[Verdict.AWASH]}; color: {palette.on_verdicts[Verdict.AWASH]};"
            f" font-size: {pixels}px; font-weight: 600; padding: {UNIT}px; margin: 0 {GAP}px;"
            f" border-radius: {RADIUS - 2}px;"
        )
        if self._clips.styleSheet() != style:
            self._clips.setStyleSheet(style)


def found_text(state: SessionState) -> str:
    """What the session knows by now, as far as it helps in this step."""
    lines = []
    quiet_dbfs = state.quiet_dbfs
    # Once something is heard, cable and switch need no look.
    heard = state.progress > 0.0
    if state.step is Step.LOUD and quiet_dbfs is not None and not (heard and words.no_noise(quiet_dbfs)):
        lines.append(words.quiet_sentence(quiet_dbfs))
    if state.step is Step.TURN:
        lines.append(
            words.turning_hint(follows_noise=state.follows_noise, follows_playing=state.follows_playing)
        )
    if state.step in (Step.TURN, Step.DONE) and state.opinion is not None and state.cue is not Cue.UNCHECKED:
        lines.append(advice.reason_sentence(state.opinion.reason.value, state.opinion.values))
    if state.step is Step.DONE and state.forecast is not None and state.cue is not Cue.UNCHECKED:
        lines.append(forecast_text(state.forecast))
    return "\n".join(lines)


def _along(state: SessionState) -> float:
    if state.step is Step.DONE:
        return 0.0
    if state.step is Step.TURN and state.gain_change_db:
        # Not the progress, which ends at the buoy: who turns too far sails past it.
        return 1.0 - state.remaining_db / state.gain_change_db
    return state.progress
