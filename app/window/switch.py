"""A choice that is on or off, and says so by a shape. Enter turns it: the space bar belongs to the take."""

from __future__ import annotations

from PySide6.QtWidgets import QSizePolicy

from app.window.controls import Button

_ON, _OFF = "\N{BLACK DIAMOND}", "\N{WHITE DIAMOND}"


class Switch(Button):
    """A button that stays in."""

    def __init__(self, text: str, *, tip: str = "") -> None:
        super().__init__(text, tip=tip)
        self._words = text
        self.setCheckable(True)
        self.setSizePolicy(QSizePolicy.Policy.Minimum, QSizePolicy.Policy.Fixed)
        self.toggled.connect(self._show_mark)
        self._show_mark(False)

    def _show_mark(self, on: bool) -> None:
        # What it is called stays: that it is on is told to a screen reader as a state.
        self.setText(f"{_ON if on else _OFF}  {self._words}")
