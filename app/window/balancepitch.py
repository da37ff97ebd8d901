"""How much of the time the part is heard in each range of pitch, now and with the backing turned down."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFont,
    QFontMetricsF,
    QLinearGradient,
    QPainter,
    QPaintEvent,
    QPen,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.coach.balance import RangeBalance
from app.coach.overlay import HEARD_TIME
from app.window.fit import LEAST_PIXELS, fitting_pixels
from app.window.guard import painting
from app.window.theme import UNIT, Theme, Type
from app.words import balance as balance_words
from app.words import hearing as words


class PitchPicture(QWidget):
    """Five pools side by side, low pitches left: water stands as high as the part is heard then."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._ranges: Sequence[RangeBalance] = ()
        self.setAccessibleName(words.pitch_title())
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def minimumSizeHint(self) -> QSize:
        """Two lines of text, and some water."""
        return QSize(200, 5 * self._theme.font(Type.SMALL).pixelSize())

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self.update()

    def show_ranges(self, ranges: Sequence[RangeBalance]) -> None:
        """Show another advice."""
        self._ranges = tuple(ranges)
        lines = [
            balance_words.range_line(each.low_hz, each.high_hz, each.before, each.after)
            for each in ranges
            if each.before is not None and each.after is not None
        ]
        self.setAccessibleDescription(". ".join(lines))
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the pools."""
        with painting(self) as painter:
            painter.fillRect(self.rect(), QColor(self._theme.palette.panel))
            if not self._ranges or self.height() < 3 * LEAST_PIXELS:
                return
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            width = self.width() / len(self._ranges)
            names = [balance_words.pitch_range(each.low_hz, each.high_hz) for each in self._ranges]
            font = QFont(self._theme.font(Type.SMALL))
            room = QSize(max(1, int(width) - 2 * UNIT), 1000)
            font.setPixelSize(min(fitting_pixels(name, font, room, wrap=False) for name in names))
            painter.setFont(font)
            line = QFontMetricsF(font).height()
            for number, (each, name) in enumerate(zip(self._ranges, names, strict=True)):
                pool = QRectF(
                    number * width + UNIT / 2, line + UNIT, width - UNIT, self.height() - 2 * line - 2 * UNIT
                )
                self._draw(painter, pool, each, name, line)

    def _draw(self, painter: QPainter, pool: QRectF, each: RangeBalance, name: str, line: float) -> None:
        palette = self._theme.palette
        middle = Qt.AlignmentFlag.AlignCenter
        painter.fillRect(pool, QColor(palette.air))
        said = words.nothing_there()
        if each.before is not None and each.after is not None:
            said = words.pitch_now_then(each.before, each.after)
            top = pool.bottom() - each.after * pool.height()
            water = QLinearGradient(pool.topLeft(), pool.bottomLeft())
            water.setColorAt(0.0, QColor(palette.shallow))
            water.setColorAt(1.0, QColor(palette.deep))
            painter.fillRect(QRectF(pool.left(), top, pool.width(), pool.bottom() - top), QBrush(water))
            painter.fillRect(QRectF(pool.left(), top, pool.width(), 2.0), QColor(palette.crest))
            self._level(painter, pool, each.before, QColor(palette.text), [4.0, 3.0])
            self._level(painter, pool, HEARD_TIME, QColor(palette.deck), [1.0, 3.0])
        painter.setPen(QColor(palette.text if each.before is not None else palette.muted))
        painter.drawText(QRectF(pool.left(), 0.0, pool.width(), line), middle, said)
        painter.setPen(QColor(palette.muted))
        painter.drawText(QRectF(pool.left(), pool.bottom() + UNIT, pool.width(), line), middle, name)

    @staticmethod
    def _level(painter: QPainter, pool: QRectF, share: float, colour: QColor, dashes: list[float]) -> None:
        pen = QPen(colour, 1.5)
        pen.setDashPattern(dashes)
        painter.setPen(pen)
        y = pool.bottom() - share * pool.height()
        painter.drawLine(round(pool.left()), round(y), round(pool.right()), round(y))
