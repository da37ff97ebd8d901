"""Decibels relative to full scale, after AES17-2020 clause 3.12.

A sine whose peak reaches full scale reads 0 dBFS as a peak and 0 dBFS as an average or RMS. A level of an
RMS kind is therefore 3.01 dB above its plain ratio; a peak is not.
"""

from __future__ import annotations

import math
from typing import TypeAlias, overload

import numpy as np
import numpy.typing as npt

from dsp.types import Floats

AES17_OFFSET_DB = 20.0 * math.log10(math.sqrt(2.0))
"""What AES17 adds to 20·log10 of an RMS value so that a full-scale sine reads 0 dBFS (3.0103 dB)."""

_Ratio: TypeAlias = float | npt.NDArray[np.floating]


@overload
def amplitude_to_db(amplitude: float) -> float: ...
@overload
def amplitude_to_db(amplitude: npt.NDArray[np.floating]) -> Floats: ...
def amplitude_to_db(amplitude: _Ratio) -> float | Floats:
    """20·log10 of an amplitude ratio; zero and below read ``-inf`` without a warning, nan stays nan."""
    return _log10(amplitude, 20.0)


@overload
def power_to_db(power: float) -> float: ...
@overload
def power_to_db(power: npt.NDArray[np.floating]) -> Floats: ...
def power_to_db(power: _Ratio) -> float | Floats:
    """10·log10 of a power ratio; zero and below read ``-inf`` without a warning, nan stays nan."""
    return _log10(power, 10.0)


def db_to_amplitude(level_db: float) -> float:
    """The amplitude ratio of a level in decibels; ``-inf`` gives 0."""
    return float(10.0 ** (level_db / 20.0))


@overload
def mean_square_to_dbfs(mean_square: float) -> float: ...
@overload
def mean_square_to_dbfs(mean_square: npt.NDArray[np.floating]) -> Floats: ...
def mean_square_to_dbfs(mean_square: _Ratio) -> float | Floats:
    """RMS level in dBFS (AES17) of a mean square of samples at ±1.0 full scale."""
    return power_to_db(mean_square) + AES17_OFFSET_DB


def _log10(ratio: _Ratio, factor: float) -> float | Floats:
    if isinstance(ratio, float | int):
        return -math.inf if ratio <= 0.0 else factor * math.log10(ratio)
    with np.errstate(divide="ignore"):
        level: Floats = np.log10(np.maximum(ratio, 0.0), dtype=np.float64)
    level *= factor
    return level
