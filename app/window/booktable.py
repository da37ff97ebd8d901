"""The list of the take log: any number of takes, several chosen at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PySide6.QtCore import QItemSelectionModel, QSignalBlocker, Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QAbstractItemView, QFrame, QHeaderView, QTableView

from app.window.booklist import BookColumn, BookModel
from app.window.bookpaint import BookDelegate
from app.window.theme import UNIT, Theme, Type
from app.words import logpage as words

_FIRST_TO_GO = (
    BookColumn.PART,
    BookColumn.LENGTH,
    BookColumn.PEAK,
    BookColumn.STARTED,
    BookColumn.CLIPS,
)
"""Columns in the order in which a narrow list leaves them out."""


class BookTable(QTableView):
    """Shows a :class:`BookModel`."""

    chosen_changed = Signal()

    def __init__(self, theme: Theme, part_names: Mapping[str, str]) -> None:
        super().__init__()
        self.book = BookModel(part_names)
        self.delegate = BookDelegate(theme)
        self.setModel(self.book)
        self.setItemDelegate(self.delegate)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.setShowGrid(False)
        self.setTabKeyNavigation(False)
        self.setWordWrap(False)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.verticalHeader().hide()
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        header = self.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        header.setSectionResizeMode(BookColumn.NAME, QHeaderView.ResizeMode.Stretch)
        header.setHighlightSections(False)
        self.selectionModel().selectionChanged.connect(lambda *_: self.chosen_changed.emit())
        self.setAccessibleName(words.list_name(0))
        self.set_theme(theme)

    @property
    def chosen(self) -> list[int]:
        """The numbers of the takes that are chosen, the one that the keyboard is on first."""
        rows = sorted(index.row() for index in self.selectionModel().selectedRows())
        current = self.currentIndex().row()
        if current in rows:
            rows.remove(current)
            rows.insert(0, current)
        return [number for number in map(self.book.number, rows) if number is not None]

    def show_numbers(self, numbers: Sequence[int], chosen: Sequence[int]) -> None:
        """List these takes, with those of ``chosen`` chosen that are there, or what lies where they lay."""
        current = self.currentIndex().row()
        self.setAccessibleName(words.list_name(len(numbers)))
        if not self.book.show_numbers(numbers):
            return
        places = [place for place in map(self.book.place_of, chosen) if place >= 0]
        if not places and numbers:
            places = [min(max(current, 0), len(numbers) - 1)]
        selection, flag = self.selectionModel(), QItemSelectionModel.SelectionFlag
        with QSignalBlocker(selection):
            selection.clear()
            for place in places:
                selection.select(self.book.index(place, 0), flag.Select | flag.Rows)
            if places:
                selection.setCurrentIndex(self.book.index(places[0], BookColumn.NAME), flag.NoUpdate)
        if places:
            self.scrollTo(self.book.index(places[0], BookColumn.NAME))
        self.viewport().update()
        self.chosen_changed.emit()

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
        metrics = self.fontMetrics()
        heads = words.headings()
        samples = {
            BookColumn.KEPT: "nn",
            BookColumn.NUMBER: "88888",
            BookColumn.PART: "n" * 9,
            BookColumn.STARTED: "8888-88-88 88:88",
            BookColumn.LENGTH: "8:88:88",
            BookColumn.VERDICT: "n" * 10 + "mm",
            BookColumn.PEAK: "−88.8",
            BookColumn.CLIPS: "8888",
        }
        wide = {
            column: max(metrics.horizontalAdvance(text), metrics.horizontalAdvance(heads[column])) + 4 * UNIT
            for column, text in samples.items()
        }
        room = self.viewport().width() - metrics.horizontalAdvance("n" * 14)
        for column in _FIRST_TO_GO:
            if sum(wide.values()) <= room:
                break
            wide.pop(column)
        for column in samples:
            self.setColumnHidden(column, column not in wide)
            if column in wide:
                self.setColumnWidth(column, wide[column])
