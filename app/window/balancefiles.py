"""The files of the backing, one line each: how far down, how loud, and what is in the way."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QPaintEvent
from PySide6.QtWidgets import QFrame, QGridLayout, QLabel, QScrollArea, QSizePolicy, QWidget

from app.coach.balance import Balance, FileBalance
from app.window.balancedesk import Entry
from app.window.controls import Button
from app.window.guard import painting
from app.window.theme import GAP, TARGET, UNIT, Theme, Type
from app.words import hearing as words

_LINES, _FEW_LINES = 4, 2
"""More than so many scroll; fewer where the window is low."""
_NAME, _AMOUNT, _LOUDNESS, _NOTE, _REMOVE = range(5)


class BackingFiles(QScrollArea):
    """Shows the files; a button takes one out."""

    removed = Signal(object)
    """The :class:`~app.window.balancedesk.Entry` to take out."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._rows: list[_Row] = []
        self._lines = _LINES
        self._built_large = False
        self.setAccessibleName(words.backing_label())
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        ground = theme.palette.panel
        self.setStyleSheet(f"QScrollArea, QWidget#backing-files {{ background: {ground}; border: none; }}")
        weight = theme.font(Type.LEAD).weight().value
        for row in self._rows:
            row.amount.setStyleSheet(f"font-weight: {weight};")
        if self._rows and self._built_large != self._large:
            self._build([row.entry for row in self._rows])
        self.updateGeometry()

    @property
    def _large(self) -> bool:
        """Whether letters are so large that a note needs a line of its own."""
        return self._theme.has_large_texts

    def be_low(self, low: bool) -> None:
        """Take less room, because there is less."""
        lines = _FEW_LINES if low else _LINES
        if lines != self._lines:
            self._lines = lines
            self.updateGeometry()

    def sizeHint(self) -> QSize:
        """As high as the files need, up to a few lines."""
        inner = self.widget()
        needed = inner.sizeHint().height() if inner is not None else TARGET
        most = self._lines * (TARGET + UNIT)
        return QSize(300, min(needed, most))

    def show_entries(self, entries: Sequence[Entry], balance: Balance | None) -> None:
        """Show these files, with the advice for those that are measured."""
        if [row.entry for row in self._rows] != list(entries):
            self._build(entries)
        measured = [entry for entry in entries if entry.file is not None]
        advised = balance is not None and len(balance.files) == len(measured)
        for row in self._rows:
            advice = None
            if advised and balance is not None and row.entry.file is not None:
                advice = balance.files[measured.index(row.entry)]
            blames = len(measured) > 1 and balance is not None and balance.before is not None
            row.show(advice, blames=blames)

    def _build(self, entries: Sequence[Entry]) -> None:
        inner = QWidget()
        inner.setObjectName("backing-files")
        grid = QGridLayout(inner)
        grid.setContentsMargins(0, 0, UNIT, 0)
        grid.setHorizontalSpacing(GAP)
        grid.setVerticalSpacing(UNIT)
        grid.setColumnStretch(_NAME, 2)
        grid.setColumnStretch(_NOTE, 3)
        self._built_large = self._large
        self._rows = [_Row(entry, grid, line, large=self._built_large) for line, entry in enumerate(entries)]
        for row in self._rows:
            row.remove.clicked.connect(lambda _checked=False, entry=row.entry: self.removed.emit(entry))
        self.setWidget(inner)  # deletes the one before
        self.set_theme(self._theme)
        self.updateGeometry()


class _Row:
    """The widgets of one file."""

    def __init__(self, entry: Entry, grid: QGridLayout, line: int, *, large: bool) -> None:
        self.entry = entry
        self._large = large
        self.name, self.note = _Elided(), _Elided()
        self.amount, self.loudness = QLabel(), QLabel()
        for label in (self.name, self.amount, self.loudness, self.note):
            label.setTextFormat(Qt.TextFormat.PlainText)
        self.name.setText(entry.path.name)
        self.name.setToolTip(str(entry.path))
        self.loudness.setProperty("quiet", True)
        self.note.setProperty("small", True)
        self.remove = Button(words.remove_short())
        self.remove.setAccessibleName(words.remove_file(entry.path.name))
        self.remove.setProperty("flat", True)
        row = 2 * line
        for column, widget in ((_NAME, self.name), (_AMOUNT, self.amount), (_LOUDNESS, self.loudness)):
            grid.addWidget(widget, row, column)
        if large:
            grid.addWidget(self.note, row + 1, _NAME, 1, _REMOVE + 1)
        else:
            grid.addWidget(self.note, row, _NOTE)
        grid.addWidget(self.remove, row, _REMOVE)

    def show(self, advice: FileBalance | None, *, blames: bool) -> None:
        """Say what is known now."""
        entry, amount, loudness, note = self.entry, "", "", ""
        if entry.problem:
            note = entry.problem
        elif entry.file is None:
            note = words.measuring(entry.share)
        else:
            loudness = words.file_loudness(entry.file.track.integrated_lufs)
            self.name.setToolTip(f"{entry.path}\n{loudness}")
        if self._large:
            loudness = ""
        if advice is not None and (advice.pull_down_db or advice.alone_before is not None):
            amount = words.amount(advice.pull_down_db)
            if blames:
                worst = advice.in_the_way_hz
                lost = worst is not None and advice.in_the_way >= 0.005
                note = words.in_the_way(advice.in_the_way, *worst) if lost and worst else words.nothing_lost()
                loudness = ""  # said by the tip: room is short
        for label, text in ((self.amount, amount), (self.loudness, loudness), (self.note, note)):
            if label.text() != text:
                label.setText(text)
        self.note.setWordWrap(bool(entry.problem))
        self.note.setToolTip(note)


class _Elided(QLabel):
    """One line that takes the room there is, and says so where it was cut."""

    def __init__(self) -> None:
        super().__init__()
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.setMinimumWidth(3 * TARGET)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw as much as fits."""
        metrics = self.fontMetrics()
        if self.wordWrap() or metrics.horizontalAdvance(self.text()) <= self.width():
            super().paintEvent(event)
            return
        with painting(self) as painter:
            text = metrics.elidedText(self.text(), Qt.TextElideMode.ElideMiddle, self.width())
            painter.setPen(self.palette().color(self.foregroundRole()))
            painter.drawText(self.rect(), int(Qt.AlignmentFlag.AlignVCenter), text)
