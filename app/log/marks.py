"""A copy of a WAV file with the events of a take as cue points, so that programs that read them show markers.

Cue points are the ``cue `` chunk and their names the ``labl`` entries of a ``LIST`` chunk of type ``adtl``
(Multimedia Programming Interface and Data Specifications 1.0, IBM and Microsoft 1991). For a plain ``data``
chunk both starts are 0, and position and sample offset are the same number of frames.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import BinaryIO

from app.errors import SoundFileError, UsageError
from app.log.whole import whole_file
from app.words import log as words

_LARGEST = 0xFFFF_FFFF
_BLOCK_BYTES = 1 << 20
_CUE_POINT = struct.Struct("<II4sIII")
"""Name, position, chunk, chunk start, block start, sample offset."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One cue point to set."""

    t_s: float
    """From the start of the file."""
    label: str


@dataclass(frozen=True, slots=True)
class _Chunk:
    kind: bytes
    start: int
    """Of the content, in the file."""
    size: int


def marked_copy(sound: Path, target: Path, marks: Sequence[Mark]) -> int:
    """Copy a WAV file and add cue points to those that it has; returns how many of ``marks`` lie in it.

    Every other chunk is copied as it is. The copy is there wholly or not at all.

    Raises
    ------
    app.errors.SoundFileError
        When ``sound`` is no plain WAV file, or cannot be read or copied.
    app.errors.UsageError
        When ``target`` is the same file.
    """
    try:
        if target.exists() and target.samefile(sound):
            raise UsageError(words.marks_need_a_copy(str(target)))
        with sound.open("rb") as source:
            chunks = _chunks(source, sound)
            rate_hz, frames = _length(source, chunks, sound)
            places = [(round(mark.t_s * rate_hz), mark.label) for mark in marks]
            places = [(frame, label) for frame, label in places if 0 <= frame < frames]
            added = _cue_chunks(source, chunks, places)
            kept = [chunk for chunk in chunks if not _holds_cues(source, chunk)]
            size = 4 + sum(8 + chunk.size + chunk.size % 2 for chunk in kept) + len(added)
            if size > _LARGEST:
                raise SoundFileError(words.not_a_plain_wav(str(sound)))
            with whole_file(target) as copy:
                copy.write(struct.pack("<4sI4s", b"RIFF", size, b"WAVE"))
                for chunk in kept:
                    _copy_chunk(source, chunk, copy)
                copy.write(added)
    except OSError as error:
        cause = error.strerror or str(error)
        raise SoundFileError(words.cannot_be_copied(str(sound), cause), repr(error)) from error
    return len(places)


def _chunks(source: BinaryIO, path: Path) -> list[_Chunk]:
    header = source.read(12)
    if header[:4] != b"RIFF" or header[8:] != b"WAVE":
        raise SoundFileError(words.not_a_plain_wav(str(path)))
    end = os.fstat(source.fileno()).st_size
    chunks = []
    position = 12
    while position + 8 <= end:
        source.seek(position)
        kind, size = struct.unpack("<4sI", source.read(8))
        if position + 8 + size > end:
            # Recorders that were cut off leave such a length; guessing would put marks in wrong places.
            raise SoundFileError(words.wav_is_cut_off(str(path)))
        chunks.append(_Chunk(kind, position + 8, size))
        position += 8 + size + size % 2
    return chunks


def _length(source: BinaryIO, chunks: Sequence[_Chunk], path: Path) -> tuple[int, int]:
    """Rate and number of frames."""
    found = {chunk.kind: chunk for chunk in reversed(chunks)}
    if b"fmt " not in found or b"data" not in found or found[b"fmt "].size < 16:
        raise SoundFileError(words.not_a_plain_wav(str(path)))
    _, _, rate_hz, _, frame_bytes, _ = struct.unpack("<HHIIHH", _content(source, found[b"fmt "])[:16])
    if not rate_hz or not frame_bytes:
        raise SoundFileError(words.not_a_plain_wav(str(path)))
    return rate_hz, found[b"data"].size // frame_bytes


def _holds_cues(source: BinaryIO, chunk: _Chunk) -> bool:
    if chunk.kind != b"LIST":
        return chunk.kind == b"cue "
    source.seek(chunk.start)
    return source.read(4) == b"adtl"


def _cue_chunks(source: BinaryIO, chunks: Sequence[_Chunk], places: Sequence[tuple[int, str]]) -> bytes:
    """The chunks for the marks that were there and the new ones; nothing where there are none."""
    points = labels = b""
    for chunk in chunks:
        if _holds_cues(source, chunk):
            content = _content(source, chunk)
            if chunk.kind == b"cue ":
                points += content[4 : 4 + (len(content) - 4) // _CUE_POINT.size * _CUE_POINT.size]
            else:
                labels += content[4:] + b"\0" * (len(content) % 2)
    taken = {name for name, *_ in _CUE_POINT.iter_unpack(points)}
    # A name must be unique among all of them; where the highest is in use already, the gaps will do.
    first = max(taken, default=0) + 1
    free = (name for name in count(first if first + len(places) <= _LARGEST else 1) if name not in taken)
    for name, (frame, label) in zip(free, places, strict=False):
        points += _CUE_POINT.pack(name, frame, b"data", 0, 0, frame)
        labels += _chunk(b"labl", struct.pack("<I", name) + label.encode() + b"\0")
    if not points:
        return b""
    number = len(points) // _CUE_POINT.size
    return _chunk(b"cue ", struct.pack("<I", number) + points) + _chunk(b"LIST", b"adtl" + labels)


def _chunk(kind: bytes, content: bytes) -> bytes:
    # The pad byte is not counted.
    return struct.pack("<4sI", kind, len(content)) + content + b"\0" * (len(content) % 2)


def _content(source: BinaryIO, chunk: _Chunk) -> bytes:
    source.seek(chunk.start)
    return source.read(chunk.size)


def _copy_chunk(source: BinaryIO, chunk: _Chunk, copy: BinaryIO) -> None:
    source.seek(chunk.start)
    copy.write(struct.pack("<4sI", chunk.kind, chunk.size))
    left = chunk.size
    while left:
        block = source.read(min(left, _BLOCK_BYTES))
        if not block:
            raise OSError("the file became shorter while it was read")
        copy.write(block)
        left -= len(block)
    copy.write(b"\0" * (chunk.size % 2))
