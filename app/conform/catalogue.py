"""Which signals are run at which rates."""

from __future__ import annotations

from collections.abc import Iterator

from app.conform.case import Trial
from app.conform.level_cases import aes17_trials, average_trials, true_peak_trials
from app.conform.loudness_cases import loudness_trials, range_trials
from app.conform.scene_cases import clip_trials, hum_trials, noise_trials

RATES_HZ = (44100, 48000, 88200, 96000, 192000)
_COMMON_RATE_HZ = 48000


def trials() -> Iterator[Trial]:
    """Every trial, in the order of the chain."""
    for rate_hz in RATES_HZ:
        yield from aes17_trials(rate_hz)
        yield from average_trials(rate_hz)
        yield from true_peak_trials(rate_hz)
    for rate_hz in RATES_HZ:
        yield from loudness_trials(rate_hz, every_burst=rate_hz == _COMMON_RATE_HZ)
    for rate_hz in RATES_HZ:
        yield from range_trials(rate_hz)
    yield from noise_trials(_COMMON_RATE_HZ)
    yield from hum_trials(_COMMON_RATE_HZ)
    yield from clip_trials(_COMMON_RATE_HZ)
