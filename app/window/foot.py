"""The foot of the window: a named button for every place that can be gone to, with its key."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize, Signal
from PySide6.QtGui import QFont, QFontMetrics, QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QWidget

from app.window.actions import BOARD, Actions
from app.window.controls import Button
from app.window.fit import LEAST_PIXELS
from app.window.theme import GAP, TARGET, UNIT, Theme, Type
from app.words import keys as key_words
from app.words import window as words

_PADDING = GAP + UNIT


class Foot(QWidget):
    """Goes places; whoever listens to the signal opens them.

    Keys stand beside the names while there is room for all of them; in a narrow window or with large
    letters the names stay, then letters shrink. A button's tool tip and a screen reader say the key in any
    case.
    """

    chosen = Signal(str)
    """The name of an action."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._texts: dict[str, tuple[str, str]] = {}
        self._layout = QHBoxLayout(self)
        self._layout.setContentsMargins(0, 0, 0, 0)
        self._layout.setSpacing(UNIT)
        self._layout.addStretch(1)
        self.buttons: dict[str, Button] = {}
        """By the name of the action that each carries out."""
        self.setAccessibleName(words.places_name())
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)

    @property
    def stops(self) -> Sequence[QWidget]:
        """What the keyboard reaches, in order."""
        return tuple(self.buttons.values())

    def add(self, name: str, title: str, tip: str, *, place: bool = True) -> None:
        """Add a button for an action: at the left for a place to go to, at the right for anything else."""
        button = Button(title, tip=tip)
        button.setProperty("foot", True)
        button.setCheckable(place)
        button.setMinimumWidth(TARGET)
        button.clicked.connect(lambda: self.chosen.emit(name))
        places = sum(other.isCheckable() for other in self.buttons.values())
        self._layout.insertWidget(places if place else self._layout.count(), button)
        self.buttons[name] = button
        self._texts[name] = (title, "")

    def retitle(self, name: str, title: str) -> None:
        """Change what a button says."""
        if self._texts[name][0] != title:
            self._texts[name] = (title, self._texts[name][1])
            self._share_out()

    def show_keys(self, actions: Actions) -> None:
        """Say which keys do the same."""
        self._texts = {name: (title, actions.key_text(name)) for name, (title, _key) in self._texts.items()}
        self._share_out()

    def show_place(self, place: str) -> None:
        """Mark the place that is shown."""
        for name, button in self.buttons.items():
            if button.isCheckable():
                button.setChecked(name == (BOARD if place == BOARD else place))

    def set_theme(self, theme: Theme) -> None:
        """Take the type from a theme."""
        self._theme = theme
        self._share_out()

    def sizeHint(self) -> QSize:
        """As high as anything that can be touched."""
        return QSize(400, TARGET)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Say as much as there is room for."""
        super().resizeEvent(event)
        self._share_out()

    def _share_out(self) -> None:
        font = QFont(self._theme.font(Type.SMALL))
        whole = [key_words.with_key(title, key) for title, key in self._texts.values()]
        short = [key_words.with_key_beside(title, key) for title, key in self._texts.values()]
        names = [title for title, _key in self._texts.values()]
        tries = (
            (whole, _PADDING),
            (short, 2 * UNIT),
            (short, UNIT + 2),
            (names, 2 * UNIT),
            (names, UNIT + 2),
        )
        for texts, padding in tries:
            room = self.width() - (UNIT + 2 * padding + 2) * len(texts)
            if self._width(texts, font) <= room:
                break
        while self._width(texts, font) > room > 0 and font.pixelSize() > LEAST_PIXELS:
            font.setPixelSize(font.pixelSize() - 1)
        for button, text, full in zip(self.buttons.values(), texts, whole, strict=True):
            button.setText(text)
            button.setAccessibleName(full)
            tip = button.accessibleDescription()
            button.setToolTip(f"{full}\n{tip}")
            style = f"font-size: {font.pixelSize()}px; padding: 0 {padding}px;"
            if button.styleSheet() != style:
                button.setStyleSheet(style)

    @staticmethod
    def _width(texts: Sequence[str], font: QFont) -> int:
        metrics = QFontMetrics(font)
        return sum(metrics.horizontalAdvance(text) for text in texts)
