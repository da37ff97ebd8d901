"""One take of the log: its name, notes and mark, its levels, and what happened in it."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPlainTextEdit,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from app.engine.events import EventKind
from app.log.grouping import grouped
from app.log.listing import event_texts, remarks
from app.log.records import TakeDetail, TakeEvent
from app.window.controls import Button
from app.window.levelstrip import LevelStrip
from app.window.switch import Switch
from app.window.theme import UNIT, Theme, Type
from app.words import advice
from app.words import log as log_words
from app.words import logpage as words
from app.words.numbers import UNKNOWN, decibels

_LONGEST_NAME = 200
_MOST_EVENTS = 500


class _Notes(QPlainTextEdit):
    """Tells when somebody has finished writing; Tab leaves it."""

    finished = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setTabChangesFocus(True)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.finished.emit()


class TakeCard(QWidget):
    """Shows a take and lets its name, notes and mark be changed."""

    renamed = Signal(int, str)
    noted = Signal(int, str)
    marked = Signal(int, bool)
    place_chosen = Signal(object)
    """The :class:`~app.log.records.TakeEvent` that is chosen, or None."""
    play_wanted = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._take: TakeDetail | None = None
        self._title = _label()
        self._facts = _label(quiet=True)
        self._remarks = _label()
        self.name_field = QLineEdit()
        self.name_field.setMaxLength(_LONGEST_NAME)
        self.name_field.setPlaceholderText(words.name_hint())
        self.name_field.setAccessibleName(words.name_hint())
        self.name_field.editingFinished.connect(self.commit)
        self.notes_field = _Notes()
        self.notes_field.setPlaceholderText(words.notes_hint())
        self.notes_field.setAccessibleName(words.notes_hint())
        self.notes_field.finished.connect(self.commit)
        self.keep_box = Switch(words.keep())
        self.keep_box.clicked.connect(self._mark)
        self.strip = LevelStrip(theme)
        self.events = QListWidget()
        self.events.setAccessibleName(log_words.event_heading())
        self.events.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.events.setWordWrap(True)
        self.events.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        self.events.setMinimumHeight(16 * UNIT)
        self.events.currentRowChanged.connect(self._choose_place)
        self.play_button = Button(words.play(), tip=words.play_tip())
        self.play_button.clicked.connect(self.play_wanted)
        self.play_button.hide()
        self.fields = (self.name_field, self.keep_box, self.notes_field, self.events, self.play_button)
        first = QHBoxLayout()
        first.setSpacing(2 * UNIT)
        first.addWidget(self.name_field, 1)
        first.addWidget(self.keep_box)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(2 * UNIT)
        layout.addWidget(self._title)
        layout.addLayout(first)
        layout.addWidget(self._facts)
        layout.addWidget(self._remarks)
        layout.addWidget(self.strip, 3)
        layout.addWidget(self.notes_field)
        layout.addWidget(self.events, 4)
        layout.addWidget(self.play_button)
        self._shown_events: list[TakeEvent] = []
        self.set_theme(theme)
        self.show_take(None)

    @property
    def take(self) -> TakeDetail | None:
        """What is shown."""
        return self._take

    @property
    def chosen_event(self) -> TakeEvent | None:
        """The place that is chosen in the list of what happened."""
        place = self.events.currentRow()
        return self._shown_events[place] if 0 <= place < len(self._shown_events) else None

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        palette, lead = theme.palette, theme.font(Type.LEAD)
        self.strip.set_theme(theme)
        self._title.setStyleSheet(f"font-size: {lead.pixelSize()}px; font-weight: {lead.weight().value};")
        body = theme.font(Type.BODY)
        for widget in (self.notes_field, self.events):
            widget.setFont(body)
        self.notes_field.setFixedHeight(round(2.6 * body.pixelSize() * 1.35) + 3 * UNIT)
        self.setStyleSheet(
            f"QPlainTextEdit {{ background: {palette.control}; border: 1px solid {palette.edge};"
            f" border-radius: 6px; padding: {UNIT}px 2px; placeholder-text-color: {palette.muted}; }}"
            f"QPlainTextEdit:focus {{ border: 2px solid {palette.focus}; }}"
            f"QListWidget::item:selected {{ background: {palette.control}; color: {palette.text}; }}"
        )

    def show_take(self, take: TakeDetail | None) -> None:
        """Show a take; what was written about the one before is handed over first."""
        same = self._take is not None and take is not None and take.row.number == self._take.row.number
        if same and take == self._take:
            return
        if not same:
            self.commit()
        self._take = take
        for widget in (*self.fields[:-1], self.strip):
            widget.setVisible(take is not None)
        self._remarks.hide()
        self._facts.setVisible(take is not None)
        if take is None:
            self._title.setText(words.choose_one())
            self.play_button.hide()
            self._shown_events = []
            return
        row = take.row
        self._title.setText(log_words.take_title(row.number, row.name))
        verdict = advice.verdict_name(row.verdict) if row.verdict else UNKNOWN
        started = row.started[:16].replace("T", " ")
        line = words.figures_line(row.duration_s, decibels(row.peak_dbfs), row.clips, started)
        self._facts.setText(f"{verdict} · {line}\n{row.input_name}")
        told = remarks(take)
        self._remarks.setText("\n".join(told))
        self._remarks.setVisible(bool(told))
        # Whoever is writing just now is not disturbed by what the log says meanwhile.
        if not (same and self.name_field.hasFocus()):
            self.name_field.setText(row.name)
            self.name_field.setCursorPosition(0)  # its beginning is what tells names apart
            self.name_field.setModified(False)
        if not (same and self.notes_field.hasFocus()):
            self.notes_field.setPlainText(row.notes)
            self.notes_field.document().setModified(False)
        self.keep_box.setChecked(row.kept)
        self.strip.show_take(take)
        self._list_events(take, keep=self.events.currentRow() if same else -1)

    def say(self, sentence: str) -> None:
        """Say this in the place of a take."""
        self.show_take(None)
        self._title.setText(sentence)

    def offer_sound(self, path: Path | None, *, playing: bool) -> None:
        """Offer the sound that was kept of the chosen place, or to stop it."""
        self.play_button.setVisible(path is not None or playing)
        self.play_button.set_text(words.hush() if playing else words.play())

    def commit(self) -> None:
        """Hand over what was written."""
        if self._take is None:
            return
        number = self._take.row.number
        if self.name_field.isModified():
            self.name_field.setModified(False)
            self.renamed.emit(number, self.name_field.text().strip())
        if self.notes_field.document().isModified():
            self.notes_field.document().setModified(False)
            self.noted.emit(number, self.notes_field.toPlainText())

    def _mark(self) -> None:
        if self._take is not None:
            self.marked.emit(self._take.row.number, self.keep_box.isChecked())

    def _list_events(self, take: TakeDetail, keep: int) -> None:
        row = take.row
        events = [event for event in grouped(take.events, row.rate_hz) if event.kind != EventKind.VERDICT]
        more = len(events) - _MOST_EVENTS
        self._shown_events = events[:_MOST_EVENTS]
        self.events.blockSignals(True)
        self.events.clear()
        for event in self._shown_events:
            text = words.event_line(*event_texts(event, row))
            QListWidgetItem(text, self.events).setToolTip(text)
        if more > 0:
            self.events.addItem(log_words.more_events(more))
        if not events:
            self.events.addItem(log_words.no_events())
        self.events.setCurrentRow(keep if keep < len(self._shown_events) else -1)
        self.events.blockSignals(False)
        self._choose_place()

    def _choose_place(self) -> None:
        event = self.chosen_event
        if self._take is not None:
            self.strip.point_out(None if event is None else event.frame / self._take.row.rate_hz)
        self.place_chosen.emit(event)


def _label(*, quiet: bool = False) -> QLabel:
    """A text of other people's, which is shown as it is."""
    label = QLabel()
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setWordWrap(True)
    label.setProperty("quiet", quiet)
    # However long a name without a blank is, it must not push the page apart.
    policy = QSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
    policy.setHeightForWidth(True)
    label.setSizePolicy(policy)
    return label
