"""What the painters of table cells share: the row is what is chosen, and a fault in painting is reported."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QStyle, QStyledItemDelegate, QStyleOptionViewItem

from app.window.guard import reported
from app.window.theme import Theme


class CellDelegate(QStyledItemDelegate):
    """Paints cells in a theme; a subclass says how in ``_paint``."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.theme = theme

    def initStyleOption(
        self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        """No dotted frame around a single cell: the row is what is chosen."""
        super().initStyleOption(option, index)
        option.state &= ~QStyle.StateFlag.State_HasFocus

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        """Paint one cell."""
        painter.save()
        with reported():
            self._paint(painter, option, index)
        painter.restore()

    def _paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        raise NotImplementedError
