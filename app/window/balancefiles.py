"""The files of the backing, one line each: how far down, how loud, and what is in the way."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFrame, QGridLayout, QLabel, QScrollArea, QVBoxLayout, QWidget

from app.coach.balance import Balance
from app.window.balancedesk import Entry
from app.window.controls import Button
from app.window.theme import GAP, TARGET, UNIT, Theme, Type
from app.words import hearing as words

_LINES = 4
"""More than so many scroll."""


class BackingFiles(QWidget):
    """Shows the files; a button takes one out."""

    removed = Signal(object)
    """The :class:`~app.window.balancedesk.Entry` to take out."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._shown: object = None
        self._inner = QWidget()
        self._inner.setObjectName("backing-files")
        self._grid = QGridLayout(self._inner)
        self._grid.setContentsMargins(0, 0, UNIT, 0)
        self._grid.setHorizontalSpacing(GAP)
        self._grid.setVerticalSpacing(UNIT)
        self._grid.setColumnStretch(3, 1)
        self._area = QScrollArea()
        self._area.setWidget(self._inner)
        self._area.setWidgetResizable(True)
        self._area.setFrameShape(QFrame.Shape.NoFrame)
        self._area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self._area)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        ground = theme.palette.panel
        self._area.setStyleSheet(
            f"QScrollArea, QWidget#backing-files {{ background: {ground}; border: none; }}"
        )
        self._shown = None

    def show_entries(self, entries: Sequence[Entry], balance: Balance | None) -> None:
        """Show these files, with the advice for those that are measured."""
        shown = (
            tuple((e, e.problem, e.file, e.measuring and round(100 * e.share)) for e in entries),
            balance,
        )
        if shown == self._shown:
            return
        self._shown = shown
        while (item := self._grid.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.setParent(None)
                widget.deleteLater()
        measured = [entry for entry in entries if entry.file is not None]
        advised = balance is not None and len(balance.files) == len(measured)
        for row, entry in enumerate(entries):
            self._grid.addWidget(self._plain(entry.path.name, tip=str(entry.path)), row, 0)
            if entry.problem:
                self._grid.addWidget(self._plain(entry.problem, quiet=True, wrap=True), row, 1, 1, 3)
            elif entry.file is None:
                self._grid.addWidget(self._plain(words.measuring(entry.share), quiet=True), row, 1)
            else:
                loudness = words.file_loudness(entry.file.track.integrated_lufs)
                self._grid.addWidget(self._plain(loudness, quiet=True), row, 2)
                if advised and balance is not None:
                    self._show_advice(row, balance, measured.index(entry))
            remove = Button(words.remove_short())
            remove.setAccessibleName(words.remove_file(entry.path.name))
            remove.setProperty("flat", True)
            remove.clicked.connect(lambda _checked=False, entry=entry: self.removed.emit(entry))
            self._grid.addWidget(remove, row, 4)
        line = TARGET + 2 * UNIT
        self._area.setFixedHeight(line * max(1, min(len(entries), _LINES)))

    def _show_advice(self, row: int, balance: Balance, number: int) -> None:
        advice = balance.files[number]
        amount = self._plain(words.amount(advice.pull_down_db))
        lead = self._theme.font(Type.LEAD)
        amount.setStyleSheet(f"font-weight: {lead.weight().value};")
        self._grid.addWidget(amount, row, 1)
        if len(balance.files) > 1 and balance.before is not None:
            worst = advice.in_the_way_hz
            lost = worst is not None and advice.in_the_way >= 0.005
            text = words.in_the_way(advice.in_the_way, *worst) if lost and worst else words.nothing_lost()
            self._grid.addWidget(self._plain(text, quiet=True, wrap=True), row, 3)

    @staticmethod
    def _plain(text: str, *, quiet: bool = False, wrap: bool = False, tip: str = "") -> QLabel:
        label = QLabel(text)
        label.setTextFormat(Qt.TextFormat.PlainText)
        label.setWordWrap(wrap)
        label.setToolTip(tip)
        label.setProperty("quiet", quiet)
        return label
