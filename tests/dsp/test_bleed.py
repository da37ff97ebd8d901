"""Bleed from headphones: found at several levels, and never in somebody who plays along in time."""

from __future__ import annotations

import numpy as np
import pytest

from dsp.bleed import EARLIEST_S, RATE_HZ, BleedCheck

SECONDS = 20


def leveled(samples, dbfs):
    """At an AES17 level."""
    return samples * 10 ** (dbfs / 20) / np.sqrt(2 * np.mean(np.square(samples)))


def played(rng, score, *, jitter_s=0.0, voices=3, harmonics=8, exact=False, seconds=SECONDS):
    """Notes and beats on a grid of quavers; each note somewhat early or late, detuned, with its own phases.

    ``exact`` takes the same samples for every note of a pitch, as a synthesizer without life would.
    """
    out = np.zeros((seconds + 1) * RATE_HZ)
    score = np.random.default_rng(score)
    length = round(0.4 * RATE_HZ)
    t_s = np.arange(length) / RATE_HZ
    envelope = np.minimum(t_s / 0.005, 1.0) * np.exp(-6.0 * t_s)
    for quaver in range(4 * seconds):
        pitches = 110.0 * 2.0 ** (score.integers(0, 25, 3) / 12.0)
        begin = max(0, round((0.25 * quaver + jitter_s * rng.normal()) * RATE_HZ))
        note = np.zeros(length)
        for pitch in pitches[:voices]:
            hz = pitch * (1.0 if exact else 2.0 ** (rng.normal() * 3.0 / 1200.0))
            for number in range(1, harmonics + 1):
                phase = 0.0 if exact else rng.uniform(0.0, 2.0 * np.pi)
                if hz * number < 0.45 * RATE_HZ:
                    note += envelope * np.sin(2.0 * np.pi * hz * number * t_s + phase) / number
        if quaver % 2 and voices == 3:
            beat = np.random.default_rng(7) if exact else rng
            note += 2.0 * beat.normal(size=length) * np.exp(-25.0 * t_s)
        out[begin : begin + length] += note
    return leveled(out[: seconds * RATE_HZ], -20.0)


def through_the_air(rng, samples, delay_s):
    """Headphones, a little room, and buffers."""
    way = np.zeros(400)
    way[0] = 1.0
    way[1:] = 0.15 * rng.normal(size=399) * np.exp(-np.arange(399) / 80.0)
    heard = np.convolve(samples, way)[: samples.size]
    delay = round(delay_s * RATE_HZ)
    moved = np.roll(heard, delay)
    moved[slice(None, delay) if delay >= 0 else slice(delay, None)] = 0.0
    return moved


def looked(heard, backing, block=4_000):
    check = BleedCheck()
    found = []
    for start in range(0, backing.size, block):
        some = slice(start, start + block)
        check.process(heard[some].astype(np.float32), backing[some].astype(np.float32))
        found.append(check.bleed)
    return check, found


@pytest.mark.parametrize(("under_db", "delay_s"), [(6, 0.188), (14, 0.02), (20, 0.45), (26, -0.1)])
def test_bleed_is_found_under_playing_with_its_level_and_delay(under_db, delay_s):
    rng = np.random.default_rng(1)
    backing = played(rng, score=1)
    melody = played(rng, score=1, jitter_s=0.008, voices=1)
    bleed = leveled(through_the_air(rng, backing, delay_s), -20.0 - under_db)
    check, _ = looked(melody + bleed, backing)
    assert check.bleed is not None
    assert check.bleed.delay_s == pytest.approx(delay_s, abs=0.001)
    assert check.bleed.level_dbfs == pytest.approx(-20.0 - under_db, abs=3.0)
    assert check.bleed.under_input_db == pytest.approx(under_db, abs=3.0)


def test_in_a_rest_much_less_of_it_is_found():
    rng = np.random.default_rng(2)
    backing = played(rng, score=2)
    bleed = leveled(through_the_air(rng, backing, 0.2), -60.0)
    check, _ = looked(bleed + leveled(rng.normal(size=backing.size), -62.0), backing)
    assert check.bleed is not None
    assert check.bleed.level_dbfs == pytest.approx(-60.0, abs=2.0)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    "player",
    [
        pytest.param({"voices": 1}, id="the melody in time"),
        pytest.param({}, id="everything in time, beats too"),
        pytest.param({"exact": True, "harmonics": 8}, id="the very same sounds in time"),
    ],
)
def test_who_plays_along_is_not_accused(seed, player):
    rng = np.random.default_rng(seed)
    backing = played(rng, score=seed, exact=player.get("exact", False))
    musician = played(rng, score=seed, jitter_s=0.008, **player)
    check, found = looked(musician, backing)
    assert check.knows
    assert found == [None] * len(found)


def test_noise_is_not_accused_and_silence_tells_nothing():
    rng = np.random.default_rng(3)
    backing = played(rng, score=3)
    check, found = looked(leveled(rng.normal(size=backing.size), -30.0), backing)
    assert check.knows
    assert not any(found)
    nothing, _ = looked(rng.normal(size=backing.size), np.zeros_like(backing))
    assert not nothing.knows
    muted, _ = looked(np.zeros_like(backing), backing)
    assert not muted.knows


def test_clocks_that_drift_apart_hide_nothing():
    rng = np.random.default_rng(4)
    backing = played(rng, score=4)
    bleed = leveled(through_the_air(rng, backing, 0.2), -30.0)
    at = np.arange(backing.size) * (1.0 + 50e-6)
    drifted = np.interp(at, np.arange(backing.size), bleed)
    check, _ = looked(drifted + played(rng, score=4, jitter_s=0.008, voices=1), backing)
    assert check.bleed is not None


def test_it_is_forgotten_when_it_ends():
    rng = np.random.default_rng(5)
    backing = played(rng, score=5, seconds=40)
    heard = leveled(rng.normal(size=backing.size), -50.0)
    half = backing.size // 2
    heard[:half] += leveled(through_the_air(rng, backing, 0.1), -30.0)[:half]
    check, found = looked(heard, backing)
    assert any(found)
    assert check.bleed is None


def test_blocks_of_any_size_find_the_same():
    rng = np.random.default_rng(6)
    backing = played(rng, score=6)
    heard = leveled(through_the_air(rng, backing, 0.1), -30.0) + leveled(rng.normal(size=backing.size), -40.0)
    one, _ = looked(heard, backing, block=backing.size)
    many, _ = looked(heard, backing, block=777)
    assert one.bleed == many.bleed
    assert one.looks == many.looks
    assert one.bleed.delay_s > EARLIEST_S
