"""The list of takes with their levels and clips, and what happened in the one that is chosen."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QLineEdit,
    QListWidget,
    QStackedLayout,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from app.window.takelist import Column, TakeLine, TakesModel
from app.window.takepaint import TakeDelegate
from app.window.theme import GAP, MARGIN, UNIT, Theme, Type
from app.words import window as words


class Takes(QFrame):
    """The list with the field for the next take's name."""

    chosen = Signal(object)
    """A :class:`TakeLine`, or None."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("panel", True)
        self._chosen_number = -1
        self._model = TakesModel()
        self._delegate = TakeDelegate(theme)
        self._table = QTableView()
        self._table.setModel(self._model)
        self._table.setItemDelegate(self._delegate)
        self._table.setAccessibleName(words.takes_title())
        self._table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self._table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self._table.setShowGrid(False)
        self._table.setTabKeyNavigation(False)
        self._table.setFrameShape(QFrame.Shape.NoFrame)
        self._table.verticalHeader().hide()
        self._table.horizontalHeader().hide()
        self._table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        header = self._table.horizontalHeader()
        header.setMinimumSectionSize(1)
        for column in Column:
            header.setSectionResizeMode(column, QHeaderView.ResizeMode.Fixed)
        header.setSectionResizeMode(Column.LEVELS, QHeaderView.ResizeMode.Stretch)
        self._table.selectionModel().selectionChanged.connect(self._choose)

        title = QLabel(words.takes_title())
        title.setProperty("quiet", True)
        self.name_field = QLineEdit()
        self.name_field.setPlaceholderText(words.take_name_hint())
        self.name_field.setAccessibleName(words.take_name_hint())
        self.name_field.setMaxLength(80)
        self._empty = QLabel(words.no_takes())
        self._empty.setWordWrap(True)
        self._empty.setProperty("quiet", True)
        self._empty.setAlignment(Qt.AlignmentFlag.AlignCenter)

        head = QHBoxLayout()
        head.setContentsMargins(UNIT + 2, 0, 0, 0)
        head.addWidget(title)
        head.addStretch(1)
        head.addWidget(self.name_field, 1)
        body = QWidget()
        self._stack = QStackedLayout(body)
        self._stack.addWidget(self._empty)
        self._stack.addWidget(self._table)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(GAP, GAP - UNIT, GAP, GAP - UNIT)
        layout.setSpacing(UNIT)
        layout.addLayout(head)
        layout.addWidget(body, 1)
        self.setMinimumHeight(100)
        self.set_theme(theme)

    def sizeHint(self) -> QSize:
        """Room for about three takes."""
        return QSize(400, 150)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._delegate.theme = theme
        font = theme.font(Type.BODY)
        self._table.setFont(font)
        metrics = self._table.fontMetrics()
        self._table.verticalHeader().setDefaultSectionSize(max(28, metrics.height() + 2 * UNIT))
        header = self._table.horizontalHeader()
        for column, sample in (
            (Column.NUMBER, "888"),
            (Column.NAME, "nnnnnnnnnnnnnnn"),
            (Column.LENGTH, "1:88:88"),
            (Column.VERDICT, "nnnnnnnnnnn"),
            (Column.FIGURES, "nnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnn"),
        ):
            header.resizeSection(column, metrics.horizontalAdvance(sample) + 3 * UNIT)
        self._table.viewport().update()

    def show_takes(self, lines: Sequence[TakeLine]) -> None:
        """Show these takes, newest first."""
        self._model.show_takes(lines)
        self._stack.setCurrentIndex(1 if lines else 0)
        row = self._model.row_of(self._chosen_number)
        if row >= 0 and not self._table.selectionModel().isRowSelected(row):
            self._table.selectRow(row)
        self.chosen.emit(self._model.line(row))

    def _choose(self) -> None:
        rows = self._table.selectionModel().selectedRows()
        line = self._model.line(rows[0].row()) if rows else None
        if line is not None:
            self._chosen_number = line.detail.row.number
            self.chosen.emit(line)


class Happenings(QFrame):
    """Everything that happened in one take, with its place."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("panel", True)
        self._title = QLabel()
        self._title.setTextFormat(Qt.TextFormat.PlainText)
        self._title.setWordWrap(True)
        self._title.setProperty("quiet", True)
        self._list = QListWidget()
        self._list.setAccessibleName(words.events_name())
        self._list.setFrameShape(QFrame.Shape.NoFrame)
        self._list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._line: TakeLine | None = None
        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, GAP, GAP, GAP - UNIT)
        layout.setSpacing(UNIT)
        layout.addWidget(self._title)
        layout.addWidget(self._list, 1)
        self.set_theme(theme)
        self._write(None)

    def set_theme(self, theme: Theme) -> None:
        """Take the type from a theme."""
        self._list.setFont(theme.font(Type.BODY))

    def show_take(self, line: TakeLine | None) -> None:
        """Show what happened in a take."""
        if line != self._line:
            self._line = line
            self._write(line)

    def _write(self, line: TakeLine | None) -> None:
        chosen = self._list.currentRow()
        self._list.clear()
        self._list.setVisible(line is not None)
        if line is None:
            self._title.setText(words.choose_a_take())
            return
        row = line.detail.row
        self._title.setText(words.take_title(row.number, row.name))
        rate_hz = max(1, row.rate_hz)
        events = [event for event in line.detail.events if event.kind != "verdict"]
        for event in events:
            length_s = (event.frames or 0) / rate_hz
            self._list.addItem(
                words.event_line(event.kind, event.frame / rate_hz, event.channel, length_s, event.peak_dbfs)
            )
        if not events:
            self._list.addItem(words.nothing_happened())
        self._list.setCurrentRow(min(chosen, self._list.count() - 1))
