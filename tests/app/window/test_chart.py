"""The sea chart's words: whole, whatever the size of the letters."""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest
from PySide6.QtCore import QSize
from PySide6.QtGui import QColor, QFontMetrics, QImage
from PySide6.QtWidgets import QApplication

from app.coach.judgement import Target
from app.window.chart import SeaChart
from app.window.chartlabels import labels_around, plot_in
from app.window.scale import LevelScale
from app.window.theme import Theme, Type
from app.words import chart as words


def inked_rows(image: QImage, left: int, paper: QColor) -> list[int]:
    """The rows in which anything but paper lies at the right of a column."""
    return [
        y
        for y in range(image.height())
        if any(image.pixelColor(x, y) != paper for x in range(left, image.width()))
    ]


@pytest.mark.parametrize("text_scale", [1.0, 1.5, 2.0])
@pytest.mark.parametrize("height", [180, 260, 420])
def test_the_uppermost_name_is_not_cut_by_the_charts_edge(qtbot: Any, text_scale: float, height: int) -> None:
    theme = Theme(text_scale=text_scale)
    chart = SeaChart(theme)
    qtbot.addWidget(chart)
    chart.resize(700, height)
    chart.show()
    qtbot.waitExposed(chart)
    QApplication.processEvents()
    rows = inked_rows(chart.grab().toImage(), chart.plot.right() + 4, QColor(theme.palette.panel))
    assert rows, "no names at all"
    assert rows[0] > 0, "letters reach the edge"


@pytest.mark.parametrize("height", range(150, 420, 10))
def test_the_deck_has_its_name_wherever_a_line_fits_between_it_and_the_rails(qtbot: Any, height: int) -> None:
    theme, scale = Theme(), LevelScale()
    plot = plot_in(QSize(700, height), theme)
    labels = [label for label in labels_around(plot, theme, scale, Target(), math.nan) if label.is_name]
    boxes = [label.box for label in labels]
    assert not any(one.intersects(other) for one, other in itertools.combinations(boxes, 2))
    apart = (scale.height(0.0) - scale.height(Target().ceiling_dbfs)) * plot.height()
    line = QFontMetrics(theme.font(Type.SMALL)).height()
    named = any(label.text.startswith(words.deck_label().split("\n")[0]) for label in labels)
    assert named or apart < line, "no room is no excuse"
