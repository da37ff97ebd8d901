"""The picture behind the sea chart: pixel columns in a ring, each drawn once, then only moved."""

from __future__ import annotations

import math
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
_BAND_SHARE = 0.1
"""How strongly the band in which the average belongs shines through water and spray."""

_Pixels = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class _Stuff:
    """What a column can be made of: for each, the colour of every row, ``(height, 4)``, lines included."""

    air: _Pixels
    spray: _Pixels
    crest: _Pixels
    water: _Pixels
    missing: _Pixels


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
        self._half_line = thickness / 2
        self._scale = scale
        # The deck is dashed, and its dashes move with the sea: columns with a plank, and columns without.
        self._stuff = tuple(
            _stuff(height, round(thickness), scale, palette, target, plank=plank) for plank in (False, True)
        )
        self._plank, self._plank_gap = round(8 * thickness), round(3 * thickness)
        self._pixels = np.empty((height, width, 4), np.uint8)
        # The image looks into the array: what is written there is what is painted.
        self.image = QImage(self._pixels.data, width, height, 4 * width, QImage.Format.Format_RGB32)
        self._peak_dbfs = np.full(width, -np.inf, np.float32)
        self._clipped = np.zeros(width, np.bool_)
        self.last_column = -1
        self._newest: tuple[float, ...] = ()
        self.clear()

    def clear(self) -> None:
        """Empty the whole picture."""
        self.last_column = -1
        self._newest = ()
        self._blank(0, self.width)

    def draw(self, columns: Columns) -> bool:
        """Draw columns into their places; they may continue the picture or replace its newest columns.

        Returns whether anything looks different now.
        """
        count = len(columns)
        if not count:
            return False
        levels = (columns.low_dbfs[-1], columns.high_dbfs[-1], columns.peak_dbfs[-1])
        newest = (columns.first + count - 1, *map(float, levels))
        if count == 1 and newest == self._newest:
            return False
        self._newest = newest
        at = np.arange(columns.first, columns.first + count)
        if self.last_column >= 0 and columns.first > self.last_column + 1:  # nothing is known in between
            self._blank(self.last_column + 1, columns.first)
        # Drawn side by side in memory first: a column of the image itself is scattered over all its rows.
        strip = np.empty((count, self.height, 4), np.uint8)
        for pixels, column, edges, missing in zip(
            strip, at.tolist(), self._edges(columns), columns.missing.tolist(), strict=True
        ):
            self._draw_column(pixels, column, edges, missing=missing)
        places = at % self.width
        self._pixels[:, places] = strip.transpose(1, 0, 2)
        self._peak_dbfs[places] = columns.peak_dbfs
        self._clipped[places] = columns.clipped
        self.last_column = max(self.last_column, columns.first + count - 1)
        return True

    @property
    def any_clips(self) -> bool:
        """Whether a clip is in the picture."""
        return bool(self._clipped.any())

    def mark_clips(self, first: int, clipped: npt.NDArray[np.bool_]) -> bool:
        """Take over which columns are clipped, and say whether that is news.

        A clip is known only when it has ended, which may be columns after its place.
        """
        places = np.arange(first, first + clipped.shape[0]) % self.width
        news = not np.array_equal(self._clipped[places], clipped)
        self._clipped[places] = clipped
        return news

    def clip_runs(self) -> list[tuple[int, int]]:
        """Runs of clipped columns that are seen now: distance of the first and last from the right edge."""
        if not self._clipped.any():
            return []
        runs: list[tuple[int, int]] = []
        for age in self._ages_where(self._clipped):
            if runs and runs[-1][1] == age - 1:
                runs[-1] = (runs[-1][0], age)
            else:
                runs.append((age, age))
        return runs

    def column_of_peak(self, level_dbfs: float) -> int | None:
        """The newest column whose peaks reach a level; None when there is none in the picture."""
        ages = self._ages_where(self._peak_dbfs >= level_dbfs - 0.01)
        return self.last_column - ages[0] if ages else None

    def _ages_where(self, flags: npt.NDArray[np.bool_]) -> list[int]:
        if self.last_column < 0:
            return []
        places = np.flatnonzero(flags)
        ages: list[int] = np.sort((self.last_column - places) % self.width).tolist()
        return ages

    def _stuff_of(self, column: int) -> _Stuff:
        return self._stuff[column % (self._plank + self._plank_gap) < self._plank]

    def _blank(self, start: int, stop: int) -> None:
        for column in range(max(start, stop - self.width), stop):
            place = column % self.width
            self._pixels[:, place] = self._stuff_of(column).air
            self._peak_dbfs[place] = -np.inf
            self._clipped[place] = False

    def _edges(self, columns: Columns) -> list[list[float]]:
        """Where spray, crest and water begin in each column, in rows from the top."""
        levels = zip(
            columns.peak_dbfs.tolist(), columns.high_dbfs.tolist(), columns.low_dbfs.tolist(), strict=True
        )
        edges = []
        for each in levels:
            spray, crest, water = ((1.0 - self._scale.height(level)) * self.height for level in each)
            edges.append([min(spray, crest), crest - self._half_line, water + self._half_line])
        return edges

    def _draw_column(self, pixels: _Pixels, column: int, edges: list[float], *, missing: bool) -> None:
        """Fill a column from the top with air, spray, crest and water, changing at the three edges."""
        stuff = self._stuff_of(column)
        if missing:
            pixels[:] = stuff.air
            pixels[-column % _HATCH :: _HATCH] = stuff.missing[-column % _HATCH :: _HATCH]
            pixels[(1 - column) % _HATCH :: _HATCH] = stuff.missing[(1 - column) % _HATCH :: _HATCH]
            return
        layers = [stuff.air, stuff.spray, stuff.crest, stuff.water]
        top = 0
        for layer, edge in zip(layers, [*edges, float(self.height)], strict=True):
            foot = max(top, min(self.height, math.ceil(edge)))
            pixels[top:foot] = layer[top:foot]
            top = foot
        # An edge cuts through a pixel: both sides share its colour, which keeps gentle slopes smooth.
        for layer, edge in zip(layers[1:], edges, strict=True):
            row = math.floor(edge)
            if 0 <= row < self.height and edge > row:
                share = row + 1 - edge
                pixels[row] = pixels[row] * (1.0 - share) + layer[row] * share


def _rgb(colour: str) -> npt.NDArray[np.float32]:
    parsed = QColor(colour)
    return np.array((parsed.red(), parsed.green(), parsed.blue()), np.float32)


def _stuff(
    height: int, line: int, scale: LevelScale, palette: Palette, target: Target, *, plank: bool
) -> _Stuff:
    def row_of(level_dbfs: float) -> int:
        return round((1.0 - scale.height(level_dbfs)) * height)

    line = max(1, line)
    rail, deck = row_of(0.0) - line // 2, row_of(target.ceiling_dbfs) - line // 2
    band = slice(row_of(target.window_high_dbfs), row_of(target.window_low_dbfs))

    def finish(rows: npt.NDArray[np.float32]) -> _Pixels:
        """Lay what stands at a fixed height over it, where it costs nothing when it moves."""
        rows[band] += (_rgb(palette.crest) - rows[band]) * _BAND_SHARE
        rows[max(0, rail) : rail + line] = _rgb(palette.rail)
        if plank:
            rows[max(0, deck) : deck + line] = _rgb(palette.deck)
        pixels = np.full((height, 4), 255, np.uint8)
        # Format_RGB32 is one 32-bit word a pixel: B, G, R, x in memory on every machine that Qt 6 runs on.
        pixels[:, :3] = np.round(rows[:, ::-1])
        return pixels

    def fade(top: str, foot: str, span: int) -> npt.NDArray[np.float32]:
        share = np.clip(np.arange(height, dtype=np.float32) / max(1, span), 0, 1)[:, None]
        return np.asarray(_rgb(top) + (_rgb(foot) - _rgb(top)) * share, np.float32)

    air = fade(palette.air, palette.air, 1)
    for tick_dbfs in TICKS_DBFS:
        air[min(row_of(tick_dbfs), height - 1)] = _rgb(palette.grid)
    spray = fade(palette.spray, palette.spray_near, row_of(-36.0))
    spray[: max(0, row_of(target.ceiling_dbfs))] = _rgb(palette.verdicts[Verdict.HIGH_WATER])
    return _Stuff(
        air=finish(air),
        spray=finish(spray),
        crest=finish(fade(palette.crest, palette.crest, 1)),
        water=finish(fade(palette.shallow, palette.deep, height)),
        missing=finish(fade(palette.missing, palette.missing, 1)),
    )
