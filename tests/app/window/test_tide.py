from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QApplication

from app.coach.judgement import Target, Verdict
from app.engine.history import History
from app.window.scale import LevelScale
from app.window.sea import SeaPicture
from app.window.theme import DARK
from app.window.tide import Change, Tide

WIDTH, HEIGHT = 300, 200
pytestmark = pytest.mark.usefixtures("qapp")


def make_tide() -> Tide:
    picture = SeaPicture(WIDTH, HEIGHT, thickness=2.0, scale=LevelScale(), palette=DARK, target=Target())
    return Tide(picture, 30.0)


def levels(hops: int, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    average = -30 + 12 * np.sin(np.arange(hops) / 40 + seed)
    return average[:, None], average[:, None] + 9


def seen(tide: Tide) -> np.ndarray:
    """The picture as it is painted: oldest column first."""
    image = tide.picture.image.copy()
    pixels = np.array(image.constBits(), np.uint8).reshape(HEIGHT, WIDTH, 4)
    return np.roll(pixels, -(tide.picture.last_column + 1) % WIDTH, axis=1)[..., :3]


def test_drawn_bit_by_bit_it_looks_as_if_drawn_at_once() -> None:
    history, live = History(1, 0.01), make_tide()
    average, peak = levels(7000)
    for start in range(0, 7000, 7):
        history.append(average[start : start + 7], peak[start : start + 7])
        live.follow(history.view(), 0, -5.0, 100.0 + start / 100)
    at_once = make_tide()
    at_once.follow(history.view(), 0, -5.0, 1.0)
    # The clock may hold the live one back by a hop or two; let it catch up.
    for frame in range(20):
        live.follow(history.view(), 0, -5.0, 200.0 + frame)
    assert live.picture.last_column == at_once.picture.last_column
    np.testing.assert_array_equal(seen(live)[:, 1:], seen(at_once)[:, 1:])


def test_it_says_what_must_be_painted() -> None:
    history, tide = History(1, 0.01), make_tide()
    assert tide.follow(history.view(), 0, 5.0, 1.0) is Change.NOTHING
    history.append(*levels(35))
    assert tide.follow(history.view(), 0, 5.0, 2.0) is Change.ALL
    assert tide.follow(history.view(), 0, 5.0, 2.1) is Change.NOTHING
    history.append(np.array([[-3.0]]), np.array([[-1.5]]))  # a hop of the same column
    assert tide.follow(history.view(), 0, 5.0, 2.2) is Change.NEWEST
    history.append(*levels(10))
    assert tide.follow(history.view(), 0, 5.0, 3.0) is Change.ALL


def test_water_stands_at_the_average_and_air_over_the_peaks() -> None:
    history, tide = History(1, 0.01), make_tide()
    history.append(np.full((500, 1), -30.0), np.full((500, 1), -15.0))
    tide.follow(history.view(), 0, -15.0, 1.0)
    column = seen(tide)[:, -2]
    scale = LevelScale()

    def at(level_dbfs: float) -> np.ndarray:
        return column[round((1 - scale.height(level_dbfs)) * HEIGHT)]

    crest = QColor(DARK.crest)
    row = round((1 - scale.height(-30.0)) * HEIGHT)
    near = np.abs(column[row - 1 : row + 2].astype(int) - [crest.blue(), crest.green(), crest.red()])
    assert near.max(axis=1).min() < 3, "the crest lies on the average"
    water, spray, air = at(-50.0), at(-22.5), at(-9.0)
    assert water[0] > water[2] + 40, "water is blue"
    assert not np.array_equal(spray, air)
    assert not np.array_equal(spray, water)


def test_a_gap_is_shown_as_a_gap_and_only_there() -> None:
    history, tide = History(1, 0.01), make_tide()
    history.append(*levels(1000))
    history.append_gap(200)
    history.append(*levels(300))
    tide.follow(history.view(), 0, -5.0, 1.0)
    missing = QColor(DARK.missing)
    colour = [missing.blue(), missing.green(), missing.red()]
    # Below the band, where no line runs over the hatching.
    low = seen(tide)[HEIGHT // 2 :]
    hatched = np.flatnonzero((low == colour).all(axis=2).any(axis=0))
    assert hatched.min() == WIDTH - 50
    assert hatched.max() == WIDTH - 31


def test_a_clip_that_is_known_late_is_marked_in_its_place() -> None:
    history, tide = History(1, 0.01), make_tide()
    history.append(*levels(1000))
    tide.follow(history.view(), 0, -5.0, 1.0)
    assert tide.picture.clip_runs() == []
    history.mark_clip(905, 0)
    assert tide.follow(history.view(), 0, -5.0, 1.1) is Change.ALL
    assert tide.picture.clip_runs() == [(9, 9)]
    history.append(*levels(2600))
    tide.follow(history.view(), 0, -5.0, 30.0)
    assert tide.picture.clip_runs() == [(269, 269)], "it stays while it is on the screen"
    history.append(*levels(500))
    tide.follow(history.view(), 0, -5.0, 40.0)
    assert tide.picture.clip_runs() == []


def test_the_flag_stands_where_the_hold_was_reached() -> None:
    history, tide = History(1, 0.01), make_tide()
    average, peak = np.full((1000, 1), -30.0), np.full((1000, 1), -20.0)
    peak[400] = -3.0
    history.append(average, peak)
    tide.follow(history.view(), 0, -3.0, 1.0)
    assert tide.hold_column == 40
    history.append(np.full((3300, 1), -30.0), np.full((3300, 1), -20.0))
    tide.follow(history.view(), 0, -3.0, 40.0)
    assert tide.hold_column is None, "it has left the picture"


def test_another_channel_and_another_input_begin_anew() -> None:
    history, tide = History(2, 0.01), make_tide()
    history.append(np.tile([[-20.0, -60.0]], (500, 1)), np.tile([[-10.0, -50.0]], (500, 1)))
    tide.follow(history.view(), 0, -10.0, 1.0)
    first = seen(tide)
    tide.follow(history.view(), 1, -50.0, 1.1)
    assert not np.array_equal(first, seen(tide))
    fresh = History(1, 0.01)
    fresh.append(*levels(20))
    tide.follow(fresh.view(), 0, -5.0, 1.2)
    assert tide.picture.last_column == 1


def test_silence_and_overs_are_drawn_within_the_picture(qapp: QApplication) -> None:
    history, tide = History(1, 0.01), make_tide()
    history.append(np.full((200, 1), -np.inf), np.full((200, 1), -np.inf))
    history.append(np.full((200, 1), 30.0), np.full((200, 1), 40.0))
    tide.follow(history.view(), 0, 40.0, 1.0)
    assert tide.picture.last_column == 39


def test_peaks_over_the_deck_have_the_colour_of_high_water() -> None:
    history, tide = History(1, 0.01), make_tide()
    history.append(np.full((500, 1), -20.0), np.full((500, 1), -2.0))
    tide.follow(history.view(), 0, -2.0, 1.0)
    fill = QColor(DARK.verdicts[Verdict.HIGH_WATER])
    row = round((1 - LevelScale().height(-4.0)) * HEIGHT)
    assert seen(tide)[row, -2].tolist() == [fill.blue(), fill.green(), fill.red()]
