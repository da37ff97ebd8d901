"""Measures one recorded file.

Decoding runs a few blocks ahead on a thread of its own: libsndfile and numpy both let go of the
interpreter lock, so that two cores share the work.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from app.coach.forecast import Forecast
from app.coach.judgement import CoachReport, Judgement, Target, Verdict
from app.coach.parts import PartProfile
from app.coach.verdict import TAKE_S, Coach
from app.inputs.files import FileSource
from app.inputs.source import Block
from dsp.chain import Chain
from dsp.reading import Clip, Reading, Summary

_BLOCK_S = 2.0
_BLOCKS_AHEAD = 4


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
) -> FileCheck:
    """Measure a file from its first frame to its last, in bounded memory.

    Parameters
    ----------
    path
        Anything that libsndfile reads.
    profile, target
        What is played, and where it should sit.
    progress
        Called with the share that is done, 0 to 1, a few times a second.
    take_s
        Length of the take to come, for the forecast.

    Raises
    ------
    app.errors.SoundFileError
        When the file cannot be read as sound; the sentence names it.
    """
    source = FileSource(path, paced=False)
    source.start()
    try:
        return _measure(source, path, profile, target or Target(), progress or _unwatched, take_s)
    finally:
        source.close()


def _measure(
    source: FileSource,
    path: Path,
    profile: PartProfile,
    target: Target,
    progress: Callable[[float], None],
    take_s: float,
) -> FileCheck:
    info = source.info
    chain = Chain(info.rate_hz, info.channels, noise_memory_s=None, claimed_bits=_claimed_bits(source.format))
    coach = Coach(
        info.channels, info.rate_hz, chain.hop_frames, profile=profile, target=target, memory_s=None
    )
    clips: list[list[Clip]] = [[] for _ in range(info.channels)]

    def conclude(reading: Reading) -> CoachReport:
        for clip in reading.clips:
            clips[clip.channel].append(clip)
        return coach.process(reading)

    claimed_frames = max(1, source.claimed_frames)
    with _blocks_ahead(source, round(_BLOCK_S * info.rate_hz)) as blocks:
        for block in blocks:
            reading = chain.process(block.samples)
            if reading is not None:
                conclude(reading)
            progress(min(1.0, chain.position_frames / claimed_frames))
    report = conclude(chain.finish())
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


@contextmanager
def _blocks_ahead(source: FileSource, frames: int) -> Iterator[Iterator[Block]]:
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
                hand_over(block)
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


def _claimed_bits(file_format: str) -> int | None:
    """Bits a sample that a coding promises; None where it has no fixed resolution."""
    return {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24}.get(file_format.partition("/")[2])
