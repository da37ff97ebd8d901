"""Texts as large as they are meant to be, or as large as their room allows."""

from __future__ import annotations

from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtGui import QFont, QFontMetrics

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
