"""The list of the take log: any number of takes, several chosen at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PySide6.QtCore import QItemSelectionModel, QSignalBlocker, Signal
from PySide6.QtWidgets import QAbstractItemView

from app.window.booklist import BookColumn, BookModel
from app.window.bookpaint import BookDelegate
from app.window.rowtable import RowTable
from app.window.theme import Theme
from app.words import logpage as words

_FIRST_TO_GO = (
    BookColumn.PART,
    BookColumn.LENGTH,
    BookColumn.PEAK,
    BookColumn.STARTED,
    BookColumn.CLIPS,
)
"""Columns in the order in which a narrow list leaves them out."""


class BookTable(RowTable):
    """Shows a :class:`BookModel`."""

    chosen_changed = Signal()

    def __init__(self, theme: Theme, part_names: Mapping[str, str]) -> None:
        book = BookModel(part_names)
        super().__init__(book, BookDelegate(theme), BookColumn.NAME)
        self.book = book
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
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

    def samples(self) -> Mapping[int, str]:
        """The widest text of each column but the name's."""
        return {
            BookColumn.KEPT: "nn",
            BookColumn.NUMBER: "88888",
            BookColumn.PART: "n" * 9,
            BookColumn.STARTED: "8888-88-88 88:88",
            BookColumn.LENGTH: "8:88:88",
            BookColumn.VERDICT: "n" * 10 + "mm",
            BookColumn.PEAK: "−88.8",
            BookColumn.CLIPS: "8888",
        }

    def headings(self) -> Sequence[str]:
        """The heads of the columns."""
        return words.headings()

    def first_to_go(self) -> Sequence[int]:
        """Columns in the order in which a narrow table leaves them out."""
        return _FIRST_TO_GO
