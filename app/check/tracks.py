"""Parts and backing tracks in files, measured for the headphone balance and remembered by what is in them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from app.check.measure import second_hand
from app.check.reading import blocks_ahead
from app.check.shelf import Shelf, fingerprint
from app.coach.balance import SHORTEST_S
from app.errors import SoundFileError
from app.inputs.files import FileSource
from app.words import balance as words
from dsp.track import Track, TrackMeter

_BLOCK_SAMPLES = 1 << 19


@dataclass(frozen=True, slots=True, eq=False)
class TrackFile:
    """A file and what was measured of it."""

    path: Path
    format: str
    """Container and coding, ``WAV/PCM_24``."""
    rate_hz: int
    track: Track


def measure_track(
    path: Path, progress: Callable[[float], None] | None = None, shelf: Shelf | None = None
) -> TrackFile:
    """Measure a file from its first frame to its last, in bounded memory, or remember it.

    Parameters
    ----------
    path
        Anything that libsndfile reads.
    progress
        Called with the share that is done, 0 to 1, a few times a second. What it raises ends the measurement.
    shelf
        Where measurements are kept; None measures in any case.

    Raises
    ------
    app.errors.SoundFileError
        When the file cannot be read as sound, or is shorter than 3 s; the sentence names it.
    """
    source = FileSource(path, paced=False)
    source.start()
    try:
        track = _measure(source, path, progress or _unwatched, shelf)
        found = TrackFile(path, source.format, source.info.rate_hz, track)
    finally:
        source.close()
    if found.track.duration_s < SHORTEST_S:
        raise SoundFileError(words.too_short(str(path), found.track.duration_s, SHORTEST_S))
    return found


def _measure(source: FileSource, path: Path, progress: Callable[[float], None], shelf: Shelf | None) -> Track:
    name = _fingerprint(path) if shelf else None
    track = shelf.find(name) if shelf and name else None
    if track is None:
        track = _through_meter(source, progress)
        if shelf and name:
            shelf.keep(name, track)
    progress(1.0)
    return track


def _fingerprint(path: Path) -> str | None:
    try:
        return fingerprint(path)
    except OSError:  # then reading it fails too, and says why
        return None


def _through_meter(source: FileSource, progress: Callable[[float], None]) -> Track:
    info = source.info
    claimed_frames = max(1, source.claimed_frames)
    frames = max(info.rate_hz // 10, _BLOCK_SAMPLES // info.channels)
    with second_hand() as together, blocks_ahead(source, frames) as blocks:
        meter = TrackMeter(info.rate_hz, info.channels, together)
        for block in blocks:
            meter.process(block.samples)
            progress(min(1.0, meter.frames / claimed_frames))
        return meter.finish()


def _unwatched(share: float) -> None:
    pass
