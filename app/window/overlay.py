"""What am I looking at? The chart explains itself: a line from each thing on it to a sentence."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFont, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from app.window.fit import fitting_pixels
from app.window.guard import painting
from app.window.theme import GAP, UNIT, Theme, Type
from app.words import glossary as words

_TEXT_FROM = 0.16


class Overlay(QWidget):
    """Lies over the chart until it is closed; the chart moves on below it.

    Parameters
    ----------
    chart
        What is explained; the overlay covers it.
    """

    closed = Signal()

    def __init__(self, chart: QWidget, theme: Theme) -> None:
        super().__init__(chart)
        self._theme = theme
        self._places: Mapping[str, QPointF] = {}
        self._lines = words.overlay_lines()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(words.overlay_title())
        self.setAccessibleDescription(" ".join(self._lines.values()))
        self.hide()

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self.update()

    def show_over(self, rect: QRectF, places: Mapping[str, QPointF]) -> None:
        """Explain the things at these places (in this widget's coordinates, from the top down)."""
        self.setGeometry(rect.toRect())
        self._places = places
        self.update()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """A click closes it."""
        event.accept()
        self.closed.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter closes it, as Esc does."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.closed.emit()
            return
        super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002 - Qt's signature
        """Paint the sentences over the chart."""
        with painting(self) as painter:
            self._paint(painter)

    def _paint(self, painter: QPainter) -> None:
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        palette = self._theme.palette
        shown = [(key, text) for key, text in self._lines.items() if key in self._places]
        row = (self.height() - 2 * UNIT) / max(1, len(shown))
        left = _TEXT_FROM * self.width()
        room = QSize(int(self.width() - left - 2 * GAP), int(row - 2 * UNIT))
        font = QFont(self._theme.font(Type.BODY))
        longest = max((text for _key, text in shown), key=len, default="")
        font.setPixelSize(fitting_pixels(longest, font, room, wrap=True))
        painter.setFont(font)
        ground = QColor(palette.panel)
        ground.setAlpha(238)
        for number, (key, text) in enumerate(shown):
            box = QRectF(left, UNIT + number * row + UNIT / 2, room.width() + GAP, row - UNIT)
            start = self._places[key]
            painter.setPen(QPen(QColor(palette.text), 1.5))
            painter.drawLine(start, QPointF(box.left(), box.center().y()))
            painter.setBrush(QColor(palette.text))
            painter.drawEllipse(start, 3.5, 3.5)
            painter.setBrush(ground)
            painter.setPen(QPen(QColor(palette.edge), 1))
            painter.drawRoundedRect(box, UNIT, UNIT)
            painter.setPen(QColor(palette.text))
            inner = box.adjusted(GAP, 0, -UNIT, 0)
            flags = Qt.AlignmentFlag.AlignVCenter | Qt.TextFlag.TextWordWrap
            painter.drawText(inner, int(flags), text)
