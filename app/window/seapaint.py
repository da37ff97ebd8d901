"""What lies inside the chart: the picture of the sea, moved into place, and what stands over it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRect, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPixmap, QPolygonF

from app.coach.judgement import Target, Verdict
from app.window.ports import HasHistory
from app.window.scale import LevelScale, differ
from app.window.sea import SeaPicture
from app.window.theme import Palette, Theme
from app.window.tide import Change, Tide

SPAN_S = 30.0
"""How much time the chart shows."""
LEAST_BED = 0.05
"""Share of the height that the bed has at least, so that there is always a bottom to see."""
_HATCH = 8
_SEEN_DB = 0.05
"""What moves by less does not look different."""


@dataclass(frozen=True, slots=True)
class _Inks:
    """Colours ready to paint with: they are needed in every frame."""

    clip: QColor
    flag: QColor
    line: QColor
    shore: QColor
    bed: QPixmap

    @classmethod
    def of(cls, palette: Palette) -> _Inks:
        line = QColor(palette.text)
        line.setAlpha(90)
        return cls(
            clip=QColor(palette.verdicts[Verdict.AWASH]),
            flag=QColor(palette.text),
            line=line,
            shore=QColor(palette.bed_hatch),
            bed=_bed_tile(palette),
        )


class SeaPaint:
    """Paints one plot, one column of device pixels for one column of the picture."""

    def __init__(self, scale: LevelScale) -> None:
        self._scale = scale
        self._theme = Theme()
        self._target = Target()
        self._rect = QRect()
        self._ratio = 1.0
        self._tide: Tide | None = None
        self._floor_dbfs = math.nan
        self._hold_dbfs = -math.inf
        self._inks: _Inks | None = None

    @property
    def column_s(self) -> float:
        """How much time one pixel column covers."""
        return SPAN_S / max(1, round(self._rect.width() * self._ratio))

    def set_look(self, theme: Theme, target: Target) -> None:
        """Take over colours and places; everything is drawn anew."""
        self._theme, self._target = theme, target
        self._inks = None
        self._tide = None

    @property
    def is_drawn(self) -> bool:
        """Whether there is a picture for the present place and look."""
        return self._tide is not None

    def set_place(self, rect: QRect, ratio: float) -> None:
        """Where the plot lies, and how many device pixels one of its pixels has."""
        if (rect, ratio) != (self._rect, self._ratio):
            self._rect, self._ratio = QRect(rect), ratio
            self._tide = None

    def forget(self) -> None:
        """Begin an empty picture: another input."""
        if self._tide is not None:
            self._tide.forget()

    def show_state(
        self, history: HasHistory | None, channel: int, floor_dbfs: float, hold_dbfs: float, now_s: float
    ) -> QRect:
        """Draw what came since the last call; returns the part of the plot that looks different now."""
        change = Change.NOTHING
        if self._tide is None:
            self._tide, change = self._make_tide(), Change.ALL
        if self._tide is None:
            return QRect()
        view = history.view() if history is not None else None
        change = max(change, self._tide.follow(view, channel, hold_dbfs, now_s))
        if differ(floor_dbfs, self._floor_dbfs, _SEEN_DB) or differ(hold_dbfs, self._hold_dbfs, _SEEN_DB):
            self._floor_dbfs, self._hold_dbfs = floor_dbfs, hold_dbfs
            change = Change.ALL
        if change is Change.NEWEST:
            return self._rect.adjusted(self._rect.width() - 2, 0, 0, 0)
        return QRect(self._rect) if change is Change.ALL else QRect()

    def _make_tide(self) -> Tide | None:
        """A picture for the plot's size; None while there is no room for one."""
        width, height = (round(side * self._ratio) for side in self._rect.size().toTuple())
        if min(width, height) < 8:
            return None
        picture = SeaPicture(
            width,
            height,
            thickness=2.0 * self._ratio,
            scale=self._scale,
            palette=self._theme.palette,
            target=self._target,
        )
        picture.image.setDevicePixelRatio(self._ratio)
        return Tide(picture, SPAN_S)

    def paint(self, painter: QPainter) -> None:
        """Move what is drawn into place, and draw the few things that stand still over it."""
        if self._tide is None:
            painter.fillRect(self._rect, QColor(self._theme.palette.air))
            return
        if self._inks is None:
            self._inks = _Inks.of(self._theme.palette)
        painter.setClipRect(self._rect, Qt.ClipOperation.IntersectClip)
        self._paint_ring(painter, self._tide.picture)
        self._paint_bed(painter, self._inks)
        if self._tide.picture.any_clips:
            self._paint_clips(painter, self._tide.picture, self._inks)
        self._paint_swell_mark(painter, self._tide, self._inks)

    def _paint_ring(self, painter: QPainter, picture: SeaPicture) -> None:
        """The ring is cut where its oldest column lies: two straight copies."""
        cut = (picture.last_column + 1) % picture.width if picture.last_column >= 0 else 0
        older = picture.width - cut
        left, top = self._rect.topLeft().toTuple()
        painter.drawImage(QPointF(left, top), picture.image, QRectF(cut, 0, older, picture.height))
        if cut:
            place = QPointF(left + older / self._ratio, top)
            painter.drawImage(place, picture.image, QRectF(0, 0, cut, picture.height))

    def _y(self, level_dbfs: float) -> float:
        return round(self._rect.top() + (1.0 - self._scale.height(level_dbfs)) * self._rect.height())

    def _paint_bed(self, painter: QPainter, inks: _Inks) -> None:
        rect, known = QRectF(self._rect), math.isfinite(self._floor_dbfs)
        share = max(self._scale.height(self._floor_dbfs) if known else 0.0, LEAST_BED)
        top = round(rect.bottom() - share * rect.height())
        painter.drawTiledPixmap(QRectF(rect.left(), top, rect.width(), rect.bottom() - top), inks.bed)
        if known:
            painter.fillRect(QRectF(rect.left(), top, rect.width(), 2), inks.shore)

    def _paint_clips(self, painter: QPainter, picture: SeaPicture, inks: _Inks) -> None:
        """A breaker over the rail: a column from the top to the deck, with a wave's head."""
        rect, foot = QRectF(self._rect), self._y(self._target.ceiling_dbfs)
        for newest, oldest in picture.clip_runs():
            right = rect.right() - newest / self._ratio
            width = max(4.0, (oldest - newest + 1) / self._ratio)
            painter.fillRect(QRectF(right - width, rect.top(), width, foot - rect.top()), inks.clip)
            painter.fillRect(QRectF(right - width / 2 - 6, rect.top(), 12, 6), inks.clip)

    def _paint_swell_mark(self, painter: QPainter, tide: Tide, inks: _Inks) -> None:
        """The flag at the peak hold, with a line from there to now."""
        if not math.isfinite(self._hold_dbfs) or tide.picture.last_column < 0:
            return
        rect, y = QRectF(self._rect), self._y(self._hold_dbfs)
        x = rect.left() + 1.0
        if tide.hold_column is not None:
            x = max(x, rect.right() - (tide.picture.last_column - tide.hold_column) / self._ratio)
        painter.fillRect(QRectF(x, y, rect.right() - x, 1), inks.line)
        # The pennant flies over its mark, or hangs below where there is no air above.
        up = -1.0 if y - rect.top() > 24 else 1.0
        flip = -1.0 if x > rect.right() - 20 else 1.0
        painter.fillRect(QRectF(x - 1, min(y, y + up * 20), 2, 20), inks.flag)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(inks.flag)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        pennant = ((0, 20), (15, 15), (0, 10))
        painter.drawPolygon(QPolygonF([QPointF(x + flip * dx, y + up * dy) for dx, dy in pennant]))


def _bed_tile(palette: Palette) -> QPixmap:
    tile = QPixmap(_HATCH, _HATCH)
    tile.fill(QColor(palette.bed))
    painter = QPainter(tile)
    painter.setPen(QPen(QColor(palette.bed_hatch), 1))
    painter.drawLine(0, _HATCH - 1, _HATCH - 1, 0)
    painter.end()
    return tile
