"""The page of settings: size of texts, colours, motion, what ends a take, and what each key does."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QKeySequence
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
)

from app.window.actions import BOARD, EVERYWHERE, Action, key_text, portable
from app.window.controls import Button, Choice, announce
from app.window.handsfree import TakeEnds
from app.window.looks import MOTIONS
from app.window.pages import Page, PageTools
from app.window.theme import GAP, MARGIN, TARGET, UNIT, Theme, Type
from app.words import settings as words
from app.words import window as window_words

_KEEPS_A_KEY = "back"
_MODIFIERS = (Qt.Key.Key_Shift, Qt.Key.Key_Control, Qt.Key.Key_Alt, Qt.Key.Key_Meta, Qt.Key.Key_AltGr)


class Settings(Page):
    """Everything here takes effect at once and is remembered.

    Parameters
    ----------
    titles
        What each page is called, by its name.
    """

    def __init__(self, tools: PageTools, titles: Mapping[str, str]) -> None:
        super().__init__()
        self.setProperty("panel", True)
        self._tools = tools
        board = {BOARD: window_words.board_title()}
        self._places = {name: words.on_page(title) for name, title in {**board, **titles}.items()}
        self._places[EVERYWHERE] = words.everywhere()
        self.smaller, self.larger = Button(words.smaller()), Button(words.larger())
        self._size = QLabel()
        self.colours = Button("")
        self.motion = Choice(26)
        self.motion.setAccessibleName(words.motion_name())
        for name in MOTIONS:
            self.motion.addItem(words.motion(name), name)
        self.ends = TakeEnds(tools.hands)
        self._title, self._hint = QLabel(words.keys_title()), QLabel(words.keys_hint())
        self._hint.setWordWrap(True)
        self._hint.setProperty("quiet", True)
        self.table = QTableWidget(0, 3)
        self.table.setAccessibleName(words.keys_title())
        self.table.setHorizontalHeaderLabels(list(words.keys_headings()))
        self.table.verticalHeader().hide()
        self.table.setShowGrid(False)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.setTabKeyNavigation(False)
        self.table.setMinimumHeight(2 * TARGET)  # it scrolls; Qt asks for more than a low window has
        header = self.table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeading | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        self.new_key = KeyCatcher(words.new_key())
        self.no_key, self.all_back = Button(words.no_keys()), Button(words.all_as_before())
        self._told = QLabel()
        self._told.setWordWrap(True)
        self.stops = (
            self.smaller,
            self.larger,
            self.ends.clips,
            self.colours,
            self.motion,
            *self.ends.stops,
            self.table,
            self.new_key,
            self.no_key,
            self.all_back,
        )
        self._arrange()
        self._wire()
        self._fill()
        self.table.selectRow(0)
        self.set_theme(tools.theme)

    def _arrange(self) -> None:
        keys = QHBoxLayout()
        looks = []
        for widgets in (
            (self._size, self.smaller, self.larger, self.ends.clips),
            (self.colours, self.motion),
        ):
            row = QHBoxLayout()
            row.setSpacing(GAP)
            for widget in widgets:
                row.addWidget(widget)
            row.addStretch(1)
            looks.append(row)
        keys.setSpacing(GAP)
        for button in (self.new_key, self.no_key, self.all_back):
            keys.addWidget(button)
        keys.addWidget(self._told, 1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, GAP, MARGIN, GAP)
        layout.setSpacing(GAP - UNIT)
        for row in looks:
            layout.addLayout(row)
        layout.addWidget(self.ends)
        layout.addWidget(self._title)
        layout.addWidget(self._hint)
        layout.addWidget(self.table, 1)
        layout.addLayout(keys)

    def _wire(self) -> None:
        looks = self._tools.looks
        self.smaller.clicked.connect(lambda: looks.scale_texts(-1))
        self.larger.clicked.connect(lambda: looks.scale_texts(1))
        self.colours.clicked.connect(looks.next_palette)
        self.motion.activated.connect(lambda index: looks.choose_motion(MOTIONS[index]))
        self.new_key.listens.connect(self._ask)
        self.new_key.caught.connect(self._give)
        self.new_key.left.connect(lambda: self._tell(""))
        self.no_key.clicked.connect(self._take_away)
        self.all_back.clicked.connect(self._restore)
        self._tools.actions.changed.connect(self._fill)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme, and say which they are."""
        lead, body = theme.font(Type.LEAD), theme.font(Type.BODY)
        self._title.setStyleSheet(f"font-size: {lead.pixelSize()}px; font-weight: {lead.weight().value};")
        self.table.setFont(body)
        self.table.verticalHeader().setDefaultSectionSize(2 * body.pixelSize())
        self._size.setText(words.text_size(round(100 * theme.text_scale)))
        self.colours.set_text(words.colours(window_words.look_name(theme.name)))
        self.motion.setCurrentIndex(MOTIONS.index(self._tools.looks.motion))

    @property
    def told(self) -> str:
        """What was said last."""
        return self._told.text()

    def step_back(self) -> bool:
        """Stop waiting for a key, if one is waited for."""
        return self.new_key.stop()

    def leave(self) -> None:
        """Wait for no key any longer."""
        self.new_key.stop()

    @property
    def chosen(self) -> Action | None:
        """The action whose row is chosen."""
        actions, row = list(self._tools.actions), self.table.currentRow()
        return actions[row] if 0 <= row < len(actions) else None

    def _fill(self) -> None:
        actions, row = self._tools.actions, self.table.currentRow()
        table = list(actions)
        self.table.setRowCount(len(table))
        for number, action in enumerate(table):
            keys = ", ".join(map(key_text, actions.keys(action.name))) or words.no_key()
            for column, text in enumerate((action.text, keys, self._places[action.where])):
                self.table.setItem(number, column, QTableWidgetItem(text))
        if row >= 0:
            self.table.selectRow(row)

    def _ask(self) -> None:
        if self.chosen is not None:
            self._tell(words.press_now(self.chosen.text))

    def _give(self, key: str) -> None:
        action, actions = self.chosen, self._tools.actions
        if action is None:
            return
        holder = actions.holder(key, action.name)
        if holder is not None:
            self._tell(words.key_taken(key_text(key), holder.text))
            return
        actions.assign(action.name, (*actions.keys(action.name), key))
        self._tell(words.key_given(key_text(key), action.text))

    def _take_away(self) -> None:
        action = self.chosen
        if action is None:
            return
        if action.name == _KEEPS_A_KEY:
            self._tell(words.key_needed())
            return
        self._tools.actions.assign(action.name, ())
        self._tell(words.keys_taken_away(action.text))

    def _restore(self) -> None:
        self._tools.actions.restore()
        self._tell(words.keys_restored())

    def _tell(self, text: str) -> None:
        self._told.setText(text)
        if text:
            announce(self, text)


class KeyCatcher(Button):
    """A button that, once pressed, takes the next key for itself, whatever it does elsewhere."""

    listens = Signal()
    caught = Signal(str)
    """A key by its portable name."""
    left = Signal()

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self._listening = False
        self.setCheckable(True)
        self.clicked.connect(self._begin)

    def stop(self) -> bool:
        """Listen no longer; False when it did not."""
        was, self._listening = self._listening, False
        self.setChecked(False)
        return was

    def _begin(self) -> None:
        self._listening = True
        self.setChecked(True)
        self.setFocus()
        self.listens.emit()

    def event(self, event: QEvent) -> bool:
        """Keep keys from what they do elsewhere, and Tab from moving on, while it listens."""
        if self._listening and isinstance(event, QKeyEvent):
            if event.type() is QEvent.Type.ShortcutOverride:
                event.accept()
                return True
            if event.type() is QEvent.Type.KeyPress:
                self._catch(event)
                return True
        return super().event(event)

    def _catch(self, event: QKeyEvent) -> None:
        if event.key() in _MODIFIERS or event.isAutoRepeat():
            return
        self.stop()
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
            return
        modifiers = event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier
        if event.text() and not event.text().isalnum() and event.text().isprintable():
            modifiers &= ~Qt.KeyboardModifier.ShiftModifier  # the sign itself says it: ? and not Shift+?
        key = portable(
            QKeySequence(event.key() | modifiers.value).toString(QKeySequence.SequenceFormat.PortableText)
        )
        if key:
            self.caught.emit(key)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Somebody went elsewhere."""
        if self.stop():
            self.left.emit()
        super().focusOutEvent(event)
