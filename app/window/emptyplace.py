"""What stands where nothing is yet: a sentence that says what to do, over a boat on still water."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QLabel, QSizePolicy, QVBoxLayout, QWidget

from app.window.fit import balance_lines
from app.window.guard import painting
from app.window.hull import paint_boat
from app.window.theme import GAP, MARGIN, UNIT, Theme, Type

_LEAST_PICTURE = 24 * UNIT
"""In a lower place the sentence has all the room."""


class EmptyPlace(QWidget):
    """Teaches instead of being empty."""

    def __init__(self, text: str, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.label = QLabel(text)
        self.label.setWordWrap(True)
        self.label.setTextFormat(Qt.TextFormat.PlainText)
        self.label.setAlignment(Qt.AlignmentFlag.AlignCenter)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        layout.addWidget(self.label)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        lead, colour = theme.font(Type.LEAD), theme.palette.muted
        self.label.setStyleSheet(
            f"font-size: {lead.pixelSize()}px; font-weight: {lead.weight().value}; color: {colour};"
        )
        self._balance()
        self.update()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Break the sentence into lines of one length."""
        super().resizeEvent(event)
        self._balance()

    def _balance(self) -> None:
        font = self._theme.font(Type.LEAD)
        balance_lines(self.label, font, self.width() - 2 * MARGIN, side=0)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002 - Qt's signature
        """Paint the water's line under the sentence, with the boat on it."""
        place = QRectF(self.rect())
        under = place.bottom() - self.label.geometry().center().y() - self.label.sizeHint().height() / 2
        if under < _LEAST_PICTURE:
            return
        palette = self._theme.palette
        water = place.bottom() - 0.16 * under
        boat = min(0.42 * under, 0.3 * place.width())
        with painting(self) as painter:
            painter.setRenderHint(painter.RenderHint.Antialiasing)
            paint_boat(painter, QPointF(place.center().x(), water + 0.1 * boat), boat, QColor(palette.edge))
            painter.fillRect(
                QRectF(place.left() + GAP, water, place.width() - 2 * GAP, max(2.0, 0.012 * under)),
                QColor(palette.edge),
            )

    def minimumSizeHint(self) -> QSize:
        """As high as the sentence."""
        return QSize(0, self.label.heightForWidth(max(1, self.width() - 2 * MARGIN)) + 2 * MARGIN)
