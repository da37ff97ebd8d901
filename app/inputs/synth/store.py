"""Notes that were made once and are played again, with an end to the memory they take."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable

from dsp.types import Samples


class NoteStore:
    """Keeps the notes used last, up to a length of sound.

    A note must depend on its key alone: then it does not matter whether it was kept or made again.

    Parameters
    ----------
    limit_frames
        How much is kept at most; a single note is kept even when it is longer.
    """

    def __init__(self, limit_frames: int) -> None:
        self._limit = limit_frames
        self._held = 0
        self._notes: OrderedDict[Hashable, Samples] = OrderedDict()

    @property
    def held_frames(self) -> int:
        """How much is kept now."""
        return self._held

    def get(self, key: Hashable, make: Callable[[], Samples]) -> Samples:
        """Find a note, or make it."""
        found = self._notes.get(key)
        if found is not None:
            self._notes.move_to_end(key)
            return found
        note = make()
        note.setflags(write=False)
        self._notes[key] = note
        self._held += note.shape[0]
        while self._held > self._limit and len(self._notes) > 1:
            _, dropped = self._notes.popitem(last=False)
            self._held -= dropped.shape[0]
        return note
