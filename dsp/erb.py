"""The frequency scale of hearing: equivalent rectangular bandwidths and the shape of the auditory filter.

Glasberg & Moore, "Derivation of auditory filter shapes from notched-noise data", Hearing Research 47, 1990.
"""

from __future__ import annotations

import numpy as np

from dsp.types import Floats

LOWEST_NUMBER, HIGHEST_NUMBER = 2, 39
"""ERB numbers of the outermost bands: 55 Hz and 15 kHz."""


def erb_hz(frequency_hz: Floats | float) -> Floats:
    """Equivalent rectangular bandwidth of the auditory filter: 132.6 Hz at 1 kHz."""
    return np.asarray(24.7 * (4.37e-3 * np.asarray(frequency_hz, np.float64) + 1.0))


def erb_number(frequency_hz: Floats | float) -> Floats:
    """How many equivalent rectangular bandwidths lie below a frequency."""
    return np.asarray(21.4 * np.log10(4.37e-3 * np.asarray(frequency_hz, np.float64) + 1.0))


def erb_number_hz(number: Floats | float) -> Floats:
    """Find the frequency at an ERB number."""
    return np.asarray((10.0 ** (np.asarray(number, np.float64) / 21.4) - 1.0) / 4.37e-3)


BAND_CENTRES_HZ: Floats = erb_number_hz(np.arange(LOWEST_NUMBER, HIGHEST_NUMBER + 1.0))
"""(bands,): one band at every whole ERB number."""
BAND_CENTRES_HZ.setflags(write=False)


def roex_weights(frequencies_hz: Floats, centres_hz: Floats = BAND_CENTRES_HZ) -> Floats:
    """Power gain of the rounded-exponential filters, ``(1 + p·g)·exp(-p·g)``: (frequencies, centres).

    The filter for a moderate level, alike on both sides: excitation stays linear in power, so that turning a
    sound down scales it and sounds that come together add up. Its area is the ERB.
    """
    distance = np.abs(frequencies_hz[:, np.newaxis] - centres_hz) / centres_hz
    steepness = 4.0 * centres_hz / erb_hz(centres_hz)
    return np.asarray((1.0 + steepness * distance) * np.exp(-steepness * distance))
