"""Turned-down copies of sound files: same format and rate, all of them or none, never over anything."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np

from app.check.draft import Draft
from app.errors import SoundFileError, SwellmarkError
from app.inputs.files import open_forward
from app.words import balance as words
from app.words import inputs as input_words
from dsp.decibels import db_to_amplitude

_BLOCK_FRAMES = 1 << 16
_BITS = {
    "PCM_S8": 8,
    "PCM_U8": 8,
    "PCM_16": 16,
    "PCM_24": 24,
    "PCM_32": 32,
    "ALAC_16": 16,
    "ALAC_20": 20,
    "ALAC_24": 24,
    "ALAC_32": 32,
}
"""Codings whose steps are all alike; the rest are floating point, or lose more than rounding does."""


@dataclass(frozen=True, slots=True)
class Quieter:
    """What to write."""

    path: Path
    pull_down_db: int
    """0 makes the same file once more, byte by byte."""


def write_quieter(
    wanted: Sequence[Quieter],
    folder: Path | None = None,
    progress: Callable[[float], None] | None = None,
) -> tuple[Path, ...]:
    """Write a turned-down copy of each file.

    Where samples are whole numbers, triangular dither of two steps' width keeps the rounding from following
    the sound (Lipshitz, Wannamaker & Vanderkooy, J. Audio Eng. Soc. 40, 1992). Copies appear under their
    names only when all are complete; a name that is taken gets a number.

    Parameters
    ----------
    folder
        Made when it is missing; None writes beside each file.
    progress
        Called with the share that is done, 0 to 1. What it raises ends the writing, and nothing is left.

    Returns
    -------
    paths
        Of the copies, in the same order.

    Raises
    ------
    app.errors.SoundFileError
        When a file cannot be read, or its format cannot be written.
    app.errors.SwellmarkError
        When a copy cannot be saved.
    """
    watched = progress or _unwatched
    drafts: list[Draft] = []
    placed: list[Path] = []
    try:
        for number, each in enumerate(wanted):
            draft = _draft(each.path, folder)
            drafts.append(draft)
            _write(each, draft, lambda share, n=number: watched((n + share) / len(wanted)))  # type: ignore[misc]
        for each, draft in zip(wanted, drafts, strict=True):
            try:
                placed.append(_place(draft, each))
            except OSError as error:
                raise _cannot_write(draft.home, error) from error
    except BaseException:
        for path in placed:
            _remove(path)
        raise
    finally:
        for draft in drafts:
            draft.discard()
    return tuple(placed)


def _draft(path: Path, folder: Path | None) -> Draft:
    home = path.parent if folder is None else folder
    try:
        home.mkdir(parents=True, exist_ok=True)
        return Draft(home)
    except OSError as error:
        raise _cannot_write(home, error) from error


def _write(wanted: Quieter, draft: Draft, progress: Callable[[float], None]) -> None:
    source = open_forward(wanted.path)
    import soundfile  # loaded by open_forward()

    with source:
        if wanted.pull_down_db == 0:
            try:
                with wanted.path.open("rb") as original, draft.stream() as copy:
                    shutil.copyfileobj(original, copy)
                draft.sync()
            except OSError as error:
                raise _cannot_write(draft.home, error) from error
            return
        kind = {"format": source.format, "subtype": source.subtype, "endian": source.endian}
        if source.format == "SD2" or not soundfile.check_format(**kind):  # SD2 writes a second file
            raise SoundFileError(
                words.format_cannot_be_written(str(wanted.path), f"{source.format}/{source.subtype}")
            )
        frames = 0
        claimed_frames = max(1, source.frames)
        try:
            layout = {"samplerate": source.samplerate, "channels": source.channels, **kind}
            with soundfile.SoundFile(draft.target, "w", closefd=False, **layout) as copy:
                for block in _turned_down(source, wanted):
                    copy.write(block)
                    frames += block.shape[0]
                    progress(min(1.0, frames / claimed_frames))
            # libsndfile tells of a full disk when it writes, but not when it closes.
            with soundfile.SoundFile(draft.target, closefd=False) as copy:
                if source.subtype in _BITS and copy.frames != frames:
                    raise SwellmarkError(words.cannot_write(str(draft.home), words.length_differs()))
            draft.sync()
        except (OSError, soundfile.SoundFileError, AssertionError) as error:
            raise _cannot_write(draft.home, error) from error


def _turned_down(source: Any, wanted: Quieter) -> Iterator[np.ndarray[Any, np.dtype[Any]]]:
    """Blocks ready to be written: whole numbers at the top of 32 bits, or floating point."""
    import soundfile

    gain = db_to_amplitude(-wanted.pull_down_db)
    bits = _BITS.get(source.subtype)
    random = np.random.default_rng()
    position = 0
    while True:
        try:
            samples = source.read(_BLOCK_FRAMES, dtype="float64", always_2d=True)
        except (soundfile.SoundFileError, RuntimeError) as error:
            where = input_words.file_damaged_at(str(wanted.path), position / source.samplerate)
            raise SoundFileError(where, str(error)) from error
        position += samples.shape[0]
        if samples.shape[0]:
            yield samples * gain if bits is None else _rounded(samples * gain, bits, random)
        if samples.shape[0] < _BLOCK_FRAMES:
            return


def _rounded(
    samples: np.ndarray[Any, np.dtype[np.float64]], bits: int, random: np.random.Generator
) -> np.ndarray[Any, np.dtype[np.int32]]:
    full = 2.0 ** (bits - 1)
    dither = random.random(samples.shape) - random.random(samples.shape)
    whole = np.clip(np.rint(samples * full + dither), -full, full - 1.0)
    return np.asarray(whole.astype(np.int64) << (32 - bits), np.int32)


def _place(draft: Draft, wanted: Quieter) -> Path:
    """Give a complete copy its name, or the first one like it that is free."""
    for number in count(1):
        tail = "" if number == 1 else f" ({number})"
        path = draft.home / f"{wanted.path.stem} {-wanted.pull_down_db} dB{tail}{wanted.path.suffix}"
        if draft.place(path):
            return path
    raise AssertionError("count() ended")


def _cannot_write(path: Path, error: Exception) -> SwellmarkError:
    cause = error.strerror if isinstance(error, OSError) and error.strerror else str(error).strip(" .")
    return SwellmarkError(words.cannot_write(str(path), cause or type(error).__name__), repr(error))


def _remove(path: Path) -> None:
    with suppress(OSError):
        path.unlink()


def _unwatched(share: float) -> None:
    pass
