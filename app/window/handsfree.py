"""Beside the name of the next take: takes that begin with the first note and end after quiet or a set time.

One button arms that and says what it waits for; while sound is kept, a line says so. How much quiet, how much
time, and whether the sound around clips is kept, is chosen on the page of settings (:class:`TakeEnds`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QWidget

from app.engine.handsfree import HandsFreeState, Phase, Wishes
from app.window.controls import Button, Choice, announce
from app.window.handsfreeports import HandsFreeServices
from app.window.ports import Memory
from app.window.switch import Switch
from app.window.theme import GAP, UNIT, Theme, Type
from app.words import numbers
from app.words import taking as words

QUIET_S = (None, 4.0, 8.0, 15.0, 30.0)
LENGTH_S = (None, 60.0, 120.0, 300.0, 600.0)
_DEFAULT_QUIET_S = 8.0
_QUIET, _LENGTH, _CLIPS = "handsfree_quiet_s", "handsfree_length_s", "keep_clips"
_NEVER = "never"


class HandsFreeControl(QWidget):
    """The button and the line; whoever listens to the signal does it."""

    armed = Signal(bool)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.arm_button = Button(words.arm(), tip=words.arm_tip())
        self.arm_button.setCheckable(True)
        self.arm_button.clicked.connect(self.armed)
        self._marker = QLabel(words.clips_are_kept())
        self._marker.setProperty("small", True)
        self._marker.setToolTip(words.keep_clips_tip())
        self._marker.hide()
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(UNIT)
        row.addWidget(self._marker)
        row.addWidget(self.arm_button)
        self._phase = Phase.OFF
        self.set_theme(theme)

    @property
    def stops(self) -> Sequence[QWidget]:
        """What the keyboard reaches, in order."""
        return (self.arm_button,)

    def set_theme(self, theme: Theme) -> None:
        """Take the type from a theme."""
        self.arm_button.setFont(theme.font(Type.BODY))
        # As wide as the longest of what it says, so that nothing beside it moves when that changes.
        metrics = self.arm_button.fontMetrics()
        texts = (words.arm(), words.armed(), words.ends_after("88:88"), words.ends_in("88:88"))
        self.arm_button.setFixedWidth(max(map(metrics.horizontalAdvance, texts)) + 6 * UNIT)

    def show_state(self, state: HandsFreeState, *, keeps_clips: bool) -> None:
        """Say what it does now."""
        self.arm_button.setChecked(state.wishes.on_sound)
        self.arm_button.set_text(_says(state))
        if state.phase is not self._phase:
            if state.phase is Phase.WAITING:
                announce(self, words.waiting())
            elif self._phase is Phase.WAITING and state.phase is Phase.TAKING:
                announce(self, words.take_begins())
            self._phase = state.phase
        self._marker.setVisible(keeps_clips)


class HandsFree:
    """Carries between the control and the program, and remembers what was chosen.

    Whether it is armed is not remembered: whoever opens the program says anew that takes begin by themselves.
    """

    def __init__(self, control: HandsFreeControl, services: HandsFreeServices, memory: Memory) -> None:
        self._control, self._services, self._memory = control, services, memory
        self._paused = False
        self.quiet_s = _remembered(memory.get(_QUIET), _DEFAULT_QUIET_S, QUIET_S)
        self.length_s = _remembered(memory.get(_LENGTH), None, LENGTH_S)
        control.armed.connect(lambda _on: self._wish())
        if memory.get(_CLIPS) == "yes":
            services.keep_clips(True)
        self._wish()

    @property
    def clips_folder(self) -> str:
        """Where the sound around clips is written."""
        return self._services.clips_folder

    @property
    def keeps_clips(self) -> bool:
        """Whether the sound around clips is written."""
        return self._services.keeps_clips()

    def toggle(self) -> None:
        """Arm it, or not; for a key."""
        self._control.arm_button.click()

    def choose_quiet(self, quiet_s: float | None) -> None:
        """End a take that began by itself after so much quiet; None = not by quiet."""
        self.quiet_s = quiet_s
        self._remember(_QUIET, quiet_s)

    def choose_length(self, length_s: float | None) -> None:
        """End any take after so much time; None = not by time."""
        self.length_s = length_s
        self._remember(_LENGTH, length_s)

    def keep_clips(self, on: bool) -> None:
        """Write the sound around clips to the disk, or do not."""
        self._services.keep_clips(on)
        self._memory.put(_CLIPS, "yes" if on else "no")

    def show_state(self, name: str, part: str, *, paused: bool = False) -> None:
        """Show what it does now, and say what the next take is called; ten times a second.

        While it is ``paused``, because somebody is guided to the gain, it stays armed and begins nothing.
        """
        if paused != self._paused:
            self._paused = paused
            self._wish()
        self._services.name_next(name, part)
        state = self._services.state()
        if paused and state.phase is Phase.OFF and self._wishes.on_sound:
            state = HandsFreeState(Phase.WAITING, self._wishes)
        self._control.show_state(state, keeps_clips=self.keeps_clips)

    @property
    def _wishes(self) -> Wishes:
        return Wishes(self._control.arm_button.isChecked(), self.quiet_s, self.length_s)

    def _wish(self) -> None:
        wishes = self._wishes
        self._services.wish(replace(wishes, on_sound=False) if self._paused else wishes)

    def _remember(self, name: str, value: float | None) -> None:
        self._memory.put(name, _NEVER if value is None else f"{value:g}")
        self._wish()


class TakeEnds(QWidget):
    """What ends a take that nobody ends: a row of settings; and the switch that keeps the sound of clips."""

    def __init__(self, hands: HandsFree, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.quiet = _choice(words.end_after_quiet(), QUIET_S, hands.quiet_s, hands.choose_quiet)
        self.length = _choice(words.end_after_time(), LENGTH_S, hands.length_s, hands.choose_length)
        self.clips = Switch(words.keep_clips())
        """Put where there is room for it."""
        self.clips.setToolTip(words.keep_clips_tip(hands.clips_folder))
        self.clips.setAccessibleDescription(words.keep_clips_tip())
        self.clips.setChecked(hands.keeps_clips)
        self.clips.toggled.connect(hands.keep_clips)
        self.stops = (self.quiet, self.length)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(GAP)
        for box in (self.quiet, self.length):
            label = QLabel(box.accessibleName())
            label.setBuddy(box)
            row.addWidget(label)
            row.addWidget(box)
        row.addStretch(1)


def _choice(
    name: str,
    offered: Sequence[float | None],
    chosen: float | None,
    choose: Callable[[float | None], None],
) -> Choice:
    box = Choice()
    box.setAccessibleName(name)
    for value in offered:
        box.addItem(words.never() if value is None else _length(value))
    box.setCurrentIndex(offered.index(chosen))
    box.activated.connect(lambda index: choose(offered[index]))
    return box


def _remembered(text: str | None, default: float | None, offered: Sequence[float | None]) -> float | None:
    if text is None:
        return default
    try:
        value = None if text == _NEVER else float(text)
    except ValueError:
        return default
    return value if value in offered else default


def _says(state: HandsFreeState) -> str:
    if state.phase is Phase.WAITING:
        return words.armed()
    left_s = [left for left in (state.quiet_left_s, state.length_left_s) if left is not None]
    if state.phase is Phase.OFF or not left_s:
        return words.arm()
    if state.phase is Phase.QUIET or state.quiet_left_s is None:
        return words.ends_in(numbers.clock(math.ceil(min(left_s))))
    return words.ends_after(numbers.clock(state.wishes.quiet_s or 0.0))


def _length(seconds: float) -> str:
    return words.seconds(round(seconds)) if seconds < 60.0 else words.minutes(round(seconds / 60.0))
