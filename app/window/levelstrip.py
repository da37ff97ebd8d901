"""A take's levels over time, painted: water for the average, spray for the peaks, flags for clips."""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.coach.judgement import Verdict
from app.engine.events import EventKind
from app.log.records import TakeDetail
from app.window.guard import painting
from app.window.scale import LevelScale
from app.window.theme import UNIT, Theme, Type
from app.words import logpage as words
from app.words.numbers import clock, decibels
from dsp.types import Floats

_SCALE = LevelScale(bottom_dbfs=-60.0)
_LINES_DBFS = (0.0, -18.0, -36.0)
_HIGHEST = 50 * UNIT
_FLAG = 1.5 * UNIT


class LevelStrip(QWidget):
    """Paints one take on a scale of time that may be longer than the take."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._take: TakeDetail | None = None
        self._whole_s = 0.0
        self.chosen_s: float | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMaximumHeight(_HIGHEST)

    def sizeHint(self) -> QSize:
        """Wide and low."""
        return QSize(80 * UNIT, 22 * UNIT)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self.updateGeometry()
        self.update()

    def minimumSizeHint(self) -> QSize:
        """Room for the numbers, however large they are."""
        return QSize(20 * UNIT, max(14 * UNIT, 6 * self._theme.font(Type.SMALL).pixelSize()))

    def show_take(self, take: TakeDetail | None, whole_s: float = 0.0) -> None:
        """Show a take; ``whole_s`` is how much time the width stands for, 0 = the take's own length."""
        self._take, self._whole_s, self.chosen_s = take, whole_s, None
        self.setAccessibleName("" if take is None else words.levels_name(take.row.clips))
        self.update()

    def point_out(self, t_s: float | None) -> None:
        """Show one place."""
        self.chosen_s = t_s
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint everything."""
        with painting(self) as painter:
            self._paint(painter)

    def _paint(self, painter: QPainter) -> None:
        palette, take = self._theme.palette, self._take
        font = self._theme.font(Type.SMALL)
        painter.setFont(font)
        metrics = painter.fontMetrics()
        left = metrics.horizontalAdvance(decibels(-36.0, 0)) + 2 * UNIT
        foot = metrics.height()
        sea = QRectF(left, _FLAG, self.width() - left - 1, self.height() - foot - _FLAG)
        painter.fillRect(sea, QColor(palette.air))
        if take is None or sea.height() < UNIT or sea.width() < UNIT:
            return
        whole_s = max(self._whole_s, take.row.duration_s, 1e-3)
        trace = take.trace
        self._fill(painter, sea, trace.peak_dbfs, trace.point_s, whole_s, palette.spray)
        self._fill(painter, sea, trace.average_dbfs, trace.point_s, whole_s, palette.shallow)
        self._paint_missing(painter, sea, take, whole_s)
        free = -math.inf
        for level_dbfs in _LINES_DBFS:
            y = sea.bottom() - _SCALE.height(level_dbfs) * sea.height()
            painter.setPen(QPen(QColor(palette.rail if level_dbfs == 0.0 else palette.grid), 1))
            painter.drawLine(QPointF(sea.left(), y), QPointF(sea.right(), y))
            if y - free < foot:  # no room for the number
                continue
            free = y
            painter.setPen(QColor(palette.muted))
            box = QRectF(0, y - foot / 2, left - UNIT, foot)
            painter.drawText(
                box, int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter), decibels(level_dbfs, 0)
            )
        self._paint_flags(painter, sea, take, whole_s)
        below = QRectF(sea.left(), sea.bottom(), sea.width(), foot)
        painter.setPen(QColor(palette.muted))
        painter.drawText(below, int(Qt.AlignmentFlag.AlignLeft), clock(0.0))
        painter.drawText(below, int(Qt.AlignmentFlag.AlignRight), clock(whole_s))

    def _fill(
        self, painter: QPainter, sea: QRectF, levels: Floats, point_s: float, whole_s: float, colour: str
    ) -> None:
        """Fill what lies under the levels, no more than one step a pixel."""
        if not levels.size or not point_s:
            return
        right = sea.left() + min(1.0, levels.size * point_s / whole_s) * sea.width()
        steps = max(1, min(levels.size, int(right - sea.left())))
        starts = np.arange(steps) * levels.size // steps
        tops = np.maximum.reduceat(levels, starts)
        width = (right - sea.left()) / steps
        heights = sea.bottom() - _SCALE.heights(tops.astype(np.float32)) * sea.height()
        shore = QPainterPath(QPointF(sea.left(), sea.bottom()))
        for place, y in enumerate(heights.tolist()):
            shore.lineTo(sea.left() + place * width, y)
            shore.lineTo(sea.left() + (place + 1) * width, y)
        shore.lineTo(right, sea.bottom())
        painter.fillPath(shore, QColor(colour))

    def _paint_missing(self, painter: QPainter, sea: QRectF, take: TakeDetail, whole_s: float) -> None:
        for event in take.events:
            if event.kind == EventKind.GAP:
                begin = event.frame / take.row.rate_hz / whole_s
                share = (event.frames or 0) / take.row.rate_hz / whole_s
                box = QRectF(
                    sea.left() + begin * sea.width(), sea.top(), max(2.0, share * sea.width()), sea.height()
                )
                painter.fillRect(box, QColor(self._theme.palette.panel))
                painter.setPen(QPen(QColor(self._theme.palette.missing), 1, Qt.PenStyle.DashLine))
                painter.drawRect(box)

    def _paint_flags(self, painter: QPainter, sea: QRectF, take: TakeDetail, whole_s: float) -> None:
        """A flag for each pixel with a clip in it: a shape, so that no colour need be told apart."""
        rate_hz = take.row.rate_hz
        places = {
            round(sea.left() + min(1.0, event.frame / rate_hz / whole_s) * (sea.width() - 2))
            for event in take.events
            if event.kind == EventKind.CLIP
        }
        colour = QColor(self._theme.palette.verdicts[Verdict.AWASH])
        painter.setBrush(colour)
        for x in sorted(places):
            painter.fillRect(QRectF(x, 1.0, 1.5, sea.bottom() - 1.0), colour)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.drawPolygon(
                QPolygonF([QPointF(x, 0.0), QPointF(x + _FLAG, _FLAG / 2), QPointF(x, _FLAG)])
            )
        painter.setBrush(Qt.BrushStyle.NoBrush)
        if self.chosen_s is not None:
            middle = sea.left() + min(1.0, self.chosen_s / whole_s) * (sea.width() - 2)
            painter.setPen(QPen(QColor(self._theme.palette.focus), 2))
            painter.drawRect(QRectF(middle - UNIT, sea.top(), 2 * UNIT, sea.height() - 1))
