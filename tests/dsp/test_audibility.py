import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from dsp.audibility import HEARD_SHARE, Hearing, snr_at_threshold_db
from dsp.erb import BAND_CENTRES_HZ, erb_hz, erb_number, erb_number_hz

HEARING = Hearing.of()


def db_to_power(level_db):
    return 10.0 ** (level_db / 10.0)


LEVELS_DB = arrays.arrays(np.float64, BAND_CENTRES_HZ.size, elements=st.floats(-90.0, 0.0))


def share_left(target, masker, hearing=HEARING):
    return hearing.partial_loudness(target, masker).sum() / hearing.loudness(target).sum()


def worked_example():
    """Noise from 200 to 4000 Hz at 65 dB SPL, bands half an ERB apart, K = -3 dB in all of them."""
    numbers = np.arange(float(erb_number(200.0)), float(erb_number(4000.0)), 0.5)
    centres_hz = erb_number_hz(numbers)
    hearing = Hearing(np.full_like(centres_hz, 2.31), np.full_like(centres_hz, db_to_power(-3.0)), 1.0)
    return hearing, db_to_power(65.0) * erb_hz(centres_hz) / 3800.0


@pytest.mark.parametrize(
    ("masker_db", "share"),
    [(-40, 0.997), (-20, 0.935), (-10, 0.771), (-6, 0.635), (0, 0.291), (6, 0.004), (10, 0.001)],
)
def test_what_is_left_of_noise_under_noise_as_computed_elsewhere(masker_db, share):
    """Within 0.3 dB of masker level, and half of the last digit that is given."""
    hearing, target = worked_example()
    more = share_left(target, target * db_to_power(masker_db - 0.3), hearing)
    less = share_left(target, target * db_to_power(masker_db + 0.3), hearing)
    assert less - 0.0005 <= share <= more + 0.0005


def test_a_masker_elsewhere_takes_almost_nothing():
    target = np.where((BAND_CENTRES_HZ > 200) & (BAND_CENTRES_HZ < 4000), 1e-3, 0.0)
    masker = np.where((BAND_CENTRES_HZ > 6000) & (BAND_CENTRES_HZ < 12_000), 1e-1, 0.0)
    assert share_left(target, masker) == 1.0


def test_the_same_thing_just_as_loud_is_not_heard():
    assert share_left(*2 * (db_to_power(-20.0) * erb_hz(BAND_CENTRES_HZ) / 20_000,)) < HEARD_SHARE
    hearing, target = worked_example()
    assert share_left(target, target, hearing) < HEARD_SHARE


@given(LEVELS_DB)
def test_without_a_masker_all_is_left(levels_db):
    target = db_to_power(levels_db)
    assert share_left(target, np.zeros_like(target)) == 1.0


@given(LEVELS_DB, LEVELS_DB, st.floats(0.1, 20.0))
def test_more_masker_leaves_less(target_db, masker_db, more_db):
    target = db_to_power(target_db)
    less = HEARING.partial_loudness(target, db_to_power(masker_db))
    still_less = HEARING.partial_loudness(target, db_to_power(masker_db + more_db))
    assert (still_less <= less * (1 + 1e-9)).all()
    assert (still_less >= 0.0).all()


@given(LEVELS_DB, LEVELS_DB, st.floats(0.1, 20.0))
def test_more_target_is_louder(target_db, masker_db, more_db):
    masker = db_to_power(masker_db)
    quiet = HEARING.partial_loudness(db_to_power(target_db), masker)
    loud = HEARING.partial_loudness(db_to_power(target_db + more_db), masker)
    assert (loud >= quiet * (1 - 1e-9)).all()


@given(LEVELS_DB)
def test_both_branches_of_the_paper_meet_at_the_threshold(masker_db):
    masker = db_to_power(masker_db)
    at = (HEARING.k * masker * HEARING.to_ear + HEARING.threshold) / HEARING.to_ear
    above = HEARING.partial_loudness(at * (1 + 1e-9), masker)
    below = HEARING.partial_loudness(at * (1 - 1e-9), masker)
    assert above == pytest.approx(below, rel=1e-4)


def test_many_rows_are_the_same_as_each_by_itself():
    target, masker = 10.0 ** np.random.default_rng(5).uniform(-9, 0, (2, 700, 2, BAND_CENTRES_HZ.size))
    together = HEARING.partial_loudness(target, masker)
    each = np.stack([HEARING.partial_loudness(*row) for row in zip(target, masker, strict=True)])
    assert np.array_equal(together, each)


def test_a_silent_target_has_no_loudness_and_raises_no_warning():
    silence = np.zeros(BAND_CENTRES_HZ.size)
    assert not HEARING.loudness(silence).any()
    assert not HEARING.partial_loudness(silence, np.ones_like(silence)).any()


def test_ten_decibels_double_the_loudness():
    """The sone scale, far above the threshold: 2 for 10 dB, with α = 0.2 a little less (10**0.2 = 1.58)."""
    one, louder = (HEARING.loudness(np.full(BAND_CENTRES_HZ.size, p)).sum() for p in (1e-4, 1e-3))
    assert 10**0.2 <= louder / one < 2.1


@pytest.mark.parametrize("spl_db", [70.0, 80.0, 100.0])
def test_the_assumed_level_moves_the_advice_by_less_than_a_decibel(spl_db):
    target = db_to_power(-20.0) * erb_hz(BAND_CENTRES_HZ) / 20_000
    steps_db = np.arange(-10.0, 5.0, 0.1)

    def just_heard_db(hearing):
        left = [share_left(target, target * db_to_power(step), hearing) for step in steps_db]
        return steps_db[np.array(left) >= HEARD_SHARE].max()

    assert just_heard_db(Hearing.of(full_scale_spl_db=spl_db)) == pytest.approx(
        just_heard_db(HEARING), abs=1.0
    )


def test_low_bands_need_more():
    k_db = snr_at_threshold_db(np.array([50.0, 1000.0, 8000.0]))
    assert k_db.tolist() == [13.0, -3.0, -3.0]
    assert (np.diff(snr_at_threshold_db(BAND_CENTRES_HZ)) <= 0.0).all()
