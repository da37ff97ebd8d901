"""The page of channels: a list of all, worst first, and a row below to name one and choose its part."""

from __future__ import annotations

from enum import IntEnum

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QColor, QKeyEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QLineEdit,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
)

from app.coach.judgement import CoachReport
from app.engine.snapshot import Snapshot
from app.window.actions import BOARD
from app.window.channelports import ChannelSeat
from app.window.controls import Button, Choice
from app.window.harbour import channel_label
from app.window.pages import Page, PageTools
from app.window.theme import GAP, MARGIN, UNIT, Theme, Type
from app.words import advice, numbers
from app.words import channels as words

_SETTLE_S = 2.0
"""How long another order must last before the list takes it: nobody can click what jumps."""
_LONGEST_NAME = 40

CEILINGS_DBFS = (-3.0, -9.0, -12.0, -15.0, -18.0)
"""What the peaks of a channel may be told to stay under, besides the usual."""


class _Column(IntEnum):
    NUMBER, NAME, PART, VERDICT, ADVICE, AVERAGE, HEADROOM, CLIPS = range(8)


_RIGHT = (_Column.NUMBER, _Column.AVERAGE, _Column.HEADROOM, _Column.CLIPS)


class _Table(QTableWidget):
    """Enter shows a channel; the space bar belongs to the take."""

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Let Enter do what a double click does."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.currentItem() is not None:
            self.itemActivated.emit(self.currentItem())
        elif event.key() == Qt.Key.Key_Space:
            event.ignore()
        else:
            super().keyPressEvent(event)


class Channels(Page):
    """Shows every channel; the one that is chosen in the list is the one that the row below is about."""

    def __init__(self, tools: PageTools) -> None:
        super().__init__()
        self.setProperty("panel", True)
        self._tools = tools
        self._desk = tools.services.channels
        self._labels = {part.key: part.label for part in tools.services.parts}
        self._theme = tools.theme
        self._order: tuple[int, ...] = ()
        self._items: list[list[QTableWidgetItem]] = []
        self._other_order: tuple[tuple[int, ...], float] = ((), 0.0)
        self.channel = 0
        """Column of the channel that the row below is about."""
        self._empty = QLabel(words.nothing_open())
        self._empty.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.table = self._make_table()
        self.number = QLabel()
        self.name_field = QLineEdit()
        self.name_field.setMaxLength(_LONGEST_NAME)
        self.name_field.editingFinished.connect(self._take_seat)
        self.part_box, self.ceiling_box = Choice(8), Choice(8)
        self.name_field.setAccessibleName(words.name_label(1))
        self.part_box.setAccessibleName(words.part_label(1))
        self.part_box.addItem("", "")
        for part in tools.services.parts:
            self.part_box.addItem(part.label, part.key)
        self.part_box.activated.connect(self._take_seat)
        self.ceiling_box.setAccessibleName(words.ceiling_label(1))
        self.ceiling_box.addItem(words.ceiling_as_usual(tools.services.target.ceiling_dbfs), None)
        for ceiling_dbfs in CEILINGS_DBFS:
            self.ceiling_box.addItem(words.ceiling(ceiling_dbfs), ceiling_dbfs)
        self.ceiling_box.activated.connect(self._take_seat)
        self.show_button = Button(words.show_button(), tip=words.show_tip())
        self.show_button.clicked.connect(self._show_on_chart)
        self.stops = (self.table, self.name_field, self.part_box, self.ceiling_box, self.show_button)
        row = QHBoxLayout()
        row.setSpacing(GAP)
        row.addWidget(self.number)
        row.addWidget(self.name_field, 2)
        row.addWidget(self.part_box, 2)
        row.addWidget(self.ceiling_box, 2)
        row.addWidget(self.show_button)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, GAP, MARGIN, GAP)
        layout.setSpacing(GAP - UNIT)
        layout.addWidget(self._empty)
        layout.addWidget(self.table, 1)
        layout.addLayout(row)
        self.set_theme(tools.theme)

    def _make_table(self) -> QTableWidget:
        headings = words.headings()
        table = _Table(0, len(headings))
        table.setAccessibleName(words.table_name())
        table.setHorizontalHeaderLabels(list(headings))
        table.verticalHeader().hide()
        table.setShowGrid(False)
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        table.setTabKeyNavigation(False)
        table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAsNeeded)
        header = table.horizontalHeader()
        header.setHighlightSections(False)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeading | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(_Column.ADVICE, QHeaderView.ResizeMode.Stretch)
        table.currentCellChanged.connect(self._choose_row)
        table.itemActivated.connect(lambda _: self._show_on_chart())
        return table

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        font = theme.font(Type.BODY)
        self.table.setFont(font)
        self.table.verticalHeader().setDefaultSectionSize(round(2 * font.pixelSize()))
        for column in (_Column.PART, _Column.AVERAGE, _Column.HEADROOM):
            # Large letters: what to do before what it follows from, which the chart shows, too.
            self.table.setColumnHidden(column, theme.has_large_texts)
        self.table.setIconSize(QSize(font.pixelSize(), font.pixelSize()))
        lead = theme.font(Type.LEAD)
        self.number.setStyleSheet(f"font-size: {lead.pixelSize()}px; font-weight: {lead.weight().value};")

    @property
    def order(self) -> tuple[int, ...]:
        """Columns of the channels, as they stand in the list."""
        return self._order

    def show_state(self, snapshot: Snapshot, now_s: float, channel: int) -> None:
        """Show every channel."""
        count = len(snapshot.average_dbfs)
        self.table.setVisible(count > 0)
        self._empty.setVisible(count == 0)
        for stop in self.stops[1:]:
            stop.setEnabled(count > 0)
        if count != len(self._order):
            self._build(count, min(channel, max(0, count - 1)))
        if not count:
            return
        self._settle(snapshot.coach, now_s)
        for row, column in enumerate(self._order):
            self._write(row, column, snapshot)
        if not self.name_field.hasFocus():
            self._name_default()

    def _build(self, count: int, channel: int) -> None:
        self._order = tuple(range(count))
        self.table.setRowCount(count)
        self._items = [[QTableWidgetItem() for _ in _Column] for _ in range(count)]
        for row, items in enumerate(self._items):
            for column, item in zip(_Column, items, strict=True):
                if column in _RIGHT:
                    item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                self.table.setItem(row, column, item)
        if count:
            self._choose(channel)

    def _settle(self, report: CoachReport | None, now_s: float) -> None:
        """Take over the coach's order once it has lasted."""
        wanted = report.worst_first if report is not None else self._order
        if len(wanted) != len(self._order) or wanted == self._order:
            self._other_order = ((), now_s)
            return
        if wanted != self._other_order[0]:
            self._other_order = (wanted, now_s)
        # Nor under the hand of somebody who writes a name.
        if now_s - self._other_order[1] >= _SETTLE_S and not self.name_field.hasFocus():
            self._order = wanted
            self._select()

    def _write(self, row: int, channel: int, snapshot: Snapshot) -> None:
        judgement = snapshot.coach.channels[channel] if snapshot.coach is not None else None
        part = self._desk.seat(channel).part or self._tools.part()
        texts = {
            _Column.NUMBER: str(channel + 1),
            _Column.NAME: channel_label(snapshot, channel),
            _Column.PART: self._labels.get(part, ""),
            _Column.AVERAGE: numbers.decibels(snapshot.average_dbfs[channel]),
            _Column.HEADROOM: numbers.decibels(snapshot.headroom_db[channel]),
            _Column.CLIPS: str(snapshot.clips[channel]) if snapshot.clips[channel] else "",
        }
        if judgement is not None:
            texts[_Column.VERDICT] = advice.verdict_name(judgement.verdict.value)
            texts[_Column.ADVICE] = advice.advice_sentence(
                judgement.reason.value, judgement.gain_change_db, judgement.values
            )
        for column, text in texts.items():
            item = self._items[row][column]
            if item.text() != text:
                item.setText(text)
        if judgement is not None:
            colours = self._theme.palette
            mark, ink = colours.verdicts[judgement.verdict], colours.on_verdicts[judgement.verdict]
            item = self._items[row][_Column.VERDICT]
            if item.background().color() != QColor(mark):
                item.setBackground(QColor(mark))
                item.setForeground(QColor(ink))

    def _choose_row(self, row: int, _column: int, _before_row: int, _before: int) -> None:
        if 0 <= row < len(self._order) and self._order[row] != self.channel:
            self._choose(self._order[row])

    def _choose(self, channel: int) -> None:
        self.channel = channel
        self._select()
        self._fill_row()

    def _select(self) -> None:
        """The marked row follows its channel."""
        before = self.table.blockSignals(True)
        self.table.setCurrentCell(self._order.index(self.channel), _Column.NAME)
        self.table.blockSignals(before)

    def _fill_row(self) -> None:
        number = self.channel + 1
        self.number.setText(str(number))
        self.name_field.setAccessibleName(words.name_label(number))
        self.name_field.setPlaceholderText(words.name_label(number))
        self.part_box.setAccessibleName(words.part_label(number))
        self.ceiling_box.setAccessibleName(words.ceiling_label(number))
        seat = self._desk.seat(self.channel)
        self.name_field.setText(seat.name)
        self.part_box.setCurrentIndex(max(0, self.part_box.findData(seat.part)))
        self._show_ceiling(seat.ceiling_dbfs)

    def _show_ceiling(self, ceiling_dbfs: float | None) -> None:
        box = self.ceiling_box
        if ceiling_dbfs is not None and box.findData(ceiling_dbfs) < 0:
            box.addItem(words.ceiling(ceiling_dbfs), ceiling_dbfs)  # remembered from elsewhere
        box.setCurrentIndex(0 if ceiling_dbfs is None else box.findData(ceiling_dbfs))

    def _name_default(self) -> None:
        """Say what the whole input is judged by, which may have changed."""
        all_part = self._labels.get(self._tools.part(), "")
        if self.part_box.itemText(0) != words.as_all(all_part):
            self.part_box.setItemText(0, words.as_all(all_part))

    def _take_seat(self, *_: object) -> None:
        if self._order:
            seat = ChannelSeat(
                self.name_field.text().strip(),
                self.part_box.currentData() or "",
                self.ceiling_box.currentData(),
            )
            self._desk.seat_channel(self.channel, seat)

    def _show_on_chart(self) -> None:
        self._tools.choose_channel(self.channel)
        self._tools.go_to(BOARD)
