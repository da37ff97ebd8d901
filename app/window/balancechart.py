"""The tide over the song: the backing as it is and turned down, the part in it, and where that is lost."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFont,
    QFontMetricsF,
    QLinearGradient,
    QPainter,
    QPaintEvent,
    QPen,
    QPixmap,
    QPolygonF,
    QResizeEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.coach.judgement import Verdict
from app.window.balancecurves import Curves
from app.window.fit import LEAST_PIXELS
from app.window.guard import painting
from app.window.theme import GAP, UNIT, Theme, Type
from app.words import hearing as words
from app.words.numbers import clock, decibels
from dsp.types import Floats

_TICK_STEPS_LU = (3.0, 6.0, 12.0, 24.0)
_TICK_STEPS_S = (1.0, 5.0, 10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0)
_HATCH = 7
_SWATCH = 5.0 * UNIT
_MOST_SIDE = 0.22
"""Share of the width that the names of the rows may take."""


class TidePicture(QWidget):
    """Draws :class:`~app.window.balancecurves.Curves`; a line moves along while the backing plays."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._curves: Curves | None = None
        self._then = ""
        self._position_s: float | None = None
        self._still: QPixmap | None = None
        self._plot = QRectF()
        self.setAccessibleName(words.picture_name())
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def minimumSizeHint(self) -> QSize:
        """Enough to see the tide and both rows below."""
        return QSize(200, 8 * self._theme.font(Type.SMALL).pixelSize())

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self._redraw()

    def show_curves(self, curves: Curves | None, then: str) -> None:
        """Show another song or advice; ``then`` names the backing turned down."""
        self._curves, self._then = curves, then
        self.setAccessibleDescription(_summary(curves) if curves is not None else "")
        self._redraw()

    def show_position(self, position_s: float | None) -> None:
        """Where the backing plays; None = it does not."""
        if position_s != self._position_s:
            self._position_s = position_s
            self.update()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Everything is drawn for the new size."""
        super().resizeEvent(event)
        self._redraw()

    def _redraw(self) -> None:
        self._still = None
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Lay the moving line over what stands still."""
        with painting(self) as painter:
            if self._still is None:
                self._still = self._draw_still()
            painter.drawPixmap(0, 0, self._still)
            curves, position_s = self._curves, self._position_s
            if curves is not None and position_s is not None and curves.duration_s > 0.0:
                x = self._x(min(position_s, curves.duration_s))
                painter.fillRect(
                    QRectF(x - 1.0, self._plot.top(), 2.0, self._plot.height()),
                    QColor(self._theme.palette.focus),
                )

    def _draw_still(self) -> QPixmap:
        ratio = self.devicePixelRatioF()
        picture = QPixmap(round(self.width() * ratio), round(self.height() * ratio))
        picture.setDevicePixelRatio(ratio)
        picture.fill(QColor(self._theme.palette.panel))
        if self._curves is not None and min(self.width(), self.height()) > 8 * LEAST_PIXELS:
            painter = QPainter(picture)
            try:
                painter.setRenderHint(QPainter.RenderHint.Antialiasing)
                self._draw(painter, self._curves)
            finally:
                painter.end()
        return picture

    def _draw(self, painter: QPainter, curves: Curves) -> None:
        labels = (words.lost_now_label(), words.lost_then_label())
        names = [
            words.now_label(),
            self._then,
            *([words.part_lane()] if curves.part_lufs is not None else []),
        ]
        font = QFont(self._theme.font(Type.SMALL))
        while True:
            metrics = QFontMetricsF(font)
            side = max(metrics.horizontalAdvance(label) for label in (*labels, decibels(-60, 0)))
            legend = sum(metrics.horizontalAdvance(name) + _SWATCH + UNIT + GAP for name in names)
            fits = side <= _MOST_SIDE * self.width() and side + legend <= self.width()
            if fits or font.pixelSize() <= LEAST_PIXELS:
                break
            font.setPixelSize(font.pixelSize() - 1)
        painter.setFont(font)
        line = metrics.height()
        rows = (2.0 * (line + UNIT) + line) if curves.part_lufs is not None else line
        self._plot = QRectF(
            side + 2 * UNIT,
            line + 2 * UNIT,
            self.width() - side - 3 * UNIT,
            self.height() - rows - line - 4 * UNIT,
        )
        if self._plot.height() < 2 * line:
            return
        painter.fillRect(self._plot, QColor(self._theme.palette.air))
        self._draw_grid(painter, curves, metrics)
        self._draw_tide(painter, curves)
        self._draw_part(painter, curves)
        self._draw_legend(painter, names, metrics)
        if curves.part_lufs is not None:
            below = self._plot.bottom() + line + 2 * UNIT
            for row, (label, lost) in enumerate(
                zip(labels, (curves.lost_now, curves.lost_then), strict=True)
            ):
                top = below + row * (line + UNIT)
                self._draw_lost(
                    painter, QRectF(self._plot.left(), top, self._plot.width(), line), label, lost
                )

    # Places

    def _x(self, t_s: float) -> float:
        duration_s = self._curves.duration_s if self._curves is not None else 1.0
        return self._plot.left() + t_s / duration_s * self._plot.width()

    def _y(self, lufs: float) -> float:
        curves = self._curves
        if curves is None:
            return self._plot.bottom()
        share = (lufs - curves.bottom_lufs) / (curves.top_lufs - curves.bottom_lufs)
        return self._plot.bottom() - max(0.0, min(1.0, share)) * self._plot.height()

    # Layers

    def _draw_grid(self, painter: QPainter, curves: Curves, metrics: QFontMetricsF) -> None:
        palette, plot = self._theme.palette, self._plot
        span = curves.top_lufs - curves.bottom_lufs
        most = max(2.0, plot.height() / (2.0 * metrics.height()))
        step = next((step for step in _TICK_STEPS_LU if span / step <= most), _TICK_STEPS_LU[-1])
        tick = step * np.ceil(curves.bottom_lufs / step)
        while tick <= curves.top_lufs:
            y = round(self._y(tick))
            painter.fillRect(QRectF(plot.left(), y, plot.width(), 1), QColor(palette.grid))
            painter.setPen(QColor(palette.muted))
            box = QRectF(0, y - metrics.height() / 2, plot.left() - UNIT, metrics.height())
            if box.top() >= plot.top() - metrics.height() / 2:
                right = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
                painter.drawText(box, right, decibels(tick, 0))
            tick += step
        widest = metrics.horizontalAdvance(clock(curves.duration_s)) + 3 * UNIT
        most = max(1.0, plot.width() / widest)
        step = next((s for s in _TICK_STEPS_S if curves.duration_s / s <= most), _TICK_STEPS_S[-1])
        for number in range(int(curves.duration_s / step) + 1):
            x = self._x(number * step)
            box = QRectF(x - widest / 2, plot.bottom() + UNIT, widest, metrics.height())
            if box.right() <= self.width():
                painter.drawText(box, Qt.AlignmentFlag.AlignHCenter, clock(number * step))

    def _draw_tide(self, painter: QPainter, curves: Curves) -> None:
        """What is turned down is foam over the water that is left."""
        palette, plot = self._theme.palette, self._plot
        foam = QColor(palette.spray)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(foam)
        now = self._shore(curves.t_s, curves.now_lufs)
        then = self._shore(curves.t_s, curves.then_lufs)
        painter.drawPolygon(self._filled(now))
        water = QLinearGradient(plot.topLeft(), plot.bottomLeft())
        water.setColorAt(0.0, QColor(palette.shallow))
        water.setColorAt(1.0, QColor(palette.deep))
        painter.setBrush(QBrush(water))
        painter.drawPolygon(self._filled(then))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(self._now_pen())
        painter.drawPolyline(QPolygonF(now))
        painter.setPen(QPen(QColor(palette.crest), 2.0))
        painter.drawPolyline(QPolygonF(then))

    def _now_pen(self) -> QPen:
        pen = QPen(QColor(self._theme.palette.text), 1.5)
        pen.setDashPattern([4.0, 3.0])
        return pen

    def _draw_part(self, painter: QPainter, curves: Curves) -> None:
        """The part is ground that is to stand out of the water."""
        if curves.part_lufs is None:
            return
        low, high = curves.part_lufs
        top, foot = self._y(high), self._y(low)
        lane = QRectF(self._plot.left(), top, self._plot.width(), max(3.0, foot - top))
        self._fill_lane(painter, lane)

    def _fill_lane(self, painter: QPainter, lane: QRectF) -> None:
        palette = self._theme.palette
        ground = QColor(palette.bed)
        ground.setAlpha(150)
        painter.fillRect(lane, ground)
        hatch = QPen(QColor(palette.deck), 1.0)
        painter.save()
        painter.setClipRect(lane)
        painter.setPen(hatch)
        x = lane.left() - lane.height()
        while x < lane.right():
            painter.drawLine(QPointF(x, lane.bottom()), QPointF(x + lane.height(), lane.top()))
            x += _HATCH
        painter.restore()
        for y in (lane.top(), lane.bottom() - 1.0):
            painter.fillRect(QRectF(lane.left(), y, lane.width(), 1.0), QColor(palette.deck))

    def _draw_legend(self, painter: QPainter, names: Sequence[str], metrics: QFontMetricsF) -> None:
        palette = self._theme.palette
        x, middle = self._plot.left(), UNIT + metrics.height() / 2
        for kind, name in enumerate(names):
            mark = QRectF(x, middle - 4.0, _SWATCH, 8.0)
            if kind == 0:
                painter.setPen(self._now_pen())
                painter.drawLine(QPointF(mark.left(), middle), QPointF(mark.right(), middle))
            elif kind == 1:
                painter.fillRect(mark, QColor(palette.shallow))
                painter.fillRect(QRectF(mark.left(), mark.top(), mark.width(), 2.0), QColor(palette.crest))
            else:
                self._fill_lane(painter, mark)
            painter.setPen(QColor(palette.text))
            left = mark.right() + UNIT
            painter.drawText(QPointF(left, middle + metrics.ascent() / 2 - metrics.descent() / 2), name)
            x = left + metrics.horizontalAdvance(name) + GAP

    def _draw_lost(
        self, painter: QPainter, row: QRectF, label: str, lost: Sequence[tuple[float, float]]
    ) -> None:
        palette = self._theme.palette
        painter.setPen(QColor(palette.muted))
        side = QRectF(0.0, row.top(), row.left() - UNIT, row.height())
        painter.drawText(side, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, label)
        middle = row.center().y()
        painter.fillRect(QRectF(row.left(), middle, row.width(), 1.0), QColor(palette.muted))
        for begin_s, end_s in lost:
            left, right = self._x(begin_s), min(row.right(), self._x(end_s))
            block = QRectF(left, row.top() + 2.0, max(1.0, right - left), row.height() - 4.0)
            painter.fillRect(block, QColor(palette.verdicts[Verdict.AWASH]))

    def _shore(self, t_s: Floats, lufs: Floats) -> list[QPointF]:
        """One point a pixel: the highest of what falls on it, so that no peak is lost."""
        if not t_s.size:
            return []
        columns = np.minimum((t_s / self._seconds() * self._plot.width()).astype(np.intp), 100_000)
        starts = np.flatnonzero(np.diff(columns, prepend=-1))
        tops = np.maximum.reduceat(lufs, starts)
        points = [
            QPointF(self._plot.left() + column, self._y(level))
            for column, level in zip(columns[starts].tolist(), tops.tolist(), strict=True)
        ]
        # The first and the last 3 s have no middle: their level is carried to the ends.
        return [
            QPointF(self._plot.left(), points[0].y()),
            *points,
            QPointF(self._plot.right(), points[-1].y()),
        ]

    def _seconds(self) -> float:
        return self._curves.duration_s if self._curves is not None else 1.0

    def _filled(self, shore: list[QPointF]) -> QPolygonF:
        return QPolygonF([*shore, self._plot.bottomRight(), self._plot.bottomLeft()])


def _summary(curves: Curves) -> str:
    if curves.part_lufs is None:
        return words.picture_summary_waiting(float(curves.now_lufs.max(initial=float("-inf"))))
    now_s, then_s = (sum(end - begin for begin, end in lost) for lost in (curves.lost_now, curves.lost_then))
    return words.picture_summary(now_s, then_s)
