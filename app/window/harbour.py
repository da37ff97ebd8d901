"""The harbour: every channel a boat in its berth, as high as its average, on its verdict's colour."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFontMetrics, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QAbstractButton, QButtonGroup, QHBoxLayout, QSizePolicy, QWidget

from app.coach.judgement import Verdict
from app.engine.snapshot import Snapshot
from app.window.controls import Button
from app.window.guard import painting
from app.window.hull import boat_path
from app.window.scale import LevelScale
from app.window.theme import TARGET, UNIT, Theme, Type
from app.words import advice
from app.words import card as card_words
from app.words import harbour as words


class Harbour(QWidget):
    """Chooses the channel that the chart shows; nothing to see with a single channel."""

    chosen = Signal(int)
    """Column index from 0, or -1: follow the one that needs attention first."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self.setAccessibleName(words.harbour_name())
        self.berths: list[_Berth] = []
        """One for each channel, when there are several."""
        self._group = QButtonGroup(self)
        self._group.setExclusive(True)
        self._group.idClicked.connect(self.chosen)
        self._follow = Button(words.follow_worst())
        self._follow.setProperty("flat", True)
        self._follow.clicked.connect(lambda: self.chosen.emit(-1))
        self._layout = QHBoxLayout(self)
        self._layout.setContentsMargins(0, 0, 0, 0)
        self._layout.setSpacing(2)
        self._layout.addStretch(1)
        self._layout.addWidget(self._follow)
        self.hide()

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        for berth in self.berths:
            berth.theme = theme
            berth.update()

    def show_state(self, snapshot: Snapshot, channel: int, *, follows: bool) -> None:
        """Show every channel; ``channel`` is on the chart, because it was chosen or because it follows."""
        count = len(snapshot.average_dbfs)
        if count != len(self.berths):
            self._build(count)
        for number, berth in enumerate(self.berths):
            judgement = snapshot.coach.channels[number] if snapshot.coach is not None else None
            berth.show_level(
                channel_label(snapshot, number),
                snapshot.average_dbfs[number],
                judgement.verdict if judgement is not None else None,
                snapshot.clips[number] if number < len(snapshot.clips) else 0,
            )
            if number == channel and not berth.isChecked():
                berth.setChecked(True)
        self._follow.setVisible(count > 1 and not follows)

    def _build(self, count: int) -> None:
        for berth in self.berths:
            self._group.removeButton(berth)
            self._layout.removeWidget(berth)
            berth.deleteLater()
        self.berths = [_Berth(number, self._theme) for number in range(count)] if count > 1 else []
        for number, berth in enumerate(self.berths):
            self._group.addButton(berth, number)
            self._layout.insertWidget(number, berth, 1)
        self.setVisible(count > 1)


class _Berth(QAbstractButton):
    """One channel."""

    def __init__(self, number: int, theme: Theme) -> None:
        super().__init__()
        self.theme = theme
        self._number = number
        self._scale = LevelScale()
        self._drawn: tuple[int, Verdict | None, bool] | None = None
        self._verdict: Verdict | None = None
        self._height = 0.0
        self._clips = 0
        self.setCheckable(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setMaximumWidth(20 * UNIT)

    def sizeHint(self) -> QSize:
        """As high as a comfortable target, with the number below."""
        return QSize(5 * UNIT, TARGET + 4 * UNIT)

    def minimumSizeHint(self) -> QSize:
        """32 of them fit beside each other."""
        return QSize(14, TARGET)

    def show_level(self, name: str, average_dbfs: float, verdict: Verdict | None, clips: int) -> None:
        """Take over a channel's state; repaint when it looks different."""
        self._height = self._scale.height(average_dbfs)
        self._verdict, self._clips = verdict, clips
        looks = (round(self._height * self.height()), verdict, clips > 0)
        if looks == self._drawn:
            return
        if self._drawn is None or looks[1:] != self._drawn[1:]:
            self.setAccessibleName(name)
            self.setToolTip(name)
            spoken = advice.verdict_name(verdict.value) if verdict is not None else card_words.no_verdict()
            self.setAccessibleDescription(
                words.channel_spoken(name, spoken, average_dbfs, clips, chosen=self.isChecked())
            )
        self._drawn = looks
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002 - Qt's signature
        """Paint berth, water, boat and name."""
        with painting(self) as painter:
            self._paint(painter)

    def _paint(self, painter: QPainter) -> None:
        palette = self.theme.palette
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        small = self.theme.font(Type.SMALL, 0.85)
        foot = painter.fontMetrics().height() if self.height() > TARGET else 0.0
        basin = QRectF(1, 1, self.width() - 2, self.height() - 2 - foot)
        painter.fillRect(basin, QColor(palette.air))
        colour = QColor(palette.verdicts[self._verdict] if self._verdict is not None else palette.edge)
        boat = min(basin.width() * 0.7, basin.height() * 0.5)
        level = basin.bottom() - 2 - self._height * (basin.height() - 0.3 * boat - 4)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(palette.text))
        painter.translate(basin.center().x(), level + 0.17 * boat)
        painter.drawPath(boat_path(boat))
        painter.resetTransform()
        painter.fillRect(QRectF(basin.left(), level, basin.width(), basin.bottom() - level), colour)
        if self._clips:
            painter.fillRect(
                QRectF(basin.left(), basin.top(), basin.width(), 4), QColor(palette.verdicts[Verdict.AWASH])
            )
        edge = palette.focus if self.hasFocus() else palette.text if self.isChecked() else palette.edge
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(edge), 2 if self.isChecked() or self.hasFocus() else 1))
        painter.drawRect(basin)
        if foot:
            painter.setFont(small)
            painter.setPen(QColor(palette.text if self.isChecked() else palette.muted))
            painter.drawText(
                QRectF(0, basin.bottom() + 1, self.width(), foot),
                Qt.AlignmentFlag.AlignCenter,
                self._label(painter.fontMetrics()),
            )

    def _label(self, metrics: QFontMetrics) -> str:
        """The channel's name where it fits, otherwise its number."""
        name = self.accessibleName()
        return name if metrics.horizontalAdvance(name) <= self.width() else str(self._number + 1)


def channel_label(snapshot: Snapshot, channel: int) -> str:
    """What a channel is called: by the input, or by its number."""
    names: Sequence[str] = snapshot.info.channel_names if snapshot.info is not None else ()
    return names[channel] if channel < len(names) else words.channel_name(channel + 1)
