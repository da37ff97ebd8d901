"""The way through the guided session as a picture: four legs between buoys, and a boat that sails them.

The boat stands where the session does, a raised pennant marks what is done, a dashed course what is to come,
and the name of the present leg is bold and underlined: no colour is needed to tell them apart.
"""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.window.fit import fitting_pixels
from app.window.guard import painting
from app.window.hull import boat_path
from app.window.theme import MARGIN, RADIUS, UNIT, Theme, Type

_MOST_OVER = 0.35
"""How far past a buoy, or back behind the one before, the boat is drawn, as a share of a leg."""


class Course(QWidget):
    """Shows how far the session is."""

    def __init__(self, theme: Theme, names: Sequence[str], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self._names = tuple(names)
        self._leg = 0
        self._along = 0.0
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        self.setMinimumHeight(18 * UNIT)

    @property
    def place(self) -> float:
        """Where the boat is, in legs from the start."""
        return self._leg + self._along

    def sizeHint(self) -> QSize:
        """As wide as it may be."""
        return QSize(260, 120)

    def show_place(self, leg: int, along: float) -> None:
        """Put the boat on a leg (from 0; one past the last = arrived), ``along`` it by 0 to 1, or past it."""
        along = min(1.0 + _MOST_OVER, max(-_MOST_OVER, along))
        if (leg, round(along, 3)) != (self._leg, round(self._along, 3)):
            self._leg, self._along = leg, along
            self.update()

    def least_height(self, width: int) -> int:
        """How high it must be for the boat to be seen over its names."""
        leg = (width - 3 * MARGIN) / len(self._names)
        return round(2.2 * self._names_font(leg).pixelSize()) + 9 * UNIT

    def _names_font(self, leg: float) -> QFont:
        """As large as every name has room for."""
        font = QFont(self.theme.font(Type.LEAD))
        room = QSize(int(leg) - UNIT, 10 * font.pixelSize())
        font.setPixelSize(min(fitting_pixels(name, font, room, wrap=False) for name in self._names))
        return font

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002 - Qt's signature
        """Paint the legs, the buoys and the boat."""
        frame = QPainterPath()
        rect = QRectF(self.rect())
        frame.addRoundedRect(rect.adjusted(0, 0, 0, 2 * RADIUS), RADIUS, RADIUS)
        with painting(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setClipPath(frame)
            self._paint(painter, rect)

    def _paint(self, painter: QPainter, rect: QRectF) -> None:
        palette = self.theme.palette
        legs = len(self._names)
        left, leg = rect.left() + 1.5 * MARGIN, (rect.width() - 3 * MARGIN) / legs
        font = self._names_font(leg)
        names_height = 2.2 * font.pixelSize()
        sea = QRectF(rect.left(), rect.top(), rect.width(), rect.height() - names_height)
        level = sea.bottom() - 0.22 * sea.height()
        painter.fillRect(sea, QColor(palette.air))
        painter.fillRect(
            QRectF(sea.left(), level, sea.width(), sea.bottom() - level), QColor(palette.shallow)
        )
        ink, quiet = QColor(palette.text), QColor(palette.muted)
        boat = min(0.62 * leg, 0.75 * (level - sea.top()))
        for number in range(legs):
            begin, end = left + number * leg, left + (number + 1) * leg
            done = number < self._leg
            style = Qt.PenStyle.SolidLine if number <= self._leg else Qt.PenStyle.DashLine
            painter.setPen(
                QPen(ink if number <= self._leg else quiet, 3 if number == self._leg else 2, style)
            )
            painter.drawLine(QPointF(begin, level), QPointF(end, level))
            _paint_buoy(painter, QPointF(end, level), 0.34 * boat, ink if done else quiet, passed=done)
            self._paint_name(painter, font, QRectF(begin, sea.bottom(), leg, names_height), number)
        middle = left + self.place * leg
        middle = min(rect.right() - 0.6 * boat, max(rect.left() + 0.6 * boat, middle))
        _paint_boat(painter, QPointF(middle, level + 0.10 * boat), boat, ink, QColor(palette.air))

    def _paint_name(self, painter: QPainter, font: QFont, box: QRectF, number: int) -> None:
        palette = self.theme.palette
        font = QFont(font)
        present = number == self._leg
        font.setWeight(QFont.Weight.Bold if present else QFont.Weight.Normal)
        font.setUnderline(present)
        painter.setFont(font)
        painter.setPen(QColor(palette.text if present else palette.muted))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, self._names[number])


def _paint_buoy(painter: QPainter, foot: QPointF, size: float, ink: QColor, *, passed: bool) -> None:
    painter.setPen(QPen(ink, 2))
    painter.setBrush(ink if passed else Qt.BrushStyle.NoBrush)
    top = QPointF(foot.x(), foot.y() - 1.5 * size)
    painter.drawLine(foot, top)
    painter.drawEllipse(QPointF(foot.x(), foot.y() - 0.1 * size), 0.28 * size, 0.28 * size)
    if passed:
        painter.drawPolygon(
            [
                top,
                QPointF(top.x() + 0.7 * size, top.y() + 0.25 * size),
                QPointF(top.x(), top.y() + 0.5 * size),
            ]
        )


def _paint_boat(painter: QPainter, keel: QPointF, width: float, ink: QColor, rim: QColor) -> None:
    painter.save()
    painter.translate(keel)
    painter.setPen(QPen(rim, 2))  # so that it stands out from a buoy that it passes
    painter.setBrush(ink)
    painter.drawPath(boat_path(width))
    sail = QPainterPath(QPointF(0.02 * width, -width))
    sail.quadTo(QPointF(0.32 * width, -0.72 * width), QPointF(0.36 * width, -0.45 * width))
    sail.lineTo(QPointF(0.02 * width, -0.42 * width))
    sail.closeSubpath()
    painter.drawPath(sail)
    painter.restore()
