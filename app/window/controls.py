"""Controls that every part of the window shares."""

from __future__ import annotations

from PySide6 import QtGui
from PySide6.QtCore import Qt
from PySide6.QtGui import QAccessible, QAccessibleEvent, QKeyEvent
from PySide6.QtWidgets import QPushButton, QWidget


class Button(QPushButton):
    """A button that Enter presses: the space bar belongs to the take, wherever the focus is."""

    def __init__(self, text: str, *, tip: str = "", parent: QWidget | None = None) -> None:
        super().__init__(text, parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(text)
        if tip:
            self.setToolTip(tip)
            self.setAccessibleDescription(tip)

    def set_text(self, text: str) -> None:
        """Change what it says, on the screen and to a screen reader."""
        if text != self.text():
            self.setText(text)
            self.setAccessibleName(text)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Let Enter click."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
            return
        super().keyPressEvent(event)


def announce(widget: QWidget, text: str) -> None:
    """Have a screen reader say something at once, wherever its user is."""
    if hasattr(QtGui, "QAccessibleAnnouncementEvent"):  # since Qt 6.8
        event: QAccessibleEvent = QtGui.QAccessibleAnnouncementEvent(widget, text)
    else:
        event = QAccessibleEvent(widget, QAccessible.Event.Alert)
    QAccessible.updateAccessibility(event)
