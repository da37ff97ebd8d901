import math

import numpy as np
import pytest

from app.coach.overlay import HEARD_TIME, RANGES_HZ, Overlay
from dsp.audibility import HEARD_SHARE
from dsp.erb import BAND_CENTRES_HZ
from dsp.excitation import BANDS, CELLS_PER_S
from dsp.track import Track


def track(cells):
    """A track of which only the excitation is looked at."""
    pattern = np.asarray(cells, np.float32)
    return Track(pattern.shape[0] / CELLS_PER_S, 1, pattern, np.empty(0), -20.0, -20.0, -6.0)


def steady(seconds, dbfs, low_hz=0.0, high_hz=20_000.0):
    """The same power in every band of a range of pitch."""
    inside = (low_hz <= BAND_CENTRES_HZ) & (high_hz > BAND_CENTRES_HZ)
    return np.where(inside, 10.0 ** (dbfs / 10.0), 0.0) * np.ones((round(seconds * CELLS_PER_S), 1))


SILENCE = np.zeros((200, BANDS))


def test_without_a_backing_all_is_heard():
    heard = Overlay(track(steady(10, -30)), [track(SILENCE)]).heard([0])
    assert heard.all_of_it == heard.fullest == 1.0
    assert heard.margin == pytest.approx(1.0 - HEARD_SHARE)


def test_the_same_sound_just_as_loud_hides_the_part():
    heard = Overlay(track(steady(10, -30)), [track(steady(10, -30))]).heard([0])
    assert heard.all_of_it == heard.fullest == 0.0
    assert not heard.enough


def test_a_backing_in_other_bands_hides_nothing():
    part, backing = steady(10, -40, 300, 1000), steady(10, -10, 3000, 9000)
    overlay = Overlay(track(part), [track(backing)])
    assert overlay.heard([0]).all_of_it == 1.0
    assert overlay.left([0]) == pytest.approx(1.0)
    assert not overlay.in_the_way().any()


def test_pulling_down_never_hides_and_leaves_all_in_the_end():
    rng = np.random.default_rng(3)
    part, backing = (10.0 ** rng.uniform(-6, -1, (400, BANDS)) for _ in range(2))
    overlay = Overlay(track(part), [track(backing)])
    results = [overlay.heard([amount]) for amount in range(0, 45, 3)]
    for name in ("all_of_it", "fullest", "margin"):
        assert (np.diff([getattr(each, name) for each in results]) >= 0.0).all()
    assert overlay.left([math.inf]) == pytest.approx(1.0)


@pytest.mark.parametrize("seed", range(5))
def test_enough_is_enough_time_on_the_whole_and_at_the_fullest(seed):
    rng = np.random.default_rng(seed)
    part = 10.0 ** rng.uniform(-4, -2, (400, BANDS))
    backing = part * 10.0 ** rng.uniform(-1.5, 0.2, (400, 1))
    overlay = Overlay(track(part), [track(backing)])
    for amount in range(15):
        heard = overlay.heard([amount])
        assert heard.enough == (min(heard.all_of_it, heard.fullest) >= HEARD_TIME)


def test_rests_and_tails_do_not_count():
    part = np.concatenate((steady(5, -30), steady(20, -70), steady(5, -30), SILENCE))
    overlay = Overlay(track(part), [track(steady(40, -45))])
    assert overlay.playing_s == pytest.approx(10.0, abs=0.5)
    assert overlay.heard([0]).all_of_it == 1.0


def test_the_fullest_quarter_is_looked_at_by_itself():
    backing = np.concatenate((steady(17, -60), steady(3, -25)))
    overlay = Overlay(track(steady(20, -30)), [track(backing)])
    heard = overlay.heard([0])
    assert heard.all_of_it == pytest.approx(0.85)
    assert heard.fullest == pytest.approx(0.4)


def test_a_short_part_is_laid_over_the_fullest_passage_too():
    backing = np.concatenate((steady(20, -60), steady(10, -20), steady(20, -60)))
    overlay = Overlay(track(steady(5, -30)), [track(backing)])
    assert overlay.heard([0]).all_of_it == pytest.approx(0.5), (
        "heard over the quiet start, not over the middle"
    )
    assert overlay.t_s.min() == 0.0
    assert 20.0 <= np.median(overlay.t_s[overlay.t_s > 5.0]) <= 30.0


def test_a_part_may_begin_inside_the_backing():
    backing = np.concatenate((steady(10, -20), steady(10, -60)))
    part = track(steady(8, -30))
    later = Overlay(part, [track(backing)], part_starts_s=11.0)
    assert later.left([0])[later.t_s >= 11.0] == pytest.approx(1.0, abs=0.1)
    # It is laid over the fullest ten seconds all the same.
    assert later.heard([0]).fullest == 0.0


def test_what_follows_the_end_of_the_backing_does_not_count():
    part = np.concatenate((steady(5, -30), steady(50, -30)))
    overlay = Overlay(track(part), [track(steady(5, -30))])
    assert overlay.playing_s == pytest.approx(5.0, abs=0.2)
    assert overlay.heard([0]).all_of_it == 0.0


def test_a_part_that_never_meets_the_backing_is_not_hidden():
    part = np.concatenate((SILENCE, steady(5, -30)))
    assert Overlay(track(part), [track(steady(5, -20))]).heard([0]).enough


def test_stems_add_up_and_may_end_at_different_times():
    half = steady(10, -33.0103)
    together = Overlay(track(steady(10, -30)), [track(half), track(half)])
    whole = Overlay(track(steady(10, -30)), [track(steady(10, -30))])
    assert together.heard([3, 3]).margin == pytest.approx(whole.heard([3]).margin)
    shorter = Overlay(track(steady(10, -30)), [track(half), track(half[:100])])
    assert shorter.heard([0, 0]).margin >= together.heard([0, 0]).margin


def test_blame_goes_to_the_file_and_the_range_in_which_it_hides():
    part = steady(10, -30, 130, 380) + steady(10, -30, 1600, 4900)
    low, high = steady(10, -25, 130, 380), steady(10, -35, 1600, 4900)
    overlay = Overlay(track(part), [track(low), track(high), track(SILENCE)])
    blame = overlay.in_the_way()
    assert blame.sum() == pytest.approx(1.0)
    assert blame.argmax(axis=1)[:2].tolist() == [RANGES_HZ.index((120, 400)), RANGES_HZ.index((1500, 5000))]
    assert blame[0].sum() > blame[1].sum()
    assert not blame[2].any()
    by_range = overlay.heard_by_range([0, 0, 0])
    assert by_range == (None, 0.0, None, 1.0, None)


def test_thinning_keeps_moments_from_everywhere_and_from_the_fullest():
    rng = np.random.default_rng(8)
    backing = steady(120, -30) * 10.0 ** rng.uniform(-2, 0, (2400, 1))
    overlay = Overlay(track(steady(120, -32)), [track(backing)])
    few = overlay.thinned(100)
    assert few.playing_s == pytest.approx(100 * 0.2)
    assert overlay.thinned(10_000) is overlay
    for amount in (0, 3, 6):
        assert few.heard([amount]).all_of_it == pytest.approx(overlay.heard([amount]).all_of_it, abs=0.1)
        assert few.heard([amount]).fullest == pytest.approx(overlay.heard([amount]).fullest, abs=0.1)
