"""Band-limited interpolation: what the waveform does between its samples.

Windowed-sinc fractional-delay filters (Oppenheim & Schafer, Discrete-Time Signal Processing, on the Kaiser
window; Laakso et al., "Splitting the unit delay", IEEE Signal Processing Magazine 13(1), 1996).
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from dsp.hops import windows
from dsp.types import Floats, Samples

_BLOCK = 32
_ROWS = 32
"""Stretches at a time: what they grow into still fits the processor's cache."""

_Reals: TypeAlias = npt.NDArray[np.floating]


def fractional_delays(half_taps: int, factor: int, beta: float) -> Floats:
    """Filters that find the ``factor - 1`` equally spaced values between two neighbouring samples.

    Row j - 1 weighs the samples n - half_taps + 1 … n + half_taps to give the value at n + j/factor. Each
    row reproduces a constant and a straight line exactly, which :func:`bend_gain` rests on.

    Parameters
    ----------
    half_taps
        Samples on either side.
    factor
        How many times the sampling rate is raised, 2 or more.
    beta
        Shape of the Kaiser window: 6 keeps images some 63 dB down.

    Returns
    -------
    Floats
        (factor - 1, 2 * half_taps).
    """
    at = np.arange(1 - half_taps, half_taps + 1)
    distance = at - np.arange(1, factor)[:, np.newaxis] / factor
    window = np.i0(beta * np.sqrt(np.maximum(0.0, 1.0 - (distance / half_taps) ** 2))) / np.i0(beta)
    taps = np.sinc(distance) * window
    # A window this short leaves about 1e-4 of error in the sum and the first moment. Removing it with the
    # window itself, a narrow low-pass, touches nothing but the lowest frequencies.
    basis = np.stack((window, window * distance), axis=-1)
    moments = np.stack((np.ones_like(distance), distance), axis=1)
    wanted = np.zeros((factor - 1, 2, 1))
    wanted[:, 0] = 1.0
    missing = wanted - moments @ taps[..., np.newaxis]
    return np.asarray(taps + (basis @ np.linalg.solve(moments @ basis, missing))[..., 0])


def bend_gain(delays: Floats, spacing: int) -> float:
    """How far a value can pass its two neighbours on a coarser grid, per unit of second difference.

    Parameters
    ----------
    delays
        (factor - 1, taps) from :func:`fractional_delays`.
    spacing
        Steps of the fine grid between two points of the coarse grid; a divisor of the factor. With the factor
        itself, the coarse grid is the samples.

    Returns
    -------
    float
        The largest ‖g‖₁, where a filter less the straight line between its coarse neighbours is g applied to
        the second difference x[n-1] - 2·x[n] + x[n+1]; 0 where the grids are the same.
    """
    half = delays.shape[1] // 2
    grid = np.concatenate((np.zeros_like(delays[:1]), delays, np.zeros_like(delays[:1])))
    grid[0, half - 1] = grid[-1, half] = 1.0
    step = np.arange(grid.shape[0] - 1)
    left = step - step % spacing
    along = (step % spacing / spacing)[:, np.newaxis]
    rest = grid[:-1] - (1.0 - along) * grid[left] - along * grid[left + spacing]
    # Dividing by the double zero at z = 1 is summing twice; the last two sums come out as 0.
    return float(np.abs(rest.cumsum(axis=1).cumsum(axis=1)).sum(axis=1).max())


class Blockwise:
    """Interpolates whole stretches of samples by one matrix product, many outputs a row.

    Parameters
    ----------
    delays
        (factor - 1, taps) from :func:`fractional_delays`.
    frames
        Intervals in a stretch; a stretch holds ``frames + taps - 1`` samples.
    dtype
        float64, or float32 where the sum's rounding may depend on how many stretches share the product.
    """

    def __init__(self, delays: Floats, frames: int, dtype: type[np.floating]) -> None:
        phases, width = delays.shape
        self._frames = frames
        self._phases = phases
        self._blocks = -(-frames // _BLOCK)
        self._span = _BLOCK + width - 1
        self._dtype = dtype
        taps = np.zeros((self._span, phases, _BLOCK), dtype)
        for at in range(_BLOCK):
            taps[at : at + width, :, at] = delays.T
        self._taps = taps.reshape(self._span, -1)

    def _magnitudes(self, stretches: Samples) -> _Reals:
        """(rows, blocks, phases, _BLOCK): magnitudes between the samples; those past the end are padding."""
        rows = stretches.shape[0]
        padded = np.zeros((rows, (self._blocks - 1) * _BLOCK + self._span), self._dtype)
        padded[:, : stretches.shape[1]] = stretches
        each = windows(padded, self._span, _BLOCK)
        between = each.reshape(rows * self._blocks, -1) @ self._taps
        np.abs(between, out=between)
        return between.reshape(rows, self._blocks, self._phases, _BLOCK)

    def _reduced(self, stretches: Samples, reduce: np.ufunc) -> _Reals:
        rows = stretches.shape[0]
        out = np.empty((rows, self._frames), self._dtype)
        for first in range(0, rows, _ROWS):
            each = reduce.reduce(self._magnitudes(stretches[first : first + _ROWS]), axis=2)
            out[first : first + _ROWS] = each.reshape(each.shape[0], -1)[:, : self._frames]
        return out

    def highest(self, stretches: Samples) -> _Reals:
        """(rows, frames): the highest magnitude within each interval, its ends left out."""
        return self._reduced(stretches, np.maximum)

    def total(self, stretches: Samples) -> _Reals:
        """(rows,): the sum of the magnitudes within all intervals, their ends left out."""
        return np.asarray(self._reduced(stretches, np.add).sum(axis=1))
