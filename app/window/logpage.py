"""The page with the take log: find takes, name, mark, compare, save, send, move and delete them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QFileDialog,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QScrollArea,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from app.engine.snapshot import Snapshot
from app.errors import UsageError
from app.log.compare import counterpart
from app.log.export import export
from app.log.parcel import write_parcel
from app.log.records import TakeDetail
from app.window.actions import Action
from app.window.booktable import BookTable
from app.window.cliplistening import ClipListening
from app.window.comparepanel import ComparePanel
from app.window.controls import Button, announce
from app.window.logfinder import LogFinder
from app.window.logreader import Listing, LogReader, Query
from app.window.pages import Page, PageTools
from app.window.takecard import TakeCard
from app.window.theme import GAP, MARGIN, UNIT, Theme
from app.words import compare as compare_words
from app.words import log as log_words
from app.words import logpage as words

NAME = "log"
_LIST, _COMPARE = 0, 1
_MOST_COMPARED = 6


@dataclass(frozen=True, slots=True)
class _Undo:
    """How something that was done to takes is undone."""

    numbers: tuple[int, ...]
    run: Callable[[], object]
    offer: str
    said: str


class LogPage(Page):
    """Left the list, right the take that is chosen; a comparison takes the place of both."""

    def __init__(self, tools: PageTools) -> None:
        super().__init__()
        self.setProperty("panel", True)
        self._tools = tools
        self._book = tools.services.takes.book
        self._undoing: list[_Undo] = []
        self._chosen: list[int] = []
        self._said = ""
        self.table = BookTable(tools.theme, {part.key: part.label for part in tools.services.parts})
        self.reader = LogReader(
            self._book,
            tools.errands,
            tools.tell,
            show_listing=self._show_listing,
            show_rows=self.table.book.add_rows,
            show_take=self._show_take,
        )
        self._make(tools.theme)
        self.listening = ClipListening(
            self.card, self._book.evidence_of, tools.services.takes.headphones, tools.errands, tools.tell
        )
        self._arrange()
        tools.actions.add(
            Action("log_find", words.find_action(), self.find_takes, ("Ctrl+F", "/"), NAME),
            Action("log_keep", words.keep_action(), self.toggle_kept, ("Ctrl+K",), NAME),
            Action("log_compare", words.compare_action(), self.compare_chosen, ("V",), NAME),
            Action("log_export", words.export_action(), self.choose_export, ("Ctrl+S",), NAME),
            Action("log_send", words.send_action(), self.choose_parcel, ("Ctrl+E",), NAME),
            Action("log_move", words.move_action(), self.choose_session, ("Ctrl+M",), NAME),
            Action("log_delete", words.delete_action(), self.delete_chosen, ("Del",), NAME),
            Action("log_undo", words.undo_action(), self.undo, ("Ctrl+Z",), NAME),
        )
        self.set_theme(tools.theme)
        self._enable()

    # Putting together

    def _make(self, theme: Theme) -> None:
        self.finder = LogFinder()
        self.finder.changed.connect(self.look)
        self.finder.list_wanted.connect(self.table.setFocus)
        self.finder.session_named.connect(self._book.rename_session)
        self.finder.session_begun.connect(self._book.begin_session)
        self.table.chosen_changed.connect(self._choose)
        self.empty = QLabel()
        self.empty.setWordWrap(True)
        self.empty.setProperty("quiet", True)
        self.empty.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.card = TakeCard(theme)
        self.card.renamed.connect(self._book.rename)
        self.card.noted.connect(self._book.set_notes)
        self.card.marked.connect(self._book.mark)
        self.compare_button = _button(words.compare(), words.compare_tip(), self.compare_chosen)
        self.export_button = _button(words.export(), words.export_tip(), self.choose_export)
        self.send_button = _button(words.send(), words.send_tip(), self.choose_parcel)
        self.move_box = self.finder.move_box
        self.move_box.wanted.connect(self.move_chosen)
        self.delete_button = _button(words.delete(), words.delete_tip(), self.delete_chosen)
        self.undo_button = _button("", "", self.undo)
        self.undo_button.setParent(self)  # it is arranged when it is offered, and must not be a window
        self.undo_button.hide()
        self._buttons = (
            self.compare_button,
            self.export_button,
            self.send_button,
            self.delete_button,
            self.undo_button,
        )
        self.state = QLabel()
        self.state.setWordWrap(True)
        self.state.setProperty("quiet", True)
        self.compared = ComparePanel(theme, self._tools.services.target)
        self.compared.back_button.clicked.connect(self.step_back)
        self.stops = (
            *self.finder.stops,
            self.table,
            *self._buttons,
            *self.card.fields,
            *self.compared.stops,
        )

    def _arrange(self) -> None:
        listed = QWidget()
        left = QVBoxLayout(listed)
        left.setContentsMargins(0, 0, 0, 0)
        left.setSpacing(2 * UNIT)
        left.addWidget(self.finder)
        self._body = QStackedWidget()
        self._body.addWidget(self.table)
        self._body.addWidget(self.empty)
        left.addWidget(self._body, 1)
        self._deeds = QGridLayout()
        self._deeds.setSpacing(2 * UNIT)
        left.addLayout(self._deeds)
        left.addWidget(self.state)
        self._right = QScrollArea()
        self._right.setWidgetResizable(True)
        self._right.setFrameShape(QFrame.Shape.NoFrame)
        self._right.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._right.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.card.setObjectName("take-card")
        self._right.setWidget(self.card)
        both = QWidget()
        columns = QHBoxLayout(both)
        columns.setContentsMargins(0, 0, 0, 0)
        columns.setSpacing(MARGIN)
        columns.addWidget(listed, 64)
        columns.addWidget(self._right, 36)
        self.stack = QStackedWidget()
        self.stack.addWidget(both)
        self.stack.addWidget(self.compared)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, GAP, MARGIN, GAP)
        layout.addWidget(self.stack)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        ground = theme.palette.panel
        self._right.setStyleSheet(f"QScrollArea, QWidget#take-card {{ background: {ground}; border: none; }}")
        for part in (self.table, self.card, self.compared):
            part.set_theme(theme)
        self._arrange_deeds()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Share the width out."""
        super().resizeEvent(event)
        self._arrange_deeds()

    def _arrange_deeds(self) -> None:
        """The buttons in one row, or in as many as large letters need."""
        shown = self._buttons if self._undoing else self._buttons[:-1]
        widest = max((button.sizeHint().width() for button in shown), default=0) + 2 * UNIT
        room = max(1, self.table.width() // widest)
        while self._deeds.takeAt(0) is not None:
            pass
        for place, button in enumerate(shown):
            self._deeds.addWidget(button, place // room, place % room)

    # What the window brings

    def enter(self) -> None:
        """Read the log."""
        self.look()

    def leave(self) -> None:
        """Hand over what was written; silence."""
        self._said = ""
        self.finder.commit()
        self.card.commit()
        self.listening.hush()

    def shut_down(self) -> None:
        """Hand over what was written, before the log closes."""
        self.leave()

    def show_state(self, snapshot: Snapshot, now_s: float, channel: int) -> None:  # noqa: ARG002 - a page's signature
        """Keep what is shown fresh."""
        self.look()
        self.reader.want_take(self._chosen[0] if self._chosen else None)
        wanted = self.table.book.take_wanted()
        if wanted and not self.reader.read_rows(wanted):
            self.table.viewport().update()  # painting asks again
        self.listening.look()

    def look(self) -> None:
        """Read the list again where the query or the log has changed."""
        self.reader.look(self.finder.query)

    def step_back(self) -> bool:
        """Close the comparison, or clear the search; else the page closes."""
        if self.stack.currentIndex() == _COMPARE:
            self.stack.setCurrentIndex(_LIST)
            self.table.setFocus()
            return True
        if self.finder.search.text() and self.finder.search.hasFocus():
            self.finder.search.clear()
            return True
        return False

    @property
    def first_focus(self) -> QWidget:
        """The list, or what is compared."""
        return self.compared.back_button if self.stack.currentIndex() == _COMPARE else self.table

    # What was read

    def _show_listing(self, listing: Listing) -> None:
        self.finder.show_sessions(listing.sessions)
        self.table.show_numbers(listing.numbers, self._chosen)
        self.reader.forget_take()
        self.empty.setText(words.nothing_found() if listing.query != Query() else words.nothing_yet())
        self._body.setCurrentIndex(0 if listing.numbers else 1)
        self._enable()

    def _show_take(self, take: TakeDetail) -> None:
        if self._chosen and take.row.number == self._chosen[0]:
            self.card.show_take(take)

    # What the user does

    def _choose(self) -> None:
        self._chosen = self.table.chosen
        if not self._chosen:
            self.card.show_take(None)
        self.reader.want_take(self._chosen[0] if self._chosen else None)
        self._enable()

    def _enable(self) -> None:
        for button in self._buttons[:-1]:
            button.setEnabled(bool(self._chosen))
        self.move_box.setEnabled(bool(self._chosen))
        count = len(self._chosen)
        told = (words.several_chosen(count) if count > 1 else "", self._said)
        self.state.setText(" \N{MIDDLE DOT} ".join(filter(None, told)))
        self.state.setVisible(bool(self.state.text()))

    def _say(self, sentence: str) -> None:
        self._said = sentence
        self._enable()
        announce(self, sentence)

    def find_takes(self) -> None:
        """Go to the field to search with."""
        self.stack.setCurrentIndex(_LIST)
        self.finder.search.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self.finder.search.selectAll()

    def toggle_kept(self) -> None:
        """Mark the chosen takes, or take the marks away where all have one."""
        rows = [self.table.book.row(number) for number in self._chosen]
        kept = not all(row is not None and row.kept for row in rows)
        for number in self._chosen:
            self._book.mark(number, kept)

    def delete_chosen(self) -> None:
        """Put the chosen takes away; the list goes on with the next one."""
        if self._chosen and self.stack.currentIndex() == _LIST:
            numbers = tuple(self._chosen)
            self._book.delete(numbers)
            self._did(
                words.deleted(len(numbers)),
                _Undo(
                    numbers,
                    partial(self._book.restore, numbers),
                    words.undo(len(numbers)),
                    words.restored(len(numbers)),
                ),
            )

    def choose_session(self) -> None:
        """Open the list of sessions to move the chosen takes to."""
        if self._chosen and self.stack.currentIndex() == _LIST:
            self.move_box.setFocus(Qt.FocusReason.ShortcutFocusReason)
            self.move_box.showPopup()

    def move_chosen(self, session: int | None, name: str) -> None:
        """Put the chosen takes into this session, or into a new one."""
        if not self._chosen:
            return
        numbers = tuple(self._chosen)
        moved = self._book.move(numbers, session)
        self._did(
            words.moved(len(numbers), name),
            _Undo(
                numbers,
                partial(self._book.move_back, moved),
                words.undo_move(len(numbers)),
                words.moved_back(len(numbers)),
            ),
        )
        self.table.setFocus()

    def undo(self) -> None:
        """Undo what was done last."""
        if self._undoing:
            last = self._undoing.pop()
            self._chosen = list(last.numbers)
            last.run()
            self._offer_undo()
            self._say(last.said)

    def _did(self, said: str, undo: _Undo) -> None:
        self._undoing.append(undo)
        self._offer_undo()
        self._say(said)

    def _offer_undo(self) -> None:
        self.undo_button.setVisible(bool(self._undoing))
        if self._undoing:
            self.undo_button.set_text(self._undoing[-1].offer)
        self._arrange_deeds()

    def compare_chosen(self) -> None:
        """The chosen takes side by side; a single one against an earlier session's."""
        if self._chosen:
            numbers = self._chosen[:_MOST_COMPARED]
            self._tools.errands.run(
                "compare", partial(self._to_compare, numbers), self._show_comparison, self._tools.tell
            )

    def _to_compare(self, numbers: Sequence[int]) -> list[TakeDetail]:
        """Read what is compared; on an errand's thread."""
        takes = [self._book.take(number) for number in numbers]
        if len(takes) == 1:
            row = takes[0].row
            before = [number for number in self._book.numbers() if number < row.number]
            other = counterpart(row, self._book.takes_of(before))
            if other is None:
                raise UsageError(compare_words.nothing_to_compare_with(row.number))
            takes.append(self._book.take(other.number))
        return takes

    def _show_comparison(self, takes: list[TakeDetail]) -> None:
        self.compared.show_takes(takes)
        self.stack.setCurrentIndex(_COMPARE)
        self.compared.back_button.setFocus()

    def choose_export(self) -> None:
        """Ask where to save the chosen takes."""
        kinds = ((words.html_files(), "html"), (words.csv_files(), "csv"), (words.json_files(), "json"))
        self._ask_file(words.export(), kinds, export)

    def choose_parcel(self) -> None:
        """Ask where to save the page for a helper."""
        self._ask_file(words.send(), ((words.html_files(), "html"),), write_parcel)

    def _ask_file(
        self,
        title: str,
        kinds: Sequence[tuple[str, str]],
        write: Callable[[Sequence[TakeDetail], Path], None],
    ) -> None:
        if not self._chosen:
            return
        dialog = QFileDialog(self, title)
        dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.setNameFilters([f"{kind} (*.{ending})" for kind, ending in kinds])
        dialog.setDefaultSuffix(kinds[0][1])
        dialog.filterSelected.connect(
            lambda chosen: dialog.setDefaultSuffix(chosen.rpartition("*.")[2].rstrip(")"))
        )
        dialog.selectFile(words.file_name())
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(lambda path: self.save(Path(path), write))
        dialog.open()

    def save(self, path: Path, write: Callable[[Sequence[TakeDetail], Path], None]) -> None:
        """Write the chosen takes to a file, on an errand."""
        numbers = list(self._chosen)
        self._tools.errands.run(
            "export",
            lambda: write([self._book.take(number) for number in numbers], path),
            lambda _nothing: self._say(log_words.exported(len(numbers), path.name)),
            self._tools.tell,
        )


def _button(text: str, tip: str, press: Callable[[], object]) -> Button:
    button = Button(text, tip=tip)
    button.clicked.connect(lambda: press())  # noqa: PLW0108 - without the signal's own argument
    return button
