"""The take log as a table for Qt: any number of takes, each read when it comes into sight."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import IntEnum
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt

from app.log.records import TakeRow, TakeState
from app.words import advice
from app.words import logpage as words
from app.words import takes as takes_words
from app.words.numbers import UNKNOWN, clock, decibels

ROW_ROLE = int(Qt.ItemDataRole.UserRole)
"""Gives the :class:`~app.log.records.TakeRow` of a row, or None while it is not read."""

KEPT = "\N{BLACK DIAMOND}"
_AHEAD = 60
"""So many rows around a wanted one are read with it."""


class BookColumn(IntEnum):
    """The columns, from the left."""

    KEPT = 0
    NUMBER = 1
    NAME = 2
    PART = 3
    STARTED = 4
    LENGTH = 5
    VERDICT = 6
    PEAK = 7
    CLIPS = 8


_TEXTS = frozenset(
    {
        int(Qt.ItemDataRole.DisplayRole),
        int(Qt.ItemDataRole.AccessibleTextRole),
        int(Qt.ItemDataRole.ToolTipRole),
    }
)
_NUMERIC = frozenset({BookColumn.NUMBER, BookColumn.LENGTH, BookColumn.PEAK, BookColumn.CLIPS})


class BookModel(QAbstractTableModel):
    """Knows the numbers of all takes, and the rows that were looked at."""

    def __init__(self, part_names: Mapping[str, str]) -> None:
        super().__init__()
        self._part_names = part_names
        self._numbers: list[int] = []
        self._places: dict[int, int] = {}
        self._rows: dict[int, TakeRow] = {}
        self._texts: dict[int, tuple[str, ...]] = {}
        """What the cells say, made once: a list that scrolls asks for each of them many times."""
        self._stale: set[int] = set()
        self._wanted: set[int] = set()

    # What the page feeds in

    def show_numbers(self, numbers: Sequence[int]) -> bool:
        """Show these takes; returns whether they are others than before.

        What was read of them is shown until it is read again.
        """
        numbers = list(numbers)
        self._stale = set(self._rows)
        if numbers == self._numbers:
            if numbers:
                self.dataChanged.emit(self.index(0, 0), self.index(len(numbers) - 1, len(BookColumn) - 1))
            return False
        self.beginResetModel()
        self._numbers = numbers
        self._places = {number: place for place, number in enumerate(numbers)}
        self._rows = {number: row for number, row in self._rows.items() if number in self._places}
        self._texts = {number: self._texts[number] for number in self._rows}
        self._stale = set(self._rows)
        self._wanted.clear()
        self.endResetModel()
        return True

    def take_wanted(self) -> list[int]:
        """The takes that somebody looked at and that are to be read, with their neighbours."""
        if not self._wanted:
            return []
        places = [self._places[number] for number in self._wanted if number in self._places]
        self._wanted.clear()
        near = {
            near
            for place in places
            for near in range(max(0, place - _AHEAD // 4), min(len(self._numbers), place + _AHEAD))
        }
        return [
            number
            for number in (self._numbers[place] for place in sorted(near))
            if number not in self._rows or number in self._stale
        ]

    def add_rows(self, rows: Sequence[TakeRow]) -> None:
        """Take in what was read."""
        places = []
        for row in rows:
            if row.number in self._places:
                self._rows[row.number] = row
                self._texts[row.number] = self._texts_of(row)
                self._stale.discard(row.number)
                places.append(self._places[row.number])
        if places:
            self.dataChanged.emit(self.index(min(places), 0), self.index(max(places), len(BookColumn) - 1))

    # What the page asks

    def number(self, place: int) -> int | None:
        """The take in a row."""
        return self._numbers[place] if 0 <= place < len(self._numbers) else None

    def place_of(self, number: int) -> int:
        """The row of a take, or -1."""
        return self._places.get(number, -1)

    def row(self, number: int) -> TakeRow | None:
        """A take, where it was read."""
        return self._rows.get(number)

    # What Qt asks

    def rowCount(self, parent: QModelIndex | QPersistentModelIndex = QModelIndex()) -> int:  # noqa: B008
        """How many takes."""
        return 0 if parent.isValid() else len(self._numbers)

    def columnCount(self, parent: QModelIndex | QPersistentModelIndex = QModelIndex()) -> int:  # noqa: B008
        """How many columns."""
        return 0 if parent.isValid() else len(BookColumn)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> Any:
        """Headings."""
        if orientation is not Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return words.headings()[section]
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return _alignment(section)
        return None

    def data(self, index: QModelIndex | QPersistentModelIndex, role: int = 0) -> Any:
        """Texts of the cells; asking for one that is not read has it read soon."""
        number = self.number(index.row())
        if number is None:
            return None
        if role == ROW_ROLE:
            return self._rows.get(number)
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return _alignment(index.column())
        if role in _TEXTS:
            return self._shown(number, index.column(), aloud=role == Qt.ItemDataRole.AccessibleTextRole)
        return None

    def _shown(self, number: int, column: int, *, aloud: bool) -> str:
        row = self._rows.get(number)
        if row is None or number in self._stale:
            self._wanted.add(number)
        if row is None:
            return str(number) if column == BookColumn.NUMBER else "…"
        if aloud and column == BookColumn.KEPT:
            return words.keep_mark(row.kept)
        return self._texts[number][column]

    def _texts_of(self, row: TakeRow) -> tuple[str, ...]:
        if row.state is TakeState.OPEN:
            verdict = takes_words.take_running()
        else:
            verdict = advice.verdict_name(row.verdict.value) if row.verdict is not None else UNKNOWN
        texts = {
            BookColumn.KEPT: KEPT if row.kept else "",
            BookColumn.NUMBER: str(row.number),
            BookColumn.NAME: row.name or row.input_name,
            BookColumn.PART: self._part_names.get(row.part, row.part),
            BookColumn.STARTED: row.started[:16].replace("T", " "),
            BookColumn.LENGTH: clock(row.duration_s),
            BookColumn.VERDICT: verdict,
            BookColumn.PEAK: decibels(row.peak_dbfs),
            BookColumn.CLIPS: str(row.clips),
        }
        # One line, whatever somebody wrote: a name must not break the list.
        return tuple(" ".join(texts[column].split()) for column in BookColumn)


def _alignment(column: int) -> int:
    across = Qt.AlignmentFlag.AlignRight if column in _NUMERIC else Qt.AlignmentFlag.AlignLeft
    if column == BookColumn.KEPT:
        across = Qt.AlignmentFlag.AlignHCenter
    return int(across | Qt.AlignmentFlag.AlignVCenter)
