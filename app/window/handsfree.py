"""Beside the name of the next take: takes that begin with the first note and end after quiet or a set time.

One button arms that and says what it waits for; another opens a menu with how much quiet, how much time, and
whether the sound around clips is kept. While it is, a line says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

from PySide6.QtCore import Signal
from PySide6.QtGui import QAction, QActionGroup
from PySide6.QtWidgets import QHBoxLayout, QLabel, QMenu, QWidget

from app.engine.handsfree import HandsFreeState, Phase, Wishes
from app.window.controls import Button, announce
from app.window.handsfreeports import HandsFreeServices
from app.window.ports import Memory
from app.window.theme import TARGET, UNIT, Theme, Type
from app.words import numbers
from app.words import taking as words

QUIET_S = (None, 4.0, 8.0, 15.0, 30.0)
LENGTH_S = (None, 60.0, 120.0, 300.0, 600.0)
_DEFAULT_QUIET_S = 8.0
_QUIET, _LENGTH, _CLIPS = "handsfree_quiet_s", "handsfree_length_s", "keep_clips"
_NEVER = "never"


class HandsFreeControl(QWidget):
    """The two buttons and the line; whoever listens to the signals does it."""

    armed = Signal(bool)
    wished = Signal()
    """Quiet or time was chosen: see :attr:`quiet_s` and :attr:`length_s`."""
    clips_wanted = Signal(bool)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.quiet_s: float | None = _DEFAULT_QUIET_S
        self.length_s: float | None = None
        self.arm_button = Button(words.arm(), tip=words.arm_tip())
        self.arm_button.setCheckable(True)
        self.arm_button.clicked.connect(self.armed)
        self.menu_button = Button(words.more(), tip=words.more_tip())
        self.menu_button.setAccessibleName(words.more_tip())
        self.menu_button.setFixedWidth(TARGET)
        self.menu_button.setStyleSheet("padding: 0")
        self._marker = QLabel(words.clips_are_kept())
        self._marker.setProperty("small", True)
        self._marker.setToolTip(words.keep_clips_tip())
        self._marker.hide()
        self.menu = QMenu(self)
        self._quiet = self._choices(words.end_after_quiet(), QUIET_S, self._choose_quiet)
        self._length = self._choices(words.end_after_time(), LENGTH_S, self._choose_length)
        self.menu.addSeparator()
        self.clips_action = QAction(words.keep_clips(), self.menu)
        self.clips_action.setCheckable(True)
        self.clips_action.setToolTip(words.keep_clips_tip())
        self.clips_action.triggered.connect(self.clips_wanted)
        self.menu.addAction(self.clips_action)
        self.menu.setToolTipsVisible(True)
        self.menu_button.clicked.connect(self._open_menu)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(UNIT)
        row.addWidget(self._marker)
        row.addWidget(self.arm_button)
        row.addWidget(self.menu_button)
        self._phase = Phase.OFF
        self.set_theme(theme)

    @property
    def stops(self) -> Sequence[QWidget]:
        """What the keyboard reaches, in order."""
        return self.arm_button, self.menu_button

    @property
    def wishes(self) -> Wishes:
        """What was chosen, as it is armed."""
        return Wishes(self.arm_button.isChecked(), self.quiet_s, self.length_s)

    def set_theme(self, theme: Theme) -> None:
        """Take colours and type from a theme."""
        colours, font = theme.palette, theme.font(Type.BODY)
        self.arm_button.setFont(font)
        self.menu.setFont(font)
        # As wide as the longest of what it says, so that nothing beside it moves when that changes.
        metrics = self.arm_button.fontMetrics()
        texts = (words.arm(), words.armed(), words.ends_after("88:88"), words.ends_in("88:88"))
        self.arm_button.setFixedWidth(max(map(metrics.horizontalAdvance, texts)) + 6 * UNIT)
        self.menu.setStyleSheet(
            f"QMenu {{ background: {colours.panel}; border: 1px solid {colours.edge}; padding: {UNIT}px; }}"
            f"QMenu::item {{ color: {colours.text}; padding: {UNIT}px {4 * UNIT}px {UNIT}px {6 * UNIT}px; }}"
            f"QMenu::item:selected {{ background: {colours.focus}; color: {colours.ground}; }}"
            f"QMenu::separator {{ height: 1px; background: {colours.edge}; margin: {UNIT}px; }}"
        )

    def choose(self, quiet_s: float | None, length_s: float | None) -> None:
        """Take these over, as they were remembered; one that is not offered leaves what was."""
        for group, offered, wanted in (
            (self._quiet, QUIET_S, quiet_s),
            (self._length, LENGTH_S, length_s),
        ):
            if wanted in offered:
                group.actions()[offered.index(wanted)].trigger()

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
        self.clips_action.setChecked(keeps_clips)
        self._marker.setVisible(keeps_clips)

    def _choices(
        self, title: str, offered: Sequence[float | None], choose: Callable[[float | None], None]
    ) -> QActionGroup:
        menu = self.menu.addMenu(title)
        group = QActionGroup(menu)
        for value in offered:
            action = menu.addAction(words.never() if value is None else _length(value))
            action.setCheckable(True)
            action.triggered.connect(partial(self._chosen, choose, value))
            group.addAction(action)
        group.actions()[offered.index(_DEFAULT_QUIET_S if _DEFAULT_QUIET_S in offered else None)].setChecked(
            True
        )
        return group

    def _chosen(
        self, choose: Callable[[float | None], None], value: float | None, _checked: bool = False
    ) -> None:
        choose(value)
        self.wished.emit()

    def _choose_quiet(self, quiet_s: float | None) -> None:
        self.quiet_s = quiet_s

    def _choose_length(self, length_s: float | None) -> None:
        self.length_s = length_s

    def _open_menu(self) -> None:
        self.menu.popup(self.menu_button.mapToGlobal(self.menu_button.rect().bottomLeft()))


class HandsFree:
    """Carries between the control and the program, and remembers what was chosen.

    Whether it is armed is not remembered: whoever opens the program says anew that takes begin by themselves.
    """

    def __init__(self, control: HandsFreeControl, services: HandsFreeServices, memory: Memory) -> None:
        self._control, self._services, self._memory = control, services, memory
        self._paused = False
        control.choose(
            _remembered(memory.get(_QUIET), _DEFAULT_QUIET_S), _remembered(memory.get(_LENGTH), None)
        )
        control.armed.connect(lambda _on: self._wish())
        control.wished.connect(self._choose)
        control.clips_wanted.connect(self._keep_clips)
        if memory.get(_CLIPS) == "yes":
            services.keep_clips(True)
        self._wish()
        control.clips_action.setToolTip(words.keep_clips_tip(services.clips_folder))

    def toggle(self) -> None:
        """Arm it, or not; for a key."""
        self._control.arm_button.click()

    def show_state(self, name: str, part: str, *, paused: bool = False) -> None:
        """Show what it does now, and say what the next take is called; ten times a second.

        While it is ``paused``, because somebody is guided to the gain, it stays armed and begins nothing.
        """
        if paused != self._paused:
            self._paused = paused
            self._wish()
        self._services.name_next(name, part)
        state = self._services.state()
        if paused and state.phase is Phase.OFF and self._control.wishes.on_sound:
            state = HandsFreeState(Phase.WAITING, self._control.wishes)
        self._control.show_state(state, keeps_clips=self._services.keeps_clips())

    def _wish(self) -> None:
        wishes = self._control.wishes
        self._services.wish(replace(wishes, on_sound=False) if self._paused else wishes)

    def _choose(self) -> None:
        for name, value in ((_QUIET, self._control.quiet_s), (_LENGTH, self._control.length_s)):
            self._memory.put(name, _NEVER if value is None else f"{value:g}")
        self._wish()

    def _keep_clips(self, on: bool) -> None:
        self._services.keep_clips(on)
        self._memory.put(_CLIPS, "yes" if on else "no")


def _remembered(text: str | None, default: float | None) -> float | None:
    if text is None:
        return default
    try:
        return None if text == _NEVER else float(text)
    except ValueError:
        return default


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
