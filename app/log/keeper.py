"""Turns the hops between "begin" and "end" into a take in the log.

The keeper is an observer of the engine: the analysis thread calls it with every report, and it must never
wait for anything there. Any other thread may begin and end takes and ask for the current one. The one lock
is held for microseconds only; nothing is written under it.
"""

from __future__ import annotations

import threading
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Protocol

from app.coach.judgement import Verdict
from app.coach.makers import CoachMaker, take_coach
from app.coach.parts import find_part
from app.engine.evidence import EvidenceTaker
from app.engine.snapshot import HopReport
from app.errors import UsageError
from app.log.bars import Metre
from app.log.recording import Recording
from app.log.records import TakeState, TakeUpdate, iso_started, storable

_SUBMIT_EVERY_S = 0.25
_TRACE_EVERY_S = 5.0

_LATE_S = 1.0
"""A clip is reported once it is over and known to be one; so long after its end a take still takes it in."""


class Log(Protocol):
    """What the keeper needs of :class:`app.log.writer.LogWriter`."""

    def submit(self, update: TakeUpdate) -> None:
        """Take the state of a take; must not block."""
        ...

    def number(self, uid: str) -> int | None:
        """The number that a take has got."""
        ...

    @property
    def revision(self) -> int:
        """Changes with the list of takes."""
        ...


@dataclass(frozen=True, slots=True)
class TakeView:
    """The take that runs now, for the window."""

    name: str
    part: str
    number: int | None
    """None until it is in the log."""
    started: str
    """ISO 8601 with offset; empty until the first hop."""
    duration_s: float
    clips: int
    peak_dbfs: float | None
    lost_frames: int
    verdict: Verdict | None


@dataclass(frozen=True, slots=True)
class _Asked:
    """A take that begins with the next hop."""

    name: str
    part: str
    make_coach: CoachMaker
    metre: Metre | None


@dataclass(slots=True)
class _Running:
    """A take with what the keeper must remember about it."""

    recording: Recording
    submitted_s: float = 0.0
    traced_s: float = 0.0


class TakeKeeper:
    """Begins and ends takes, and keeps their figures.

    Parameters
    ----------
    log
        Where takes go.
    evidence
        Gathers the sound around the clips of takes, where somebody asked for it.
    now
        The clock on the wall, with its zone. Only the start of a take is read from it.
    """

    def __init__(
        self,
        log: Log,
        evidence: EvidenceTaker | None = None,
        *,
        now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
    ) -> None:
        self._log = log
        self._evidence = evidence
        self._now = now
        self._lock = threading.Lock()
        self._asked: _Asked | None = None
        self._running: _Running | None = None
        self._late: list[_Running] = []
        self.begun: list[str] = []
        """The uids of the takes that began, in order; appended to by the analysis thread."""

    # For any thread

    def begin(
        self,
        name: str = "",
        part: str = "",
        make_coach: CoachMaker | None = None,
        metre: Metre | None = None,
    ) -> None:
        """Begin a take with the next hop; one that runs ends where the new one begins.

        Parameters
        ----------
        name, part
            As the user wrote them; either may be empty.
        make_coach
            Makes the coach that judges this take alone, for (channels, rate_hz, hop_frames): one with
            ``memory_s=None``. None makes one for ``part`` with the usual target.
        metre
            How to count in the take, if anybody knows.
        """
        asked = _Asked(storable(name), storable(part), make_coach or _coach_for(part), metre)
        with self._lock:
            self._end(TakeState.CLOSED)
            self._asked = asked

    def end(self) -> None:
        """End the take with the last hop that was seen, or take back a :meth:`begin` that waits."""
        with self._lock:
            self._asked = None
            self._end(TakeState.CLOSED)

    def input_gone(self, ended: bool = False) -> None:
        """Say that no more hops will come from this input; an end watcher of the engine.

        A take that runs ends: as asked where a file came to its end, interrupted otherwise. A take that waits
        for its first hop waits on.
        """
        with self._lock:
            if self._running is not None and not ended:
                self._running.recording.note_input_lost()
            self._end(TakeState.CLOSED if ended else TakeState.INTERRUPTED)
            self._finish_late()

    def close(self) -> None:
        """End whatever runs, because the program ends.

        Before the engine stops, so that the take ends as asked, and the clips that the engine finds when it
        stops still get into it. The log is closed after that, by its owner.
        """
        self.end()

    @property
    def current(self) -> TakeView | None:
        """The take that runs, or that begins with the next hop; None when there is none."""
        with self._lock:
            if self._asked is not None:
                return TakeView(self._asked.name, self._asked.part, None, "", 0.0, 0, None, 0, None)
            if self._running is None:
                return None
            update = self._running.recording.update()
        peaks = [c.peak_dbfs for c in update.per_channel if c.peak_dbfs is not None]
        return TakeView(
            name=update.name,
            part=update.part,
            number=self._log.number(update.uid),
            started=iso_started(update.started_us, update.utc_offset_s),
            duration_s=update.frames / update.rate_hz,
            clips=sum(c.clips for c in update.per_channel),
            peak_dbfs=max(peaks, default=None),
            lost_frames=update.lost_frames,
            verdict=update.verdict,
        )

    @property
    def takes(self) -> bool:
        """Whether a take runs, or begins with the next hop."""
        return self._asked is not None or self._running is not None

    @property
    def revision(self) -> int:
        """Changes whenever the list of takes should be read again."""
        return self._log.revision

    # For the analysis thread

    def __call__(self, report: HopReport) -> None:
        """Take in the newest hops."""
        with self._lock:
            if self._late:
                self._add_late(report)
            running = self._running
            if running is not None and not running.recording.continues(report):
                running.recording.note_input_lost()
                self._end(TakeState.INTERRUPTED)
                running = None
            if self._asked is not None:
                running = self._start(report, self._asked)
                self._asked = None
            if running is None:
                return
            news = running.recording.add(report)
            self._keep_sound(running.recording, report)
            now_s = time.monotonic()
            if news or now_s - running.submitted_s >= _SUBMIT_EVERY_S:
                with_trace = now_s - running.traced_s >= _TRACE_EVERY_S
                self._log.submit(running.recording.take_update(with_trace=with_trace))
                running.submitted_s = now_s
                if with_trace:
                    running.traced_s = now_s

    def _start(self, report: HopReport, asked: _Asked) -> _Running:
        # The hops of this report were heard before now.
        heard = timedelta(seconds=report.reading.frames / report.info.rate_hz)
        started = self._now() - heard
        offset = started.utcoffset() or timedelta()
        recording = Recording(
            report,
            asked.make_coach,
            uid=uuid.uuid4().hex,
            name=asked.name,
            part=asked.part,
            started_us=(started - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1),
            utc_offset_s=int(offset.total_seconds()),
            metre=asked.metre,
        )
        self.begun.append(recording.uid)
        self._running = _Running(recording, traced_s=time.monotonic())
        return self._running

    def _end(self, state: TakeState) -> None:
        running, self._running = self._running, None
        if running is not None:
            running.recording.end(state)
            self._log.submit(running.recording.take_update(with_trace=True))
            self._late.append(running)

    def _add_late(self, report: HopReport) -> None:
        """Give clips that began in an ended take to that take, though they were reported after its end."""
        still = []
        for running in self._late:
            recording = running.recording
            within = recording.continues(report)
            if within and recording.add_late(report):
                self._log.submit(recording.take_update())
                self._keep_sound(recording, report)
            if within and report.reading.start_frame < recording.end_frame + _LATE_S * report.info.rate_hz:
                still.append(running)
            else:
                self._log.submit(recording.take_update(final=True))
        self._late = still

    def _keep_sound(self, recording: Recording, report: HopReport) -> None:
        if self._evidence is not None:
            for clip in report.reading.clips:
                if recording.start_frame <= clip.start_frame < recording.end_frame:
                    self._evidence.note(recording.uid, report.info.rate_hz, recording.start_frame, clip)

    def _finish_late(self) -> None:
        for running in self._late:
            self._log.submit(running.recording.take_update(final=True))
        self._late.clear()


def _coach_for(part: str) -> CoachMaker:
    """A coach of this part for a whole take; of no part in particular where it is not known.

    The part is looked up here, so that the analysis thread need not read a file.
    """
    try:
        profile = find_part(part or "other")
    except UsageError:
        profile = find_part("other")
    return take_coach(profile)
