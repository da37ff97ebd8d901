"""The list of takes with their levels and clips, and what happened in the one that is chosen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QFont, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QSizePolicy,
    QStackedLayout,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from app.log.grouping import grouped
from app.window.fit import balance_lines
from app.window.takelist import Column, TakeLine, TakesModel
from app.window.takepaint import TakeDelegate
from app.window.theme import GAP, MARGIN, UNIT, Theme, Type
from app.words import takes as words

_LEAST_HEIGHT = 31 * UNIT


class Takes(QFrame):
    """The list with the field for the next take's name."""

    chosen = Signal(object)
    """A :class:`TakeLine`, or None."""

    def __init__(self, theme: Theme, part_names: Mapping[str, str], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("panel", True)
        self._chosen_number = -1
        self._fixed: dict[Column, int] = {}
        self._model = TakesModel(part_names)
        self._delegate = TakeDelegate(theme)
        self.table = QTableView()
        self.table.setModel(self._model)
        self.table.setItemDelegate(self._delegate)
        self.table.setAccessibleName(words.takes_title())
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.setShowGrid(False)
        self.table.setTabKeyNavigation(False)
        self.table.setFrameShape(QFrame.Shape.NoFrame)
        self.table.verticalHeader().hide()
        self.table.horizontalHeader().hide()
        self.table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        header = self.table.horizontalHeader()
        header.setMinimumSectionSize(1)
        for column in Column:
            header.setSectionResizeMode(column, QHeaderView.ResizeMode.Fixed)
        header.setSectionResizeMode(Column.LEVELS, QHeaderView.ResizeMode.Stretch)
        self.table.selectionModel().selectionChanged.connect(self._choose)
        # Who comes by Tab has a current row, which Qt does not select: a single take could not be chosen.
        self.table.selectionModel().currentRowChanged.connect(lambda now, _: self._select(now.row()))

        title = QLabel(words.takes_title())
        title.setProperty("quiet", True)
        self.name_field = _name_field()
        self._empty = QLabel(words.no_takes())
        self._empty.setWordWrap(True)
        self._empty.setProperty("quiet", True)
        self._empty.setAlignment(Qt.AlignmentFlag.AlignCenter)

        self._head = head = QHBoxLayout()
        head.setContentsMargins(UNIT + 2, 0, 0, 0)
        head.addWidget(title)
        head.addStretch(1)
        head.addWidget(self.name_field, 1)
        self._body = body = QWidget()
        self._stack = QStackedLayout(body)
        self._stack.addWidget(self._empty)
        self._stack.addWidget(self.table)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(GAP, GAP - UNIT, GAP, GAP - UNIT)
        layout.setSpacing(UNIT)
        layout.addLayout(head)
        layout.addWidget(body, 1)
        self.show_list(True)
        self.set_theme(theme)

    @property
    def list_height(self) -> int:
        """How high it is at the least with its list, shown or not: the head and three lines."""
        head = self._head.minimumSize().height() + 6 * UNIT
        return max(_LEAST_HEIGHT, head + 3 * self._empty.fontMetrics().lineSpacing())

    def show_list(self, shown: bool) -> None:
        """Show the list, or in a low window its head alone."""
        self._body.setVisible(shown)
        self.setMinimumHeight(_LEAST_HEIGHT if shown else 0)
        policy = QSizePolicy.Policy.Preferred if shown else QSizePolicy.Policy.Maximum
        self.setSizePolicy(QSizePolicy.Policy.Preferred, policy)

    def add_to_head(self, widget: QWidget) -> None:
        """Put something before the name of the next take."""
        self._head.insertWidget(self._head.indexOf(self.name_field), widget)

    def sizeHint(self) -> QSize:
        """Room for about three takes."""
        return QSize(400, 150 if not self._body.isHidden() else super().sizeHint().height())

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._delegate.theme = theme
        font = theme.font(Type.BODY)
        self.table.setFont(font)
        metrics = self.table.fontMetrics()
        self.table.verticalHeader().setDefaultSectionSize(max(28, metrics.height() + 2 * UNIT))
        samples = {
            Column.NUMBER: "888",
            Column.NAME: "n" * 12,
            Column.LENGTH: "1:88:88",
            Column.VERDICT: "n" * 11,
        }
        self._fixed = {
            column: metrics.horizontalAdvance(sample) + 3 * UNIT for column, sample in samples.items()
        }
        self._share_out()
        self.table.viewport().update()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Share the width between levels and figures, and the lines of what stands here at first."""
        super().resizeEvent(event)
        self._share_out()

    def _share_out(self) -> None:
        # The table has the same type.
        balance_lines(self._empty, self.table.font(), self.width() - 2 * GAP, side=0)
        header, width = self.table.horizontalHeader(), self.width() - 2 * GAP
        fixed = sum(self._fixed.values())
        figures = round(0.36 * width)
        # With large letters the levels go first: the figures beside them say the same.
        crowded = fixed + figures + 20 * UNIT > width
        self.table.setColumnHidden(Column.LEVELS, crowded)
        if crowded:
            figures = max(20 * UNIT, width - fixed - 4 * UNIT)
        for column, pixels in {**self._fixed, Column.FIGURES: figures}.items():
            header.resizeSection(column, pixels)

    def show_takes(self, lines: Sequence[TakeLine]) -> None:
        """Show these takes, newest first."""
        self._model.show_takes(lines)
        self._stack.setCurrentIndex(1 if lines else 0)
        row = self._model.row_of(self._chosen_number)
        if row >= 0 and not self.table.selectionModel().isRowSelected(row):
            self.table.selectRow(row)
        self.chosen.emit(self._model.line(row))

    def _select(self, row: int) -> None:
        if row >= 0 and not self.table.selectionModel().isRowSelected(row):
            self.table.selectRow(row)

    def _choose(self) -> None:
        rows = self.table.selectionModel().selectedRows()
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
        self.list = QListWidget()
        self.list.setAccessibleName(words.events_name())
        self.list.setFrameShape(QFrame.Shape.NoFrame)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        # However much happened: the sea must not shrink because a take is chosen.
        self.list.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        self._line: TakeLine | None = None
        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, GAP, GAP, GAP - UNIT)
        layout.setSpacing(UNIT)
        layout.addWidget(self._title)
        layout.addWidget(self.list, 1)
        self.set_theme(theme)
        self._write(None)

    def set_theme(self, theme: Theme) -> None:
        """Take the type from a theme."""
        font = theme.font(Type.BODY, 0.93)
        self.list.setFont(font)
        self._clip_font = QFont(font)
        self._clip_font.setBold(True)
        line, self._line = self._line, None
        self.show_take(line)

    def show_take(self, line: TakeLine | None) -> None:
        """Show what happened in a take."""
        if line != self._line:
            self._line = line
            self._write(line)

    def _write(self, line: TakeLine | None) -> None:
        chosen = self.list.currentRow()
        self.list.clear()
        self.list.setVisible(line is not None)
        if line is None:
            self._title.setText(words.choose_a_take())
            return
        row = line.detail.row
        self._title.setText(words.take_title(row.number, row.name))
        rate_hz = max(1, row.rate_hz)
        events = [e for e in grouped(line.detail.events, rate_hz) if e.kind != "verdict"]
        for event in events:
            length_s = (event.frames or 0) / rate_hz
            line_text = words.event_line(
                event.kind, event.frame / rate_hz, event.channel, length_s, event.peak_dbfs, event.count
            )
            item = QListWidgetItem(line_text, self.list)
            item.setToolTip(line_text)
            if event.kind == "clip":
                item.setFont(self._clip_font)
        if not events:
            self.list.addItem(words.nothing_happened())
        self.list.setCurrentRow(min(chosen, self.list.count() - 1))


def _name_field() -> QLineEdit:
    field = QLineEdit()
    field.setPlaceholderText(words.take_name_hint())
    field.setAccessibleName(words.take_name_hint())
    field.setMaxLength(80)
    # Its beginning is what tells names apart.
    field.editingFinished.connect(lambda: field.setCursorPosition(0))
    return field
