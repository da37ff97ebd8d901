"""What a whole take will probably peak at, from the seconds heard so far.

Three things are not known: how fast the tail of the peaks falls, how often playing enters it, and how much
louder the player gets in the take. Each is a distribution here, and the forecast averages over them, so that
little evidence gives a wide answer and not a wrong one. The tail's slope starts from what sampled instruments
show (a mean excess of 0.78 dB over the level that one second in five passes) and moves to what is heard.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np

from app.coach.evidence import CENSORED_AT_DBFS
from app.coach.judgement import Target
from app.coach.parts import PartProfile
from dsp.tail import Tail, fit_tail, record_probability
from dsp.types import Floats

BLOCK_S = 1.0
ENOUGH_BLOCKS = 8

FULL_SCALE_DBFS = 0.0

# The slope that sampled instruments show before anything is heard, and how many exceedances that is worth.
_PRIOR_SCALE_DB = 0.78
_PRIOR_EXCEEDANCES = 15.0
# A rehearsal is one stretch of a piece, and no two stretches are equally loud.
_STRETCH_SD_DB = 0.9

# A shown forecast stays until three in a row differ by this.
_BAND_LOG_ODDS = 0.7
_LOOKS = 3

_NODES = 7
_GROWTH_NODES = 11


@dataclass(frozen=True, slots=True)
class Forecast:
    """The highest peak of a take to come, and what it may do."""

    take_s: float
    heard_s: float
    """How much playing it rests on."""
    peak_p05_dbfs: float
    peak_p50_dbfs: float
    """As likely higher as lower."""
    peak_p95_dbfs: float
    """One take in twenty goes higher."""
    clip_probability: float
    """Chance that the take reaches full scale."""
    clip_probability_low: float
    clip_probability_high: float
    """Where that chance lies, with nine in ten confidence, given how little was heard."""
    over_ceiling_probability: float
    record_probability: float
    """Chance that the take beats the highest peak so far, with no growth and no law assumed."""


def forecast(
    block_peaks_dbfs: Floats,
    profile: PartProfile,
    target: Target,
    *,
    take_s: float,
    gain_db: float = 0.0,
) -> Forecast | None:
    """Forecast the highest peak of a take.

    Parameters
    ----------
    block_peaks_dbfs
        (blocks,): the highest sample of each second of playing, in the order of time.
    profile, target
        How much players of this part grow, and the ceiling.
    take_s
        Length of the take.
    gain_db
        A gain change between what was heard and the take.

    Returns
    -------
    None where there was too little playing to say anything.
    """
    if block_peaks_dbfs.size < ENOUGH_BLOCKS:
        return None
    tail = fit_tail(block_peaks_dbfs, censored_at_db=CENSORED_AT_DBFS)
    if tail is None:
        return None
    blocks = take_s / BLOCK_S
    levels = np.linspace(-15.0, 45.0, 241) + tail.threshold_db
    chances = _chances(tail, profile, blocks, levels)
    over = chances.mean(axis=(0, 1))
    # Chances fall with the level; np.interp wants them rising.
    p05, p50, p95 = (float(np.interp(risk, over[::-1], levels[::-1])) + gain_db for risk in (0.95, 0.5, 0.05))
    clip = _chances(tail, profile, blocks, np.array([FULL_SCALE_DBFS - gain_db]))[..., 0]
    low, high = np.quantile(clip, (0.05, 0.95))
    return Forecast(
        take_s=take_s,
        heard_s=block_peaks_dbfs.size * BLOCK_S,
        peak_p05_dbfs=p05,
        peak_p50_dbfs=p50,
        peak_p95_dbfs=p95,
        clip_probability=float(clip.mean()),
        clip_probability_low=float(low),
        clip_probability_high=float(high),
        over_ceiling_probability=float(np.interp(target.ceiling_dbfs - gain_db, levels, over)),
        record_probability=record_probability(block_peaks_dbfs.size, blocks),
    )


class SteadyForecast:
    """Holds a forecast still while somebody reads it: another one must differ clearly, and go on doing so."""

    def __init__(self) -> None:
        self.shown: Forecast | None = None
        self._others = 0

    def consider(self, coming: Forecast | None) -> Forecast | None:
        """Hear the newest forecast; the one to show."""
        if coming is None or self.shown is None or not _alike(coming, self.shown):
            self._others += 1
            at_once = coming is None or self.shown is None
            if at_once or self._others >= _LOOKS:
                self.shown, self._others = coming, 0
        else:
            self._others = 0
        return self.shown

    def forget(self) -> None:
        """Start afresh, for another channel or setting."""
        self.shown, self._others = None, 0


def _alike(one: Forecast, other: Forecast) -> bool:
    """Whether two chances are the same to a person: within a factor of two, roughly."""
    if one.take_s != other.take_s:
        return False
    return abs(_log_odds(one.clip_probability) - _log_odds(other.clip_probability)) < _BAND_LOG_ODDS


def _log_odds(chance: float) -> float:
    # Under 1 in 1000 nobody tells one small chance from another.
    held = min(0.999, max(0.001, chance))
    return math.log(held / (1.0 - held))


def _chances(tail: Tail, profile: PartProfile, blocks: float, levels: Floats) -> Floats:
    """Chance of passing each level: (scale nodes, rate nodes, levels), averaged over the growth."""
    shape = tail.uncensored + _PRIOR_EXCEEDANCES
    total = tail.scale_db * tail.uncensored + _PRIOR_SCALE_DB * _PRIOR_EXCEEDANCES
    scales = total / _gamma_quantiles(shape)
    rates = _gamma_quantiles(tail.clusters + 0.5) / tail.blocks
    spread = math.hypot(profile.growth_sd_db, _STRETCH_SD_DB)
    growth = profile.growth_db + spread * _normal_quantiles(_GROWTH_NODES)

    # (scales, growth, levels): the law carried on below the threshold, where it only has to reach certainty.
    excess = levels - tail.threshold_db - growth[:, np.newaxis]
    stretched = excess / scales[:, np.newaxis, np.newaxis]
    if tail.shape == 0.0:
        survival = np.exp(np.clip(-stretched, -700.0, 50.0))
    else:
        # The mean is what was fitted together with the prior; the Pareto scale follows from it.
        base = 1.0 + tail.shape * stretched / (1.0 - tail.shape)
        survival = np.where(base > 0.0, np.maximum(base, 1e-9) ** (-1.0 / tail.shape), 0.0)
    expected = blocks * rates[:, np.newaxis, np.newaxis] * survival[:, np.newaxis]
    chances: Floats = -np.expm1(-expected).mean(axis=2)
    return chances


@cache
def _normal_quantiles(count: int) -> Floats:
    """Points that stand for equal shares of a standard normal distribution."""
    normal = NormalDist()
    return np.array([normal.inv_cdf((index + 0.5) / count) for index in range(count)])


def _gamma_quantiles(shape: float) -> Floats:
    """Points that stand for equal shares of a gamma distribution of scale 1 (Wilson & Hilferty 1931)."""
    ninth = 1.0 / (9.0 * shape)
    points: Floats = shape * np.maximum(1.0 - ninth + math.sqrt(ninth) * _normal_quantiles(_NODES), 0.05) ** 3
    return points
