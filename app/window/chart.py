"""The sea chart: the last half minute of one channel.

The average is the water with its crest, the peaks stand above it, the noise floor is the bed, the peak
ceiling is the deck, full scale is the rail, and a flag stands where the peaks were highest.
"""

from __future__ import annotations

import math

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QLineF, QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPixmap, QPolygonF, QTransform
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.coach.judgement import Target, Verdict
from app.engine.history import HistoryView
from app.engine.snapshot import Snapshot
from app.window.clock import StreamClock
from app.window.columns import Columns, column_of, reduce_columns
from app.window.scale import TICKS_DBFS, LevelScale
from app.window.sea import SeaPicture
from app.window.services import HasHistory
from app.window.theme import UNIT, Palette, Theme, Type
from app.words import numbers
from app.words import window as words

SPAN_S = 30.0
_HATCH = 8


class SeaChart(pg.PlotWidget):
    """The chart with its level axis on the left and the names of its places on the right."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        self._scale = LevelScale()
        axes = {side: _Axis(side) for side in ("left", "right", "bottom")}
        super().__init__(parent=parent, axisItems=axes, enableMenu=False)
        self._theme = theme
        self._target = Target()
        self._floor_dbfs = math.nan
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setFrameShape(pg.QtWidgets.QFrame.Shape.NoFrame)
        self.setAccessibleName(words.chart_name())
        plot = self.getPlotItem()
        plot.hideButtons()
        plot.layout.setContentsMargins(0, UNIT, 0, 0)
        plot.showAxes((True, False, True, True), showValues=(True, False, True, True))
        view = plot.getViewBox()
        view.setMouseEnabled(False, False)
        view.setMenuEnabled(False)
        view.setDefaultPadding(0.0)
        # Ranges never change: following the data costs more than drawing it.
        view.disableAutoRange()
        view.setRange(xRange=(-SPAN_S, 0.0), yRange=(0.0, 1.0), padding=0.0)
        view.setBorder(None)
        self._sea = SeaItem(self._scale)
        plot.addItem(self._sea, ignoreBounds=True)
        self._axes = axes
        self.set_theme(theme)

    def minimumSizeHint(self) -> QSize:
        """Enough for the axis to be read."""
        return QSize(360, 180)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        palette = theme.palette
        self.setBackground(palette.panel)
        small = theme.font(Type.SMALL)
        for side, axis in self._axes.items():
            axis.setStyle(tickFont=small, tickLength=0, tickTextOffset=2 * UNIT, hideOverlappingLabels=False)
            axis.setPen(None)
            axis.setTextPen(palette.text if side == "right" else palette.muted)
        metrics = pg.QtGui.QFontMetrics(small)
        self._axes["left"].setWidth(metrics.horizontalAdvance(numbers.decibels(-88, 0)) + 3 * UNIT)
        places = "\n".join((words.rail_label(), words.deck_label(), words.band_label(), words.bed_label()))
        widest = max(metrics.horizontalAdvance(line) for line in places.split("\n"))
        self._axes["right"].setWidth(widest + 4 * UNIT)
        self._axes["bottom"].setHeight(metrics.height() + 2 * UNIT)
        self._axes["left"].setTicks(
            [[(self._scale.height(level), numbers.decibels(level, 0)) for level in TICKS_DBFS]]
        )
        self._axes["bottom"].setTicks([[(-s, words.seconds_ago(s)) for s in (25, 20, 15, 10, 5)]])
        self._name_places()
        self._sea.set_look(theme, self._target)

    def set_target(self, target: Target) -> None:
        """Draw deck and band where this target has them."""
        if target != self._target:
            self._target = target
            self._name_places()
            self._sea.set_look(self._theme, target)

    def show_state(self, snapshot: Snapshot, history: HasHistory | None, channel: int, now_s: float) -> None:
        """Draw what is new. Called at the screen's rate; costs next to nothing when nothing moved."""
        floor = snapshot.noise_floor_dbfs[channel] if channel < len(snapshot.noise_floor_dbfs) else math.nan
        hold = snapshot.peak_hold_dbfs[channel] if channel < len(snapshot.peak_hold_dbfs) else -math.inf
        if not _same(floor, self._floor_dbfs, 0.5):
            self._floor_dbfs = floor
            self._name_places()
        self._sea.show_state(history.view() if history is not None else None, channel, floor, hold, now_s)

    def describe(self, snapshot: Snapshot, channel: int) -> None:
        """Put the figures behind the picture into words, for those who cannot see it."""
        if channel < len(snapshot.average_dbfs):
            text = words.chart_description(
                snapshot.average_dbfs[channel],
                snapshot.peak_hold_dbfs[channel],
                snapshot.noise_floor_dbfs[channel],
                snapshot.clips[channel],
            )
            if text != self.accessibleDescription():
                self.setAccessibleDescription(text)

    def redraw(self) -> None:
        """Draw everything anew with the next state: another input, another channel."""
        self._sea.forget()

    def _name_places(self) -> None:
        target, height = self._target, self._scale.height
        bed = 0.5 * max(height(self._floor_dbfs), self._sea.least_bed)
        places = [
            (height(0.0), words.rail_label()),
            (height(target.ceiling_dbfs), words.deck_label()),
            (height((target.window_low_dbfs + target.window_high_dbfs) / 2), words.band_label()),
            (bed, words.bed_label() if math.isfinite(self._floor_dbfs) else words.bed_unknown_label()),
        ]
        self._axes["right"].setTicks([places])


class SeaItem(pg.GraphicsObject):
    """Everything inside the axes, drawn in device pixels."""

    least_bed = 0.05
    """Share of the height that the bed has at least, so that there is always a bottom to see."""

    def __init__(self, scale: LevelScale) -> None:
        super().__init__()
        self._scale = scale
        self._theme = Theme()
        self._target = Target()
        self._picture: SeaPicture | None = None
        self._clock = StreamClock()
        self._hop_s = 0.01
        self._channel = 0
        self._newest_hop = -1
        self._right = -1
        self._floor_dbfs = math.nan
        self._hold_dbfs = -math.inf
        self._bed_tile = QPixmap()
        self._size = (0, 0)
        self._stale = True

    def boundingRect(self) -> QRectF:
        """The whole plot."""
        return QRectF(-SPAN_S, 0.0, SPAN_S, 1.0)

    def set_look(self, theme: Theme, target: Target) -> None:
        """Take over colours and places; everything is drawn anew."""
        self._theme, self._target = theme, target
        self._bed_tile = QPixmap()
        self._picture = None
        self.forget()

    def forget(self) -> None:
        """Let the next state draw everything anew."""
        self._stale = True
        self.update()

    def show_state(
        self, view: HistoryView | None, channel: int, floor_dbfs: float, hold_dbfs: float, now_s: float
    ) -> None:
        """Draw the columns that are new since the last call into the picture."""
        picture = self._picture_of_size()
        if picture is None:
            return
        if not _same(floor_dbfs, self._floor_dbfs, 0.1) or not _same(hold_dbfs, self._hold_dbfs, 0.05):
            self._floor_dbfs, self._hold_dbfs = floor_dbfs, hold_dbfs
            self.update()
        newest = view.newest_hop if view is not None else -1
        if view is None or newest < 0 or channel >= view.average_dbfs.shape[1]:
            if picture.last_column >= 0:
                picture.clear()
                self._right = self._newest_hop = -1
                self.update()
            return
        if self._stale or newest < self._newest_hop or channel != self._channel or view.hop_s != self._hop_s:
            picture.clear()
            self._right = -1
            self._stale = False
        self._channel, self._newest_hop, self._hop_s = channel, newest, view.hop_s
        shown_hop = self._clock.follow(newest, view.hop_s, now_s)
        self._advance(picture, view, shown_hop)

    def _advance(self, picture: SeaPicture, view: HistoryView, shown_hop: int) -> None:
        per_column = SPAN_S / view.hop_s / picture.width
        right = column_of(shown_hop, per_column)
        oldest = max(0, right - picture.width + 1)
        before = (
            picture.image.copy(right % picture.width, 0, 1, picture.height) if right == self._right else None
        )
        self._draw(picture, view, per_column, max(self._right, oldest), right)
        clips = picture.clip_runs()
        # A clip is found when it has ended, which may be columns after its place.
        self._take_clips(picture, view, per_column, oldest, right)
        if before is None or clips != picture.clip_runs():
            self._right = right
            self.update()
        elif before != picture.image.copy(right % picture.width, 0, 1, picture.height):
            width_s = SPAN_S / picture.width
            self.update(QRectF(-2 * width_s, 0.0, 2 * width_s, 1.0))

    def _draw(self, picture: SeaPicture, view: HistoryView, per_column: float, first: int, last: int) -> None:
        columns = self._columns(view, per_column, first, last)
        picture.draw(columns)

    def _columns(self, view: HistoryView, per_column: float, first: int, last: int) -> Columns:
        rows = view.average_dbfs.shape[0]
        first_row = max(0, rows - (view.newest_hop - int(max(0, first - 1) * per_column)) - 2)
        return reduce_columns(
            view.average_dbfs[first_row:, self._channel],
            view.peak_dbfs[first_row:, self._channel],
            view.clipped[first_row:, self._channel],
            first_hop=view.newest_hop - (rows - first_row) + 1,
            hops_per_column=per_column,
            first_column=first,
            last_column=last,
        )

    def _take_clips(
        self, picture: SeaPicture, view: HistoryView, per_column: float, oldest: int, right: int
    ) -> None:
        rows = view.clipped.shape[0]
        first_hop = view.newest_hop - rows + 1
        flags = np.zeros(right - oldest + 1, np.bool_)
        hops = np.flatnonzero(view.clipped[:, self._channel]) + first_hop
        at = np.ceil((hops + 1) / per_column - 1e-9).astype(np.int64) - 1 - oldest
        flags[at[(at >= 0) & (at < flags.shape[0])]] = True
        picture.mark_clips(oldest, flags)

    def _device(self) -> tuple[QRectF, float]:
        widget = self.getViewWidget()
        box = self.getViewBox()
        if widget is None or box is None:
            return QRectF(), 1.0
        on_screen = widget.viewportTransform().mapRect(box.mapRectToScene(box.boundingRect()))
        return on_screen, float(widget.devicePixelRatioF())

    def _picture_of_size(self) -> SeaPicture | None:
        rect, ratio = self._device()
        size = (round(rect.width() * ratio), round(rect.height() * ratio))
        if min(size) < 8:
            return None
        if self._picture is None or size != self._size:
            self._size = size
            self._picture = SeaPicture(
                *size,
                thickness=2.0 * ratio,
                scale=self._scale,
                palette=self._theme.palette,
                target=self._target,
            )
            self._picture.image.setDevicePixelRatio(ratio)
            self._stale = True
        return self._picture

    def paint(self, painter: QPainter, *_args: object) -> None:
        """Move what is drawn into place, and draw the few things that stand still over it."""
        picture = self._picture
        rect, ratio = self._device()
        if picture is None:
            return
        painter.save()
        painter.setTransform(QTransform())
        left, top = round(rect.left()), round(rect.top())
        rect = QRectF(left, top, picture.width / ratio, picture.height / ratio)
        painter.setClipRect(rect)
        _paint_ring(painter, picture, rect, ratio)
        palette = self._theme.palette
        self._paint_lines(painter, rect, palette)
        self._paint_bed(painter, rect, palette)
        self._paint_clips(painter, picture, rect, palette, ratio)
        self._paint_swell_mark(painter, picture, rect, palette, ratio)
        painter.restore()

    def _y(self, rect: QRectF, level_dbfs: float) -> float:
        return round(rect.top() + (1.0 - self._scale.height(level_dbfs)) * rect.height())

    def _paint_lines(self, painter: QPainter, rect: QRectF, palette: Palette) -> None:
        target = self._target
        band = QColor(palette.crest)
        band.setAlpha(26)
        top, foot = self._y(rect, target.window_high_dbfs), self._y(rect, target.window_low_dbfs)
        painter.fillRect(QRectF(rect.left(), top, rect.width(), foot - top), band)
        y = self._y(rect, 0.0)
        painter.fillRect(QRectF(rect.left(), y - 1, rect.width(), 2), QColor(palette.rail))
        y = self._y(rect, target.ceiling_dbfs)
        pen = QPen(QColor(palette.deck), 2)
        pen.setDashPattern([8, 3])
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        painter.setPen(pen)
        painter.drawLine(QLineF(rect.left(), y, rect.right(), y))

    def _paint_bed(self, painter: QPainter, rect: QRectF, palette: Palette) -> None:
        if self._bed_tile.isNull():
            self._bed_tile = _bed_tile(palette)
        known = math.isfinite(self._floor_dbfs)
        share = max(self._scale.height(self._floor_dbfs) if known else 0.0, self.least_bed)
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
        self, painter: QPainter, picture: SeaPicture, rect: QRectF, palette: Palette, ratio: float
    ) -> None:
        if not math.isfinite(self._hold_dbfs) or picture.last_column < 0:
            return
        age = picture.age_of_peak(self._hold_dbfs)
        y = self._y(rect, self._hold_dbfs)
        x = rect.right() - age / ratio if age is not None else rect.left() + 1.0
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


class _Axis(pg.AxisItem):
    """An axis that keeps the words it was given, whatever the room."""

    def __init__(self, side: str) -> None:
        super().__init__(side)
        self.setZValue(-1)


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


def _same(a: float, b: float, within: float) -> bool:
    return a == b or (math.isnan(a) and math.isnan(b)) or abs(a - b) < within
