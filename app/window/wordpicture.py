"""A word as a picture: the same sea as on the chart, or a wave close up, with the thing itself marked.

Beside an explanation, never in its place: some words have no picture, and a screen reader misses nothing.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping
from functools import partial
from types import MappingProxyType

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.coach.judgement import Verdict
from app.window.guard import painting
from app.window.hull import paint_scene
from app.window.scale import TICKS_DBFS, LevelScale
from app.window.theme import RADIUS, UNIT, Theme, Type
from app.words.numbers import decibels

_CEILING_DBFS, _REF_DBFS, _RAIL_DBFS, _FLOOR_DBFS = -6.0, -18.0, 0.0, -66.0
_STEPS = 240
_BESIDE = 0.16
"""How much is left free beside the sea for numbers."""
_QUIET = 0.16
"""Where the playing is soft."""


class WordPicture(QWidget):
    """Paints the word that it is given."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._key = ""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumHeight(0)

    @staticmethod
    def has(key: str) -> bool:
        """Whether there is a picture of a word."""
        return key in _PICTURES or key in _VERDICTS

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self.update()

    def show_word(self, key: str) -> None:
        """Paint this word, or nothing where there is no picture of it."""
        self._key = key
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002 - Qt's signature
        """Paint the picture into a frame."""
        if not self.has(self._key):
            return
        rect = QRectF(self.rect()).adjusted(0.5, 0.5, -0.5, -0.5)
        frame = QPainterPath()
        frame.addRoundedRect(rect, RADIUS, RADIUS)
        palette = self._theme.palette
        with painting(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setClipPath(frame)
            painter.fillRect(rect, QColor(palette.air))
            if self._key in _VERDICTS:
                paint_scene(painter, rect, _VERDICTS[self._key], palette)
            else:
                _PICTURES[self._key](_Canvas(painter, rect, self._theme))
            painter.setClipping(False)
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(palette.edge), 1))
            painter.drawPath(frame)


class _Canvas:
    """What every picture needs: levels to places, and the ways to mark something."""

    def __init__(self, painter: QPainter, rect: QRectF, theme: Theme) -> None:
        self.painter, self.rect, self.palette = painter, rect, theme.palette
        self._scale = LevelScale()
        painter.setFont(theme.font(Type.BODY))

    def x(self, share: float) -> float:
        """A place along the picture."""
        return self.rect.left() + share * self.rect.width()

    def y(self, level_dbfs: float) -> float:
        """The height of a level."""
        return self.rect.bottom() - self._scale.height(level_dbfs) * self.rect.height()

    def at(self, value: float) -> float:
        """The height of a sample; 1 and -1 are full scale."""
        return self.rect.center().y() - 0.36 * value * self.rect.height()

    def line(self, y: float, colour: str, width: float = 1.0, *, dashed: bool = False) -> None:
        """A level from side to side."""
        pen = QPen(QColor(colour), width)
        if dashed:
            pen.setStyle(Qt.PenStyle.DashLine)
        self.painter.setPen(pen)
        self.painter.drawLine(QPointF(self.rect.left(), y), QPointF(self.rect.right(), y))

    def curve(self, height: Callable[[float], float], width: float = 2.0, colour: str = "") -> None:
        """A line through ``height`` of every share of the width."""
        points = [QPointF(self.x(n / _STEPS), height(n / _STEPS)) for n in range(_STEPS + 1)]
        self.painter.setPen(QPen(QColor(colour or self.palette.crest), width))
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        self.painter.drawPolyline(QPolygonF(points))

    def fill(
        self, height: Callable[[float], float], colour: QColor, begin: float = 0.0, end: float = 1.0
    ) -> None:
        """Everything below ``height`` between two shares of the width."""
        path = QPainterPath(QPointF(self.x(begin), self.rect.bottom()))
        for n in range(_STEPS + 1):
            share = begin + (end - begin) * n / _STEPS
            path.lineTo(QPointF(self.x(share), height(share)))
        path.lineTo(QPointF(self.x(end), self.rect.bottom()))
        path.closeSubpath()
        self.painter.fillPath(path, colour)

    def mark_line(self, y: float, text: str = "") -> None:
        """The level that is meant."""
        self.line(y, self.palette.focus, 3.0)
        if text:
            self.say(text, self.x(0.02), y - UNIT)

    def span(self, share: float, top: float, foot: float, text: str = "") -> None:
        """The distance that is meant."""
        x, arm = self.x(share), 2.0 * UNIT
        self.painter.setPen(QPen(QColor(self.palette.focus), 3.0))
        for y in (top, foot):
            self.painter.drawLine(QPointF(x - arm, y), QPointF(x + arm, y))
        self.painter.drawLine(QPointF(x, top), QPointF(x, foot))
        if text:
            self.say(text, x + arm + UNIT, (top + foot) / 2 + 0.35 * self.painter.fontMetrics().ascent())

    def dot(self, share: float, y: float, radius: float = 5.0) -> None:
        """The point that is meant."""
        self.painter.setPen(Qt.PenStyle.NoPen)
        self.painter.setBrush(QColor(self.palette.focus))
        self.painter.drawEllipse(QPointF(self.x(share), y), radius, radius)

    def say(self, text: str, x: float, base: float) -> None:
        """A number beside a mark."""
        self.painter.setPen(QPen(QColor(self.palette.text)))
        self.painter.drawText(QPointF(x, base), text)

    def sea(self, lift_db: float = 0.0, begin: float = 0.0, end: float = 1.0) -> None:
        """Bed, water, spray, deck and rail, ``lift_db`` higher than usual."""
        palette = self.palette
        spray, water = QColor(palette.spray_near), QColor(palette.shallow)
        self.fill(lambda share: self.y(_peak_dbfs(share) + lift_db), spray, begin, end)
        self.fill(lambda share: self.y(_average_dbfs(share) + lift_db), water, begin, end)
        self.fill(lambda _share: self.y(_FLOOR_DBFS + lift_db), QColor(palette.bed), begin, end)
        self.line(self.y(_RAIL_DBFS), palette.rail, 2.0)
        self.line(self.y(_CEILING_DBFS), palette.deck, 2.0, dashed=True)

    def rails(self) -> None:
        """The largest numbers there are, for a wave close up, and its middle."""
        for value in (1.0, -1.0):
            self.line(self.at(value), self.palette.rail, 2.0)
        self.line(self.at(0.0), self.palette.grid, 1.0)


def _average_dbfs(share: float) -> float:
    """A verse, a breath, and a louder refrain."""
    if 0.36 < share < 0.42:
        return -60.0
    loud = -19.0 if share > 0.42 else -27.0
    return loud + 2.0 * math.sin(41.0 * share) + 1.2 * math.sin(97.0 * share)


def _peak_dbfs(share: float) -> float:
    if 0.36 < share < 0.42:
        return -54.0
    top = 7.0 + 2.5 * math.sin(173.0 * share)
    return _average_dbfs(share) + top


_LOUDEST = max((number / _STEPS for number in range(round(0.7 * _STEPS))), key=_peak_dbfs)
"""Where the highest peak stands, as a share of the width: left of what a forecast looks into."""


def _dbfs(canvas: _Canvas) -> None:
    canvas.sea(begin=_BESIDE)
    for level_dbfs in TICKS_DBFS:
        y = canvas.y(level_dbfs)
        canvas.line(y, canvas.palette.focus if level_dbfs == 0.0 else canvas.palette.grid, 1.0)
        canvas.say(decibels(level_dbfs, 0), canvas.x(0.02), y + 0.35 * canvas.painter.fontMetrics().ascent())
    canvas.span(0.5 * _BESIDE, canvas.y(0.0), canvas.y(TICKS_DBFS[-1]))


def _zero_ref(canvas: _Canvas) -> None:
    canvas.sea(begin=_BESIDE)
    canvas.mark_line(canvas.y(_REF_DBFS), decibels(_REF_DBFS, 0))


def _average(canvas: _Canvas) -> None:
    canvas.sea()
    canvas.curve(lambda share: canvas.y(_average_dbfs(share)), 3.0, canvas.palette.focus)


def _peak(canvas: _Canvas) -> None:
    canvas.sea()
    canvas.curve(lambda share: canvas.y(_peak_dbfs(share)), 3.0, canvas.palette.focus)


def _swell_mark(canvas: _Canvas) -> None:
    canvas.sea()
    x, y = canvas.x(_LOUDEST), canvas.y(_peak_dbfs(_LOUDEST))
    ink = QColor(canvas.palette.focus)
    canvas.painter.fillRect(QRectF(x, y - 1, canvas.rect.right() - x, 2), ink)
    canvas.painter.fillRect(QRectF(x - 1, y - 28, 3, 28), ink)
    canvas.painter.setPen(Qt.PenStyle.NoPen)
    canvas.painter.setBrush(ink)
    pennant = ((0, 28), (20, 21), (0, 14))
    canvas.painter.drawPolygon(QPolygonF([QPointF(x + dx, y - dy) for dx, dy in pennant]))


def _headroom(canvas: _Canvas) -> None:
    canvas.sea()
    canvas.span(_LOUDEST, canvas.y(_RAIL_DBFS), canvas.y(_peak_dbfs(_LOUDEST)))


def _crest(canvas: _Canvas) -> None:
    canvas.sea()
    canvas.span(_LOUDEST, canvas.y(_peak_dbfs(_LOUDEST)), canvas.y(_average_dbfs(_LOUDEST)))


def _deck(canvas: _Canvas) -> None:
    canvas.sea()
    canvas.line(canvas.y(_RAIL_DBFS), canvas.palette.focus, 3.0)
    canvas.line(canvas.y(_CEILING_DBFS), canvas.palette.focus, 3.0, dashed=True)
    canvas.span(0.2, canvas.y(_RAIL_DBFS), canvas.y(_CEILING_DBFS))


def _noise_floor(canvas: _Canvas) -> None:
    canvas.sea()
    canvas.mark_line(canvas.y(_FLOOR_DBFS))
    canvas.dot(0.39, canvas.y(_FLOOR_DBFS))


def _gain(canvas: _Canvas) -> None:
    """The same playing before and after a turn of the knob: the noise comes along."""
    canvas.sea(-12.0, 0.0, 0.5)
    canvas.sea(0.0, 0.5, 1.0)
    middle = canvas.x(0.5)
    canvas.painter.setPen(QPen(QColor(canvas.palette.edge), 2))
    canvas.painter.drawLine(QPointF(middle, canvas.rect.top()), QPointF(middle, canvas.rect.bottom()))
    canvas.span(0.47, canvas.y(_FLOOR_DBFS), canvas.y(_FLOOR_DBFS - 12.0))
    canvas.span(0.53, canvas.y(-18.0), canvas.y(-30.0))


def _low_gain(canvas: _Canvas) -> None:
    """Low, and still far above the bed."""
    canvas.sea(-10.0)
    canvas.span(_LOUDEST, canvas.y(_average_dbfs(_LOUDEST) - 10.0), canvas.y(_FLOOR_DBFS - 10.0))


def _range(canvas: _Canvas) -> None:
    canvas.sea()
    canvas.line(canvas.y(-27.0), canvas.palette.focus, 2.0, dashed=True)
    canvas.line(canvas.y(-19.0), canvas.palette.focus, 2.0, dashed=True)
    canvas.span(_QUIET, canvas.y(-19.0), canvas.y(-27.0))


def _forecast(canvas: _Canvas) -> None:
    """What was heard, and from there how high it may come: a cone that reaches for the rail."""
    begin = 0.7
    canvas.sea(end=begin)
    heard, cone = canvas.y(_peak_dbfs(_LOUDEST)), QColor(canvas.palette.focus)
    for likely_db, alpha in ((12.0, 60), (8.0, 90), (4.0, 130)):
        cone.setAlpha(alpha)
        top = canvas.y(_peak_dbfs(_LOUDEST) + likely_db)
        edge = canvas.rect.right()
        canvas.painter.setPen(Qt.PenStyle.NoPen)
        canvas.painter.setBrush(cone)
        canvas.painter.drawPolygon(
            QPolygonF([QPointF(canvas.x(begin), heard), QPointF(edge, top), QPointF(edge, heard)])
        )
    canvas.line(canvas.y(_RAIL_DBFS), canvas.palette.rail, 2.0)


def _true_peak(canvas: _Canvas) -> None:
    canvas.rails()

    def wave(share: float) -> float:
        return 0.92 * math.sin(2 * math.pi * 2 * share)

    canvas.curve(lambda share: canvas.at(wave(share)))
    samples = [(1 + 2 * number) / 16 for number in range(8)]
    for share in samples:
        canvas.dot(share, canvas.at(wave(share)), 4.0)
    highest = max(map(wave, samples))
    canvas.span(1 / 8, canvas.at(0.92), canvas.at(highest))


def _cut(canvas: _Canvas, amplitude: float, level: float) -> None:
    """A wave that is cut at a level, above and below, with the places marked."""
    canvas.rails()

    def wave(share: float) -> float:
        return amplitude * math.sin(2 * math.pi * 2.5 * share)

    def cut(share: float) -> float:
        return max(-level, min(level, wave(share)))

    canvas.curve(lambda share: canvas.at(wave(share)), 1.0, canvas.palette.missing)
    canvas.curve(lambda share: canvas.at(cut(share)))
    canvas.painter.setPen(QPen(QColor(canvas.palette.focus), 4.0))
    shares = [number / _STEPS for number in range(_STEPS + 1)]
    for before, after in itertools.pairwise(shares):
        if abs(wave(before)) > level:
            y = canvas.at(cut(before))
            canvas.painter.drawLine(QPointF(canvas.x(before), y), QPointF(canvas.x(after), y))


def _dc_offset(canvas: _Canvas) -> None:
    canvas.rails()
    canvas.curve(lambda share: canvas.at(0.35 + 0.5 * math.sin(2 * math.pi * 3 * share)))
    canvas.line(canvas.at(0.35), canvas.palette.focus, 3.0)
    canvas.span(0.04, canvas.at(0.35), canvas.at(0.0))


def _hum(canvas: _Canvas) -> None:
    canvas.rails()

    def wave(share: float) -> float:
        turn = 2 * math.pi * 3 * share
        return 0.22 * math.sin(turn) + 0.1 * math.sin(2 * turn + 0.6) + 0.06 * math.sin(3 * turn)

    canvas.curve(lambda share: canvas.at(wave(share)), 3.0, canvas.palette.focus)


_PICTURES: Mapping[str, Callable[[_Canvas], None]] = MappingProxyType(
    {
        "dbfs": _dbfs,
        "zero_ref": _zero_ref,
        "average": _average,
        "peak": _peak,
        "peak_hold": _swell_mark,
        "swell_mark": _swell_mark,
        "true_peak": _true_peak,
        "headroom": _headroom,
        "crest": _crest,
        "clip": partial(_cut, amplitude=1.4, level=1.0),
        "flat_top": partial(_cut, amplitude=0.85, level=0.6),
        "gain": _gain,
        "low_gain": _low_gain,
        "noise_floor": _noise_floor,
        "hum": _hum,
        "dc_offset": _dc_offset,
        "range": _range,
        "sea_chart": _Canvas.sea,
        "deck": _deck,
        "forecast": _forecast,
    }
)
_VERDICTS: Mapping[str, Verdict] = MappingProxyType({verdict.value: verdict for verdict in Verdict})
