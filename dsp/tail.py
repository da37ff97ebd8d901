"""How high the highest of many blocks will be: extremes from the peaks of a few. Pure statistics, no audio.

Everything works on one peak a block (1 s of playing), in decibels. A clipped block is censored: its true peak
is known only to lie at or above the censoring level, and no fit runs across it.

References
----------
S. Coles, "An Introduction to Statistical Modeling of Extreme Values", Springer 2001 (peaks over a threshold,
return levels: chapters 4 and 5). J. R. M. Hosking & J. R. Wallis, "Parameter and quantile estimation for the
generalized Pareto distribution", Technometrics 29(3), 1987 (probability-weighted moments). C. A. T. Ferro &
J. Segers, "Inference for clusters of extreme values", JRSS B 65(2), 2003 (extremal index from intervals).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dsp.types import Floats

GPD_CLUSTERS = 50
"""From this many clusters on, the shape is fitted too; below, a fitted shape misleads more than it helps."""

_SHAPE_BOUNDS = (-0.5, 0.25)
# Fewer exceedances say nothing about how they cluster; taking them as independent errs to the loud side.
_INDEX_EXCEEDANCES = 12


@dataclass(frozen=True, slots=True)
class Tail:
    """The upper tail of block peaks: a generalised Pareto law over a threshold."""

    threshold_db: float
    blocks: int
    """How many blocks were looked at."""
    exceedances: int
    """How many of them lie over the threshold."""
    uncensored: int
    """Exceedances whose height is known."""
    scale_db: float
    """For the exponential law the mean excess; censored ones count as far as they are known."""
    shape: float = 0.0
    """Zero is the exponential law; negative has an upper end."""
    extremal_index: float = 1.0
    """One over the mean length of a cluster of exceedances; 1 where they are independent."""

    @property
    def clusters(self) -> float:
        """Independent exceedances."""
        return self.exceedances * self.extremal_index

    @property
    def rate(self) -> float:
        """Independent exceedances a block."""
        return self.clusters / self.blocks

    def probability(self, level_db: float, blocks: float) -> float:
        """Probability that the highest of so many further blocks passes a level."""
        expected = blocks * self.rate * survival(level_db - self.threshold_db, self.scale_db, self.shape)
        return -math.expm1(-expected)

    def level_db(self, risk: float, blocks: float) -> float:
        """Level that the highest of so many further blocks passes with this probability.

        Raises
        ------
        ValueError
            For a risk outside 0 to 1, both excluded.
        """
        if not 0.0 < risk < 1.0:
            raise ValueError(f"risk is {risk}; a probability between 0 and 1 is expected")
        return self._level_of(blocks * self.rate / -math.log1p(-risk))

    def return_level_db(self, blocks: float) -> float:
        """Level that is passed once in so many blocks, on average."""
        return self._level_of(blocks * self.rate)

    def _level_of(self, expected: float) -> float:
        if self.shape == 0.0:
            return self.threshold_db + self.scale_db * math.log(expected)
        return self.threshold_db + self.scale_db / self.shape * (math.pow(expected, self.shape) - 1.0)


def survival(excess_db: float, scale_db: float, shape: float = 0.0) -> float:
    """Share of the exceedances that lie higher than ``excess_db`` over the threshold.

    Below the threshold the law is carried on, to values over 1: a rate that keeps growing.
    """
    if shape == 0.0:
        return math.exp(min(700.0, -excess_db / scale_db))
    base = 1.0 + shape * excess_db / scale_db
    if base <= 0.0:
        # Past the upper end nothing lies; below the lower end of a heavy tail everything does.
        return 0.0 if shape < 0.0 else math.inf
    return math.pow(base, -1.0 / shape)


def record_probability(heard: float, to_come: float) -> float:
    """Probability that the best of the blocks to come beats the best of those heard; no law is assumed.

    Exact for exchangeable blocks: each is equally likely to be the highest of all.
    """
    return to_come / (heard + to_come) if to_come > 0.0 else 0.0


def rate_bound(blocks: int, confidence: float = 0.95) -> float:
    """Upper bound on the rate a block of what none of so many blocks showed (the rule of three)."""
    return 1.0 - (1.0 - confidence) ** (1.0 / blocks) if blocks > 0 else 1.0


def fit_tail(peaks_db: Floats, *, share: float = 0.2, censored_at_db: float = math.inf) -> Tail | None:
    """Fit the tail of block peaks.

    Parameters
    ----------
    peaks_db
        (blocks,) in the order of time.
    share
        How much of the blocks should lie over the threshold.
    censored_at_db
        Peaks at or over this are known only to be that high.

    Returns
    -------
    The tail, exponential below :data:`GPD_CLUSTERS` clusters, a generalised Pareto law from there on (never
    with censored peaks); None with fewer than five blocks, or where every exceedance is censored.
    """
    peaks = peaks_db[np.isfinite(peaks_db)]
    if peaks.size < 5:
        return None
    censored_share = float(np.mean(peaks >= censored_at_db))
    # As much of the tail must lie under the censoring level as over it, or nothing can be seen of its slope.
    wanted = min(0.75, max(share, 2.0 * censored_share))
    threshold = float(np.quantile(peaks, 1.0 - wanted))
    over = peaks > threshold
    excesses = np.minimum(peaks[over], censored_at_db) - threshold
    uncensored = int(np.count_nonzero(peaks[over] < censored_at_db))
    total = float(excesses.sum())
    if not uncensored or total <= 0.0:
        return None
    index = extremal_index(over)
    shape, scale = 0.0, total / uncensored
    if excesses.size * index >= GPD_CLUSTERS and uncensored == excesses.size:
        shape, scale = fit_pareto(excesses)
    return Tail(threshold, peaks.size, excesses.size, uncensored, scale, shape, index)


def extremal_index(over: npt.NDArray[np.bool_]) -> float:
    """How independent exceedances are, from the intervals between them (Ferro & Segers, equation 6).

    Parameters
    ----------
    over
        (blocks,): whether each block lies over the threshold.

    Returns
    -------
    1 for independent exceedances and where there are too few to tell, less where they come in clusters.
    """
    intervals = np.diff(np.flatnonzero(over)).astype(np.float64)
    if intervals.size < _INDEX_EXCEEDANCES:
        return 1.0
    if intervals.max() <= 2.0:
        top, bottom = intervals.sum(), np.square(intervals).sum()
    else:
        top, bottom = (intervals - 1.0).sum(), ((intervals - 1.0) * (intervals - 2.0)).sum()
    return float(min(1.0, 2.0 * top * top / (intervals.size * bottom)))


def fit_pareto(excesses_db: Floats) -> tuple[float, float]:
    """Shape and scale of a generalised Pareto law from excesses, by probability-weighted moments.

    The shape is kept within -0.5 and 0.25; the scale follows so that the mean stays that of the excesses.
    """
    ordered = np.sort(excesses_db)
    mean = float(ordered.mean())
    below = (np.arange(1, ordered.size + 1) - 0.35) / ordered.size
    weighted = float(np.mean((1.0 - below) * ordered))
    shape = 2.0 - mean / (mean - 2.0 * weighted) if mean != 2.0 * weighted else 0.0
    shape = min(max(shape, _SHAPE_BOUNDS[0]), _SHAPE_BOUNDS[1])
    return shape, mean * (1.0 - shape)
