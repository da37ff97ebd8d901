"""What the window's long tables share: rows that are chosen whole, and columns that share the width out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PySide6.QtCore import QAbstractTableModel, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QAbstractItemView, QFrame, QHeaderView, QTableView

from app.window.bookpaint import BookDelegate
from app.window.theme import UNIT, Theme, Type


class RowTable(QTableView):
    """A table whose name column stretches; a subclass says how wide the others are.

    Parameters
    ----------
    model, delegate
        What is listed, and who paints it.
    name_column
        The column that takes the width that is left.
    """

    def __init__(self, model: QAbstractTableModel, delegate: BookDelegate, name_column: int) -> None:
        super().__init__()
        self.delegate = delegate
        self.setModel(model)
        self.setItemDelegate(delegate)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setShowGrid(False)
        self.setTabKeyNavigation(False)
        self.setWordWrap(False)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.verticalHeader().hide()
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        header = self.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        header.setSectionResizeMode(name_column, QHeaderView.ResizeMode.Stretch)
        header.setHighlightSections(False)

    def samples(self) -> Mapping[int, str]:
        """The widest text of each column but the name's."""
        raise NotImplementedError

    def headings(self) -> Sequence[str]:
        """The heads of all columns, from the left."""
        raise NotImplementedError

    def first_to_go(self) -> Sequence[int]:
        """Columns in the order in which a narrow table leaves them out."""
        raise NotImplementedError

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        body, palette = theme.font(Type.BODY), theme.palette
        self.delegate.theme = theme
        self.setFont(body)
        self.verticalHeader().setDefaultSectionSize(max(7 * UNIT, round(1.9 * body.pixelSize())))
        self.setStyleSheet(
            f"QHeaderView {{ background: {palette.panel}; border: none; }}"
            f"QHeaderView::section {{ background: {palette.panel}; color: {palette.muted}; border: none;"
            f" border-bottom: 1px solid {palette.edge}; padding: 2px {UNIT}px; }}"
        )
        self._share_out()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Share the width out."""
        super().resizeEvent(event)
        self._share_out()

    def _share_out(self) -> None:
        """Give each column what it needs; what has no room beside a readable name is left out."""
        metrics, heads, samples = self.fontMetrics(), self.headings(), self.samples()
        wide = {
            column: max(metrics.horizontalAdvance(text), metrics.horizontalAdvance(heads[column])) + 4 * UNIT
            for column, text in samples.items()
        }
        room = self.viewport().width() - metrics.horizontalAdvance("n" * 14)
        for column in self.first_to_go():
            if sum(wide.values()) <= room:
                break
            wide.pop(column)
        for column in samples:
            self.setColumnHidden(column, column not in wide)
            if column in wide:
                self.setColumnWidth(column, wide[column])
