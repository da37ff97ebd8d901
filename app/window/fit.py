"""Texts as large as they are meant to be, or as large as their room allows."""

from __future__ import annotations

from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtGui import QFont, QFontMetrics
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget

from app.window.theme import MARGIN, UNIT, Theme, Type

LEAST_PIXELS = 10


def fitting_pixels(text: str, font: QFont, room: QSize, *, wrap: bool) -> int:
    """The largest pixel size up to the font's own at which ``text`` fits into ``room``.

    With ``wrap``, lines may break between words; a single word must fit all the same.
    """
    flags = int(Qt.TextFlag.TextWordWrap) if wrap else 0
    trial = QFont(font)
    for pixels in range(font.pixelSize(), LEAST_PIXELS, -1):
        trial.setPixelSize(pixels)
        need = QFontMetrics(trial).boundingRect(QRect(0, 0, room.width(), 10_000), flags, text)
        if need.width() <= room.width() and need.height() <= room.height():
            return pixels
    return LEAST_PIXELS


def fitting_label(parent: QWidget) -> QLabel:
    """A label for :func:`fit_label`: it takes the room that it is given, and asks for none."""
    label = QLabel(parent)
    label.setWordWrap(True)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setAlignment(Qt.AlignmentFlag.AlignCenter)
    label.setContentsMargins(MARGIN, 0, MARGIN, 0)
    label.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
    return label


def balance_lines(label: QLabel, font: QFont, width: int, side: int = MARGIN) -> None:
    """Let the lines of a centred text break so that they are about equally long: no word alone on the last.

    ``width`` is what the label has, ``side`` the margin that it keeps at either side.
    """
    room, metrics, text = width - 2 * side, QFontMetrics(font), label.text()
    flags = int(Qt.TextFlag.TextWordWrap)

    def lines(in_width: int) -> int:
        need = metrics.boundingRect(QRect(0, 0, in_width, 10_000), flags, text)
        return 10_000 if need.width() > in_width else need.height()

    if room <= 0 or not text:
        return
    least, most, height = room // 2, room, lines(room)
    while most - least > 2:
        middle = (least + most) // 2
        least, most = (least, middle) if lines(middle) <= height else (middle, most)
    label.setContentsMargins(side + (room - most) // 2, 0, side + (room - most) // 2, 0)


def fit_label(label: QLabel, theme: Theme, kind: Type, scale: float) -> None:
    """Set a label's text in a step of the type scale times ``scale``, or as large as it has room."""
    font = QFont(theme.font(kind, scale))
    font.setPixelSize(max(font.pixelSize(), theme.font(Type.SMALL).pixelSize()))
    room = QSize(label.width() - 2 * MARGIN, label.contentsRect().height())
    # Before the first layout there is no room to go by; a resize follows.
    sized = room.width() > 2 * MARGIN and room.height() > 2 * UNIT
    pixels = fitting_pixels(label.text(), font, room, wrap=True) if sized else font.pixelSize()
    colour = theme.palette.muted if kind is Type.BODY else theme.palette.text
    font.setPixelSize(pixels)
    balance_lines(label, font, label.width())
    style = f"font-size: {pixels}px; font-weight: {font.weight().value}; color: {colour};"
    if label.styleSheet() != style:
        label.setStyleSheet(style)
