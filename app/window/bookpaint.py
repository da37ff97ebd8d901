"""How a cell of the take log is drawn."""

from __future__ import annotations

from collections.abc import Collection

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter
from PySide6.QtWidgets import QStyle, QStyleOptionViewItem

from app.window.booklist import ROW_ROLE, BookColumn
from app.window.cellpaint import CellDelegate
from app.window.hull import paint_mark
from app.window.theme import UNIT, Theme, Type

_QUIET = frozenset({BookColumn.PART, BookColumn.STARTED, BookColumn.LENGTH})


class BookDelegate(CellDelegate):
    """Draws texts in the theme's type, and a verdict with its mark.

    Parameters
    ----------
    theme
        Colours and type.
    verdict_column
        Where the mark is drawn, of the ``verdict`` of what ``ROW_ROLE`` gives.
    quiet_columns
        Less important ones.
    """

    def __init__(
        self,
        theme: Theme,
        verdict_column: int = BookColumn.VERDICT,
        quiet_columns: Collection[int] = _QUIET,
    ) -> None:
        super().__init__(theme)
        self._verdict_column = verdict_column
        self._quiet_columns = frozenset(quiet_columns)

    def sizeHint(self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex) -> QSize:
        """One line."""
        return QSize(super().sizeHint(option, index).width(), 7 * UNIT)

    def _paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        palette, rect = self.theme.palette, QRectF(option.rect)
        chosen = bool(option.state & QStyle.StateFlag.State_Selected)
        if chosen:
            painter.fillRect(rect, QColor(palette.control))
            if index.column() == 0:  # a shape too, not the ground's shade alone
                painter.fillRect(QRectF(rect.left(), rect.top(), 3, rect.height()), QColor(palette.focus))
        text = rect.adjusted(1.5 * UNIT, 0, -1.5 * UNIT, 0)
        row, column = index.data(ROW_ROLE), index.column()
        if column == self._verdict_column and row is not None and row.verdict is not None:
            side = min(14.0, rect.height() - 8)
            mark = QRectF(text.left(), rect.center().y() - side / 2, side, side)
            paint_mark(painter, mark, row.verdict, palette)
            text.setLeft(mark.right() + 1.5 * UNIT)
        painter.setFont(self.theme.font(Type.BODY))
        painter.setPen(
            QColor(palette.muted if column in self._quiet_columns and not chosen else palette.text)
        )
        shown = painter.fontMetrics().elidedText(
            index.data(Qt.ItemDataRole.DisplayRole) or "", Qt.TextElideMode.ElideRight, int(text.width())
        )
        painter.drawText(text, index.data(Qt.ItemDataRole.TextAlignmentRole), shown)
