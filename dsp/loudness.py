"""Loudness: momentary, short-term, integrated and range.

ITU-R BS.1770-5 Annex 1 (weighting, gating), EBU Tech 3341 V4 (the 400 ms and 3 s windows), EBU Tech 3342
(range). The momentary window moves in hops of 10 ms: cases 13 and 14 of Tech 3341 catch 400 ms bursts at
any place, and a window that moves in steps of 50 ms or more misses them by more than 0.1 LU.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from dsp.gating import GatedBlocks, power_to_lufs
from dsp.kweighting import KWeightedPower
from dsp.types import Floats, Samples

_SURROUND = 1.41
"""BS.1770-5 Annex 1 Table 3: channels at the side or behind the listener."""


def default_weights(channels: int) -> tuple[float, ...]:
    """Channel weights: five and six columns are L R C (LFE) Ls Rs, anything else is so many microphones."""
    if channels == 5:
        return (1.0, 1.0, 1.0, _SURROUND, _SURROUND)
    if channels == 6:
        return (1.0, 1.0, 1.0, 0.0, _SURROUND, _SURROUND)
    return (1.0,) * channels


class Loudness:
    """Loudness of a stream of hops.

    Parameters
    ----------
    rate_hz
        Sample rate, 4000 Hz or more.
    channels
        Columns of the samples.
    hop_frames
        Frames in a hop (10 ms on the grid of :mod:`dsp.hops`).
    weights
        One factor a channel on its power; :func:`default_weights` when left out.
    """

    def __init__(
        self, rate_hz: int, channels: int, hop_frames: int, weights: Sequence[float] | None = None
    ) -> None:
        chosen = default_weights(channels) if weights is None else tuple(weights)
        if len(chosen) != channels or not all(math.isfinite(w) and w >= 0.0 for w in chosen):
            raise ValueError(f"weights are {chosen}; {channels} finite values of 0 or more are expected")
        self._weights = np.array(chosen)
        self._power = KWeightedPower(rate_hz, channels, hop_frames)
        momentary, short_term, step = (
            max(1, round(seconds * rate_hz / hop_frames)) for seconds in (0.4, 3.0, 0.1)
        )
        self._momentary = _Windows(momentary, step)
        self._short_term = _Windows(short_term, step)
        # nan is "not measured yet", and a window that touches it is not known either.
        self._recent: Floats = np.full(short_term - 1, np.nan)

    def reset(self) -> None:
        """Begin the programme anew: its figures are those of whole windows after this moment."""
        self._momentary.reset()
        self._short_term.reset()

    def process(self, hops: Samples) -> tuple[Floats, Floats]:
        """Take ``(n x hop_frames, channels)`` samples.

        Returns
        -------
        momentary_lufs, short_term_lufs
            (n,) each, at the end of each hop: ``nan`` until a full window is in, ``-inf`` for silence.
        """
        power = self._power.process(hops) @ self._weights
        recent = np.concatenate((self._recent, power))
        self._recent = recent[power.size :]
        return self._momentary.process(recent, power.size), self._short_term.process(recent, power.size)

    @property
    def integrated_lufs(self) -> float:
        """Programme loudness; ``-inf`` when every block was silent or gated out, nan before the first."""
        return self._momentary.blocks.integrated_lufs

    @property
    def range_lu(self) -> float:
        """Loudness range; nan until a short-term window has passed the gate. Unsteady in the first minute."""
        return self._short_term.blocks.range_lu

    @property
    def momentary_max_lufs(self) -> float:
        """Highest momentary loudness; nan before the first full window."""
        return self._momentary.max_lufs

    @property
    def short_term_max_lufs(self) -> float:
        """Highest short-term loudness; nan before the first full window."""
        return self._short_term.max_lufs


class _Windows:
    """Loudness of a sliding window, the highest in the programme, and the programme's gating blocks."""

    def __init__(self, window_hops: int, step_hops: int) -> None:
        self._mean = np.full(window_hops, 1.0 / window_hops)
        self._step_hops = step_hops
        self.reset()

    def reset(self) -> None:
        self.blocks = GatedBlocks()
        self.max_lufs = math.nan
        self._hops = 0

    def process(self, recent: Floats, hops: int) -> Floats:
        """Loudness at the end of each of the last hops; ``recent`` reaches a window further back."""
        window = self._mean.size
        # Each window is summed afresh: a running sum would drift, and would remember loud sound in silence.
        power = np.convolve(recent[recent.size - hops - window + 1 :], self._mean, "valid")
        lufs = power_to_lufs(power)
        until_whole = max(0, window - 1 - self._hops)
        if until_whole < hops:
            highest = float(lufs[until_whole:].max())
            self.max_lufs = highest if math.isnan(self.max_lufs) else max(self.max_lufs, highest)
            # Blocks end `window`, `window + step`, ... hops into the programme.
            until_block = until_whole + (window - 1 - self._hops - until_whole) % self._step_hops
            if until_block < hops:
                block = slice(until_block, None, self._step_hops)
                self.blocks.add(power[block], lufs[block])
        self._hops += hops
        return lufs
