"""The sea chart: the last half minute of one channel.

The average is the water with its crest, the peaks stand above it, the noise floor is the bed, the peak
ceiling is the deck, full scale is the rail, and a flag stands where the peaks were highest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QSize, Qt
from PySide6.QtGui import QFontMetrics, QResizeEvent
from PySide6.QtWidgets import QFrame, QSizePolicy, QWidget

from app.coach.judgement import Target
from app.engine.snapshot import Snapshot
from app.window.overlay import Overlay
from app.window.ports import HasHistory
from app.window.scale import TICKS_DBFS, LevelScale
from app.window.seaitem import LEAST_BED, SPAN_S, SeaItem
from app.window.theme import UNIT, Theme, Type
from app.words import chart as words
from app.words import numbers

_SLOWEST_FRAME_S, _FASTEST_FRAME_S = 1 / 32, 1 / 64
_STEP_S = 1.0
"""How often the picture goes on for those who want little motion."""


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
        self.setFrameShape(QFrame.Shape.NoFrame)
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
        self._hold_dbfs = -math.inf
        self.overlay = Overlay(self, theme)
        """Explains the chart."""
        self.set_theme(theme)

    def minimumSizeHint(self) -> QSize:
        """Enough for the axis to be read."""
        return QSize(360, 150)

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
        metrics = QFontMetrics(small)
        self._axes["left"].setWidth(metrics.horizontalAdvance(numbers.decibels(-88, 0)) + 3 * UNIT)
        labels = (words.rail_label(), words.deck_label(), words.band_label(), words.bed_unknown_label())
        widest = max(metrics.horizontalAdvance(line) for label in labels for line in label.split("\n"))
        self._axes["right"].setWidth(widest + 4 * UNIT)
        self._axes["bottom"].setHeight(metrics.height() + 2 * UNIT)
        self._label_axes()
        self._sea.set_look(theme, self._target)
        self.overlay.set_theme(theme)

    def set_target(self, target: Target) -> None:
        """Draw deck and band where this target has them."""
        if target != self._target:
            self._target = target
            self._label_axes()
            self._sea.set_look(self._theme, target)

    def show_state(self, snapshot: Snapshot, history: HasHistory | None, channel: int, now_s: float) -> None:
        """Draw what is new. Called at the screen's rate; costs next to nothing when nothing moved."""
        floor = snapshot.noise_floor_dbfs[channel] if channel < len(snapshot.noise_floor_dbfs) else math.nan
        hold = snapshot.peak_hold_dbfs[channel] if channel < len(snapshot.peak_hold_dbfs) else -math.inf
        self._hold_dbfs = hold
        if not _same(floor, self._floor_dbfs, 0.5):
            self._floor_dbfs = floor
            self._label_axes()
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

    @property
    def frame_s(self) -> float:
        """How long a picture is good for: until the sea has moved by a pixel, within limits.

        Drawn more often, nothing would be seen but the newest pixel column filling up; this keeps what
        enters the history within 50 ms of the eye.
        """
        if self._theme.still:
            return _STEP_S
        return min(_SLOWEST_FRAME_S, max(_FASTEST_FRAME_S, self._sea.column_s))

    def redraw(self) -> None:
        """Draw everything anew with the next state: another input, another channel."""
        self._sea.forget()

    def show_overlay(self, shown: bool) -> None:
        """Explain what is seen, or stop."""
        self.overlay.setVisible(shown)
        if shown:
            self._place_overlay()
            self.overlay.raise_()
            self.overlay.setFocus()

    def _place_overlay(self) -> None:
        view = self.getPlotItem().getViewBox()
        area = self.mapFromScene(view.sceneBoundingRect()).boundingRect().toRectF()
        height, target = self._scale.height, self._target
        middle = (target.window_low_dbfs + target.window_high_dbfs) / 2
        bed = max(height(self._floor_dbfs), LEAST_BED)
        levels = {
            "rail": height(0.0),
            "deck": height(target.ceiling_dbfs),
            "band": height(middle),
            "water": (height(target.window_low_dbfs) + bed) / 2,
            "bed": 0.5 * bed,
        }
        hold = self._hold_dbfs if math.isfinite(self._hold_dbfs) else target.ceiling_dbfs
        levels["flag"] = min(height(hold), 0.98)
        levels["spray"] = (height(target.ceiling_dbfs) + height(target.window_high_dbfs)) / 2
        across = {"rail": 0.02, "deck": 0.05, "flag": 0.08, "spray": 0.11, "band": 0.02, "water": 0.05}
        places = {
            key: QPointF(area.width() * across.get(key, 0.08), area.height() * (1.0 - level))
            for key, level in levels.items()
        }
        self.overlay.show_over(area, places)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave out words and numbers that would lie over each other."""
        super().resizeEvent(event)
        if hasattr(self, "overlay"):  # the base class resizes itself while it is being built
            self._label_axes()
            if self.overlay.isVisible():
                self._place_overlay()

    def _label_axes(self) -> None:
        target, height = self._target, self._scale.height
        metrics = QFontMetrics(self._theme.font(Type.SMALL))
        line = metrics.height()
        apart = 1.3 * metrics.horizontalAdvance(words.seconds_ago(25)) * SPAN_S / max(1, self.width() - 200)
        step_s = next((step_s for step_s in (5, 10) if step_s > apart), 15)
        times = [(-s, words.seconds_ago(s)) for s in range(step_s, int(SPAN_S), step_s)]
        self._axes["bottom"].setTicks([[*times, (0, words.now())]])
        room = max(1.0, self.height() - 3.0 * line)
        levels: list[float] = []
        for level in TICKS_DBFS:
            if not levels or (height(levels[-1]) - height(level)) * room > 1.1 * line:
                levels.append(level)
        self._axes["left"].setTicks([[(height(level), numbers.decibels(level, 0)) for level in levels]])
        bed_known = math.isfinite(self._floor_dbfs)
        places = [
            (height(0.0), words.rail_label()),
            (height(target.ceiling_dbfs), words.deck_label()),
            (height((target.window_low_dbfs + target.window_high_dbfs) / 2), words.band_label()),
            (
                0.5 * max(height(self._floor_dbfs), LEAST_BED),
                words.bed_label() if bed_known else words.bed_unknown_label(),
            ),
        ]
        tall = max(1.0, self.height() - self._axes["bottom"].height() - UNIT)
        self._axes["right"].setTicks([_apart(places, line / tall, UNIT / tall)])


def _apart(places: Sequence[tuple[float, str]], line: float, above: float) -> list[tuple[float, str]]:
    """Names that lie neither over each other nor over the edge: the first and the last before the others.

    Where there is too little room for all of a name, its first line says enough; then it is left out.
    ``line`` is a line's height as a share of the chart's, ``above`` the room over it, likewise.
    """
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


class _Axis(pg.AxisItem):
    """An axis that keeps the words it was given, whatever the room."""

    def __init__(self, side: str) -> None:
        super().__init__(side)
        self.setZValue(-1)
        # Its rectangle reaches into the plot; a kept picture spares it the words of every frame.
        self.setCacheMode(self.CacheMode.DeviceCoordinateCache)


def _same(a: float, b: float, within: float) -> bool:
    return a == b or (math.isnan(a) and math.isnan(b)) or abs(a - b) < within
