"""Takes side by side: which is technically the safest, their levels over time, and their figures."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHeaderView,
    QLabel,
    QScrollArea,
    QSizePolicy,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.coach.judgement import Target
from app.log.compare import Comparison, compare
from app.log.comparelisting import figure_rows, sentences
from app.log.records import TakeDetail
from app.window.controls import Button, announce
from app.window.levelstrip import LevelStrip
from app.window.theme import GAP, UNIT, Theme, Type
from app.words import compare as words
from app.words import log as log_words
from app.words import logpage as page_words

_MOST_NAME = 24


class ComparePanel(QWidget):
    """Shows one comparison."""

    def __init__(self, theme: Theme, target: Target) -> None:
        super().__init__()
        self._theme, self._target = theme, target
        self._strips: list[LevelStrip] = []
        self.verdict = QLabel()
        self.verdict.setWordWrap(True)
        self.verdict.setTextFormat(Qt.TextFormat.PlainText)
        self.back_button = Button(page_words.back_to_list())
        self.table = QTableWidget()
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setTabKeyNavigation(False)
        self.table.setShowGrid(False)
        self.table.setFrameShape(QFrame.Shape.NoFrame)
        self.table.verticalHeader().hide()
        self.table.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._inner = QWidget()
        self._inner.setObjectName("compared")
        self._column = QVBoxLayout(self._inner)
        self._column.setContentsMargins(0, 0, UNIT, 0)
        self._column.setSpacing(2 * UNIT)
        self.area = QScrollArea()
        self.area.setWidget(self._inner)
        self.area.setWidgetResizable(True)
        self.area.setFrameShape(QFrame.Shape.NoFrame)
        self.area.setAccessibleName(page_words.compare())
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(GAP)
        layout.addWidget(self.verdict)
        layout.addWidget(self.area, 1)
        layout.addWidget(self.back_button, 0, Qt.AlignmentFlag.AlignLeft)
        self.stops = (self.back_button, self.area, self.table)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        lead = theme.font(Type.LEAD)
        self.verdict.setStyleSheet(f"font-size: {lead.pixelSize()}px;")
        ground = theme.palette.panel
        self.area.setStyleSheet(f"QScrollArea, QWidget#compared {{ background: {ground}; border: none; }}")
        self.table.setFont(theme.font(Type.BODY))
        for strip in self._strips:
            strip.set_theme(theme)
        self._size_table()

    def show_takes(self, takes: Sequence[TakeDetail]) -> Comparison:
        """Compare these, in this order."""
        comparison = compare(takes, self._target)
        lines = sentences(comparison)
        self.verdict.setText("\n".join(lines))
        self.verdict.setAccessibleName(lines[0])
        while (item := self._column.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None and widget is not self.table:
                widget.setParent(None)
                widget.deleteLater()
        self._strips = []
        longest_s = max(take.row.duration_s for take in takes)
        for each in comparison.standings:
            title = QLabel(log_words.take_title(each.number, log_words.one_line(each.take.row.name)))
            title.setTextFormat(Qt.TextFormat.PlainText)
            strip = LevelStrip(self._theme)
            strip.show_take(each.take, longest_s)
            strip.setMinimumHeight(24 * UNIT)
            strip.setAccessibleName(words.levels_name(each.number, each.clips))
            self._strips.append(strip)
            self._column.addWidget(title)
            self._column.addWidget(strip, 1)
        self._column.addWidget(self.table)
        self._fill_table(comparison)
        announce(self, lines[0])
        return comparison

    def _fill_table(self, comparison: Comparison) -> None:
        rows = figure_rows(comparison)
        titles = [
            log_words.take_title(each.number, log_words.one_line(each.take.row.name, _MOST_NAME))
            for each in comparison.standings
        ]
        self.table.clear()
        self.table.setRowCount(len(rows))
        self.table.setColumnCount(1 + len(titles))
        self.table.setHorizontalHeaderLabels([words.figure_heading(), *titles])
        self.table.setAccessibleName(words.figure_heading())
        for place, (name, texts) in enumerate(rows):
            for column, text in enumerate((name, *texts)):
                cell = QTableWidgetItem(text)
                if column:
                    cell.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                self.table.setItem(place, column, cell)
        for column in range(1 + len(titles)):
            head = self.table.horizontalHeaderItem(column)
            side = Qt.AlignmentFlag.AlignRight if column else Qt.AlignmentFlag.AlignLeft
            if head is not None:
                head.setTextAlignment(side | Qt.AlignmentFlag.AlignVCenter)
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        header.setHighlightSections(False)
        self._size_table()

    def _size_table(self) -> None:
        """As high as its rows: the page scrolls, not the table in it."""
        height = round(1.9 * self._theme.font(Type.BODY).pixelSize())
        self.table.verticalHeader().setDefaultSectionSize(height)
        rows = self.table.rowCount() * height
        self.table.setFixedHeight(rows + self.table.horizontalHeader().sizeHint().height() + 2 * UNIT)
