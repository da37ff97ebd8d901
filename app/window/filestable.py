"""Measured files as a table for Qt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import IntEnum
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt
from PySide6.QtWidgets import QAbstractItemView

from app.window.booklist import ROW_ROLE
from app.window.bookpaint import BookDelegate
from app.window.rowtable import RowTable
from app.window.theme import Theme
from app.words import advice
from app.words import filespage as words
from app.words.numbers import clock, decibels, signed_decibels

if TYPE_CHECKING:
    from app.check.many import Outcome
    from app.check.measure import FileCheck


class FileColumn(IntEnum):
    """The columns, from the left."""

    NAME = 0
    VERDICT = 1
    GAIN = 2
    LENGTH = 3
    PEAK = 4
    CLIPS = 5


_NUMERIC = frozenset({FileColumn.GAIN, FileColumn.LENGTH, FileColumn.PEAK, FileColumn.CLIPS})
_TEXTS = frozenset({int(Qt.ItemDataRole.DisplayRole), int(Qt.ItemDataRole.AccessibleTextRole)})


class FilesModel(QAbstractTableModel):
    """Outcomes, in the order in which they came."""

    def __init__(self) -> None:
        super().__init__()
        self._outcomes: list[Outcome] = []

    def add(self, outcomes: Sequence[Outcome]) -> None:
        """Add what has come."""
        if outcomes:
            first = len(self._outcomes)
            self.beginInsertRows(QModelIndex(), first, first + len(outcomes) - 1)
            self._outcomes += outcomes
            self.endInsertRows()

    def clear(self) -> None:
        """Begin anew."""
        self.beginResetModel()
        self._outcomes.clear()
        self.endResetModel()

    def outcome(self, row: int) -> Outcome | None:
        """What became of the file in a row."""
        return self._outcomes[row] if 0 <= row < len(self._outcomes) else None

    def rowCount(self, parent: QModelIndex | QPersistentModelIndex = QModelIndex()) -> int:  # noqa: B008
        """How many files are done."""
        return 0 if parent.isValid() else len(self._outcomes)

    def columnCount(self, parent: QModelIndex | QPersistentModelIndex = QModelIndex()) -> int:  # noqa: B008
        """How many columns."""
        return 0 if parent.isValid() else len(FileColumn)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> Any:
        """Headings."""
        if orientation is not Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return words.headings()[section]
        return _alignment(section) if role == Qt.ItemDataRole.TextAlignmentRole else None

    def data(self, index: QModelIndex | QPersistentModelIndex, role: int = 0) -> Any:
        """Texts of the cells."""
        outcome = self.outcome(index.row())
        if outcome is None:
            return None
        if role == ROW_ROLE:
            return outcome.check
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return _alignment(index.column())
        if role == Qt.ItemDataRole.ToolTipRole:
            return str(outcome.path)
        return self._text(outcome, index.column()) if role in _TEXTS else None

    def _text(self, outcome: Outcome, column: int) -> str:
        if column == FileColumn.NAME:
            return " ".join(outcome.path.name.split())
        if outcome.check is None:
            return words.unreadable() if column == FileColumn.VERDICT else ""
        return _figure(outcome.check, FileColumn(column))


def _figure(check: FileCheck, column: FileColumn) -> str:
    texts = {
        FileColumn.VERDICT: advice.verdict_name(check.verdict),
        FileColumn.GAIN: signed_decibels(check.coach.worst.gain_change_db),
        FileColumn.LENGTH: clock(check.duration_s),
        FileColumn.PEAK: decibels(float(check.summary.peak_dbfs.max())),
        FileColumn.CLIPS: str(sum(len(channel.clips) for channel in check.channels)),
    }
    return texts[column]


def _alignment(column: int) -> int:
    across = Qt.AlignmentFlag.AlignRight if column in _NUMERIC else Qt.AlignmentFlag.AlignLeft
    return int(across | Qt.AlignmentFlag.AlignVCenter)


class FilesTable(RowTable):
    """Shows a :class:`FilesModel`."""

    def __init__(self, theme: Theme) -> None:
        files = FilesModel()
        delegate = BookDelegate(theme, FileColumn.VERDICT, (FileColumn.LENGTH,))
        super().__init__(files, delegate, FileColumn.NAME)
        self.files = files
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setAccessibleName(words.list_name(0))
        self.set_theme(theme)

    def samples(self) -> Mapping[int, str]:
        """The widest text of each column but the name's."""
        return {
            FileColumn.VERDICT: "n" * 10 + "mm",
            FileColumn.GAIN: "−88",
            FileColumn.PEAK: "−88.8",
            FileColumn.CLIPS: "8888",
            FileColumn.LENGTH: "8:88:88",
        }

    def headings(self) -> Sequence[str]:
        """The heads of the columns."""
        return words.headings()

    def first_to_go(self) -> Sequence[int]:
        """Columns in the order in which a narrow table leaves them out."""
        return (FileColumn.LENGTH, FileColumn.PEAK, FileColumn.CLIPS)
