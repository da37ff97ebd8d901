"""A sound file as an input: paced as if it were played now, or as fast as it can be read.

Whatever a header claims is checked before it is believed, and what it claims about the length is not
needed: the file is over when it has no more samples. Threads: :meth:`FileSource.read` belongs to one
thread; :meth:`FileSource.close` may come from another, and a lock keeps it from pulling the file away
under a running read.
"""

from __future__ import annotations

import errno
import os
import stat
import threading
from pathlib import Path
from typing import Any

from app.errors import SoundFileError
from app.inputs.pacing import Pace
from app.inputs.packed import read_samples
from app.inputs.source import MOST_CHANNELS, Block, SourceInfo, SourceStats, empty_block
from app.words import inputs as words
from dsp.chain import MAX_RATE_HZ, MIN_RATE_HZ
from dsp.types import Samples


class FileSource:
    """Everything that libsndfile reads, as float32 with full scale at ±1.0, untouched otherwise.

    NaN, infinities and samples beyond full scale pass through as they are in the file.

    Parameters
    ----------
    path
        The file.
    paced
        True lets the samples arrive at the file's own rate by the monotonic clock; a reader that comes
        late catches up and loses nothing. False hands out as much as is asked for, at once.
    """

    def __init__(self, path: str | os.PathLike[str], *, paced: bool) -> None:
        self._path = Path(path)
        self._paced = paced
        self._lock = threading.Lock()
        self._wake = threading.Event()
        self._file: Any = None
        self._info: SourceInfo | None = None
        self._pace = Pace(1, paced=False)
        self._position = 0
        self._ended = False
        self._smallest = self._largest = 0
        self._format = ""
        self._claimed_frames = 0

    @property
    def info(self) -> SourceInfo:
        """What is open. Valid after :meth:`start`."""
        if self._info is None:
            raise RuntimeError("start() has not been called")
        return self._info

    @property
    def format(self) -> str:
        """Container and coding, for example ``WAV/PCM_24``. Valid after :meth:`start`."""
        return self._format

    @property
    def claimed_frames(self) -> int:
        """The length that the header claims: good for a progress bar, not for an allocation."""
        return self._claimed_frames

    def start(self) -> None:
        """Open the file; its first frame arrives now.

        Raises
        ------
        app.errors.SoundFileError
            One sentence that names the file and the cause.
        """
        self.close()
        file = open_forward(self._path)
        try:
            _check_claims(self._path, file.channels, file.samplerate, file.frames)
        except SoundFileError:
            file.close()
            raise
        self._format = f"{file.format}/{file.subtype}"
        self._claimed_frames = int(file.frames)
        self._info = SourceInfo(
            spec=f"file:{self._path}",
            name=self._path.name,
            rate_hz=int(file.samplerate),
            channels=int(file.channels),
            live=self._paced,
            channel_names=tuple(words.channel_name(n + 1) for n in range(file.channels)),
        )
        with self._lock:
            self._file = file
            self._position = self._smallest = self._largest = 0
            self._ended = False
            self._wake.clear()
        self._pace = Pace(self._info.rate_hz, paced=self._paced)

    def read(self, max_frames: int, timeout_s: float) -> Block:
        """Take the next frames; see :class:`app.inputs.source.Source`.

        Raises
        ------
        app.errors.SoundFileError
            When the file turns out to be damaged further in.
        """
        info = self.info
        if self._ended:
            return empty_block(info.channels, ended=True)
        frames = self._pace.wait(self._position, max_frames, timeout_s, self._wake)
        with self._lock:
            if self._file is None:
                return empty_block(info.channels, ended=True)
            if frames == 0:
                return empty_block(info.channels)
            samples = self._read_exactly(frames)
        got = int(samples.shape[0])
        self._position += got
        self._ended = got < frames
        if self._position == 0:  # whatever its header claims
            raise SoundFileError(words.file_without_samples(str(self._path)))
        if got:
            self._smallest = min(self._smallest or got, got)
            self._largest = max(self._largest, got)
        return Block(samples, ended=self._ended)

    def _read_exactly(self, frames: int) -> Samples:
        import soundfile  # already loaded by start()

        try:
            return read_samples(self._file, frames)
        except (soundfile.SoundFileError, RuntimeError) as error:
            t_s = self._position / self.info.rate_hz
            raise SoundFileError(words.file_damaged_at(str(self._path), t_s), str(error)) from error

    def stats(self) -> SourceStats:
        """What happened so far: a file loses nothing."""
        return SourceStats(
            delivered_frames=self._position,
            smallest_block_frames=self._smallest,
            largest_block_frames=self._largest,
            backend="libsndfile",
        )

    def close(self) -> None:
        """Let go of the file. Safe to call from any thread, and again."""
        self._wake.set()
        with self._lock:
            file, self._file = self._file, None
        if file is not None:
            file.close()


def open_forward(path: Path) -> Any:
    """Open a regular file with libsndfile to be read once from front to back: a ``soundfile.SoundFile``.

    Raises
    ------
    app.errors.SoundFileError
        One sentence that names the file and the cause.
    """
    text = str(path)
    try:
        _check_regular(path)
    except SoundFileError:
        raise
    except OSError as error:
        raise SoundFileError(_os_sentence(text, error), str(error)) from error
    except ValueError as error:  # a null character in the name
        raise SoundFileError(
            words.file_missing(text.replace("\0", "\N{REPLACEMENT CHARACTER}")), str(error)
        ) from error
    try:
        import soundfile  # late: loads libsndfile, which the live path never needs
    except OSError as error:
        raise SoundFileError(words.no_sound_file_library(), str(error)) from error

    class Forward(soundfile.SoundFile):  # type: ignore[misc]
        """Reads from the front to the back only.

        A seekable soundfile seeks to where it already is after every read. libsndfile's MP3 decoder loses
        its overlap there, so that blocks come out with holes (seen with soundfile 0.14, libsndfile 1.2.2).
        """

        def seekable(self) -> bool:
            return False

    # As bytes where names are bytes: soundfile's own encoding stumbles over one that is no UTF-8.
    name = str(path) if os.name == "nt" else os.fsencode(path)
    try:
        return Forward(name)
    except TypeError as error:  # .raw: soundfile wants the rate as an argument
        raise SoundFileError(words.file_without_header(text), str(error)) from error
    except (soundfile.SoundFileError, RuntimeError, ValueError, OSError) as error:
        raise SoundFileError(words.file_is_no_sound(text), str(error)) from error


def _check_regular(path: Path) -> None:
    # Before opening, because opening a pipe would wait for somebody to write into it.
    status = path.stat()
    text = str(path)
    if stat.S_ISDIR(status.st_mode):
        raise SoundFileError(words.file_is_folder(text))
    if not stat.S_ISREG(status.st_mode):
        raise SoundFileError(words.file_is_special(text))
    if status.st_size == 0:
        raise SoundFileError(words.file_empty(text))
    with path.open("rb") as file:  # the operating system's reason is better than libsndfile's
        file.read(1)


def _os_sentence(path: str, error: OSError) -> str:
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        return words.file_missing(path)
    if isinstance(error, PermissionError):
        return words.file_forbidden(path)
    return words.file_unreadable(path, error.strerror or errno.errorcode.get(error.errno or 0, "I/O"))


def _check_claims(path: Path, channels: int, rate_hz: int, frames: int) -> None:
    text = str(path)
    if not 1 <= channels <= MOST_CHANNELS:
        raise SoundFileError(words.file_too_many_channels(text, channels, MOST_CHANNELS))
    if not MIN_RATE_HZ <= rate_hz <= MAX_RATE_HZ:
        raise SoundFileError(words.file_odd_rate(text, rate_hz, MIN_RATE_HZ, MAX_RATE_HZ))
    if frames == 0:
        raise SoundFileError(words.file_without_samples(text))
