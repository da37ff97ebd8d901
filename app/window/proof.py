"""The standards' test signals, run while somebody looks on: what is required, what was measured.

Threads: the run has a plain thread of its own, which knows nothing of Qt and puts results into a queue; a
timer that only runs meanwhile takes them out.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, TypeAlias

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.window.controls import Button, announce
from app.window.theme import GAP, MARGIN, UNIT, Theme, Type
from app.words import card as card_words
from app.words import conform as words
from app.words.numbers import decibels

if TYPE_CHECKING:
    from app.conform.case import Result

Prove: TypeAlias = "Callable[[], Iterator[Result]]"
"""Begins a run: results as they come. Closing the iterator ends it early."""

_LOOK_MS = 100
_END_S = 5.0
_MOST_A_LOOK = 100
_TOLERANCE = 3
"""Its column."""
_Outcome: TypeAlias = "Result | Exception | None"


class Proof(QFrame):
    """A run of the test signals; figures that were missed stay at the top."""

    closed = Signal()

    def __init__(self, theme: Theme, prove: Prove, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("panel", True)
        self._prove = prove
        self._outcomes: queue.SimpleQueue[_Outcome] = queue.SimpleQueue()
        self._leaving = threading.Event()
        self._thread: threading.Thread | None = None
        self._met = self._total = 0
        self._title = QLabel(words.proof_title())
        self._title.setWordWrap(True)
        self.close_button = Button(card_words.close_why("Esc"))
        self.close_button.clicked.connect(self.closed)
        self.table = QTableWidget(0, 5)
        self.table.setAccessibleName(words.proof_title())
        self.table.setHorizontalHeaderLabels(
            [
                words.name_heading(),
                words.measured_heading(),
                words.required_heading(),
                words.tolerance_heading(),
                words.verdict_heading(),
            ]
        )
        self.table.verticalHeader().hide()
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setTabKeyNavigation(False)
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        self.stops = (self.table, self.close_button)
        """What the keyboard reaches, in order."""
        self._timer = QTimer(self)
        self._timer.setInterval(_LOOK_MS)
        self._timer.timeout.connect(self._collect)
        head = QHBoxLayout()
        head.addWidget(self._title, 1)
        head.addWidget(self.close_button)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, GAP, GAP, GAP)
        layout.setSpacing(UNIT)
        layout.addLayout(head)
        layout.addWidget(self.table, 1)
        self.set_theme(theme)

    @property
    def is_running(self) -> bool:
        """Whether results are still to come."""
        return self._thread is not None

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        lead = theme.font(Type.LEAD)
        self._title.setStyleSheet(f"font-size: {lead.pixelSize()}px; font-weight: {lead.weight().value};")
        self.table.setFont(theme.font(Type.SMALL))
        # Large letters: names take several lines, and the verdict has to stand for the tolerance.
        mode = QHeaderView.ResizeMode
        self.table.setColumnHidden(_TOLERANCE, theme.has_large_texts)
        self.table.verticalHeader().setSectionResizeMode(
            mode.ResizeToContents if theme.has_large_texts else mode.Interactive
        )
        self.table.horizontalHeader().setStyleSheet(
            f"QHeaderView {{ background: {theme.palette.panel}; }}"
            f"QHeaderView::section {{ background: {theme.palette.panel}; color: {theme.palette.muted};"
            f" border: none; padding: {UNIT // 2}px; }}"
        )

    def begin(self) -> None:
        """Begin a run, unless one is under way or still ending."""
        if self._thread is not None:
            return
        self.table.setRowCount(0)
        self._met = self._total = 0
        self._leaving.clear()
        self._title.setText(words.proof_running(0))
        self._thread = threading.Thread(target=self._run, name="swellmark-proof", daemon=True)
        self._thread.start()
        self._timer.start()

    def leave(self) -> None:
        """Have a run end with the signal that it measures just now. Returns at once."""
        self._leaving.set()

    def shut_down(self) -> None:
        """End a run and wait for it, for a few seconds at most."""
        self.leave()
        self._timer.stop()
        if self._thread is not None:
            self._thread.join(_END_S)
            self._thread = None

    def _run(self) -> None:
        try:
            results = self._prove()
            for result in results:
                self._outcomes.put(result)
                if self._leaving.is_set():
                    break
            close = getattr(results, "close", None)
            if close is not None:
                close()
            self._outcomes.put(None)
        except Exception as error:  # told where the results would stand
            self._outcomes.put(error)

    def _collect(self) -> None:
        """Show what came since the last look; once the run was left, only wait for its end."""
        shown = 0
        # Results that come faster than they can be shown must not keep the window from everything else.
        while shown < _MOST_A_LOOK:
            try:
                outcome = self._outcomes.get_nowait()
            except queue.Empty:
                break
            if outcome is None or isinstance(outcome, Exception):
                self._end(outcome)
            elif not self._leaving.is_set():
                self._add(outcome)
                shown += 1
        if self.is_running:
            self._title.setText(words.proof_running(self._total))

    def _add(self, result: Result) -> None:
        case = result.case
        self._total += 1
        self._met += result.passed
        unit = f" {case.unit}" if case.unit else ""
        texts = (
            case.name,
            decibels(result.measured, 2) + unit,
            decibels(case.required, 2) + unit,
            words.tolerance(decibels(case.tolerance_low, 2), decibels(case.tolerance_high, 2)),
            words.verdict(result.passed),
        )
        # What was missed must not scroll away.
        row = self.table.rowCount() if result.passed else self._total - 1 - self._met
        self.table.insertRow(row)
        for column, text in enumerate(texts):
            item = QTableWidgetItem(text)
            if 0 < column < len(texts) - 1:
                item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
            font = item.font()
            font.setBold(not result.passed)
            item.setFont(font)
            item.setToolTip(case.source)
            self.table.setItem(row, column, item)

    def _end(self, error: Exception | None) -> None:
        self._timer.stop()
        self._thread = None
        # A run that was left has no result: some figures were never measured.
        whole = self._total and not self._leaving.is_set()
        text = words.summary(self._met, self._total) if whole else words.proof_title()
        if error is not None:
            text = words.proof_failed(f"{type(error).__name__}: {error}")
        self._title.setText(text)
        announce(self, text)
