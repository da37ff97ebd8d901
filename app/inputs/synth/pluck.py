"""A plucked string: extended Karplus-Strong, a period at a time, in the frequency domain.

The string is a loop one period long. Each time round, the loop filter scales and turns every partial a
little, so period number k is the first period's spectrum times the loop's response to the power of k
(K. Karplus and A. Strong, Computer Music Journal 7(2), 1983; D. Jaffe and J. O. Smith, same issue).
All periods are one batch of inverse transforms; neighbours are cross-faded, which makes the seams smooth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dsp.types import Floats, Samples


@dataclass(frozen=True, slots=True)
class StringKind:
    """What a string is made of and how it is listened to."""

    pluck_at: float
    """Where it is plucked, as a share of its length."""
    heard_at: float
    """Where the pickup (or bridge) listens, likewise."""
    ring_s: float
    """Time to fall by 60 dB, at the low end."""
    ring_halves_hz: float
    """Partials at this frequency ring half as long."""
    stiffness: float
    """Inharmonicity B: partial n lies at n·f·√(1 + B·n²)."""
    body: Callable[[Floats], Floats] | None = None
    """Amplitude response of what the string is mounted on, over frequency in Hz."""


def midi_hz(pitch: float) -> float:
    """Frequency of a MIDI note number in equal temperament, A4 = 440 Hz."""
    return float(440.0 * 2.0 ** ((pitch - 69.0) / 12.0))


def pluck(
    kind: StringKind,
    pitch_hz: float,
    *,
    seconds: float,
    bright_hz: float,
    rate_hz: int,
    random: np.random.Generator,
) -> Samples:
    """One note.

    Parameters
    ----------
    kind
        The string.
    pitch_hz
        Its fundamental.
    seconds
        How much of it to make.
    bright_hz
        Above this frequency the finger or plectrum excites 12 dB less per octave.
    rate_hz
        Sample rate.
    random
        Every pluck differs a little.

    Returns
    -------
    Samples
        (frames,), scaled so that its peak times its RMS over the first third of a second is 1: notes of one
        velocity then differ little in either.
    """
    period = round(rate_hz / pitch_hz)
    frames = round(seconds * rate_hz)
    rows = frames // period + 2
    n = np.arange(1, max(2, min(period // 2, int(min(9000.0, 0.42 * rate_hz) / pitch_hz) + 1)))
    partial_hz = pitch_hz * n * np.sqrt(1.0 + kind.stiffness * n * n)

    amplitude = np.sin(np.pi * kind.pluck_at * n) * np.sin(np.pi * kind.heard_at * n) / n
    amplitude /= 1.0 + (partial_hz / bright_hz) ** 2
    amplitude *= random.uniform(0.8, 1.2, n.size)
    if kind.body is not None:
        amplitude *= kind.body(partial_hz)
    phase = random.normal(0.0, 0.5, n.size)

    ring_s = kind.ring_s / (1.0 + partial_hz / kind.ring_halves_hz)
    fall = np.log(1e-3) * period / (ring_s * rate_hz)
    # What a partial turns in one trip round the loop beyond whole turns: the rest of a period that is not
    # a whole number of frames, and the stiffness.
    turn = 2.0 * np.pi * (partial_hz * period / rate_hz - n)
    audible = np.abs(turn) < 1.0
    spectrum = np.zeros((rows, period // 2 + 1), np.complex64)
    trips = np.arange(rows)[:, np.newaxis]
    spectrum[:, n[audible]] = np.where(audible, amplitude, 0.0)[audible] * np.exp(
        1j * (phase[audible] - np.pi / 2) + trips * (fall + 1j * turn)[audible]
    )
    cycles = np.fft.irfft(spectrum, period, axis=1).astype(np.float32)
    across = np.arange(period, dtype=np.float32) / np.float32(period)
    note = (cycles[:-1] + (cycles[1:] - cycles[:-1]) * across).reshape(-1)[:frames]

    attack = max(2, round(0.002 * rate_hz))
    note[:attack] *= np.sin(np.linspace(0.0, np.pi / 2, attack, dtype=np.float32)) ** 2
    head = note[: max(1, round(0.33 * rate_hz))]
    rms = np.sqrt(np.mean(np.square(head, dtype=np.float64)))
    return note / np.float32(np.sqrt(rms * np.max(np.abs(head))))


def damp(note: Samples, frames: int, fade_frames: int) -> Samples:
    """A copy of a note that a hand stops after ``frames`` frames, over ``fade_frames``."""
    stopped = note[:frames].copy()
    fade = min(fade_frames, stopped.shape[0])
    if fade:
        stopped[-fade:] *= np.cos(np.linspace(0.0, np.pi / 2, fade, dtype=np.float32)) ** 2
    return stopped
