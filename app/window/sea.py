"""The picture behind the sea chart: pixel columns in a ring, each drawn once, then only moved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PySide6.QtGui import QColor, QImage

from app.coach.judgement import Target, Verdict
from app.window.columns import Columns
from app.window.scale import TICKS_DBFS, LevelScale
from app.window.theme import Palette

_HATCH = 7
"""Distance of the lines that mark lost frames, in pixels."""


@dataclass(frozen=True, slots=True)
class _Rows:
    """What lies at each height, whatever the sound: ``(height, 1, 3)`` RGB each."""

    air: npt.NDArray[np.float32]
    water: npt.NDArray[np.float32]
    spray_far: npt.NDArray[np.float32]
    spray_near: npt.NDArray[np.float32]


class SeaPicture:
    """Columns of one channel as an image.

    Parameters
    ----------
    width, height
        In physical pixels: how many columns are seen, and how high they are.
    thickness
        Of the crest line, in physical pixels.
    """

    def __init__(
        self,
        width: int,
        height: int,
        *,
        thickness: float,
        scale: LevelScale,
        palette: Palette,
        target: Target,
    ) -> None:
        self.width, self.height = width, height
        self._thickness = thickness
        self._scale = scale
        self._rows = _rows(height, scale, palette, target)
        self._crest = _rgb(palette.crest)
        self._missing = _rgb(palette.missing)
        self._pixels = np.empty((height, width, 4), np.uint8)
        # The image looks into the array: what is written there is what is painted.
        self.image = QImage(self._pixels.data, width, height, 4 * width, QImage.Format.Format_RGB32)
        self._peak_dbfs = np.full(width, -np.inf, np.float32)
        self._clipped = np.zeros(width, np.bool_)
        self.last_column = -1
        self.clear()

    def clear(self) -> None:
        """Empty the whole picture."""
        self._write(np.arange(self.width), np.broadcast_to(self._rows.air, (self.height, self.width, 3)))
        self._peak_dbfs[:] = -np.inf
        self._clipped[:] = False
        self.last_column = -1

    def draw(self, columns: Columns) -> None:
        """Draw columns into their places; they may continue the picture or replace its newest columns."""
        count = len(columns)
        if not count:
            return
        at = np.arange(columns.first, columns.first + count)
        if self.last_column >= 0 and columns.first > self.last_column + 1:  # nothing is known in between
            self._blank(self.last_column + 1, columns.first)
        places = at % self.width
        self._write(places, self._render(columns, at))
        self._peak_dbfs[places] = columns.peak_dbfs
        self._clipped[places] = columns.clipped
        self.last_column = max(self.last_column, columns.first + count - 1)

    def mark_clips(self, first: int, clipped: npt.NDArray[np.bool_]) -> None:
        """Take over which columns are clipped: a clip is known only when it has ended."""
        at = np.arange(first, first + clipped.shape[0])
        self._clipped[at % self.width] = clipped

    def clip_runs(self) -> list[tuple[int, int]]:
        """Runs of clipped columns that are seen now: distance of the first and last from the right edge."""
        ages = self._ages_where(self._clipped)
        runs: list[tuple[int, int]] = []
        for age in ages:
            if runs and runs[-1][1] == age - 1:
                runs[-1] = (runs[-1][0], age)
            else:
                runs.append((age, age))
        return runs

    def age_of_peak(self, level_dbfs: float) -> int | None:
        """How many columns ago the peaks last reached a level; None when that is not in the picture."""
        ages = self._ages_where(self._peak_dbfs >= level_dbfs - 0.01)
        return ages[0] if ages else None

    def _ages_where(self, flags: npt.NDArray[np.bool_]) -> list[int]:
        if self.last_column < 0:
            return []
        places = np.flatnonzero(flags)
        ages: list[int] = np.sort((self.last_column - places) % self.width).tolist()
        return ages

    def _blank(self, start: int, stop: int) -> None:
        start = max(start, stop - self.width)
        places = np.arange(start, stop) % self.width
        self._write(places, np.broadcast_to(self._rows.air, (self.height, places.shape[0], 3)))
        self._peak_dbfs[places] = -np.inf
        self._clipped[places] = False

    def _render(self, columns: Columns, at: npt.NDArray[np.int64]) -> npt.NDArray[np.float32]:
        rows = self._rows
        middle = np.arange(self.height, dtype=np.float32)[:, None] + 0.5
        half = self._thickness / 2
        y_crest = self._y(columns.high_dbfs)
        y_water = self._y(columns.low_dbfs)
        y_peak = np.minimum(self._y(columns.peak_dbfs), y_crest)

        # How much of a pixel row lies below an edge: this is what keeps gentle slopes smooth.
        under_peak = np.clip(middle - y_peak + 0.5, 0, 1)[..., None]
        under_crest = np.clip(middle - (y_crest - half) + 0.5, 0, 1)[..., None]
        under_water = np.clip(middle - (y_water + half) + 0.5, 0, 1)[..., None]
        nearness = np.clip((middle - y_peak) / np.maximum(y_crest - y_peak, 1), 0, 1)[..., None]
        spray = rows.spray_far + (rows.spray_near - rows.spray_far) * nearness
        picture = rows.air + (spray - rows.air) * under_peak
        picture += (self._crest - picture) * under_crest
        picture += (rows.water - picture) * under_water

        if columns.missing.any():
            lost = np.flatnonzero(columns.missing)
            stripe = (np.arange(self.height)[:, None] + at[lost]) % _HATCH < 2
            picture[:, lost] = np.where(stripe[..., None], self._missing, rows.air)
        return picture

    def _y(self, levels_dbfs: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        heights = np.nan_to_num(self._scale.heights(levels_dbfs), nan=0.0)
        return np.asarray((1.0 - heights) * self.height, np.float32)

    def _write(self, places: npt.NDArray[np.int64], rgb: npt.NDArray[np.float32]) -> None:
        # Format_RGB32 is one 32-bit word a pixel, so its bytes are B, G, R, x on every machine we run on.
        self._pixels[:, places, 0] = rgb[..., 2]
        self._pixels[:, places, 1] = rgb[..., 1]
        self._pixels[:, places, 2] = rgb[..., 0]
        self._pixels[:, places, 3] = 255


def _rgb(colour: str) -> npt.NDArray[np.float32]:
    return np.array(QColor(colour).getRgb()[:3], np.float32)


def _rows(height: int, scale: LevelScale, palette: Palette, target: Target) -> _Rows:
    def row_of(level_dbfs: float) -> int:
        return round((1.0 - scale.height(level_dbfs)) * height)

    air = np.empty((height, 1, 3), np.float32)
    air[:] = _rgb(palette.air)
    air[row_of(target.window_high_dbfs) : row_of(target.window_low_dbfs)] = _rgb(palette.band)
    for tick_dbfs in TICKS_DBFS:
        air[min(row_of(tick_dbfs), height - 1)] = _rgb(palette.grid)
    depth = np.linspace(0.0, 1.0, height, dtype=np.float32)[:, None, None]
    water = _rgb(palette.shallow) + (_rgb(palette.deep) - _rgb(palette.shallow)) * depth
    spray_far = np.empty_like(air)
    spray_near = np.empty_like(air)
    spray_far[:], spray_near[:] = _rgb(palette.spray), _rgb(palette.spray_near)
    over_deck = np.arange(height) < row_of(target.ceiling_dbfs)
    spray_far[over_deck] = spray_near[over_deck] = _rgb(palette.verdicts[Verdict.HIGH_WATER])
    return _Rows(air, water, spray_far, spray_near)
