"""What lies between the chart's axes: the picture of the sea, moved into place, and what stands over it."""

from __future__ import annotations

import math

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPixmap, QPolygonF, QTransform

from app.coach.judgement import Target, Verdict
from app.engine.history import HistoryView
from app.window.scale import LevelScale
from app.window.sea import SeaPicture
from app.window.theme import Palette, Theme
from app.window.tide import Change, Tide

SPAN_S = 30.0
"""How much time the chart shows."""
LEAST_BED = 0.05
"""Share of the height that the bed has at least, so that there is always a bottom to see."""
_HATCH = 8


class SeaItem(pg.GraphicsObject):
    """Drawn in device pixels, one column for one column of the picture."""

    def __init__(self, scale: LevelScale) -> None:
        super().__init__()
        self._scale = scale
        self._theme = Theme()
        self._target = Target()
        self._tide: Tide | None = None
        self._size: tuple[int, int, float] = (0, 0, 0.0)
        self._floor_dbfs = math.nan
        self._hold_dbfs = -math.inf
        self._bed_tile = QPixmap()

    def boundingRect(self) -> QRectF:
        """The whole plot."""
        return QRectF(-SPAN_S, 0.0, SPAN_S, 1.0)

    def set_look(self, theme: Theme, target: Target) -> None:
        """Take over colours and places; everything is drawn anew."""
        self._theme, self._target = theme, target
        self._bed_tile = QPixmap()
        self._tide = None
        self.update()

    def forget(self) -> None:
        """Begin an empty picture: another input."""
        if self._tide is not None:
            self._tide.forget()
        self.update()

    def show_state(
        self, view: HistoryView | None, channel: int, floor_dbfs: float, hold_dbfs: float, now_s: float
    ) -> None:
        """Draw what came since the last call, and ask for as little painting as that needs."""
        tide = self._tide_of_size()
        if tide is None:
            return
        change = tide.follow(view, channel, hold_dbfs, now_s)
        if _differ(floor_dbfs, self._floor_dbfs) or _differ(hold_dbfs, self._hold_dbfs):
            self._floor_dbfs, self._hold_dbfs = floor_dbfs, hold_dbfs
            change = Change.ALL
        if change is Change.ALL:
            self.update()
        elif change is Change.NEWEST:
            column_s = SPAN_S / tide.picture.width
            self.update(QRectF(-2 * column_s, 0.0, 2 * column_s, 1.0))

    def _device(self) -> tuple[QRectF, float]:
        widget, box = self.getViewWidget(), self.getViewBox()
        if widget is None or box is None:
            return QRectF(), 1.0
        on_screen = widget.viewportTransform().mapRect(box.mapRectToScene(box.boundingRect()))
        return on_screen, float(widget.devicePixelRatioF())

    def _tide_of_size(self) -> Tide | None:
        rect, ratio = self._device()
        size = (round(rect.width() * ratio), round(rect.height() * ratio), ratio)
        if min(size[:2]) < 8:
            return None
        if self._tide is None or size != self._size:
            self._size = size
            picture = SeaPicture(
                *size[:2],
                thickness=2.0 * ratio,
                scale=self._scale,
                palette=self._theme.palette,
                target=self._target,
            )
            picture.image.setDevicePixelRatio(ratio)
            self._tide = Tide(picture, SPAN_S)
            self.update()
        return self._tide

    def paint(self, painter: QPainter, *_args: object) -> None:
        """Move what is drawn into place, and draw the few things that stand still over it."""
        if self._tide is None:
            return
        picture = self._tide.picture
        rect, ratio = self._device()
        painter.save()
        painter.setTransform(QTransform())
        left, top = round(rect.left()), round(rect.top())
        rect = QRectF(left, top, picture.width / ratio, picture.height / ratio)
        painter.setClipRect(rect, Qt.ClipOperation.IntersectClip)
        _paint_ring(painter, picture, rect, ratio)
        palette = self._theme.palette
        self._paint_bed(painter, rect, palette)
        self._paint_clips(painter, picture, rect, palette, ratio)
        self._paint_swell_mark(painter, self._tide, rect, palette, ratio)
        painter.restore()

    def _y(self, rect: QRectF, level_dbfs: float) -> float:
        return round(rect.top() + (1.0 - self._scale.height(level_dbfs)) * rect.height())

    def _paint_bed(self, painter: QPainter, rect: QRectF, palette: Palette) -> None:
        if self._bed_tile.isNull():
            self._bed_tile = _bed_tile(palette)
        known = math.isfinite(self._floor_dbfs)
        share = max(self._scale.height(self._floor_dbfs) if known else 0.0, LEAST_BED)
        top = round(rect.bottom() - share * rect.height())
        bed = QRectF(rect.left(), top, rect.width(), rect.bottom() - top)
        painter.drawTiledPixmap(bed, self._bed_tile)
        if known:
            painter.fillRect(QRectF(rect.left(), top, rect.width(), 2), QColor(palette.bed_hatch))

    def _paint_clips(
        self, painter: QPainter, picture: SeaPicture, rect: QRectF, palette: Palette, ratio: float
    ) -> None:
        """A breaker over the rail: a column from the top to the deck, with a wave's head."""
        colour = QColor(palette.verdicts[Verdict.AWASH])
        foot = self._y(rect, self._target.ceiling_dbfs)
        for newest, oldest in picture.clip_runs():
            right = rect.right() - newest / ratio
            width = max(4.0, (oldest - newest + 1) / ratio)
            painter.fillRect(QRectF(right - width, rect.top(), width, foot - rect.top()), colour)
            painter.fillRect(QRectF(right - width / 2 - 5, rect.top(), 10, 5), colour)

    def _paint_swell_mark(
        self, painter: QPainter, tide: Tide, rect: QRectF, palette: Palette, ratio: float
    ) -> None:
        """The flag at the peak hold, with a line from there to now."""
        if not math.isfinite(self._hold_dbfs) or tide.picture.last_column < 0:
            return
        y = self._y(rect, self._hold_dbfs)
        x = rect.left() + 1.0
        if tide.hold_column is not None:
            x = max(x, rect.right() - (tide.picture.last_column - tide.hold_column) / ratio)
        colour = QColor(palette.text)
        line = QColor(colour)
        line.setAlpha(90)
        painter.fillRect(QRectF(x, y, rect.right() - x, 1), line)
        # The pennant flies over its mark, or hangs below where there is no air above.
        up = -1.0 if y - rect.top() > 24 else 1.0
        flip = -1.0 if x > rect.right() - 20 else 1.0
        painter.fillRect(QRectF(x - 1, min(y, y + up * 20), 2, 20), colour)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        pennant = ((0, 20), (15, 15), (0, 10))
        painter.drawPolygon(QPolygonF([QPointF(x + flip * dx, y + up * dy) for dx, dy in pennant]))


def _paint_ring(painter: QPainter, picture: SeaPicture, rect: QRectF, ratio: float) -> None:
    """The ring is cut where its oldest column lies: two straight copies."""
    cut = (picture.last_column + 1) % picture.width if picture.last_column >= 0 else 0
    older = picture.width - cut
    painter.drawImage(rect.topLeft(), picture.image, QRectF(cut, 0, older, picture.height))
    if cut:
        place = QPointF(rect.left() + older / ratio, rect.top())
        painter.drawImage(place, picture.image, QRectF(0, 0, cut, picture.height))


def _bed_tile(palette: Palette) -> QPixmap:
    tile = QPixmap(_HATCH, _HATCH)
    tile.fill(QColor(palette.bed))
    painter = QPainter(tile)
    painter.setPen(QPen(QColor(palette.bed_hatch), 1))
    painter.drawLine(0, _HATCH - 1, _HATCH - 1, 0)
    painter.end()
    return tile


def _differ(a_dbfs: float, b_dbfs: float) -> bool:
    """Whether two levels differ by what can be seen; nan is "not known"."""
    if math.isfinite(a_dbfs) and math.isfinite(b_dbfs):
        return abs(a_dbfs - b_dbfs) > 0.05
    return a_dbfs != b_dbfs and not (math.isnan(a_dbfs) and math.isnan(b_dbfs))
