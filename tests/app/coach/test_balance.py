import math

import numpy as np
import pytest

from app.coach.balance import DEEP_DB, FINISHED_DB, BalanceReason, advise, is_finished
from app.coach.overlay import HEARD_TIME, Overlay
from app.coach.pulldown import MOST_DB
from dsp.audibility import HEARD_SHARE
from dsp.decibels import db_to_amplitude
from dsp.excitation import BANDS
from dsp.track import Track, TrackMeter

RATE_HZ = 16_000


def measure(samples):
    meter = TrackMeter(RATE_HZ, samples.shape[1])
    meter.process(samples.astype(np.float32))
    return meter.finish()


def noise(seconds, rms_dbfs, low_hz=0.0, high_hz=8000.0, channels=2, seed=1):
    """Noise in a band of frequencies; AES17 level over all channels alike."""
    frames = round(seconds * RATE_HZ)
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.normal(size=(frames, channels)), axis=0)
    frequencies = np.fft.rfftfreq(frames, 1 / RATE_HZ)
    spectrum[(frequencies < low_hz) | (frequencies >= high_hz)] = 0.0
    wave = np.fft.irfft(spectrum, frames, axis=0)
    return wave * (db_to_amplitude(rms_dbfs) / np.sqrt(2.0) / np.sqrt(np.mean(wave**2)))


def dense(seconds, rms_dbfs, **band):
    """Noise whose peaks are held 8 dB over its level, as in a finished track."""
    wave = noise(seconds, rms_dbfs, **band)
    return np.clip(wave, -db_to_amplitude(rms_dbfs + 8), db_to_amplitude(rms_dbfs + 8))


PART = measure(noise(10, -22, 300, 3000, channels=1, seed=2))
FINISHED = measure(dense(12, -9))
SILENT = measure(np.zeros((5 * RATE_HZ, 2)))


def test_a_finished_track_is_pulled_down_at_least_ten_and_then_the_part_is_heard():
    balance = advise(PART, [FINISHED])
    (file,) = balance.files
    assert balance.reason is BalanceReason.HIDDEN
    assert FINISHED_DB <= file.pull_down_db <= 24
    assert balance.before.all_of_it < 0.1
    assert balance.after.all_of_it >= HEARD_TIME
    assert balance.after.fullest >= HEARD_TIME
    assert file.alone_after == balance.after.all_of_it
    assert balance.needs_action


def test_a_decibel_less_would_not_be_enough():
    amount = advise(PART, [FINISHED]).files[0].pull_down_db
    turned_down = measure(dense(12, -9) * db_to_amplitude(-(amount - 1)))
    again = advise(PART, [turned_down])
    assert again.files[0].pull_down_db == 1
    assert advise(PART, [measure(dense(12, -9) * db_to_amplitude(-amount))]).needs_action is False


def test_the_louder_the_backing_the_further_down_decibel_for_decibel():
    amounts = [advise(PART, [measure(dense(12, -9 + more))]).files[0].pull_down_db for more in (0, 3, 5)]
    assert amounts[1] - amounts[0] == pytest.approx(3, abs=1)
    assert amounts[2] - amounts[0] == pytest.approx(5, abs=1)


def test_a_finished_track_goes_down_ten_even_if_the_part_would_be_heard():
    loud = measure(noise(10, -8, 300, 3000, channels=1, seed=2))
    balance = advise(loud, [FINISHED])
    assert balance.files[0].pull_down_db == FINISHED_DB
    assert balance.reason is BalanceReason.FINISHED


def test_before_anything_is_heard_a_finished_track_goes_down_ten():
    for part in (None, SILENT):
        balance = advise(part, [FINISHED])
        assert [file.pull_down_db for file in balance.files] == [10]
        assert balance.reason is BalanceReason.NOTHING_PLAYED
        assert balance.after is balance.gap_lu is None
        assert not balance.ranges
    assert advise(None, [FINISHED], more_me_db=4).files[0].pull_down_db == 14
    waiting = advise(None, [measure(noise(5, -30))])
    assert (waiting.reason, waiting.needs_action) == (BalanceReason.WAITING, False)


def test_what_is_finished_and_what_is_not():
    assert is_finished(FINISHED)
    assert not is_finished(measure(dense(5, -25))), "turned down already"
    assert not is_finished(
        measure(noise(5, -14) * np.where(np.arange(5 * RATE_HZ) % 8000 < 200, 4, 1)[:, None])
    )
    assert not is_finished(SILENT)


def test_a_part_that_is_heard_leaves_the_backing_alone():
    balance = advise(PART, [measure(noise(12, -40))])
    assert balance.reason is BalanceReason.HEARD
    assert not balance.needs_action
    assert balance.equal_pull_down_db == 0


def test_a_silent_backing_needs_nothing():
    balance = advise(PART, [SILENT, SILENT])
    assert balance.reason is BalanceReason.BACKING_SILENT
    assert [file.pull_down_db for file in balance.files] == [0, 0]


def test_more_me_comes_on_top_of_every_sounding_file():
    stems = [FINISHED, measure(noise(12, -45)), SILENT]
    usual = advise(PART, stems)
    more = advise(PART, stems, more_me_db=3)
    assert [b.pull_down_db - a.pull_down_db for a, b in zip(usual.files, more.files, strict=True)] == [
        3,
        3,
        0,
    ]
    assert more.after.margin > usual.after.margin


def test_only_the_stem_in_the_way_goes_down_so_that_the_groove_stays():
    drums = measure(noise(12, -20, 5000, 8000, seed=5))
    bass = measure(noise(12, -20, 40, 150, seed=6))
    guitar = measure(noise(12, -16, 300, 3000, seed=7))
    balance = advise(PART, [drums, guitar, bass])
    amounts = [file.pull_down_db for file in balance.files]
    assert amounts[0] == amounts[2] == 0
    assert amounts[1] > 0
    assert sum(amounts) < 3 * balance.equal_pull_down_db
    worst = max(balance.files, key=lambda file: file.in_the_way)
    assert worst is balance.files[1]
    assert worst.in_the_way > 0.9
    assert worst.in_the_way_hz in {(400, 1500), (1500, 5000)}
    assert balance.after.enough


@pytest.mark.parametrize("seed", range(4))
def test_a_search_on_some_of_a_long_take_is_confirmed_on_all_of_it(seed):
    rng = np.random.default_rng(seed)

    def restless(level_db):
        cells = 10.0 ** ((level_db + rng.normal(0, 6, (4000, BANDS))) / 10.0)
        lufs = np.full(2000, -20.0)
        return Track(200.0, 2, cells.astype(np.float32), lufs, -20.0, -20.0, -3.0)

    part, stems = restless(-40), [restless(-38), restless(-42), restless(-50)]
    balance = advise(part, stems)
    amounts = [file.pull_down_db for file in balance.files]
    assert balance.after.enough
    assert sum(amounts) < 3 * balance.equal_pull_down_db
    # On all of the take, hardly anything is pulled down in vain.
    overlay = Overlay(part, stems)
    assert not overlay.heard([amount - 1 for amount in amounts]).enough


def test_a_part_out_of_reach_is_said_to_be():
    faint = measure(noise(10, -64, 300, 3000, channels=1))
    balance = advise(faint, [FINISHED])
    assert balance.reason is BalanceReason.OUT_OF_REACH
    assert balance.files[0].pull_down_db == MOST_DB
    assert not balance.after.enough


def test_the_gap_is_that_of_headphones():
    """A part in one channel is heard in both ears: 3 dB more than BS.1770 gives it."""
    backing = [measure(noise(10, -20, 300, 3000))]
    mono = measure(noise(10, -20, 300, 3000, channels=1))
    assert advise(mono, backing).gap_lu == pytest.approx(0.0, abs=0.3)
    halves = [measure(noise(10, -23.01, 300, 3000, seed=seed)) for seed in (3, 4)]
    assert advise(mono, halves).gap_lu == pytest.approx(0.0, abs=0.3)


def test_the_course_tells_where_the_part_is_lost():
    backing = np.concatenate((noise(10, -60), noise(10, -15)))
    part = measure(noise(20, -22, 300, 3000, channels=1, seed=2))
    course = advise(part, [measure(backing)]).course
    assert (course.left_before[course.t_s < 9.5] > 0.9).all()
    assert (course.left_before[course.t_s > 10.5] < 0.2).all()
    assert (course.left_after >= course.left_before).all()


@pytest.mark.parametrize(
    ("backing", "more_me", "start_s"), [([], 0, 0.0), ([SILENT], -1, 0.0), ([SILENT], 0, -1.0)]
)
def test_nonsense_is_refused(backing, more_me, start_s):
    with pytest.raises(ValueError, match="nothing negative"):
        advise(PART, backing, more_me, start_s)


def test_every_figure_for_the_sentence_is_a_number():
    for balance in (advise(PART, [FINISHED]), advise(PART, [SILENT, FINISHED]), advise(None, [FINISHED])):
        assert all(math.isfinite(value) for value in balance.values.values())


def test_a_part_of_unknown_place_is_compared_with_all_of_the_song():
    quiet, loud = noise(10, -50), dense(10, -9)
    song = measure(np.concatenate((quiet, loud, quiet)))
    course = advise(PART, [song], placed=False).course
    assert course.t_s[0] == 0.0
    assert course.t_s[-1] == pytest.approx(29.8, abs=0.25)
    inside = (course.t_s > 10.5) & (course.t_s < 19.5)
    outside = (course.t_s < 9.5) | (course.t_s > 20.5)
    assert course.left_before[inside].max() < HEARD_SHARE
    assert course.left_before[outside].min() > 0.9
    assert np.all(course.left_after >= course.left_before)
    assert course.left_after[inside].min() > HEARD_SHARE
    # Steady noise has the same usual sound as at any moment.
    placed = advise(PART, [song], part_starts_s=10.0).course
    there = (placed.t_s > 11) & (placed.t_s < 19)
    assert np.median(placed.left_after[there]) == pytest.approx(np.median(course.left_after[inside]), abs=0.1)


def test_more_than_usual_for_one_file_says_where_it_is_in_the_way():
    faint = measure(noise(10, -40, 300, 1500, channels=1, seed=2))
    deep = advise(faint, [FINISHED])
    assert deep.values["needed_db"] > DEEP_DB
    assert deep.deep_hz == (400, 1500)
    assert advise(PART, [FINISHED]).deep_hz is None
    assert advise(faint, [FINISHED, FINISHED]).deep_hz is None
    assert advise(None, [FINISHED]).deep_hz is None
