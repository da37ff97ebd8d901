"""What shows over seconds: the same wherever hops were cut, and nothing lost at a gap or an end."""

import threading

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dsp.chain import Chain
from dsp.longterm import BATCH_HOPS, LongTerm
from dsp.reading import ClipKind, FaultKind

RATE_HZ = 8_000
HOP = 80


def _long_term(channels=2):
    return LongTerm(RATE_HZ, channels, HOP, noise_memory_s=None, claimed_bits=None)


def _take_in(long_term, hops, start_frame, real_frames):
    batches = long_term.gather(hops, start_frame, real_frames)
    long_term.watch(batches)
    long_term.listen(batches)


def _noise(seconds, level=1e-3, channels=2, seed=1):
    rng = np.random.default_rng(seed)
    return (level * rng.standard_normal((round(seconds * RATE_HZ), channels))).astype(np.float32)


def _feed(samples, groups):
    """Everything that is known after the last hop of each group, by its position in hops."""
    long_term, at, known = _long_term(samples.shape[1]), 0, {}
    while at * HOP < samples.shape[0]:
        count = groups[len(known) % len(groups)]
        hops = samples[at * HOP : (at + count) * HOP]
        _take_in(long_term, np.asfortranarray(hops), at * HOP, hops.shape[0])
        at += hops.shape[0] // HOP
        known[at] = np.concatenate(
            (
                long_term.noise_floor_dbfs,
                long_term.noise_floor_dba,
                long_term.means,
                long_term.mean_squares,
            )
        )
    return known


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(1, 37), min_size=1, max_size=12))
def test_figures_depend_on_the_place_alone(groups):
    samples = _noise(4.0)
    every_hop, grouped = _feed(samples, [1]), _feed(samples, groups)
    for at, figures in grouped.items():
        np.testing.assert_allclose(figures, every_hop[at], rtol=1e-9, atol=1e-12)
    assert np.isfinite(every_hop[400]).all()


def test_figures_are_at_most_a_batch_late():
    long_term = _long_term(1)
    _take_in(long_term, np.full((BATCH_HOPS * HOP - HOP, 1), 0.5, np.float32), 0, BATCH_HOPS * HOP - HOP)
    assert long_term.means[0] == 0.0
    _take_in(long_term, np.full((HOP, 1), 0.5, np.float32), BATCH_HOPS * HOP - HOP, HOP)
    assert long_term.means[0] == pytest.approx(0.5)


def test_an_end_brings_in_what_waits_without_the_silence_that_filled_it_up():
    long_term = _long_term(1)
    hops = np.full((3 * HOP, 1), 0.25, np.float32)
    hops[2 * HOP + 10 :] = 0.0
    _take_in(long_term, hops, 0, 2 * HOP + 10)
    long_term.drain()
    assert long_term.means[0] == pytest.approx(0.25)
    assert long_term.mean_squares[0] == pytest.approx(0.25**2)


def test_forgetting_the_noise_leaves_nothing_of_it_waiting():
    long_term = _long_term()
    loud, quiet = _noise(3.05, level=3e-3), _noise(4.0, level=1e-4)
    _take_in(long_term, loud, 0, loud.shape[0])
    long_term.forget_noise()
    assert np.isnan(long_term.noise_floor_dbfs).all()
    _take_in(long_term, quiet, loud.shape[0], quiet.shape[0])
    long_term.drain()
    long_term.estimate_noise()
    np.testing.assert_allclose(long_term.noise_floor_dbfs, 20 * np.log10(1e-4) + 3.01, atol=0.5)


def _overloaded(seconds):
    """A swelling sine, cut at 0.3: flat tops well below full scale."""
    t_s = np.arange(round(seconds * 48_000)) / 48_000
    wave = (0.35 + 0.25 * np.sin(2 * np.pi * 0.7 * t_s)) * np.sin(2 * np.pi * 110.0 * t_s)
    wave += 0.05 * np.sin(2 * np.pi * 331.0 * t_s)
    return np.clip(wave, -0.3, 0.3).astype(np.float32)[:, np.newaxis]


@pytest.mark.parametrize("groups", [1, 7, 100])
def test_flat_tops_keep_their_places_behind_a_gap(groups):
    chain = Chain(48_000, 1)
    silence, sound = np.zeros((4_800 * 3 + 5, 1), np.float32), _overloaded(4.0)
    chain.process(silence)
    readings = [chain.gap(1_000_000)]
    step = groups * chain.hop_frames
    readings += [chain.process(sound[at : at + step]) for at in range(0, sound.shape[0], step)]
    readings.append(chain.finish())
    clips = [clip for each in readings if each for clip in each.clips]
    assert clips
    assert all(clip.kind is ClipKind.FLAT_TOP for clip in clips)
    begin = 1_000_000 + silence.shape[0]
    assert all(begin <= clip.start_frame < begin + sound.shape[0] for clip in clips)
    assert all((clip.start_frame - begin) % chain.hop_frames == 0 for clip in clips)


def test_the_halves_of_the_chain_share_nothing():
    def at_once(first, second):
        thread = threading.Thread(target=second)
        thread.start()
        result = first()
        thread.join()
        return result

    samples = _noise(5.0, level=0.05)
    samples[20_000:20_010] = 1.0
    outcomes = []
    for together in ({}, {"together": at_once}):
        chain = Chain(RATE_HZ, 2, **together)
        readings = [chain.process(samples[at : at + 800]) for at in range(0, samples.shape[0], 800)]
        readings.append(chain.finish())
        outcomes.append((readings, chain.summary()))
    (in_turn, summary), (at_once_readings, other_summary) = outcomes
    for one, other in zip(in_turn, at_once_readings, strict=True):
        assert one.clips == other.clips
        assert one.faults == other.faults
        for name in ("average_dbfs", "momentary_lufs", "noise_floor_dbfs", "noise_floor_dba"):
            np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    np.testing.assert_array_equal(summary.rms_dbfs, other_summary.rms_dbfs)
    assert summary.faults == other_summary.faults


def test_a_fault_shows_in_the_reading_of_its_batch():
    chain = Chain(RATE_HZ, 2)
    silent = [chain.process(np.zeros((HOP, 2), np.float32)) for _ in range(205)]
    kinds = [[fault.kind for fault in reading.faults] for reading in silent]
    assert kinds[198] == []
    assert kinds[199] == [FaultKind.DIGITAL_SILENCE]
