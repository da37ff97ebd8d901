"""What is listened to and what is played: the input, the part, and the knob of the built-in player."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFileDialog, QHBoxLayout, QLabel, QSlider, QWidget

from app.window.controls import Choice
from app.window.services import InputChoice, PartChoice
from app.window.theme import GAP, UNIT, Theme
from app.words import numbers
from app.words import picker as words

_FILE = "\N{NULL}file"
_AGAIN = "\N{NULL}again"
_STEPS_PER_DB = 2


class Picker(QWidget):
    """Chooses; whoever listens to the signals does it."""

    input_chosen = Signal(str)
    """A spec."""
    look_again = Signal()
    part_chosen = Signal(str)
    gain_turned = Signal(float)

    def __init__(
        self,
        theme: Theme,
        parts: Sequence[PartChoice],
        gain_range_db: tuple[float, float],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._current = InputChoice("", "")
        self._choices: tuple[InputChoice, ...] = ()
        self._looking = True
        self._out_of_date = False
        self._in_short = False
        self._dialog: QFileDialog | None = None

        self.inputs = Choice(10)
        self.inputs.setAccessibleName(words.input_name())
        self.inputs.setMaximumWidth(130 * UNIT)
        self.inputs.activated.connect(self._take_input)

        self.parts = Choice(6)
        self.parts.setAccessibleName(words.part_name())
        self.parts.setAccessibleDescription(words.part_tip())
        self.parts.setToolTip(words.part_tip())
        for part in parts:
            self.parts.addItem(part.label, part.key)
        self.parts.setMaximumWidth(65 * UNIT)
        self.parts.activated.connect(lambda index: self.part_chosen.emit(self.parts.itemData(index)))
        self.parts.setVisible(bool(parts))

        low_db, high_db = gain_range_db
        self.gain = QSlider(Qt.Orientation.Horizontal)
        self.gain.setRange(round(low_db * _STEPS_PER_DB), round(high_db * _STEPS_PER_DB))
        self.gain.setSingleStep(1)
        self.gain.setPageStep(3 * _STEPS_PER_DB)
        self.gain.setAccessibleName(words.player_gain_name())
        self.gain.setToolTip(words.player_gain_name())
        self.gain.setMinimumWidth(80)
        self.gain.setMaximumWidth(260)
        self.gain.valueChanged.connect(self._turn)
        self._gain_text = QLabel()
        self._gain_text.setProperty("quiet", True)
        self._gain_db = 0.0

        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(GAP)
        layout.addWidget(self.inputs, 4)
        layout.addWidget(self.parts, 2)
        layout.addWidget(self._gain_text)
        layout.addWidget(self.gain, 2)
        layout.addStretch(0)
        self.stops = (self.inputs, self.parts, self.gain)
        """What the keyboard reaches, in order."""
        self.show_gain(None)
        self._fill()
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Keep the width of the gain's text, whatever its digits."""
        del theme  # the style sheet has done the rest by now
        self._share_out()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Say what the number is where there is room for it."""
        super().resizeEvent(event)
        self._share_out()

    def minimumSizeHint(self) -> QSize:
        """With the number alone beside the slider."""
        hint = super().minimumSizeHint()
        if self.gain.isHidden():
            return hint
        return QSize(self._beside_text + self._widths[1], hint.height())

    @property
    def _widths(self) -> tuple[int, int]:
        """How wide the gain's text may become, long and short."""
        metrics, widest = self._gain_text.fontMetrics(), numbers.signed_decibels(-88.8, 1)
        texts = (words.player_gain_value(widest), words.player_gain_short(widest))
        return metrics.horizontalAdvance(texts[0]) + UNIT, metrics.horizontalAdvance(texts[1]) + UNIT

    @property
    def _beside_text(self) -> int:
        boxes = sum(box.minimumSizeHint().width() for box in (self.inputs, self.parts) if not box.isHidden())
        return boxes + self.gain.minimumWidth() + 3 * GAP

    def _share_out(self) -> None:
        long, short = self._widths
        self._in_short = self._beside_text + long > self.width()
        self._gain_text.setFixedWidth(short if self._in_short else long)
        self._write_gain(self._gain_db)

    def show_input(self, spec: str, name: str) -> None:
        """Show what is open."""
        choice = InputChoice(spec, name)
        if _same_input(spec, [self._current]) is None or name != self._current.label:
            self._current = choice
            self._out_of_date = True
        if self._out_of_date:
            self._fill()

    def show_choices(self, choices: Sequence[InputChoice], *, looking: bool) -> None:
        """Offer these inputs; ``looking`` while the system is still asked for them."""
        if (tuple(choices), looking) != (self._choices, self._looking):
            self._choices, self._looking = tuple(choices), looking
            self._fill()

    def show_part(self, key: str) -> None:
        """Show which part is chosen."""
        index = self.parts.findData(key)
        if index >= 0:
            self.parts.setCurrentIndex(index)

    def show_gain(self, gain_db: float | None) -> None:
        """Show where the player's knob stands, or hide it: nothing else has one that we can turn."""
        for widget in (self.gain, self._gain_text):
            widget.setVisible(gain_db is not None)
        if gain_db is not None:
            before = self.gain.blockSignals(True)
            self.gain.setValue(round(gain_db * _STEPS_PER_DB))
            self.gain.blockSignals(before)
            self._write_gain(gain_db)

    def _turn(self, steps: int) -> None:
        gain_db = steps / _STEPS_PER_DB
        self._write_gain(gain_db)
        self.gain_turned.emit(gain_db)

    def _write_gain(self, gain_db: float) -> None:
        self._gain_db = gain_db
        gain = numbers.signed_decibels(gain_db, 1)
        whole = words.player_gain_value(gain)
        self._gain_text.setText(words.player_gain_short(gain) if self._in_short else whole)
        # Qt tells a screen reader the slider's steps, which are no decibels.
        self.gain.setAccessibleDescription(whole)

    def _fill(self) -> None:
        # Not under the hand of somebody who chooses; it is made good with the next state.
        self._out_of_date = self.inputs.view().isVisible()
        if self._out_of_date:
            return
        self.inputs.clear()
        choices = list(self._choices)
        known = _same_input(self._current.spec, choices)
        if self._current.spec and known is None:
            choices.insert(0, self._current)
            known = 0
        for choice in choices:
            self.inputs.addItem(choice.label, choice.spec)
        self.inputs.setCurrentIndex(known if known is not None else -1)
        if known is not None and self._current.label:
            self.inputs.setItemText(known, self._current.label)
        if choices:
            self.inputs.insertSeparator(self.inputs.count())
        self.inputs.addItem(words.open_file(), _FILE)
        if self._looking:
            self.inputs.addItem(words.looking_for_inputs(), "")
        else:
            self.inputs.addItem(words.look_again(), _AGAIN)

    def _take_input(self, index: int) -> None:
        spec = self.inputs.itemData(index)
        if spec == _FILE:
            self._ask_for_file()
        elif spec == _AGAIN:
            self.look_again.emit()
        elif spec:
            self.input_chosen.emit(spec)
            return
        self._fill()  # shows what is open again: an action is no input

    def _ask_for_file(self) -> None:
        # Not modal for the program, and never waited for: the chart goes on behind it.
        if self._dialog is None:
            self._dialog = QFileDialog(self, words.open_file_title())
            self._dialog.setFileMode(QFileDialog.FileMode.ExistingFile)
            endings = "*.wav *.flac *.ogg *.mp3 *.aiff *.aif *.caf *.w64 *.rf64 *.opus"
            self._dialog.setNameFilters([f"{words.sound_files()} ({endings})", f"{words.all_files()} (*)"])
            self._dialog.fileSelected.connect(lambda path: self.input_chosen.emit(f"file:{path}"))
        self._dialog.open()


def _same_input(spec: str, choices: Sequence[InputChoice]) -> int | None:
    """Where an input stands among others; the player is the same one wherever its knob stands."""

    def bare(text: str) -> str:
        return ":".join(text.split(":")[:2]) if text.startswith("player") else text

    for index, choice in enumerate(choices):
        if spec and bare(choice.spec) == bare(spec):
            return index
    return None
