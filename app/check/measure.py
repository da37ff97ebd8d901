"""Measures one recorded file.

Threads: one decodes a few blocks ahead, and one does half of the measuring of each block. libsndfile and
numpy both let go of the interpreter lock, so that two cores share the work.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path
from typing import TypeVar

import numpy as np

from app.coach.forecast import Forecast
from app.coach.judgement import CoachReport, Judgement, Target, Verdict
from app.coach.parts import PartProfile
from app.coach.verdict import TAKE_S, Coach
from app.inputs.files import FileSource
from app.inputs.source import Block, SourceInfo
from dsp.chain import Chain, Together, in_turn
from dsp.hops import hop_frames
from dsp.longterm import BATCH_HOPS
from dsp.reading import Clip, Reading, Summary

_BLOCK_SAMPLES, _MOST_BLOCK_S = 1 << 19, 4.0
"""All channels together: long blocks save overhead, and this much stays in a second-level cache."""
_BLOCKS_AHEAD = 3
_JUDGEMENT_S = 60.0
"""How often the coach takes in what was measured: only its last word counts."""
_KEEP_BYTES = 24 << 20


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
    profile: PartProfile,
    target: Target | None = None,
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
    profile, target
        What is played, and where it should sit.
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
    source = FileSource(path, paced=False)
    source.start()
    try:
        return _measure(
            source,
            path,
            profile,
            target or Target(),
            progress or _unwatched,
            take_s,
            observe or _unobserved,
            sharing,
        )
    finally:
        source.close()


def _measure(
    source: FileSource,
    path: Path,
    profile: PartProfile,
    target: Target,
    progress: Callable[[float], None],
    take_s: float,
    observe: Callable[[Reading], None],
    sharing: Sharing,
) -> FileCheck:
    info = source.info
    _let_freed_memory_stay()
    claimed_frames = max(1, source.claimed_frames)
    clips: list[list[Clip]] = [[] for _ in range(info.channels)]
    with _hands(sharing) as together, blocks_ahead(source, _block_frames(info)) as blocks:
        chain = Chain(
            info.rate_hz,
            info.channels,
            noise_memory_s=None,
            claimed_bits=_claimed_bits(source.format),
            together=together,
        )
        coach = Coach(
            info.channels, info.rate_hz, chain.hop_frames, profile=profile, target=target, memory_s=None
        )
        untold: list[Reading] = []
        for block in blocks:
            reading = chain.process(block.samples)
            if reading is not None:
                untold.append(reading)
                _sort(reading.clips, clips)
                observe(reading)
            if sum(each.frames for each in untold) >= _JUDGEMENT_S * info.rate_hz:
                coach.process(_joined(untold))
                untold.clear()
            progress(min(1.0, chain.position_frames / claimed_frames))
        untold.append(chain.finish())
        _sort(untold[-1].clips, clips)
        observe(untold[-1])
    report = coach.process(_joined(untold))
    return FileCheck(
        path=path,
        format=source.format,
        rate_hz=info.rate_hz,
        duration_s=chain.position_frames / info.rate_hz,
        summary=chain.summary(),
        coach=report,
        channels=tuple(
            ChannelCheck(judgement, tuple(of_channel))
            for judgement, of_channel in zip(report.channels, clips, strict=True)
        ),
        forecast=coach.forecasts(take_s)[report.worst_channel],
    )


def _let_freed_memory_stay() -> None:
    """Spare the system from clearing the same pages for every block.

    Once a piece of this size was freed, glibc keeps so much for the next one instead of giving it back
    (mallopt(3), M_MMAP_THRESHOLD and M_TRIM_THRESHOLD). It is never touched, so it costs nothing, here or
    where malloc works otherwise.
    """
    np.empty(_KEEP_BYTES, np.uint8)


def _block_frames(info: SourceInfo) -> int:
    """A length on the chain's grid of batches, so that nothing has to be pieced together."""
    batch_frames = BATCH_HOPS * hop_frames(info.rate_hz)
    most = min(_BLOCK_SAMPLES // info.channels, round(_MOST_BLOCK_S * info.rate_hz))
    return max(1, most // batch_frames) * batch_frames


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
def _hands(sharing: Sharing) -> Iterator[Together]:
    if sharing is Sharing.ALONE:
        yield in_turn
        return
    with second_hand() as together:
        yield together


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


@contextmanager
def blocks_ahead(source: FileSource, frames: int) -> Iterator[Iterator[Block]]:
    """Read blocks on a thread of their own; an error there is raised where the blocks are used."""
    ahead: queue.Queue[Block | BaseException] = queue.Queue(_BLOCKS_AHEAD)
    leaving = threading.Event()

    def hand_over(item: Block | BaseException) -> None:
        handed_over = False
        while not handed_over and not leaving.is_set():
            with suppress(queue.Full):
                ahead.put(item, timeout=0.1)
                handed_over = True

    def run() -> None:
        try:
            ended = False
            while not ended and not leaving.is_set():
                block = source.read(frames, 0.0)
                # The layout that the chain works in: this thread has the time for it.
                hand_over(replace(block, samples=np.asfortranarray(block.samples)))
                ended = block.ended
        except BaseException as error:  # handed over whole: it belongs to whoever uses the blocks
            hand_over(error)

    def blocks() -> Iterator[Block]:
        ended = False
        while not ended:
            item = ahead.get()
            if isinstance(item, BaseException):
                raise item
            ended = item.ended
            if item.samples.shape[0]:
                yield item

    thread = threading.Thread(target=run, name="swellmark-decoder", daemon=True)
    thread.start()
    try:
        yield blocks()
    finally:
        leaving.set()
        thread.join()


def _unwatched(share: float) -> None:
    pass


def _unobserved(reading: Reading) -> None:
    pass


def _claimed_bits(file_format: str) -> int | None:
    """Bits a sample that a coding promises; None where it has no fixed resolution."""
    return {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24}.get(file_format.partition("/")[2])
