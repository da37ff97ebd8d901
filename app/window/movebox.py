"""Where chosen takes can be moved: to a session that is there, or to one of their own."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QKeyEvent, QWheelEvent

from app.log.records import SessionRow
from app.window.controls import Choice
from app.words import logpage as words

_OPENERS = (Qt.Key.Key_Up, Qt.Key.Key_Down, Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_F4)
_PAST = (Qt.Key.Key_Tab, Qt.Key.Key_Backtab, Qt.Key.Key_Escape)


class MoveBox(Choice):
    """A list that opens; what is chosen in it happens at once, so nothing is chosen while it is closed."""

    wanted = Signal(object, str)
    """The number of a session, or None for a new one; and what it is called."""

    def __init__(self) -> None:
        super().__init__(len(words.move()))
        self._sessions: tuple[SessionRow, ...] = ()
        self.setPlaceholderText(words.move())
        self.setAccessibleName(words.move_action())
        self.setToolTip(words.move_tip())
        self.setAccessibleDescription(words.move_tip())
        self.activated.connect(self._take)
        self.show_sessions(())

    def show_sessions(self, sessions: Sequence[SessionRow]) -> None:
        """Offer these, and a new one."""
        if self.count() and tuple(sessions) == self._sessions:
            return
        self._sessions = tuple(sessions)
        with QSignalBlocker(self):
            self.clear()
            self.addItem(words.own_session())
            for session in sessions:
                text = words.session_choice(session.name, session.started[:10], session.takes, session.kept)
                self.addItem(text, (session.number, session.name or session.started[:10]))
            self.setCurrentIndex(-1)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Open it; a letter or an arrow must not move takes unseen."""
        if event.key() in _OPENERS:
            self.showPopup()
        elif event.key() in _PAST:
            super().keyPressEvent(event)
        else:
            event.ignore()

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Leave it to what scrolls."""
        event.ignore()

    def _take(self, place: int) -> None:
        number, name = self.itemData(place) or (None, "")
        self.setCurrentIndex(-1)
        self.wanted.emit(number, name)
