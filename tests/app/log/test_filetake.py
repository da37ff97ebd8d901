"""A file as a take: its figures, its places and its levels."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from app.coach.judgement import Target, Verdict
from app.coach.parts import find_part
from app.log.filetake import goes_on, measure_take
from app.log.records import TakeState

RATE_HZ = 48_000
ENDED_S = 1_700_000_000.0


def measured(path, samples, **options):
    soundfile.write(path, samples, RATE_HZ, "FLOAT")
    return measure_take(path, find_part("bass"), uid="one", ended_s=ENDED_S, **options)


def tone(level_dbfs, seconds):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * 100 * t)


@pytest.fixture
def loud(tmp_path):
    """Two channels of 8 s: a quiet one, and one that passes the ceiling at 1 s and clips at 6 s."""
    samples = np.stack([tone(-30.0, 8.0), tone(-20.0, 8.0)], axis=1)
    samples[RATE_HZ : RATE_HZ + 480, 1] = tone(-3.0, 0.01)
    samples[6 * RATE_HZ : 6 * RATE_HZ + 5, 1] = 1.0
    return measured(tmp_path / "=1+1 loud.wav", samples)


def test_a_whole_closed_take_that_ended_when_the_file_was_written(loud):
    _, update = loud
    assert (update.state, update.final, update.lost_frames) == (TakeState.CLOSED, True, 0)
    assert (update.frames, update.rate_hz) == (8 * RATE_HZ, RATE_HZ)
    assert (update.name, update.input_name, update.part) == ("=1+1 loud", "=1+1 loud.wav", "bass")
    assert update.started_us == (ENDED_S - 8.0) * 1e6
    assert update.input_spec.startswith("file:/")


def test_its_figures_are_those_of_the_check(loud):
    check, update = loud
    assert update.verdict is check.verdict is Verdict.AWASH
    quiet, clipped = update.per_channel
    assert quiet.peak_dbfs == pytest.approx(-30.0, abs=0.01)
    assert (clipped.peak_dbfs, clipped.clips) == (0.0, 1)
    assert quiet.average_max_dbfs == pytest.approx(-30.0, abs=0.2)


def test_what_happened_has_its_place(loud):
    _, update = loud
    assert [event.frame for event in update.events] == sorted(event.frame for event in update.events)
    (over,) = [event for event in update.events if event.kind == "over_ceiling"]
    assert (over.channel, over.frame) == (2, RATE_HZ)
    assert over.peak_dbfs == pytest.approx(-3.0, abs=0.01)
    (clip,) = [event for event in update.events if event.kind == "clip"]
    assert (clip.channel, clip.frame, clip.frames, clip.peak_dbfs) == (2, 6 * RATE_HZ, 5, 0.0)


def test_the_ceiling_is_the_target_s(tmp_path):
    samples = tone(-10.0, 2.0)
    assert not measured(tmp_path / "a.wav", samples)[1].events
    target = Target(ceiling_dbfs=-12.0)
    _, update = measured(tmp_path / "a.wav", samples, target=target)
    assert {event.kind for event in update.events} == {"over_ceiling"}


def test_its_levels_over_time(loud):
    trace = loud[1].trace
    assert trace.point_s == 0.1
    assert trace.peak_dbfs.shape == (80,)
    assert trace.peak_dbfs[[0, 10, 60]] == pytest.approx([-20.0, -3.0, 0.0], abs=0.02)


def test_an_impossible_time_is_now(tmp_path):
    soundfile.write(tmp_path / "a.wav", tone(-20.0, 1.0), RATE_HZ)
    _, update = measure_take(tmp_path / "a.wav", find_part("bass"), uid="one", ended_s=1e18)
    assert update.started_us > 1_700_000_000_000_000


def test_a_longer_take_goes_on_if_it_begins_alike(tmp_path):
    rising = tone(0.0, 210.0) * np.linspace(0.01, 0.5, 210 * RATE_HZ)
    short = measured(tmp_path / "a.wav", rising[: 6 * RATE_HZ + 77])[1]
    long = measured(tmp_path / "b.wav", rising[: 12 * RATE_HZ])[1]
    # Beyond 204.8 s a point of the levels covers twice the time.
    longest = measured(tmp_path / "c.wav", rising)[1]
    assert longest.trace.point_s > long.trace.point_s
    other = measured(tmp_path / "d.wav", rising[::-1][: 12 * RATE_HZ])[1]
    assert goes_on(short, long)
    assert goes_on(short, longest)
    assert goes_on(long, longest)
    assert not goes_on(long, short)
    assert not goes_on(short, other)
