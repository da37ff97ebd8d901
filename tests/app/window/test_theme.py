"""Colours judged by formulas, each from its publication."""

from __future__ import annotations

import colorsys
import itertools

import numpy as np
import pytest
from numpy.typing import NDArray
from PySide6.QtGui import QFontInfo
from PySide6.QtWidgets import QApplication

from app.coach.judgement import Verdict
from app.window.theme import PALETTES, Palette, Theme, Type, style_sheet

Array = NDArray[np.float64]

# Machado, Oliveira, Fernandes 2009, "A physiologically-based model for simulation of color vision
# deficiency", table 1 at severity 1.0; applied to linear RGB.
SIGHTS = {
    "full": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


def linear_rgb(colour: str) -> Array:
    """IEC 61966-2-1: ``#rrggbb`` to linear RGB."""
    encoded = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def contrast(a: str, b: str) -> float:
    """WCAG 2.2 contrast ratio."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    lighter, darker = sorted((float(linear_rgb(a) @ weights), float(linear_rgb(b) @ weights)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def lab(colour: str, sight: str = "full") -> Array:
    """CIE 1976 L*a*b* (D65) of a colour as a kind of sight sees it."""
    to_xyz = np.array(
        [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.1191920, 0.9503041],
        ]
    )
    xyz = to_xyz @ np.clip(SIGHTS[sight] @ linear_rgb(colour), 0, 1) / np.array([0.95047, 1.0, 1.08883])
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def ciede2000(first: Array, second: Array) -> float:
    """ISO/CIE 11664-6:2014, in the form of Sharma, Wu, Dalal 2005."""
    (l1, a1, b1), (l2, a2, b2) = first, second
    mean_c = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    g = 0.5 * (1 - np.sqrt(mean_c**7 / (mean_c**7 + 25.0**7)))
    c1, c2 = np.hypot((1 + g) * a1, b1), np.hypot((1 + g) * a2, b2)
    h1, h2 = (np.degrees(np.arctan2(b, (1 + g) * a)) % 360 for a, b in ((a1, b1), (a2, b2)))
    grey = c1 * c2 == 0
    turn = 0.0 if grey else (h2 - h1 + 180) % 360 - 180
    delta_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2))
    if grey:
        mean_h = h1 + h2
    elif abs(h1 - h2) <= 180:
        mean_h = (h1 + h2) / 2
    else:
        mean_h = ((h1 + h2 + 360) / 2) % 360
    mean_l, mean_c = (l1 + l2) / 2, (c1 + c2) / 2
    cosine = [np.cos(np.radians(k * mean_h - shift)) for k, shift in ((1, 30), (2, 0), (3, -6), (4, 63))]
    t = 1 - 0.17 * cosine[0] + 0.24 * cosine[1] + 0.32 * cosine[2] - 0.20 * cosine[3]
    s_l = 1 + 0.015 * (mean_l - 50) ** 2 / np.sqrt(20 + (mean_l - 50) ** 2)
    s_c, s_h = 1 + 0.045 * mean_c, 1 + 0.015 * mean_c * t
    rotation = -2 * np.sqrt(mean_c**7 / (mean_c**7 + 25.0**7))
    rotation *= np.sin(np.radians(60 * np.exp(-(((mean_h - 275) / 25) ** 2))))
    terms = ((l2 - l1) / s_l, (c2 - c1) / s_c, delta_h / s_h)
    return float(np.sqrt(sum(term**2 for term in terms) + rotation * terms[1] * terms[2]))


all_palettes = pytest.mark.parametrize("palette", PALETTES.values(), ids=list(PALETTES))


@pytest.mark.parametrize(
    ("first", "second", "difference"),
    [  # From the table of Sharma, Wu, Dalal 2005.
        ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
        ((50.0, -1.0, 2.0), (50.0, 0.0, 0.0), 2.3669),
        ((50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0009), 7.1792),
        ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
        ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
        ((22.7233, 20.0904, -46.6940), (23.0331, 14.9730, -42.5619), 2.0373),
    ],
)
def test_the_formula_agrees_with_its_publication(first: tuple, second: tuple, difference: float) -> None:
    assert ciede2000(np.array(first), np.array(second)) == pytest.approx(difference, abs=1e-4)


@all_palettes
@pytest.mark.parametrize("sight", SIGHTS)
def test_verdicts_stay_apart_for_every_kind_of_sight(palette: Palette, sight: str) -> None:
    least = 15.0 if palette is PALETTES["light"] else 20.0
    for a, b in itertools.combinations(palette.verdicts.values(), 2):
        assert ciede2000(lab(a, sight), lab(b, sight)) >= least, (a, b)


@all_palettes
def test_verdict_fills_stand_out(palette: Palette) -> None:
    for fill in palette.verdicts.values():
        for ground in (palette.ground, palette.air):
            assert contrast(fill, ground) >= (3.0 if ground == palette.ground else 2.75)


@all_palettes
def test_every_text_can_be_read(palette: Palette) -> None:
    pairs = [
        (ink, ground) for ink in (palette.text, palette.muted) for ground in (palette.ground, palette.panel)
    ]
    pairs += [(palette.text, palette.control), (palette.muted, palette.control)]
    pairs += [(palette.on_action, palette.action), (palette.ground, palette.focus)]
    pairs += [(palette.on_verdicts[verdict], palette.verdicts[verdict]) for verdict in Verdict]
    for ink, ground in pairs:
        assert contrast(ink, ground) >= 4.5, (ink, ground)


@all_palettes
def test_lines_and_focus_can_be_seen(palette: Palette) -> None:
    for ground in (palette.ground, palette.panel, palette.control):
        assert contrast(palette.focus, ground) >= 3.0
    for line in (palette.rail, palette.deck, palette.crest):
        assert contrast(line, palette.air) >= 3.0


@all_palettes
def test_no_ordering_from_green_through_yellow_to_red(palette: Palette) -> None:
    def hue(colour: str) -> float:
        rgb = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        return 360 * colorsys.rgb_to_hsv(*rgb)[0]

    assert not any(75 <= hue(fill) <= 160 for fill in palette.verdicts.values()), "no green"
    assert not any(45 <= hue(fill) <= 75 for fill in palette.verdicts.values()), "no yellow"


def test_type_scale_grows_and_follows_the_text_scale(qapp: QApplication) -> None:
    sizes = [Theme().font(kind).pixelSize() for kind in Type]
    assert sizes == sorted(sizes)
    for kind in Type:
        assert Theme(text_scale=2.0).font(kind).pixelSize() == 2 * Theme().font(kind).pixelSize()


def test_digits_have_one_width(qapp: QApplication) -> None:
    from PySide6.QtGui import QFontMetricsF

    font = Theme().font(Type.FIGURE)
    widths = {round(QFontMetricsF(font).horizontalAdvance(digit), 3) for digit in "0123456789"}
    assert len(widths) == 1, QFontInfo(font).family()


@pytest.mark.parametrize("name", PALETTES)
def test_the_style_sheet_is_complete(name: str) -> None:
    text = style_sheet(Theme(name))
    assert text.count("{") == text.count("}")
    assert PALETTES[name].text in text
