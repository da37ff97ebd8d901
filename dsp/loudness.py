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
        self._momentary = _ones(0.4, rate_hz, hop_frames)
        self._short_term = _ones(3.0, rate_hz, hop_frames)
        self._step_hops = _ones(0.1, rate_hz, hop_frames).size
        # nan is "not measured yet", and a window that touches it is not known either.
        self._recent: Floats = np.full(self._short_term.size - 1, np.nan)
        self.reset()

    def reset(self) -> None:
        """Begin the programme anew: its figures are those of whole windows after this moment."""
        self._hops = 0
        self._blocks = GatedBlocks()
        self._ranges = GatedBlocks()
        self._momentary_max = math.nan
        self._short_term_max = math.nan

    def process(self, hops: Samples) -> tuple[Floats, Floats]:
        """Take ``(n x hop_frames, channels)`` samples.

        Returns
        -------
        momentary_lufs, short_term_lufs
            (n,) each, at the end of each hop: ``nan`` until a full window is in, ``-inf`` for silence.
        """
        power = self._power.process(hops) @ self._weights
        recent = np.concatenate((self._recent, power))
        # Each window is summed afresh: a running sum would drift, and would remember loud sound in silence.
        spare = self._short_term.size - self._momentary.size
        momentary = np.convolve(recent[spare:], self._momentary, "valid")
        short_term = np.convolve(recent, self._short_term, "valid")
        self._recent = recent[power.size :]

        momentary_lufs, short_term_lufs = power_to_lufs(momentary), power_to_lufs(short_term)
        first, self._hops = self._hops, self._hops + power.size
        self._momentary_max = self._gather(
            momentary, momentary_lufs, first, self._momentary.size, self._blocks, self._momentary_max
        )
        self._short_term_max = self._gather(
            short_term, short_term_lufs, first, self._short_term.size, self._ranges, self._short_term_max
        )
        return momentary_lufs, short_term_lufs

    def _gather(
        self, power: Floats, lufs: Floats, hops_before: int, window: int, blocks: GatedBlocks, highest: float
    ) -> float:
        """Add the windows that lie wholly in the programme to its figures; return the new maximum."""
        first = max(0, window - 1 - hops_before)
        if first >= lufs.size:
            return highest
        # Blocks end at `window`, `window + step`, ... hops into the programme.
        start = first + (window - 1 - hops_before - first) % self._step_hops
        blocks.add(power[start :: self._step_hops], lufs[start :: self._step_hops])
        return float(np.fmax(highest, lufs[first:].max()))

    @property
    def integrated_lufs(self) -> float:
        """Programme loudness; ``-inf`` when every block was silent or gated out, nan before the first."""
        return self._blocks.integrated_lufs

    @property
    def range_lu(self) -> float:
        """Loudness range; nan until a short-term window has passed the gate. Unsteady in the first minute."""
        return self._ranges.range_lu

    @property
    def momentary_max_lufs(self) -> float:
        """Highest momentary loudness; nan before the first full window."""
        return self._momentary_max

    @property
    def short_term_max_lufs(self) -> float:
        """Highest short-term loudness; nan before the first full window."""
        return self._short_term_max


def _ones(window_s: float, rate_hz: int, hop_frames: int) -> Floats:
    """The averaging window over hops."""
    hops = max(1, round(window_s * rate_hz / hop_frames))
    return np.full(hops, 1.0 / hops)
