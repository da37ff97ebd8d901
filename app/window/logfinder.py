"""The head of the take log: what to look for, which session, only those to keep."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtWidgets import QHBoxLayout, QLineEdit, QVBoxLayout, QWidget

from app.log.records import SessionRow
from app.window.controls import Button, Choice
from app.window.logreader import Query
from app.window.movebox import MoveBox
from app.window.switch import Switch
from app.window.theme import UNIT
from app.words import logpage as words


class LogFinder(QWidget):
    """Asks for takes; a session that is chosen can be given a name, and takes be moved to one."""

    changed = Signal()
    """Other takes are asked for."""
    list_wanted = Signal()
    """Enter: on to what was found."""
    session_named = Signal(int, str)
    session_begun = Signal()

    def __init__(self) -> None:
        super().__init__()
        self._sessions: tuple[SessionRow, ...] = ()
        self.search = QLineEdit()
        self.search.setClearButtonEnabled(True)
        self.search.setPlaceholderText(words.find_hint())
        self.search.setAccessibleName(words.find_hint())
        self.search.textChanged.connect(lambda _text: self.changed.emit())
        self.search.returnPressed.connect(self.list_wanted)
        self.kept_only = Switch(words.kept_only())
        self.kept_only.toggled.connect(lambda _on: self.changed.emit())
        self.sessions = Choice(16)
        self.sessions.setAccessibleName(words.session_label())
        self.sessions.addItem(words.every_session(), None)
        self.sessions.activated.connect(lambda _index: self._choose())
        self.session_name = QLineEdit()
        self.session_name.setPlaceholderText(words.session_name_hint())
        self.session_name.setAccessibleName(words.session_name_hint())
        self.session_name.editingFinished.connect(self.commit)
        self.session_name.hide()
        self.new_session = Button(words.new_session(), tip=words.new_session_tip())
        self.new_session.clicked.connect(lambda _checked: self.session_begun.emit())
        self.move_box = MoveBox()
        self.stops = (
            self.search,
            self.kept_only,
            self.sessions,
            self.session_name,
            self.new_session,
            self.move_box,
        )
        find = QHBoxLayout()
        find.addWidget(self.search, 1)
        find.addWidget(self.kept_only)
        which = QHBoxLayout()
        which.addWidget(self.sessions, 3)
        which.addWidget(self.session_name, 2)
        which.addWidget(self.new_session)
        which.addWidget(self.move_box)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        for line in (layout, find, which):
            line.setSpacing(2 * UNIT)
        layout.addLayout(find)
        layout.addLayout(which)

    @property
    def query(self) -> Query:
        """What is asked for."""
        return Query(self.search.text(), self.sessions.currentData(), self.kept_only.isChecked())

    def show_sessions(self, sessions: Sequence[SessionRow]) -> None:
        """Offer these sessions; the chosen one stays chosen while it is there."""
        self.move_box.show_sessions(sessions)
        if tuple(sessions) == self._sessions:
            return
        self._sessions = tuple(sessions)
        chosen = self.sessions.currentData()
        with QSignalBlocker(self.sessions):
            self.sessions.clear()
            self.sessions.addItem(words.every_session(), None)
            for session in sessions:
                text = words.session_choice(session.name, session.started[:10], session.takes, session.kept)
                self.sessions.addItem(text, session.number)
            self.sessions.setCurrentIndex(max(0, self.sessions.findData(chosen)))
        self._show_name()
        if self.sessions.currentData() != chosen:
            self.changed.emit()

    def commit(self) -> None:
        """Hand over the session's new name."""
        number = self.sessions.currentData()
        if number is not None and self.session_name.isModified():
            self.session_name.setModified(False)
            self.session_named.emit(number, self.session_name.text().strip())

    def _choose(self) -> None:
        self._show_name()
        self.changed.emit()

    def _show_name(self) -> None:
        number = self.sessions.currentData()
        session = next((each for each in self._sessions if each.number == number), None)
        self.session_name.setVisible(session is not None)
        if session is not None and not self.session_name.hasFocus():
            self.session_name.setText(session.name)
