"""Half of a long file's measuring in a process of its own.

The process reads the same file and looks for flat tops, hum and faults, while this one measures everything
else. Both cut the file into the same pieces, so that the figures are those of one process, to the last bit.
What the other process finds comes back piece by piece, each with its place: as soon as the two do not agree
on where they are, as with a file that is still growing, :class:`OutOfStep` is raised.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path

from app.check import aside
from app.check.reading import blocks_ahead, claimed_bits, piece_frames
from app.errors import SoundFileError
from app.inputs.files import FileSource
from dsp.hops import hop_frames
from dsp.reading import Clip, Fault, Hum
from dsp.types import Samples
from dsp.watch import Watch, WatchedStream


class OutOfStep(Exception):  # noqa: N818 - no error of the program's or the user's
    """The other process has died, or has not read the same as this one."""


@dataclass(frozen=True, slots=True)
class _Found:
    """What the other process knows after one piece; at the end, over everything too."""

    end_frame: int
    hum: tuple[Hum | None, ...]
    faults: tuple[Fault, ...]
    clips: tuple[Clip, ...]
    overall: tuple[tuple[Hum | None, ...], tuple[Fault, ...]] | None = None


class WatchAside:
    """A watch that is kept by another process: a :class:`dsp.watch.Watching`."""

    def __init__(self, connection: Connection, channels: int) -> None:
        self._connection = connection
        self._clips: list[Clip] = []
        self._found = _Found(0, (None,) * channels, (), ())

    @property
    def hum(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over the last ten seconds."""
        return self._found.hum

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The faults that hold now."""
        return self._found.faults

    @property
    def overall_hum(self) -> tuple[Hum | None, ...]:
        """The hum on each channel over everything; valid at the end."""
        return self._overall[0]

    @property
    def overall_faults(self) -> tuple[Fault, ...]:
        """The faults of everything since the start; valid at the end."""
        return self._overall[1]

    @property
    def _overall(self) -> tuple[tuple[Hum | None, ...], tuple[Fault, ...]]:
        if self._found.overall is None:
            raise OutOfStep
        return self._found.overall

    def process(self, batches: Samples, start_frame: int) -> None:
        """Hear what the other process found in this piece."""
        self._hear(start_frame + batches.shape[0])

    def drain(self) -> None:
        """Hear its last word."""
        self._hear(self._found.end_frame)
        if self._found.overall is None:
            raise OutOfStep

    def take_clips(self) -> tuple[Clip, ...]:
        """The flat tops that became clear since the last call."""
        clips, self._clips = self._clips, []
        return tuple(clips)

    def _hear(self, end_frame: int) -> None:
        try:
            found = self._connection.recv()
        except (EOFError, OSError) as error:
            raise OutOfStep from error
        if isinstance(found, SoundFileError):
            raise found
        if not isinstance(found, _Found) or found.end_frame != end_frame:
            raise OutOfStep
        self._found = found
        self._clips += found.clips


@contextmanager
def watch_aside(path: Path, channels: int) -> Iterator[WatchAside]:
    """Have a file watched by another process, which is gone when this is left.

    Raises
    ------
    OutOfStep
        No process is to be had.
    """
    try:
        process, connection = aside.start(_serve, path)
    except OSError as error:
        raise OutOfStep from error
    ended = False
    try:
        yield WatchAside(connection, channels)
        ended = True
    finally:
        aside.end(process, connection, at_once=not ended)


class _Telling:
    """Tells the process that asked what a watch finds in each piece."""

    def __init__(self, watch: Watch, connection: Connection) -> None:
        self._watch = watch
        self._connection = connection
        self._end_frame = 0

    def process(self, batches: Samples, start_frame: int) -> None:
        self._watch.process(batches, start_frame)
        self._end_frame = start_frame + batches.shape[0]
        self._tell()

    def drain(self) -> None:
        self._watch.drain()
        self._tell((self._watch.overall_hum, self._watch.overall_faults))

    def _tell(self, overall: tuple[tuple[Hum | None, ...], tuple[Fault, ...]] | None = None) -> None:
        watch = self._watch
        self._connection.send(_Found(self._end_frame, watch.hum, watch.faults, watch.take_clips(), overall))


def _serve(connection: Connection, path: Path) -> None:
    """What the other process runs: until the end of the file, or until nobody listens."""
    aside.leave_interrupts()
    source = FileSource(path, paced=False)
    with connection, suppress(EOFError, OSError):
        try:
            source.start()
            _watch(source, connection)
        except SoundFileError as error:
            connection.send(error)
        finally:
            source.close()


def _watch(source: FileSource, connection: Connection) -> None:
    rate_hz, channels = source.info.rate_hz, source.info.channels
    watch = Watch(rate_hz, channels, hop_frames(rate_hz), claimed_bits=claimed_bits(source.format))
    stream = WatchedStream(_Telling(watch, connection), rate_hz, channels)
    with blocks_ahead(source, piece_frames(rate_hz, channels)) as blocks:
        for block in blocks:
            stream.process(block.samples)
        stream.finish()
