"""Takes as a table for Qt: what each cell says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt

from app.log.records import TakeDetail, TakeState
from app.words import advice, numbers
from app.words import figures as figures_words
from app.words import takes as words

_SHOWN_PLACES = 2
LINE_ROLE = int(Qt.ItemDataRole.UserRole)
"""Gives the whole :class:`TakeLine` of a row."""


class Column(IntEnum):
    """The columns, from the left."""

    NUMBER = 0
    NAME = 1
    LENGTH = 2
    VERDICT = 3
    LEVELS = 4
    FIGURES = 5


@dataclass(frozen=True, slots=True)
class TakeLine:
    """What the list shows of a take: its row in the log, with events and levels where they were read."""

    detail: TakeDetail

    @property
    def clip_places_s(self) -> list[float]:
        """Where it clipped, in seconds from the start of the take."""
        rate_hz = max(1, self.detail.row.rate_hz)
        return [event.frame / rate_hz for event in self.detail.events if event.kind == "clip"]

    @property
    def figures(self) -> str:
        """Peaks, clips and what is missing."""
        row = self.detail.row
        text = words.take_figures(
            row.peak_dbfs,
            row.clips,
            row.lost_frames / max(1, row.rate_hz),
            interrupted=row.state is TakeState.INTERRUPTED,
        )
        places = self.clip_places_s
        if row.clips and places:
            count, few = figures_words.clip_count(row.clips), places[:_SHOWN_PLACES]
            text = text.replace(count, words.places(row.clips, few), 1)
        return text


class TakesModel(QAbstractTableModel):
    """Takes, newest first."""

    def __init__(self, part_names: Mapping[str, str]) -> None:
        super().__init__()
        self._part_names = part_names
        self._lines: list[TakeLine] = []

    def show_takes(self, lines: Sequence[TakeLine]) -> None:
        """Show these; rows that stay are changed in place, so that a selection survives."""
        lines = list(lines)
        numbers_before = [line.detail.row.number for line in self._lines]
        if [line.detail.row.number for line in lines] == numbers_before:
            changed = [row for row, line in enumerate(lines) if line != self._lines[row]]
            self._lines = lines
            if changed:
                self.dataChanged.emit(self.index(min(changed), 0), self.index(max(changed), Column.FIGURES))
            return
        self.beginResetModel()
        self._lines = lines
        self.endResetModel()

    def line(self, row: int) -> TakeLine | None:
        """The take in a row."""
        return self._lines[row] if 0 <= row < len(self._lines) else None

    def row_of(self, number: int) -> int:
        """The row of a take, or -1."""
        return next((r for r, line in enumerate(self._lines) if line.detail.row.number == number), -1)

    def rowCount(self, parent: QModelIndex | QPersistentModelIndex = QModelIndex()) -> int:  # noqa: B008
        """How many takes."""
        return 0 if parent.isValid() else len(self._lines)

    def columnCount(self, parent: QModelIndex | QPersistentModelIndex = QModelIndex()) -> int:  # noqa: B008
        """How many columns."""
        return 0 if parent.isValid() else len(Column)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> Any:
        """Headings, which screen readers read with each cell."""
        if orientation is Qt.Orientation.Horizontal and role == Qt.ItemDataRole.DisplayRole:
            return words.take_headings()[section]
        return None

    def data(self, index: QModelIndex | QPersistentModelIndex, role: int = 0) -> Any:
        """Texts of the cells; the delegate draws the levels."""
        line = self.line(index.row())
        if line is None:
            return None
        row, column = line.detail.row, index.column()
        if role == Qt.ItemDataRole.DisplayRole:
            return self._text(line, column)
        if role == Qt.ItemDataRole.TextAlignmentRole and column in (Column.NUMBER, Column.LENGTH):
            return int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        return {
            LINE_ROLE: line,
            int(Qt.ItemDataRole.ToolTipRole): words.take_title(row.number, row.name),
            int(Qt.ItemDataRole.AccessibleTextRole): self._text(line, column) or line.figures,
        }.get(int(role))

    def _text(self, line: TakeLine, column: int) -> str:
        row = line.detail.row
        if row.state is TakeState.OPEN:
            verdict = words.take_running()
        else:
            verdict = advice.verdict_name(row.verdict.value) if row.verdict is not None else numbers.UNKNOWN
        return {
            Column.NUMBER: str(row.number),
            Column.NAME: row.name or self._part_names.get(row.part, row.part) or row.input_name,
            Column.LENGTH: numbers.clock(row.duration_s),
            Column.VERDICT: verdict,
            Column.FIGURES: line.figures,
        }.get(Column(column), "")
