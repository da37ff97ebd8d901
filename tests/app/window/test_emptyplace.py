"""A sentence where nothing is yet, over a boat where there is room for one; and lines of one length."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QRect, Qt
from PySide6.QtGui import QColor, QFontMetrics
from PySide6.QtWidgets import QLabel

from app.window.controls import Choice
from app.window.emptyplace import EmptyPlace
from app.window.fit import balance_lines
from app.window.theme import PALETTES, Theme, Type

SENTENCE = "Drop sound files or folders anywhere on this window, or choose them above."


def has_boat(place):
    image, ink = place.grab().toImage(), QColor(PALETTES["dark"].edge)
    return any(image.pixelColor(place.width() // 2, y) == ink for y in range(image.height()))


@pytest.mark.parametrize(("height", "boat"), [(600, True), (80, False)])
def test_a_boat_lies_under_the_sentence_where_there_is_room(qtbot, height, boat):
    place = EmptyPlace(SENTENCE, Theme("dark"))
    qtbot.addWidget(place)
    place.resize(500, height)
    place.show()
    assert has_boat(place) == boat
    assert place.label.text() == SENTENCE


def lines_of(label, font):
    """The width of each line as it breaks in the room that the label leaves."""
    room = label.contentsRect().width()
    metrics, lines, line = QFontMetrics(font), [], ""
    for word in label.text().split():
        longer = f"{line} {word}".strip()
        if metrics.horizontalAdvance(longer) > room and line:
            lines.append(metrics.horizontalAdvance(line))
            longer = word
        line = longer
    return [*lines, metrics.horizontalAdvance(line)]


@pytest.mark.parametrize("width", [240, 330, 470, 640])
def test_no_word_stands_alone_on_the_last_line(qtbot, width):
    label, font = QLabel(SENTENCE), Theme().font(Type.LEAD)
    qtbot.addWidget(label)
    label.setFont(font)
    label.setWordWrap(True)
    label.resize(width, 400)
    full = QFontMetrics(font).boundingRect(QRect(0, 0, width, 9999), int(Qt.TextFlag.TextWordWrap), SENTENCE)
    balance_lines(label, font, width, side=0)
    lines = lines_of(label, font)
    assert len(lines) * QFontMetrics(font).lineSpacing() <= full.height() + 2, "no more lines than before"
    assert min(lines) > 0.5 * max(lines)


def test_a_choice_too_narrow_for_its_text_says_so(qtbot):
    choice = Choice()
    qtbot.addWidget(choice)
    choice.addItems(["Built-in player: Bass, plucked", "x"])
    choice.resize(140, 36)
    choice.show()
    narrow = choice.grab().toImage()
    choice.setItemText(0, "Built-in player: Bass, bowed, very long")
    assert choice.grab().toImage() == narrow, "both end with the same ellipsis"
    choice.setCurrentIndex(1)
    assert choice.grab().toImage() != narrow
