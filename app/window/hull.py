"""The verdict as a picture: a boat at a jetty whose deck is the peak ceiling, and how high the water stands.

Aground on the bed (Slack), low in the basin with the deck far overhead (Low water), riding level with room
to spare (Fair water), waves at the deck (High water), a wave over the boat (Awash). The shapes differ in
outline alone, so that no colour is needed to tell them apart.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPen, QTransform

from app.coach.judgement import Verdict
from app.window.theme import Palette

_DECK = 0.54
"""Where the jetty's deck lies, as a share of the picture's height from its top."""
_BED = 0.90


@dataclass(frozen=True, slots=True)
class _Scene:
    water: float
    """The water's level as a share of the height from the top; 1 is none."""
    swell: float
    """Height of the waves, likewise."""
    waves: float
    """How many waves the picture is wide."""
    heel: float
    """How far the boat leans, in degrees."""
    draught: float
    """How deep the boat sits, as a share of its hull; 1 is under."""


_SCENES: Mapping[Verdict, _Scene] = MappingProxyType(
    {
        Verdict.SLACK: _Scene(water=0.95, swell=0.0, waves=1.0, heel=17.0, draught=0.0),
        Verdict.LOW_WATER: _Scene(water=0.83, swell=0.008, waves=2.0, heel=0.0, draught=0.45),
        Verdict.FAIR_WATER: _Scene(water=0.69, swell=0.014, waves=2.0, heel=0.0, draught=0.5),
        Verdict.HIGH_WATER: _Scene(water=0.575, swell=0.055, waves=3.0, heel=-6.0, draught=0.5),
        Verdict.AWASH: _Scene(water=0.52, swell=0.045, waves=2.5, heel=-15.0, draught=0.78),
    }
)


def paint_scene(painter: QPainter, rect: QRectF, verdict: Verdict | None, palette: Palette) -> None:
    """Paint the picture of a verdict, or an empty basin without one, into ``rect``."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setClipRect(rect, Qt.ClipOperation.IntersectClip)
    painter.fillRect(rect, QColor(palette.air))
    scene = _SCENES[verdict] if verdict is not None else _SCENES[Verdict.SLACK]
    colour = QColor(palette.verdicts[verdict]) if verdict is not None else QColor(palette.edge)
    ink = QColor(palette.text if verdict is not None else palette.muted)
    width, height = rect.width(), rect.height()
    boat = min(0.36 * width, 0.54 * height)
    middle = rect.left() + 0.42 * width
    level = rect.top() + scene.water * height

    def surface(x: float) -> float:
        phase = (x - middle) / width * scene.waves * 2 * math.pi
        # Crests a little sharper than troughs, as in nature, and a crest off the boat's bow.
        return level - scene.swell * height * (math.cos(phase - 0.9) + 0.22 * math.cos(2 * phase - 1.8))

    if verdict is not None and scene.water < _BED:
        far = QColor(colour)
        far.setAlpha(70)
        painter.fillPath(_water(rect, lambda x: surface(x + 0.11 * width) - 0.012 * height), far)
    if verdict in (None, Verdict.SLACK):
        _paint_bed(painter, rect, palette)
        foot = rect.top() + _BED * height
        paint_boat(painter, QPointF(middle, foot - 0.02 * boat), boat, ink, scene.heel)
        if verdict is not None:
            puddle = QRectF(middle - 0.46 * width, foot + 0.01 * height, 0.34 * width, 0.05 * height)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(colour)
            painter.drawEllipse(puddle)
            painter.drawEllipse(puddle.translated(0.66 * width, 0.02 * height))
        _paint_jetty(painter, rect, palette, ink)
        painter.restore()
        return
    _paint_jetty(painter, rect, palette, ink)
    keel = surface(middle) + scene.draught * 0.36 * boat
    paint_boat(painter, QPointF(middle, keel), boat, ink, scene.heel)
    near = QColor(colour)
    near.setAlpha(236)
    sea = _water(rect, surface)
    if verdict is Verdict.AWASH:
        sea = sea.united(_breaker(middle, boat, surface(middle)))
    painter.fillPath(sea, near)
    _paint_bed(painter, rect, palette)
    painter.restore()


def paint_mark(painter: QPainter, rect: QRectF, verdict: Verdict, palette: Palette) -> None:
    """Paint a verdict as a small mark: the hull and the water's level alone, for lists."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    colour = QColor(palette.verdicts[verdict])
    shape = QPainterPath()
    shape.addRoundedRect(rect, 3, 3)
    painter.setClipPath(shape)
    painter.fillRect(rect, QColor(palette.air))
    share = {
        Verdict.SLACK: 0.0,
        Verdict.LOW_WATER: 0.25,
        Verdict.FAIR_WATER: 0.5,
        Verdict.HIGH_WATER: 0.78,
        Verdict.AWASH: 1.0,
    }[verdict]
    top = rect.bottom() - max(0.12, share) * rect.height()
    painter.fillRect(QRectF(rect.left(), top, rect.width(), rect.bottom() - top), colour)
    painter.restore()
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(colour, 1.5))
    painter.drawPath(shape)
    painter.restore()


def boat_path(width: float) -> QPainterPath:
    """A small open boat seen from the side, its keel's middle at the origin, its mast not included."""
    depth = 0.36 * width
    path = QPainterPath(QPointF(-0.5 * width, -depth))
    path.cubicTo(QPointF(-0.46 * width, -0.30 * depth), QPointF(-0.30 * width, 0), QPointF(-0.10 * width, 0))
    path.lineTo(QPointF(0.16 * width, 0))
    path.cubicTo(
        QPointF(0.36 * width, -0.02 * depth),
        QPointF(0.50 * width, -0.55 * depth),
        QPointF(0.56 * width, -1.12 * depth),
    )
    path.quadTo(QPointF(0.02 * width, -0.80 * depth), QPointF(-0.5 * width, -depth))
    path.closeSubpath()
    return path


def paint_boat(painter: QPainter, keel: QPointF, width: float, ink: QColor, heel: float = 0.0) -> None:
    """Paint the boat with its sail; ``heel`` is how far it leans, in degrees."""
    depth = 0.36 * width
    painter.save()
    painter.setTransform(QTransform().translate(keel.x(), keel.y()).rotate(heel), combine=True)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(ink)
    painter.drawPath(boat_path(width))
    painter.drawRect(QRectF(-0.035 * width, -1.0 * width, 0.03 * width, 1.0 * width - 0.8 * depth))
    sail = QPainterPath(QPointF(0.02 * width, -0.98 * width))
    sail.quadTo(QPointF(0.30 * width, -0.72 * width), QPointF(0.36 * width, -depth - 0.09 * width))
    sail.lineTo(QPointF(0.02 * width, -depth - 0.05 * width))
    sail.closeSubpath()
    painter.drawPath(sail)
    painter.restore()


def _water(rect: QRectF, surface: Callable[[float], float]) -> QPainterPath:
    path = QPainterPath(QPointF(rect.left(), rect.bottom()))
    steps = 72
    for step in range(steps + 1):
        x = rect.left() + rect.width() * step / steps
        path.lineTo(QPointF(x, surface(x)))
    path.lineTo(rect.bottomRight())
    path.closeSubpath()
    return path


def _paint_jetty(painter: QPainter, rect: QRectF, palette: Palette, ink: QColor) -> None:
    deck = rect.top() + _DECK * rect.height()
    left = rect.left() + 0.76 * rect.width()
    plank = max(4.0, 0.028 * rect.height())
    wood = QColor(palette.deck)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(wood)
    painter.drawRect(QRectF(left, deck - plank, rect.right() - left, plank))
    for share in (0.06, 0.52, 0.98):
        x = left + share * (rect.right() - left)
        painter.drawRect(QRectF(x, deck, 0.7 * plank, rect.bottom() - deck))
    painter.setBrush(ink)
    painter.drawRect(QRectF(left + 0.07 * rect.width(), deck - 2.6 * plank, 0.9 * plank, 1.6 * plank))


def _paint_bed(painter: QPainter, rect: QRectF, palette: Palette) -> None:
    top = rect.top() + _BED * rect.height()

    def ground(x: float) -> float:
        share = (x - rect.left()) / rect.width()
        return (
            top + 0.012 * rect.height() * math.sin(7 * share) + 0.008 * rect.height() * math.sin(19 * share)
        )

    path = _water(rect, ground)
    painter.fillPath(path, QColor(palette.bed))
    painter.save()
    painter.setClipPath(path, Qt.ClipOperation.IntersectClip)
    painter.setPen(QPen(QColor(palette.bed_hatch), 1))
    step, height = 8.0, rect.bottom() - top + 8
    for number in range(int((rect.width() + height) / step) + 2):
        x = rect.left() + number * step
        painter.drawLine(QPointF(x, top - 4), QPointF(x - height, top - 4 + height))
    painter.restore()


def _breaker(middle: float, boat: float, level: float) -> QPainterPath:
    """One wave that rises astern, curls over the boat and comes down before its mast, with its spray."""
    size = 1.15 * boat
    left = middle - 1.02 * boat

    def at(x: float, y: float) -> QPointF:
        return QPointF(left + x * size, level + y * size)

    path = QPainterPath(at(-0.45, 0.3))
    path.cubicTo(at(-0.05, 0.1), at(0.02, -0.72), at(0.62, -0.74))
    path.cubicTo(at(0.98, -0.74), at(1.16, -0.46), at(1.10, -0.16))
    path.cubicTo(at(1.02, -0.40), at(0.78, -0.50), at(0.62, -0.42))
    path.cubicTo(at(0.40, -0.30), at(0.48, 0.02), at(0.70, 0.3))
    path.closeSubpath()
    for x, y, radius in (
        (1.26, -0.52, 0.032),
        (1.18, -0.68, 0.022),
        (1.34, -0.34, 0.02),
        (1.02, -0.82, 0.018),
    ):
        path.addEllipse(at(x, y), radius * size, radius * size)
    return path
