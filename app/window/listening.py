"""What is listened to, and what part it is judged by: opens inputs, lists them, remembers what was chosen."""

from __future__ import annotations

from collections.abc import Callable

from app.errors import SwellmarkError
from app.window.errands import Errands
from app.window.notices import Notices
from app.window.picker import Picker
from app.window.ports import HasGain
from app.window.services import InputChoice, Services


class Listening:
    """Carries out what the picker is asked for.

    Parameters
    ----------
    notices
        Shows why something could not be opened.
    """

    def __init__(self, services: Services, picker: Picker, errands: Errands, notices: Notices) -> None:
        self._services, self._picker = services, picker
        self._errands, self._notices = errands, notices
        self._source: object | None = None
        self._spec = ""
        self.part = ""
        """The key of the part that is judged by."""
        self.inputs: tuple[InputChoice, ...] = ()
        """What can be opened, as far as it was listed by now."""
        self.opened: Callable[[], None] = lambda: None
        """Called when another input was opened."""
        self.part_chosen: Callable[[], None] = lambda: None
        """Called when the user chose another part."""
        picker.input_chosen.connect(self.open_input)
        picker.look_again.connect(self.list_inputs)
        picker.part_chosen.connect(self.choose_part)
        picker.gain_turned.connect(self._turn_gain)

    def begin(self) -> None:
        """Open what the command line asks for, or what was open last, or the built-in player."""
        services = self._services
        self._judge_by(services.settings.get("part") or services.default_part)
        remembered = services.settings.get("input")
        self.open_input(services.first_input or remembered or services.default_input, remember=False)

    def open_input(self, spec: str, *, remember: bool = True) -> None:
        """Listen to another input; on failure say why and stay with the present one."""
        try:
            source = self._services.open_input(spec)
        except SwellmarkError as error:
            self._notices.tell(error)
            return
        self._notices.forget()
        if remember:
            self._notices.hint = ""
            self._services.settings.put("input", spec)
        self._source, self._spec = source, spec
        self.opened()
        self._follow_part(spec)
        self._services.engine.open(source)
        self._services.channels.opened(spec)
        label = next((choice.label for choice in self.inputs if choice.spec == spec), spec)
        self._picker.show_input(spec, label)
        self._picker.show_gain(source.gain_db if isinstance(source, HasGain) else None)

    def list_inputs(self) -> None:
        """Ask the system for its inputs, on a thread of its own."""
        self._picker.show_choices(self.inputs, looking=True)
        self._errands.run("inputs", self._services.list_inputs, self._take_inputs, self._no_inputs)

    def choose_part(self, key: str) -> None:
        """Judge by another part."""
        self._judge_by(key)
        self._services.settings.put("part", key)
        self._services.settings.put("part_for", self._spec)
        self.part_chosen()

    def _judge_by(self, key: str) -> None:
        self.part = key
        self._picker.show_part(key)
        self._services.choose_part(key)

    def _follow_part(self, spec: str) -> None:
        """Judge an input that is known to play something by that, and others by what the user chose last."""
        settings = self._services.settings
        chosen = settings.get("part")
        # Whoever chose a part while this input was open, and comes back to it later, is not overruled.
        played = None if chosen and spec == settings.get("part_for") else self._services.part_of_input(spec)
        wanted = played or chosen or self._services.default_part
        if wanted != self.part:
            self._judge_by(wanted)

    def _turn_gain(self, gain_db: float) -> None:
        if isinstance(self._source, HasGain):
            self._source.gain_db = gain_db

    def _take_inputs(self, choices: object) -> None:
        self.inputs = tuple(choices)  # type: ignore[arg-type]  # an errand's result is untyped
        self._picker.show_choices(self.inputs, looking=False)

    def _no_inputs(self, error: Exception) -> None:
        self._picker.show_choices(self.inputs, looking=False)
        self._notices.tell(error)
