"""Everything that a key can do, in one table: shortcuts, tool tips and the page of keys are made from it.

An action has a name, under which the keys that a user chose for it are remembered, a text, the keys that it
has when nobody chose, and a place: keys of the board and of each page may be the same, those that work
everywhere are nobody else's.

Page-turner pedals send arrow or page keys. Whoever has the focus keeps the arrows where it needs them (a
list, a slider, a field). Page Up and Page Down are kept only on a page, where there is something to scroll:
on the board a pedal must begin the take wherever the focus was left.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from PySide6.QtCore import QObject, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractScrollArea,
    QAbstractSlider,
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QLineEdit,
    QWidget,
)

from app.window.ports import Memory
from app.words import keys as words

EVERYWHERE = ""
BOARD = "board"
ARROWS = frozenset({"Left", "Right", "Up", "Down"})
PAGING = frozenset({"PgUp", "PgDown", "Home", "End"})
_NEEDS_ARROWS = (QAbstractScrollArea, QAbstractSlider, QAbstractSpinBox, QComboBox, QLineEdit)
_SETTING = "keys_{name}"


@dataclass(frozen=True, slots=True)
class Action:
    """Something that a key can do."""

    name: str
    """For the settings: never changed, because people's keys are remembered by it."""
    text: str
    """For the page of keys and tool tips: a few words, as an order."""
    run: Callable[[], object]
    keys: tuple[str, ...] = ()
    """Unless the user chose others: Qt's portable names, such as ``Space``, ``Ctrl++``, ``PgDown``."""
    where: str = EVERYWHERE
    """Or :data:`BOARD`, or the name of the page on which it works."""


@dataclass(slots=True)
class _Bound:
    action: Action
    keys: tuple[str, ...]
    shortcuts: list[QShortcut] = field(default_factory=list)


class Actions(QObject):
    """The table, with its shortcuts on one window.

    Parameters
    ----------
    window
        Where the shortcuts work.
    memory
        Remembers keys that the user chose.
    """

    changed = Signal()
    """Keys were changed, or actions added: whoever shows them shows them anew."""

    def __init__(self, window: QWidget, memory: Memory) -> None:
        super().__init__(window)
        self._window, self._memory = window, memory
        self._bound: dict[str, _Bound] = {}
        self._where = BOARD
        application = QApplication.instance()
        if isinstance(application, QApplication):
            application.focusChanged.connect(self._focus_moved)

    def __iter__(self) -> Iterator[Action]:
        return iter([bound.action for bound in self._bound.values()])

    def add(self, *actions: Action) -> None:
        """Put actions into the table."""
        for action in actions:
            chosen = self._memory.get(_SETTING.format(name=action.name))
            keys = action.keys if chosen is None else tuple(filter(None, map(portable, chosen.split("\n"))))
            self._bound[action.name] = _Bound(action, keys)
            self._bind(self._bound[action.name])
        self.changed.emit()

    def keys(self, name: str) -> tuple[str, ...]:
        """The keys of an action, as Qt names them everywhere."""
        return self._bound[name].keys if name in self._bound else ()

    def key_text(self, name: str) -> str:
        """The first key of an action as people call it; empty when it has none."""
        keys = self.keys(name)
        return key_text(keys[0]) if keys else ""

    def holder(self, key: str, name: str) -> Action | None:
        """Another action that has this key where ``name`` works, too."""
        action = self._bound[name].action
        for bound in self._bound.values():
            other = bound.action
            meets = EVERYWHERE in (action.where, other.where) or action.where == other.where
            if other is not action and meets and portable(key) in bound.keys:
                return other
        return None

    def assign(self, name: str, keys: tuple[str, ...]) -> None:
        """Give an action these keys, and remember that; nobody may hold them (see :meth:`holder`)."""
        bound = self._bound[name]
        bound.keys = tuple(dict.fromkeys(filter(None, map(portable, keys))))
        self._memory.put(_SETTING.format(name=name), "\n".join(bound.keys))
        self._bind(bound)
        self.changed.emit()

    def restore(self) -> None:
        """Give every action the keys that it has when nobody chose."""
        for bound in self._bound.values():
            if bound.keys != bound.action.keys:
                bound.keys = bound.action.keys
                self._memory.put(_SETTING.format(name=bound.action.name), "\n".join(bound.keys))
                self._bind(bound)
        self.changed.emit()

    def enter(self, where: str) -> None:
        """From now on the keys of this place work: :data:`BOARD`, or the name of a page."""
        self._where = where
        self._suit(QApplication.focusWidget())

    def run(self, name: str) -> None:
        """Do it, as its key would."""
        self._bound[name].action.run()

    def _bind(self, bound: _Bound) -> None:
        for shortcut in bound.shortcuts:
            shortcut.setEnabled(False)
            shortcut.setParent(None)
            shortcut.deleteLater()
        bound.shortcuts = []
        for key in bound.keys:
            shortcut = QShortcut(QKeySequence(key, QKeySequence.SequenceFormat.PortableText), self._window)
            shortcut.setAutoRepeat(False)  # a key that is held down does not end the take it began
            shortcut.activated.connect(bound.action.run)
            bound.shortcuts.append(shortcut)
        self._suit(QApplication.focusWidget())

    def _focus_moved(self, _before: QWidget | None, now: QWidget | None) -> None:
        self._suit(now)

    def _suit(self, focus: QWidget | None) -> None:
        """Leave to the place and to the focus what is theirs."""
        for bound in self._bound.values():
            here = bound.action.where in (EVERYWHERE, self._where)
            for key, shortcut in zip(bound.keys, bound.shortcuts, strict=True):
                enabled = here and not keeps(focus, key, on_page=self._where != BOARD)
                if shortcut.isEnabled() != enabled:
                    shortcut.setEnabled(enabled)


def keeps(focus: QWidget | None, key: str, *, on_page: bool) -> bool:
    """Whether whoever has the focus needs this key for itself."""
    if key not in ARROWS and not (on_page and key in PAGING):
        return False
    grouped = isinstance(focus, QAbstractButton) and focus.group() is not None
    return grouped or isinstance(focus, _NEEDS_ARROWS)


def portable(key: str) -> str:
    """A key as Qt names it on every system; empty for what is no key."""
    sequence = QKeySequence(key, QKeySequence.SequenceFormat.PortableText)
    return sequence.toString(QKeySequence.SequenceFormat.PortableText)


def key_text(key: str) -> str:
    """A key as people call it here."""
    sequence = QKeySequence(key, QKeySequence.SequenceFormat.PortableText)
    return words.key_name(key) or sequence.toString(QKeySequence.SequenceFormat.NativeText)
