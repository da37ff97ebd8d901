"""The sea chart: the last half minute of one channel.

The average is the water with its crest, the peaks stand above it, the noise floor is the bed, the peak
ceiling is the deck, full scale is the rail, and a flag stands where the peaks were highest.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.coach.judgement import Target
from app.engine.snapshot import Snapshot
from app.window.chartlabels import Label, labels_around, paint_labels, plot_in
from app.window.guard import painting
from app.window.overlay import Overlay
from app.window.ports import HasHistory
from app.window.scale import LevelScale, differ
from app.window.seapaint import LEAST_BED, SeaPaint
from app.window.theme import Theme
from app.words import chart as words

_SLOWEST_FRAME_S, _FASTEST_FRAME_S = 1 / 32, 1 / 64
_LABEL_DB = 0.5
"""The name of the bed moves with it in such steps."""
_STEP_S = 1.0
"""How often the picture goes on for those who want little motion."""


class SeaChart(QWidget):
    """The sea with its levels on the left and the names of its places on the right."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._target = Target()
        self._floor_dbfs = math.nan
        self._hold_dbfs = -math.inf
        self._scale = LevelScale()
        self._sea = SeaPaint(self._scale)
        self._labels: list[Label] = []
        self._follow: Callable[[], QRect] = QRect
        """Draws what was shown last; nothing yet."""
        self.plot = QRect()
        """Where the sea lies."""
        # Every pixel is painted here: Qt need not paint what lies behind it first, 30 times a second.
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(words.chart_name())
        self.overlay = Overlay(self, theme)
        """Explains the chart."""
        self.set_theme(theme)

    def minimumSizeHint(self) -> QSize:
        """Enough for the axis to be read."""
        return QSize(360, 150)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self._sea.set_look(theme, self._target)
        self._arrange()
        self.overlay.set_theme(theme)

    def set_target(self, target: Target) -> None:
        """Draw deck and band where this target has them."""
        if target != self._target:
            self._target = target
            self._sea.set_look(self._theme, target)
            self._label()

    def show_state(self, snapshot: Snapshot, history: HasHistory | None, channel: int, now_s: float) -> None:
        """Draw what is new. Called at the screen's rate; costs next to nothing when nothing moved."""
        floor = snapshot.noise_floor_dbfs[channel] if channel < len(snapshot.noise_floor_dbfs) else math.nan
        hold = snapshot.peak_hold_dbfs[channel] if channel < len(snapshot.peak_hold_dbfs) else -math.inf
        self._hold_dbfs = hold
        if differ(floor, self._floor_dbfs, _LABEL_DB):
            self._floor_dbfs = floor
            self._label()
        self._follow = partial(self._sea.show_state, history, channel, floor, hold, now_s)
        changed = self._follow()
        if not changed.isEmpty():
            self.update(changed)

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
        self.update()

    def show_overlay(self, shown: bool) -> None:
        """Explain what is seen, or stop."""
        self.overlay.setVisible(shown)
        if shown:
            self._place_overlay()
            self.overlay.raise_()
            self.overlay.setFocus()

    def _place_overlay(self) -> None:
        area, height, target = QRectF(self.plot), self._scale.height, self._target
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
        self._arrange()
        if self.overlay.isVisible():
            self._place_overlay()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the sea, and what is written around it where that has to be written again."""
        with painting(self) as painter:
            self._sea.set_place(self.plot, self.devicePixelRatioF())
            if not self._sea.is_drawn:
                self._follow()  # not with the next look only, or the sea would flicker
            if not self.plot.contains(event.rect()):
                painter.fillRect(event.rect(), QColor(self._theme.palette.panel))
                paint_labels(painter, self._labels, self._theme)
            self._sea.paint(painter)

    def _arrange(self) -> None:
        self.plot = plot_in(self.size(), self._theme)
        self._label()

    def _label(self) -> None:
        self._labels = labels_around(self.plot, self._theme, self._scale, self._target, self._floor_dbfs)
        self.update()
