"""Measurements that are kept between runs, found again by what is in the file, wherever it lies now.

One small file per measurement in a folder of the platform's cache: it may be emptied at any time. Nothing in
here raises for what the disk does; what cannot be kept or read is measured again.
"""

from __future__ import annotations

import hashlib
import logging
import os
import uuid
from contextlib import suppress
from pathlib import Path

import numpy as np

from dsp.erb import BAND_CENTRES_HZ
from dsp.track import Track

_VERSION = 1
"""Raise it whenever the same file would measure otherwise."""
_MOST_BYTES = 100 << 20
_ENDING = f".track{_VERSION}"
_FIGURES = ("duration_s", "channels", "integrated_lufs", "short_term_max_lufs", "true_peak_dbtp")

_log = logging.getLogger(__name__)


def fingerprint(path: Path) -> str:
    """What is in a file, as a name: two files have the same one only if every byte is the same.

    Raises
    ------
    OSError
        When it cannot be read.
    """
    with path.open("rb") as file:
        return hashlib.file_digest(file, lambda: hashlib.blake2b(digest_size=20)).hexdigest()


class Shelf:
    """Keeps tracks in a folder and throws the longest unused ones out when they become too many.

    Parameters
    ----------
    folder
        Made when something is kept.
    most_bytes
        How much is kept.
    """

    def __init__(self, folder: Path, most_bytes: int = _MOST_BYTES) -> None:
        self._folder = folder
        self._most_bytes = most_bytes

    def find(self, name: str) -> Track | None:
        """The track that was kept under this name, or None."""
        path = self._path(name)
        try:
            with path.open("rb") as file, np.load(file, allow_pickle=False) as kept:
                figures = dict(zip(_FIGURES, kept["figures"].tolist(), strict=True))
                track = Track(
                    excitation=kept["excitation"],
                    short_term_lufs=kept["short_term_lufs"],
                    channels=int(figures.pop("channels")),
                    **figures,
                )
        except FileNotFoundError:
            return None
        except Exception as error:  # a damaged file makes zipfile and numpy raise nearly anything
            _log.info("%s is measured again: %s", path, error)
            return None
        if track.excitation.ndim != 2 or track.excitation.shape[1] != BAND_CENTRES_HZ.size:
            return None
        with suppress(OSError):
            os.utime(path)  # used just now
        return track

    def keep(self, name: str, track: Track) -> None:
        """Keep a track under this name."""
        part = self._folder / f".{uuid.uuid4().hex}.part"
        try:
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            with part.open("xb") as file:
                np.savez(
                    file,
                    excitation=track.excitation,
                    short_term_lufs=track.short_term_lufs,
                    figures=np.array([getattr(track, figure) for figure in _FIGURES], np.float64),
                )
            part.replace(self._path(name))
            self._throw_out()
        except OSError as error:
            _log.info("a measurement is not kept: %s", error)
        finally:
            with suppress(OSError):
                part.unlink()

    def _throw_out(self) -> None:
        """Keep the newest within the bound; what another version left, or a crash, goes with the oldest."""
        files = [(entry.stat(), entry) for entry in self._folder.iterdir() if entry.is_file()]
        files.sort(key=lambda found: found[0].st_mtime_ns, reverse=True)
        total = 0
        for status, entry in files:
            total += status.st_size
            if total > self._most_bytes:
                with suppress(OSError):
                    entry.unlink()

    def _path(self, name: str) -> Path:
        return self._folder / f"{name}{_ENDING}"
