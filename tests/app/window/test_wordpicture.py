"""Words as pictures: each marks what it is about, in the right place."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtGui import QColor, QImage

from app.window import wordpicture
from app.window.scale import LevelScale
from app.window.theme import PALETTES, Theme
from app.window.wordpicture import WordPicture
from app.words import glossary

SIZE = (640, 360)
UNMARKED = {"sea_chart", "slack", "low_water", "fair_water", "high_water", "awash"}
PICTURED = [term.key for term in glossary.terms() if WordPicture.has(term.key)]


@pytest.fixture
def paint(qtbot):
    def paint(key, theme="dark"):
        picture = WordPicture(Theme(theme))
        qtbot.addWidget(picture)
        picture.resize(*SIZE)
        picture.show_word(key)
        return picture.grab().toImage()

    return paint


def places(image, colour):
    """Where a colour is."""
    image = image.convertToFormat(QImage.Format.Format_RGB32)
    pixels = np.frombuffer(image.constBits(), np.uint32).reshape(image.height(), -1)[:, : image.width()]
    rows, columns = np.nonzero(pixels == QColor(colour).rgb())
    return list(zip(columns.tolist(), rows.tolist(), strict=True))


def test_every_picture_is_of_a_word():
    keys = {term.key for term in glossary.terms()}
    assert set(wordpicture._PICTURES) | set(wordpicture._VERDICTS) <= keys
    assert len(PICTURED) > 20


@pytest.mark.parametrize("theme", PALETTES)
@pytest.mark.parametrize("key", [key for key in PICTURED if key not in UNMARKED])
def test_what_is_meant_is_marked(paint, key, theme):
    image, focus = paint(key, theme), PALETTES[theme].focus
    if key == "forecast":  # a cone that fades: mixed with what lies behind it
        assert image != paint("sea_chart", theme)
    else:
        assert len(places(image, focus)) > 20


def test_the_flag_stands_on_the_highest_peak_and_the_headroom_reaches_from_there_to_the_rail(paint):
    scale, width, height = LevelScale(), *SIZE
    highest = wordpicture._peak_dbfs(wordpicture._LOUDEST)
    top, rail = (height * (1 - scale.height(level)) for level in (highest, 0.0))
    column = wordpicture._LOUDEST * width
    rows = [y for x, y in places(paint("headroom"), PALETTES["dark"].focus) if abs(x - column) < 2]
    assert min(rows) == pytest.approx(rail, abs=3)
    assert max(rows) == pytest.approx(top, abs=3)
    line = [x for x, y in places(paint("swell_mark"), PALETTES["dark"].focus) if abs(y - top) < 1]
    assert min(line) == pytest.approx(column, abs=3)


def test_a_word_without_a_picture_paints_nothing(paint):
    assert not WordPicture.has("take")
    image = paint("take")
    assert len({image.pixel(x, y) for x in range(0, SIZE[0], 7) for y in range(0, SIZE[1], 7)}) == 1
