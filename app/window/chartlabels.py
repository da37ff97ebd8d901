"""The words and numbers around the sea chart, and how much room they leave for the sea."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QRect, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetrics, QPainter

from app.coach.judgement import Target
from app.window.scale import TICKS_DBFS, LevelScale
from app.window.seapaint import LEAST_BED, SPAN_S
from app.window.theme import UNIT, Theme, Type
from app.words import chart as words
from app.words import numbers

_BESIDE = 2 * UNIT
"""Between the plot and what is written beside it."""


@dataclass(frozen=True, slots=True)
class Label:
    """A number, or the name of a place in a line or two."""

    text: str
    box: QRectF
    align: Qt.AlignmentFlag
    is_name: bool = False
    """Names are read, numbers looked up."""


def plot_in(size: QSize, theme: Theme) -> QRect:
    """What the words leave of a widget of this size."""
    metrics = QFontMetrics(theme.font(Type.SMALL))
    names = (words.rail_label(), words.deck_label(), words.band_label(), words.bed_unknown_label())
    widest = max(metrics.horizontalAdvance(line) for name in names for line in name.split("\n"))
    left = metrics.horizontalAdvance(numbers.decibels(-88, 0)) + 3 * UNIT
    right = widest + 2 * _BESIDE
    below = metrics.height() + _BESIDE
    return QRect(left, UNIT, max(0, size.width() - left - right), max(0, size.height() - UNIT - below))


def labels_around(
    plot: QRect, theme: Theme, scale: LevelScale, target: Target, floor_dbfs: float
) -> list[Label]:
    """All that is written around a plot, without what would lie over each other."""
    metrics = QFontMetrics(theme.font(Type.SMALL))
    return [
        *_times(plot, metrics),
        *_levels(plot, metrics, scale),
        *_names(plot, metrics, scale, target, floor_dbfs),
    ]


def paint_labels(painter: QPainter, labels: Sequence[Label], theme: Theme) -> None:
    """Write them."""
    painter.setFont(theme.font(Type.SMALL))
    for label in labels:
        painter.setPen(QColor(theme.palette.text if label.is_name else theme.palette.muted))
        painter.drawText(label.box, label.align, label.text)


def _times(plot: QRect, metrics: QFontMetrics) -> list[Label]:
    """Below the plot: how long ago."""
    apart = 1.3 * metrics.horizontalAdvance(words.seconds_ago(25)) * SPAN_S / max(1, plot.width())
    step_s = next((step_s for step_s in (5, 10) if step_s > apart), 15)
    times = [(-s, words.seconds_ago(s)) for s in range(step_s, int(SPAN_S), step_s)]
    labels = []
    for t_s, text in (*times, (0, words.now())):
        wide = metrics.horizontalAdvance(text) + 2
        x = plot.left() + (1.0 + t_s / SPAN_S) * plot.width()
        box = QRectF(x - wide / 2, plot.bottom() + 1 + _BESIDE, wide, metrics.height())
        labels.append(Label(text, box, Qt.AlignmentFlag.AlignCenter))
    return labels


def _levels(plot: QRect, metrics: QFontMetrics, scale: LevelScale) -> list[Label]:
    """On the left: levels in dBFS."""
    line = metrics.height()
    labels: list[Label] = []
    for level_dbfs in TICKS_DBFS:
        y = _y(plot, scale.height(level_dbfs))
        if not labels or y - labels[-1].box.center().y() > 1.1 * line:
            box = QRectF(0, y - line / 2, plot.left() - _BESIDE, line)
            right = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
            labels.append(Label(numbers.decibels(level_dbfs, 0), box, right))
    return labels


def _names(
    plot: QRect, metrics: QFontMetrics, scale: LevelScale, target: Target, floor_dbfs: float
) -> list[Label]:
    """On the right: what the places in the sea are."""
    height = scale.height
    bed = words.bed_label() if math.isfinite(floor_dbfs) else words.bed_unknown_label()
    places = [
        (height(0.0), words.rail_label()),
        (height(target.ceiling_dbfs), words.deck_label()),
        (height((target.window_low_dbfs + target.window_high_dbfs) / 2), words.band_label()),
        (0.5 * max(height(floor_dbfs), LEAST_BED), bed),
    ]
    tall, line = max(1, plot.height()), metrics.height()
    labels = []
    for at, text in _apart(places, line / tall, plot.top() / tall):
        room = line * (text.count("\n") + 1)
        left = plot.right() + 1 + _BESIDE
        box = QRectF(left, _y(plot, at) - room / 2, 10_000, room)
        labels.append(Label(text, box, Qt.AlignmentFlag.AlignLeft, is_name=True))
    return labels


def _y(plot: QRect, height: float) -> float:
    return plot.top() + (1.0 - height) * plot.height()


def _apart(places: Sequence[tuple[float, str]], line: float, above: float) -> list[tuple[float, str]]:
    """Names that lie neither over each other nor over the edge: the first and the last before the others.

    Where there is too little room for all of a name, its first line says enough; rather than that one is left
    out, the first of all is cut to its first line as well. ``line`` is a line's height as a share of the
    chart's, ``above`` the room over it, likewise.
    """
    whole = _placed(places, line, above)
    if len(whole) == len(places):
        return whole
    (top, name), *others = places
    short = _placed([(top, name.split("\n")[0]), *others], line, above)
    return short if len(short) > len(whole) else whole


def _placed(places: Sequence[tuple[float, str]], line: float, above: float) -> list[tuple[float, str]]:
    """As many of these names as find room, each as near to its place as the edges let it."""
    kept: list[tuple[float, str]] = []

    def reach(label: str) -> float:
        return 0.5 * line * (label.count("\n") + 1)

    for wanted, label in (places[0], places[-1], *places[1:-1]):
        # "The average" alone would name the wrong thing.
        for text in (label, label if label == words.band_label() else label.split("\n")[0]):
            at = min(max(wanted, reach(text)), 1.0 + min(above, 0.5 * line) - reach(text))
            if all(abs(at - there) >= reach(text) + reach(other) for there, other in kept):
                kept.append((at, text))
                break
    return kept
