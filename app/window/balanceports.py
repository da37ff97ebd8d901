"""What the page about the headphone balance needs from the rest of the program."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from app.engine.loop import Listener
from app.inputs.outputs import FakeOutput, OutputInfo
from app.inputs.playback import Headphones

if TYPE_CHECKING:
    from app.check.quieter import Quieter
    from app.check.tracks import TrackFile

Measure: TypeAlias = "Callable[[Path, Callable[[float], None]], TrackFile]"
"""Measures a file and tells the share that is done; what telling raises ends it."""
Write: TypeAlias = "Callable[[Sequence[Quieter], Path | None, Callable[[float], None]], Sequence[Path]]"
"""Writes turned-down copies, into a folder or beside the files."""


def _measure(path: Path, progress: Callable[[float], None]) -> TrackFile:
    from app.check.tracks import (
        measure_track,
    )  # late: the first picture waits for nothing that it does not show

    return measure_track(path, progress)


def _write(
    quieter: Sequence[Quieter], folder: Path | None, progress: Callable[[float], None]
) -> Sequence[Path]:
    from app.check.quieter import write_quieter

    return write_quieter(quieter, folder, progress)


def _nobody_listens(_listener: Listener) -> None:
    pass


@dataclass(frozen=True)
class BalanceServices:
    """By itself it hears nothing and plays to nobody."""

    measure: Measure = _measure
    """Called on a thread of its own."""
    write: Write = _write
    """Called on a thread of its own."""
    listen: Callable[[Listener], None] = _nobody_listens
    """Hand the samples of the input to this listener, from now on."""
    leave: Callable[[Listener], None] = _nobody_listens
    """Stop that."""
    list_outputs: Callable[[], Sequence[OutputInfo]] = tuple
    """May take seconds: called on a thread of its own."""
    headphones: Headphones = field(default_factory=lambda: Headphones(lambda _name: FakeOutput()))
