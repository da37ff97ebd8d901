"""The sea chart's words: whole, whatever the size of the letters."""

from __future__ import annotations

from typing import Any

import pytest
from PySide6.QtGui import QColor, QImage
from PySide6.QtWidgets import QApplication

from app.window.chart import SeaChart
from app.window.theme import Theme


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
