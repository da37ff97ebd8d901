"""Measures one recorded file.

Threads and processes: one thread decodes a few blocks ahead (:mod:`app.check.reading`), and half of the
measuring is done by another thread, or for long files by another process (:mod:`app.check.watchaside`).
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path
from typing import TypeVar

import numpy as np

from app.check import aside
from app.check.reading import blocks_ahead, claimed_bits, piece_frames
from app.check.watchaside import Feeder, OutOfStep, Stream, watch_aside
from app.coach.forecast import Forecast
from app.coach.judgement import CoachReport, Judgement, Target, Verdict
from app.coach.makers import Parts, Targets, take_coach
from app.coach.parts import PartProfile
from app.coach.verdict import TAKE_S
from app.errors import SoundFileError
from app.inputs.files import FileSource
from app.words import check as words
from dsp.chain import Chain, Together, in_turn
from dsp.reading import Clip, Reading, Summary
from dsp.watch import Watching

_JUDGEMENT_S = 60.0
"""How often the coach takes in what was measured: only its last word counts."""
_WORTH_A_PROCESS = 5 * 60 * 48_000 * 2
"""Samples, of all channels. A process takes a quarter of a second to start; these take one to measure."""

_log = logging.getLogger(__name__)


class Sharing(Enum):
    """Who does the work of one file. The figures are the same."""

    ALONE = "alone"
    """One thread measures, for where others keep the other cores busy."""
    THREADS = "threads"
    """Two threads; on less than two cores' worth, because part of it holds the interpreter."""
    PROCESSES = "processes"
    """A process aside where the file is long enough to be worth it, or else two threads."""


@dataclass(frozen=True, slots=True)
class ChannelCheck:
    """What one channel of a file was like."""

    judgement: Judgement
    clips: Sequence[Clip]


@dataclass(frozen=True, slots=True)
class FileCheck:
    """What a file was like."""

    path: Path
    format: str
    """Container and coding, ``WAV/PCM_24``."""
    rate_hz: int
    duration_s: float
    summary: Summary
    coach: CoachReport
    channels: Sequence[ChannelCheck]
    forecast: Forecast | None = None
    """What a take to come would do on the worst channel; None with too little playing."""

    @property
    def verdict(self) -> Verdict:
        """The worst channel's."""
        return self.coach.worst.verdict

    @property
    def needs_action(self) -> bool:
        """Whether somebody should do something about it."""
        return self.verdict is not Verdict.FAIR_WATER


def check_file(
    path: Path,
    parts: PartProfile | Parts,
    target: Target | Targets | None = None,
    progress: Callable[[float], None] | None = None,
    *,
    take_s: float = TAKE_S,
    observe: Callable[[Reading], None] | None = None,
    sharing: Sharing = Sharing.THREADS,
) -> FileCheck:
    """Measure a file from its first frame to its last, in bounded memory.

    Parameters
    ----------
    path
        Anything that libsndfile reads.
    parts, target
        What is played, in all or on each channel, and where it should sit.
    progress
        Called with the share that is done, 0 to 1, a few times a second. What it raises ends the measuring.
    take_s
        Length of the take to come, for the forecast.
    observe
        Called with each reading of the chain in turn, on this thread: for who wants levels over time.
    sharing
        Who does the work.

    Raises
    ------
    app.errors.SoundFileError
        When the file cannot be read as sound; the sentence names it.
    """
    work = _Work(
        path, parts, target or Target(), take_s, progress or _unwatched, observe or _unobserved, sharing
    )
    try:
        return work.measure()
    except OutOfStep as error:
        _log.info("measuring %s again, without a process aside", path, exc_info=error)
        if observe is not None:  # who has heard half of it cannot take it back
            raise SoundFileError(words.measuring_broke_off(str(path))) from error
    return replace(work, sharing=Sharing.THREADS).measure()


@dataclass(frozen=True, slots=True)
class _Work:
    """What :func:`check_file` was asked for."""

    path: Path
    parts: PartProfile | Parts
    target: Target | Targets
    take_s: float
    progress: Callable[[float], None]
    observe: Callable[[Reading], None]
    sharing: Sharing

    def measure(self) -> FileCheck:
        source = FileSource(self.path, paced=False)
        source.start()
        try:
            return self._measure(source)
        finally:
            source.close()

    def _measure(self, source: FileSource) -> FileCheck:
        info = source.info
        claimed_frames = max(1, source.claimed_frames)
        clips: list[list[Clip]] = [[] for _ in range(info.channels)]
        with ExitStack() as hands:
            stream = Stream(
                info.rate_hz,
                info.channels,
                claimed_bits(source.format),
                piece_frames(info.rate_hz, info.channels),
            )
            watch, feeder, together = self._share(hands, stream, claimed_frames)
            blocks = hands.enter_context(blocks_ahead(source, stream.piece_frames, feeder))
            chain = Chain(
                info.rate_hz,
                info.channels,
                noise_memory_s=None,
                claimed_bits=stream.claimed_bits,
                together=together,
                watch=watch,
            )
            coach = take_coach(self.parts, self.target)(info.channels, info.rate_hz, chain.hop_frames)
            untold: list[Reading] = []
            for block in blocks:
                reading = chain.process(block.samples)
                if reading is not None:
                    untold.append(reading)
                    _sort(reading.clips, clips)
                    self.observe(reading)
                if sum(each.frames for each in untold) >= _JUDGEMENT_S * info.rate_hz:
                    coach.process(_joined(untold))
                    untold.clear()
                self.progress(min(1.0, chain.position_frames / claimed_frames))
            untold.append(chain.finish())
            _sort(untold[-1].clips, clips)
            self.observe(untold[-1])
        report = coach.process(_joined(untold))
        return FileCheck(
            path=self.path,
            format=source.format,
            rate_hz=info.rate_hz,
            duration_s=chain.position_frames / info.rate_hz,
            summary=chain.summary(),
            coach=report,
            channels=tuple(
                ChannelCheck(judgement, tuple(of_channel))
                for judgement, of_channel in zip(report.channels, clips, strict=True)
            ),
            forecast=coach.forecasts(self.take_s)[report.worst_channel],
        )

    def _share(
        self, hands: ExitStack, stream: Stream, frames: int
    ) -> tuple[Watching | None, Feeder | None, Together]:
        """Who does which half."""
        if self.sharing is Sharing.ALONE:
            return None, None, in_turn
        long = frames * stream.channels >= _WORTH_A_PROCESS
        if self.sharing is Sharing.PROCESSES and long and aside.cores() > 1:
            return *hands.enter_context(watch_aside(stream)), in_turn
        return None, None, hands.enter_context(second_hand())


def _sort(clips: Sequence[Clip], by_channel: list[list[Clip]]) -> None:
    for clip in clips:
        by_channel[clip.channel].append(clip)


def _joined(readings: Sequence[Reading]) -> Reading:
    """Readings that follow on one another, as one."""
    return replace(
        readings[-1],
        start_frame=readings[0].start_frame,
        frames=sum(reading.frames for reading in readings),
        average_dbfs=np.concatenate([reading.average_dbfs for reading in readings]),
        peak_dbfs=np.concatenate([reading.peak_dbfs for reading in readings]),
        momentary_lufs=np.concatenate([reading.momentary_lufs for reading in readings]),
        short_term_lufs=np.concatenate([reading.short_term_lufs for reading in readings]),
        clips=[clip for reading in readings for clip in reading.clips],
        bad_samples=sum(reading.bad_samples for reading in readings),
    )


_Result = TypeVar("_Result")


@contextmanager
def second_hand() -> Iterator[Together]:
    """A thread that does the second of two things while this one does the first."""
    with ThreadPoolExecutor(1, "swellmark-second-hand") as thread:

        def together(first: Callable[[], _Result], second: Callable[[], None], /) -> _Result:
            under_way = thread.submit(second)
            result = first()
            under_way.result()
            return result

        yield together


def _unwatched(share: float) -> None:
    pass


def _unobserved(reading: Reading) -> None:
    pass
