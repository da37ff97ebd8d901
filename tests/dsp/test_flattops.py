"""Flat tops below full scale, on made sound; tests/bench/flat_tops.py has the instruments."""

from __future__ import annotations

import functools
import time

import numpy as np
import pytest
from scipy.signal import lfilter, resample_poly

from dsp.flattops import FlatTopFinder, still_share
from dsp.hops import hop_frames
from dsp.reading import ClipKind

RATE_HZ = 48_000


@functools.cache
def plucked(seconds=20.0, rate_hz=RATE_HZ, seed=1, lowest_hz=82.4):
    """Chords of plucked strings, each at its own level, with rests."""
    rng = np.random.default_rng(seed)
    out = np.zeros(int(seconds * rate_hz))
    at = 0.3
    while at < seconds - 0.5:
        length = rng.uniform(0.4, 1.2)
        t = np.arange(int(min(length, seconds - at) * rate_hz)) / rate_hz
        note = np.zeros(t.size)
        for step in rng.choice([0, 3, 7, 10, 12, 15], 3, replace=False):
            for partial in range(1, 9):
                tone = lowest_hz * 2 ** (step / 12) * partial
                if tone < rate_hz / 5:
                    phase = rng.uniform(0, 2 * np.pi)
                    note += np.sin(2 * np.pi * tone * t + phase) * np.exp(-3 * partial**0.5 * t) / partial
        ramp = np.minimum(1, np.minimum(t / 0.003, (t[-1] - t) / 0.02))
        start = int(at * rate_hz)
        out[start : start + t.size] += note * ramp * 10 ** (rng.uniform(-8, 0) / 20)
        at += length + (rng.uniform(0.3, 0.8) if rng.random() < 0.2 else 0)
    out = (0.5 * out / np.abs(out).max()).astype(np.float32)
    out.setflags(write=False)
    return out


def overloaded(x, over_db, coupling_hz=0.0, noise_dbfs=None, rate_hz=RATE_HZ):
    """Cut at four times the rate, couple, add noise: what stands between the string and the converter."""
    ceiling = np.abs(x).max() / 10 ** (over_db / 20)
    fine = np.clip(resample_poly(x.astype(np.float64), 4, 1), -ceiling, ceiling)
    if coupling_hz:
        keep = np.exp(-2 * np.pi * coupling_hz / (4 * rate_hz))
        fine = lfilter([(1 + keep) / 2, -(1 + keep) / 2], [1, -keep], fine)
    y = resample_poly(fine, 1, 4)[: x.size]
    if noise_dbfs is not None:
        y = y + np.random.default_rng(0).normal(0, 10 ** (noise_dbfs / 20), y.size)
    return y.astype(np.float32)


def find(x, rate_hz=RATE_HZ, sizes=None, start=0):
    x = x[:, np.newaxis] if x.ndim == 1 else x
    hop = hop_frames(rate_hz)
    finder = FlatTopFinder(rate_hz, x.shape[1], hop)
    whole = x.shape[0] // hop
    found, at = [], 0
    for size in sizes or [whole]:
        found += finder.process(np.ascontiguousarray(x[at * hop : (at + size) * hop]), start + at * hop)
        at += size
    assert at == whole
    return found + list(finder.flush())


def coverage(x, ceiling, clips, rate_hz=RATE_HZ):
    """The part of the passages, 50 ms each, that pass the ceiling and lie in an event."""
    covered = np.zeros(x.size, bool)
    for clip in clips:
        covered[clip.start_frame : clip.start_frame + clip.frames] = True
    grid = rate_hz // 20
    over = np.abs(x[: x.size // grid * grid]).reshape(-1, grid) > ceiling * 10 ** (1 / 20)
    seen = covered[: over.size].reshape(-1, grid).any(axis=1)
    return seen[over.any(axis=1)].mean()


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_overload_before_the_converter_is_named(rate_hz):
    x = plucked(rate_hz=rate_hz)
    y = overloaded(x, 6, rate_hz=rate_hz)
    clips = find(y, rate_hz)
    assert coverage(x, 0.25, clips, rate_hz) > 0.9
    assert {clip.kind for clip in clips} == {ClipKind.FLAT_TOP}
    # The ceiling, and what the band limit adds to it.
    assert all(-12.3 < clip.peak_dbfs < -10.5 for clip in clips)


@pytest.mark.parametrize("coupling_hz", [3.0, 10.0])
def test_coupling_capacitor_and_noise_do_not_hide_it(coupling_hz):
    x = plucked()
    clips = find(overloaded(x, 6, coupling_hz, -66))
    assert coverage(x, 0.25, clips) > 0.9


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("coupling_hz", [0.0, 3.0, 20.0])
def test_clean_playing_is_not_accused(seed, coupling_hz):
    x = plucked(30.0, seed=seed)
    if coupling_hz:
        x = overloaded(x, 0.0, coupling_hz, -70)
    assert find(x) == []


T = np.arange(12 * RATE_HZ) / RATE_HZ


def gated(wave, level=0.4):
    """Held notes of 1.5 s, all at one level, with rests."""
    return (wave * level * (T % 2.0 < 1.5)).astype(np.float32)


@pytest.mark.parametrize("frequency_hz", [55.0, 220.0, 997.0, 3000.0, 6000.0, 12000.0])
def test_held_sine_is_not_accused(frequency_hz):
    assert find(gated(np.sin(2 * np.pi * frequency_hz * T))) == []
    assert find((0.4 * np.sin(2 * np.pi * frequency_hz * T + 0.7)).astype(np.float32)) == []


def band_limited(frequency_hz, shape):
    """Partials below 20 kHz only, summed over one long table and read off it."""
    turn = np.arange(2**16) / 2**16
    partials = np.arange(1, int(20_000 / frequency_hz) + 1, 2 if shape == "square" else 1)
    table = (np.sin(2 * np.pi * partials[:, np.newaxis] * turn) / partials[:, np.newaxis]).sum(axis=0)
    wave = np.interp(frequency_hz * T % 1.0, np.append(turn, 1.0), np.append(table, table[0]))
    return wave / np.abs(wave).max()


@pytest.mark.parametrize("shape", ["square", "saw"])
@pytest.mark.parametrize("frequency_hz", [65.4, 261.6])
def test_held_synth_tone_is_not_accused(shape, frequency_hz):
    wave = band_limited(frequency_hz, shape)
    assert find(gated(wave)) == []
    # And with every note at a level of its own, as a keyboard plays it.
    levels = np.random.default_rng(4).uniform(0.3, 1.0, 6).repeat(2 * RATE_HZ)
    assert find(gated(wave * levels)) == []


def test_naive_square_wave_is_not_accused():
    assert find(gated(np.sign(np.sin(2 * np.pi * 110 * T)))) == []


def test_clipping_at_full_scale_is_left_to_the_clip_finder():
    y = np.clip(plucked() * 4, -1, 1).astype(np.float32)
    assert find(y) == []


def test_silence_and_very_quiet_sound_are_not_judged():
    assert find(np.zeros(5 * RATE_HZ, np.float32)) == []
    assert find((overloaded(plucked(), 6) * 0.01).astype(np.float32)) == []


@pytest.mark.parametrize(
    ("over_db", "coupling_hz", "noise_dbfs"), [(6.0, 0.0, None), (6.0, 10.0, -66.0), (5.0, 12.0, -66.0)]
)
def test_gain_after_the_overload_changes_only_the_level(over_db, coupling_hz, noise_dbfs):
    y = overloaded(plucked(seed=2), over_db, coupling_hz, noise_dbfs)
    plain = find(y)
    assert plain
    for gain_db in (-17.3, -11.0, -6.0206, -3.7, -2.6, -1.3, 1.1, 2.4, 4.9):
        turned = find(y * np.float32(10 ** (gain_db / 20)))
        assert [(c.start_frame, c.frames) for c in plain] == [(c.start_frame, c.frames) for c in turned]
        differences_db = [a.peak_dbfs - b.peak_dbfs for a, b in zip(turned, plain, strict=True)]
        assert differences_db == pytest.approx([gain_db] * len(plain), abs=1e-3)


@pytest.mark.parametrize("third", [0.10, 0.12, 0.14, 0.16, 0.18])
@pytest.mark.parametrize("fifth", [-0.02, 0.0, 0.02, 0.04])
def test_note_with_humps_on_its_tops_played_again_and_again_is_not_accused(third, fifth):
    # Humps of one height with a valley between, at every pluck the same: far from a parabola, but not still.
    t = np.arange(RATE_HZ // 2) / RATE_HZ
    turn = 2 * np.pi * 55.0 * t
    note = np.cos(turn) - third * np.cos(3 * turn) + fifth * np.cos(5 * turn)
    note *= np.exp(-1.5 * t) * np.minimum(1, t / 0.003) / np.abs(note).max()
    for spread in (0.0, 0.01):
        levels = 0.3 * (1 + spread * np.random.default_rng(1).uniform(-1, 1, 24))
        assert find((levels[:, np.newaxis] * note).ravel().astype(np.float32)) == []


def test_share_that_stands_still():
    turn = np.linspace(-np.pi, np.pi, 480, endpoint=False)
    noise = np.random.default_rng(1).normal(0, 0.002, (20, 480))
    assert still_share(np.cos(turn)[np.newaxis] + noise) == 0.0
    assert still_share(1 - turn[np.newaxis] ** 4 + noise) == 0.0
    assert still_share((np.cos(turn) - 0.14 * np.cos(3 * turn))[np.newaxis] / 0.9 + noise) == 0.0
    cut = np.minimum(2 * np.cos(turn), 1)[np.newaxis]
    assert still_share(cut) == 1.0
    assert still_share(cut + noise) > 0.9
    assert still_share(cut * (1 - 0.03 * turn) + noise) > 0.9  # tilted by a coupling
    assert still_share(np.concatenate((cut, np.cos(turn)[np.newaxis]))) == pytest.approx(0.73, abs=0.02)
    assert still_share(0.5 * cut) == 0.0


def test_each_channel_is_judged_by_itself():
    x = plucked()
    clips = find(np.stack((x, overloaded(x, 6)), axis=1))
    assert clips
    assert {clip.channel for clip in clips} == {1}


def test_grouping_of_hops_changes_nothing():
    y = overloaded(plucked(12.0), 6)[:, np.newaxis]
    whole = y.shape[0] // 480
    at_once = find(y, start=960)
    assert at_once
    for size in (1, 7, 250):
        sizes = [size] * (whole // size) + ([whole % size] if whole % size else [])
        assert find(y, sizes=sizes, start=960) == at_once


def test_no_moment_is_told_twice_and_all_lie_within_what_was_heard():
    clips = find(overloaded(plucked(30.0), 9))
    ends = [clip.start_frame + clip.frames for clip in clips]
    assert all(end <= clip.start_frame for end, clip in zip(ends, clips[1:], strict=False))
    assert ends[-1] <= 30 * RATE_HZ


def test_gap_starts_afresh():
    y = overloaded(plucked(15.0), 6)[:, np.newaxis]
    finder = FlatTopFinder(RATE_HZ, 1, 480)
    first = finder.process(y[: 480 * 700], 0)
    again = finder.process(y[: 480 * 700], 10_000_000) + finder.flush()
    moved = [(clip.start_frame - 10_000_000, clip.frames) for clip in again if clip.start_frame >= 10_000_000]
    assert first
    assert [(clip.start_frame, clip.frames) for clip in first] == moved


def test_cost_of_ordinary_playing():
    x = np.tile(np.stack((plucked(20.0), plucked(20.0, seed=2)), axis=1), (3, 1))
    finder = FlatTopFinder(RATE_HZ, 2, 480)
    finder.process(x[: 480 * 200], 0)
    begun = time.process_time()
    finder.process(x[480 * 200 :], 480 * 200)
    spent_s = time.process_time() - begun
    assert spent_s < 0.4  # for 58 s of stereo: about 0.05 s when nothing else runs
