"""Watches a folder for the window, and remembers between runs which one."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from app.coach.judgement import Target
from app.coach.parts import PartProfile
from app.log.lookup import is_logged
from app.log.writer import LogWriter

if TYPE_CHECKING:
    from app.log.folder import FolderNews, FolderView, FolderWatch

_FOLDER, _PART, _SEEN = "watched_folder", "watched_part", "watched_until"
_MOST_NEWS = 200


class Memory(Protocol):
    """What is remembered between runs."""

    def get(self, name: str) -> str | None:
        """What was put last, or None."""
        ...

    def put(self, name: str, value: str) -> None:
        """Remember."""
        ...


class FolderDesk:
    """What the page about files works on.

    Parameters
    ----------
    log, memory
        Where takes go, and where the folder is remembered.
    parts, target
        What can be played, and where it should sit.
    """

    def __init__(
        self, log: LogWriter, memory: Memory, parts: Mapping[str, PartProfile], target: Target
    ) -> None:
        self._log, self._memory = log, memory
        self._parts, self._target = parts, target
        self._watch: FolderWatch | None = None
        self._news: deque[FolderNews] = deque(maxlen=_MOST_NEWS)

    @property
    def view(self) -> FolderView | None:
        """How the watched folder stands; None while none is watched."""
        return None if self._watch is None else self._watch.view

    @property
    def news(self) -> Sequence[FolderNews]:
        """What became of the newest files, the last one last."""
        return tuple(self._news)

    def resume(self) -> None:
        """Watch the folder of the last time again, with what came into it meanwhile."""
        folder = self._memory.get(_FOLDER)
        if folder:
            self._begin(Path(folder), self._memory.get(_PART) or "", since_s=self._seen_s())

    def begin(self, folder: Path, part: str, *, existing: bool = False) -> None:
        """Watch this folder from now on, and when the program is opened again."""
        self._memory.put(_FOLDER, str(folder))
        self._memory.put(_PART, part)
        self._begin(folder, part, since_s=0.0 if existing else time.time())

    def end(self) -> None:
        """Watch no more."""
        self._memory.put(_FOLDER, "")
        self._stop()

    def close(self) -> None:
        """The program ends: the folder stays remembered. Before the log closes."""
        self._stop()

    def _begin(self, folder: Path, part: str, *, since_s: float) -> None:
        from app.log.folder import FolderWatch  # late: most people watch none

        self._stop()
        self._news.clear()
        self._watch = FolderWatch(
            folder,
            self._parts.get(part, self._parts["other"]),
            self._log,
            partial(is_logged, self._log.path),
            target=self._target,
            since_s=since_s,
            tell=self._take_in,
        )

    def _stop(self) -> None:
        watch, self._watch = self._watch, None
        if watch is None:
            return
        watch.stop()
        # What was still to be measured is measured the next time.
        if not watch.view.waiting:
            self._memory.put(_SEEN, repr(time.time()))

    def _take_in(self, news: FolderNews) -> None:
        """On the watching thread: a deque may be added to from any."""
        self._news.append(news)

    def _seen_s(self) -> float:
        try:
            return float(self._memory.get(_SEEN) or "")
        except ValueError:
            return time.time()
