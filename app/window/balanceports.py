"""What the page about the headphone balance needs from the rest of the program."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from app.check.quieter import Quieter, write_quieter
from app.check.tracks import TrackFile, measure_track
from app.engine.loop import Listener
from app.inputs.outputs import FakeOutput, OutputInfo
from app.inputs.playback import Headphones

Measure = Callable[[Path, Callable[[float], None]], TrackFile]
"""Measures a file and tells the share that is done; what telling raises ends it."""
Write = Callable[[Sequence[Quieter], Path | None, Callable[[float], None]], Sequence[Path]]
"""Writes turned-down copies, into a folder or beside the files."""


def _nobody_listens(_listener: Listener) -> None:
    pass


@dataclass(frozen=True)
class BalanceServices:
    """By itself it hears nothing and plays to nobody."""

    measure: Measure = measure_track
    """Called on a thread of its own."""
    write: Write = write_quieter
    """Called on a thread of its own."""
    listen: Callable[[Listener], None] = _nobody_listens
    """Hand the samples of the input to this listener, from now on."""
    leave: Callable[[Listener], None] = _nobody_listens
    """Stop that."""
    list_outputs: Callable[[], Sequence[OutputInfo]] = tuple
    """May take seconds: called on a thread of its own."""
    headphones: Headphones = field(default_factory=lambda: Headphones(lambda _name: FakeOutput()))
