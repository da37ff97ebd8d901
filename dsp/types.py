"""The array types that every measurement shares.

Samples are ``(frames, channels)`` float32 with full scale at ±1.0, frames first, also for mono. Sums and
filter states are float64. A level series is ``(hops, channels)`` float64 in decibels, ``-inf`` for digital
silence and ``nan`` for "not known yet".
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Samples: TypeAlias = npt.NDArray[np.float32]
Floats: TypeAlias = npt.NDArray[np.float64]
