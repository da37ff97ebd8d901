from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QRectF
from PySide6.QtGui import QImage, QPainter

from app.coach.judgement import Verdict
from app.window.hull import paint_mark, paint_scene
from app.window.theme import DARK, PALETTES, Palette

pytestmark = pytest.mark.usefixtures("qapp")


def painted(palette: Palette, verdict: Verdict | None, width: int = 372, height: int = 190) -> np.ndarray:
    image = QImage(width, height, QImage.Format.Format_RGB32)
    image.fill(0)
    painter = QPainter(image)
    paint_scene(painter, QRectF(0, 0, width, height), verdict, palette)
    painter.end()
    return np.array(image.constBits(), np.uint8).reshape(height, width, 4)[..., :3].astype(int)


def test_shapes_tell_the_verdicts_apart_without_colour() -> None:
    grey = replace(DARK, verdicts=dict.fromkeys(Verdict, "#808080"))
    scenes = {verdict: painted(grey, verdict) for verdict in Verdict}
    for a, b in itertools.combinations(Verdict, 2):
        differ = (np.abs(scenes[a] - scenes[b]).max(axis=2) > 40).mean()
        assert differ > 0.05, (a, b)


def test_the_water_rises_with_the_verdict() -> None:
    grey = replace(DARK, verdicts=dict.fromkeys(Verdict, "#808080"))

    def water_share(verdict: Verdict) -> float:
        # At the left edge there is neither boat nor jetty.
        return float((np.abs(painted(grey, verdict)[:, 2] - 0x80).max(axis=1) < 24).mean())

    shares = [water_share(verdict) for verdict in Verdict]
    assert shares == sorted(shares)
    assert len(set(shares)) == len(shares)


@pytest.mark.parametrize("palette", PALETTES.values(), ids=list(PALETTES))
@pytest.mark.parametrize("size", [(60, 40), (372, 190), (1400, 700)])
def test_painted_at_any_size_and_with_no_verdict(palette: Palette, size: tuple[int, int]) -> None:
    empty = painted(palette, None, *size)
    assert not np.array_equal(empty, painted(palette, Verdict.FAIR_WATER, *size))


def test_small_marks_differ_by_their_level() -> None:
    grey = replace(DARK, verdicts=dict.fromkeys(Verdict, "#808080"))
    fills = []
    for verdict in Verdict:
        image = QImage(14, 14, QImage.Format.Format_RGB32)
        image.fill(0)
        painter = QPainter(image)
        paint_mark(painter, QRectF(0, 0, 14, 14), verdict, grey)
        painter.end()
        pixels = np.array(image.constBits(), np.uint8).reshape(14, 14, 4)
        fills.append(int((pixels[1:13, 7, 0] > 100).sum()))
    assert fills == sorted(fills)
    assert fills[1:] == sorted(set(fills[1:]))
