"""Band-limited interpolation: what the waveform does between its samples.

Windowed-sinc fractional-delay filters (Oppenheim & Schafer, Discrete-Time Signal Processing, on the Kaiser
window; Laakso et al., "Splitting the unit delay", IEEE Signal Processing Magazine 13(1), 1996).
"""

from __future__ import annotations

import numpy as np

from dsp.types import Floats


def fractional_delays(half_taps: int, factor: int, beta: float) -> Floats:
    """Filters that find the ``factor - 1`` equally spaced values between two neighbouring samples.

    Row j - 1 weighs the samples n - half_taps + 1 … n + half_taps to give the value at n + j/factor. Each
    row reproduces a constant and a straight line exactly: :mod:`dsp.truepeak` rests a proof on that.

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
