"""Controls that every part of the window shares."""

from __future__ import annotations

from PySide6 import QtGui
from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtGui import QAccessible, QAccessibleEvent, QKeyEvent, QPaintEvent
from PySide6.QtWidgets import (
    QComboBox,
    QPushButton,
    QSizePolicy,
    QStyle,
    QStyleOptionButton,
    QStyleOptionComboBox,
    QStylePainter,
    QWidget,
)

from app.window.guard import reported
from app.window.theme import UNIT

_BEFORE_KEY = "\N{MIDDLE DOT}"
_AROUND = 3 * UNIT
_SMALLEST = 0.75
"""How much smaller letters may become at the most."""


class Choice(QComboBox):
    """A choice that ends with an ellipsis where it is too narrow for what is chosen.

    With ``least_letters`` it may become so narrow, whatever can be chosen; else it is as wide as the widest.
    """

    def __init__(self, least_letters: int | None = None) -> None:
        super().__init__()
        if least_letters is not None:
            self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            self.setMinimumContentsLength(least_letters)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002 - Qt's signature
        """Paint what is chosen as it fits."""
        with reported():
            painter, option = QStylePainter(self), QStyleOptionComboBox()
            self.initStyleOption(option)
            painter.drawComplexControl(QStyle.ComplexControl.CC_ComboBox, option)
            part = QStyle.SubControl.SC_ComboBoxEditField
            field = self.style().subControlRect(QStyle.ComplexControl.CC_ComboBox, option, part, self)
            text = self.currentText() or self.placeholderText()
            room, right = field.width() - UNIT, Qt.TextElideMode.ElideRight
            option.currentText = self.fontMetrics().elidedText(text, right, room)
            painter.drawControl(QStyle.ControlElement.CE_ComboBoxLabel, option)
            painter.end()


class Button(QPushButton):
    """A button that Enter presses: the space bar belongs to the take, wherever the focus is.

    Where it is too narrow for its text it leaves out the key, and then takes smaller letters; a screen reader
    always has the whole.
    """

    def __init__(self, text: str, *, tip: str = "", parent: QWidget | None = None) -> None:
        super().__init__(text, parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.setAccessibleName(text)
        if tip:
            self.setToolTip(tip)
            self.setAccessibleDescription(tip)

    def set_text(self, text: str) -> None:
        """Change what it says, on the screen and to a screen reader."""
        if text != self.text():
            self.setText(text)
            self.setAccessibleName(text)

    @property
    def shown(self) -> tuple[str, float]:
        """What is painted of the text, and how much smaller its letters are made, 1 being not at all."""
        room, text = self.width() - _AROUND, self.text()
        if self._advance(text) > room:
            text = _without_key(text)
        widest = self._advance(text)
        return text, min(1.0, room / widest) if widest > 0 and room > 0 else 1.0

    def _advance(self, text: str) -> int:
        metrics = self.fontMetrics()
        return max(metrics.horizontalAdvance(line) for line in text.split("\n"))

    def minimumSizeHint(self) -> QSize:
        """Narrower than its text, as far as letters can still be read."""
        hint = super().minimumSizeHint()
        least = round(_SMALLEST * self._advance(_without_key(self.text()))) + _AROUND
        return QSize(min(hint.width(), least), hint.height())

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Let Enter click."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
            return
        super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the text as it fits."""
        text, share = self.shown
        if text == self.text() and share >= 1.0:
            super().paintEvent(event)
            return
        with reported():
            painter, option = QStylePainter(self), QStyleOptionButton()
            self.initStyleOption(option)
            option.text = ""
            painter.drawControl(QStyle.ControlElement.CE_PushButton, option)
            option.text = text
            centre = self.rect().center()
            painter.translate(centre)
            painter.scale(share, share)
            # Room for the whole text about the centre: what is too wide by now is scaled.
            width, height = round(self.width() / share), round(self.height() / share)
            option.rect = QRect(-width // 2, -height // 2, width, height)
            painter.drawControl(QStyle.ControlElement.CE_PushButtonLabel, option)
            painter.end()


def _without_key(text: str) -> str:
    return text.rpartition(_BEFORE_KEY)[0].rstrip() if _BEFORE_KEY in text else text


def announce(widget: QWidget, text: str) -> None:
    """Have a screen reader say something at once, wherever its user is."""
    if hasattr(QtGui, "QAccessibleAnnouncementEvent"):  # since Qt 6.8
        event: QAccessibleEvent = QtGui.QAccessibleAnnouncementEvent(widget, text)
    else:
        event = QAccessibleEvent(widget, QAccessible.Event.Alert)
    QAccessible.updateAccessibility(event)
