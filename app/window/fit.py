"""Texts as large as they are meant to be, or as large as their room allows."""

from __future__ import annotations

from functools import lru_cache

from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtGui import QFont, QFontMetrics
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget

from app.window.theme import MARGIN, UNIT, Theme, Type

LEAST_PIXELS = 10
_REMEMBERED = 512


def fitting_pixels(text: str, font: QFont, room: QSize, *, wrap: bool) -> int:
    """The largest pixel size up to the font's own at which ``text`` fits into ``room``.

    With ``wrap``, lines may break between words; a single word must fit all the same.
    """
    return _fitting_pixels(text, _Letters(font), room.width(), room.height(), wrap)


class _Letters:
    """A font as a key to what was measured with it: texts come again, and measuring them costs."""

    __slots__ = ("_key", "font")

    def __init__(self, font: QFont) -> None:
        self.font = font
        self._key = font.key()

    def __hash__(self) -> int:
        return hash(self._key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Letters) and other._key == self._key


@lru_cache(maxsize=_REMEMBERED)
def _fitting_pixels(text: str, letters: _Letters, width: int, height: int, wrap: bool) -> int:
    flags = int(Qt.TextFlag.TextWordWrap) if wrap else 0
    trial = QFont(letters.font)
    for pixels in range(trial.pixelSize(), LEAST_PIXELS, -1):
        trial.setPixelSize(pixels)
        need = QFontMetrics(trial).boundingRect(QRect(0, 0, width, 10_000), flags, text)
        if need.width() <= width and need.height() <= height:
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
    room, text = width - 2 * side, label.text()
    if room > 0 and text:
        # A label breaks its lines a little sooner than its letters let expect.
        spare = side + max(0, room - _even_width(text, _Letters(font), room) - UNIT) // 2
        label.setContentsMargins(spare, 0, spare, 0)


@lru_cache(maxsize=_REMEMBERED)
def _even_width(text: str, letters: _Letters, room: int) -> int:
    """The least width in which a text takes no more lines than in ``room``."""
    metrics, flags = QFontMetrics(letters.font), int(Qt.TextFlag.TextWordWrap)

    def height(width: int) -> int:
        need = metrics.boundingRect(QRect(0, 0, width, 10_000), flags, text)
        return 10_000 if need.width() > width else need.height()

    least, most, allowed = room // 2, room, height(room)
    while most - least > 2:
        middle = (least + most) // 2
        least, most = (least, middle) if height(middle) <= allowed else (middle, most)
    return most


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
