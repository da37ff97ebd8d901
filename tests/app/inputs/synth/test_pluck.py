"""The plucked string against what a string does."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.inputs.synth.pluck import StringKind, damp, midi_hz, pluck

_RATE = 48_000
_KIND = StringKind(pluck_at=0.22, heard_at=0.2, ring_s=6.0, ring_halves_hz=500.0, stiffness=0.0)


def _note(
    pitch_hz: float, kind: StringKind = _KIND, seconds: float = 2.0, rate_hz: int = _RATE
) -> np.ndarray:
    return pluck(
        kind, pitch_hz, seconds=seconds, bright_hz=800.0, rate_hz=rate_hz, random=np.random.default_rng(1)
    )


def _partial(note: np.ndarray, near_hz: float, rate_hz: int = _RATE) -> tuple[float, float, float]:
    """Frequency, decay per second and amplitude of a partial, by how its phase and level drift."""
    t_s = np.arange(note.size) / rate_hz
    carrier = np.exp(-2j * np.pi * near_hz * t_s)
    half = note.size // 2
    window = np.hanning(half)
    first, last = (np.sum(window * (note * carrier)[at : at + half]) for at in (0, half))
    apart_s = half / rate_hz
    turned = np.angle(last / first) / (2.0 * np.pi * apart_s)
    return near_hz + turned, -math.log(abs(last / first)) / apart_s, 2.0 * abs(first) / np.sum(window)


def test_midi_note_numbers_give_equal_temperament() -> None:
    assert midi_hz(69) == 440.0
    assert midi_hz(57) == pytest.approx(220.0)
    assert midi_hz(28) == pytest.approx(41.2034, abs=1e-4)


@given(st.integers(28, 76), st.sampled_from((44_100, 48_000, 96_000)))
@settings(max_examples=40, deadline=None)
def test_a_string_is_in_tune_to_a_cent(pitch: int, rate_hz: int) -> None:
    wanted_hz = midi_hz(pitch)
    note = _note(wanted_hz, seconds=1.0, rate_hz=rate_hz)
    got_hz, _, _ = _partial(note, wanted_hz, rate_hz)
    assert abs(1200.0 * math.log2(got_hz / wanted_hz)) < 1.0


@pytest.mark.parametrize("pitch_hz", [55.0, 110.0, 330.0])
@pytest.mark.parametrize("partial", [1, 2, 3])
def test_partials_ring_as_long_as_their_string_says(pitch_hz: float, partial: int) -> None:
    _, per_s, _ = _partial(_note(pitch_hz), partial * pitch_hz)
    ring_s = _KIND.ring_s / (1.0 + partial * pitch_hz / _KIND.ring_halves_hz)
    assert math.log(1000.0) / per_s == pytest.approx(ring_s, rel=0.02)


def test_a_stiff_string_is_sharp_in_its_upper_partials() -> None:
    stiff = replace(_KIND, stiffness=2e-4)
    got_hz, _, _ = _partial(_note(110.0, stiff, seconds=0.6), 6 * 110.0 * math.sqrt(1.0 + 2e-4 * 36))
    assert got_hz == pytest.approx(6 * 110.0 * math.sqrt(1.0 + 2e-4 * 36), rel=2e-4)


def test_plucked_in_the_middle_it_has_no_even_partials() -> None:
    note = _note(110.0, replace(_KIND, pluck_at=0.5))
    _, _, odd = _partial(note, 330.0)
    _, _, even = _partial(note, 220.0)
    assert even < 1e-3 * odd


def test_scaled_so_that_peak_times_rms_is_one() -> None:
    note = _note(82.4)
    rms = float(np.sqrt(np.mean(note[: round(0.33 * _RATE)].astype(float) ** 2)))
    assert rms * float(np.max(np.abs(note))) == pytest.approx(1.0, rel=1e-3)


def test_periods_join_without_a_step_or_a_corner() -> None:
    pitch_hz = 100.3
    note = _note(pitch_hz)[480:]
    period = round(_RATE / pitch_hz)
    for order in (1, 2):
        bends = np.abs(np.diff(note, order))
        at_seams = (480 + np.arange(bends.size) + order) % period < order
        assert np.max(bends[at_seams]) <= 1.05 * np.max(bends[~at_seams])


def test_a_note_begins_from_nothing() -> None:
    note = _note(82.4)
    assert abs(note[0]) < 1e-3 * np.max(np.abs(note))


def test_damping_copies_and_ends_in_silence() -> None:
    note = np.ones(1000, np.float32)
    stopped = damp(note, 600, 100)
    assert stopped.shape == (600,)
    assert np.all(stopped[:500] == 1.0)
    assert stopped[-1] == pytest.approx(0.0, abs=1e-6)
    assert np.all(np.diff(stopped[500:]) <= 0.0)
    assert np.all(note == 1.0)


def test_damping_shorter_than_its_fade_still_ends_in_silence() -> None:
    assert damp(np.ones(1000, np.float32), 20, 100)[-1] == pytest.approx(0.0, abs=1e-6)
    assert damp(np.ones(1000, np.float32), 0, 100).shape == (0,)
