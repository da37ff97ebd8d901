"""How much of a sound is heard over another: partial loudness, and the share of it that is left.

Moore, Glasberg & Baer, "A model for the prediction of thresholds, loudness, and partial loudness", J. Audio
Eng. Soc. 45, 1997. The ratio of the loudness that is left to the loudness alone (masked to unmasked) follows
Aichinger et al., AES Convention 130, 2011.

Nobody knows how loud the headphones are. A full-scale sine is taken to reach the ear with 90 dB SPL; the
ratio hardly depends on it, because far above the threshold the compression of the ear is nearly a power law:
between 70 and 100 dB SPL, the level of a backing that just lets a part through moves by less than 1 dB.

What the paper has and this leaves out: filters that broaden with level, so that a loud low backing hides a
little more above it than is found here; the transfer from headphone to inner ear; and the slight rise of α
and A below 500 Hz, which acts on what is left and on what there is alone nearly alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dsp.erb import BAND_CENTRES_HZ
from dsp.types import Floats

FULL_SCALE_SPL_DB = 90.0
"""Assumed sound pressure level of a full-scale sine at the ear."""

HEARD_SHARE = 1.0 / 3.0
"""A moment of the part is heard when at least this share of its own loudness is left. That is a little more
than what is left (0.29) when the same thing sounds in the backing just as loud, and well above the tenth
under which instruments could not be told reliably (Aichinger, KUG Graz, 2009): a player must not guess."""

_C, _ALPHA, _EXPONENT = 0.047, 0.2, 0.3
_THRESHOLD = 2.31
"""Excitation at the threshold in quiet from 500 Hz on, as a power relative to 0 dB SPL."""
_A = 2.0 * _THRESHOLD

_ROWS = 512
"""Rows at a time: what they grow into stays near the processor, and small."""

# Excitation at threshold below 500 Hz, in decibels.
_LOW_HZ = (50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0)
_LOW_THRESHOLD_DB = (28.2, 23.9, 19.2, 15.7, 12.7, 10.1, 8.1, 6.3, 5.3, 4.5, 3.6)

# Signal-to-noise ratio at the output of the filter that is needed in noise. The ends are the paper's; between
# them, critical ratios (Hawkins & Stevens, J. Acoust. Soc. Am. 22, 1950) less the ERB, to about a decibel.
_SNR_HZ = (50.0, 100.0, 250.0, 500.0, 1000.0)
_SNR_DB = (13.0, 5.0, 0.0, -2.0, -3.0)


def snr_at_threshold_db(frequency_hz: Floats) -> Floats:
    """K of the paper: −3 dB from 1 kHz on, and more below, where hearing needs more (13 dB at 50 Hz)."""
    return np.interp(np.log(frequency_hz), np.log(_SNR_HZ), _SNR_DB)


@dataclass(frozen=True, slots=True)
class Hearing:
    """The constants of some bands; the arrays are (bands,)."""

    threshold: Floats
    """Excitation at the threshold in quiet."""
    k: Floats
    """Ratio of a tone to a noise when it is just heard in it."""
    to_ear: float
    """Excitation that a full-scale sine causes: the factor on powers relative to full scale."""

    @classmethod
    def of(
        cls, centres_hz: Floats = BAND_CENTRES_HZ, full_scale_spl_db: float = FULL_SCALE_SPL_DB
    ) -> Hearing:
        """Hearing in bands at these frequencies."""
        threshold = 10.0 ** (np.interp(np.log(centres_hz), np.log(_LOW_HZ), _LOW_THRESHOLD_DB) / 10.0)
        threshold[centres_hz >= _LOW_HZ[-1]] = _THRESHOLD
        return cls(
            threshold, 10.0 ** (snr_at_threshold_db(centres_hz) / 10.0), 10.0 ** (full_scale_spl_db / 10.0)
        )

    def loudness(self, target: Floats) -> Floats:
        """Specific loudness of a sound alone, in sones per band."""
        return self.partial_loudness(target, np.zeros_like(target))

    def partial_loudness(self, target: Floats, masker: Floats) -> Floats:
        """Specific loudness that is left of a target when a masker sounds with it, in sones per band.

        Parameters
        ----------
        target, masker
            (..., bands) each: excitation as power, a full-scale sine 1; see :mod:`dsp.excitation`.
        """
        if target.ndim == 1 or target.shape[0] <= _ROWS:
            return self._at_once(target, masker)
        out = np.empty(target.shape)
        for first in range(0, target.shape[0], _ROWS):
            some = slice(first, first + _ROWS)
            out[some] = self._at_once(target[some], masker[some])
        return out

    def _at_once(self, target: Floats, masker: Floats) -> Floats:
        quiet, k = self.threshold, self.k
        g = _THRESHOLD / quiet
        s = np.asarray(target, np.float64) * self.to_ear
        n = np.asarray(masker, np.float64) * self.to_ear
        audible_from = k * n + quiet
        both = ((s + n) * g + _A) ** _ALPHA
        noise = ((n * (1.0 + k) + quiet) * g + _A) ** _ALPHA
        at_threshold = (quiet * g + _A) ** _ALPHA - _A**_ALPHA
        alone = (n * g + _A) ** _ALPHA
        heard = s >= audible_from
        # Each branch is kept to where it holds, or silence would divide by zero in the other.
        ratio = audible_from / np.maximum(s, audible_from)
        above = both - _A**_ALPHA - (noise - (quiet * g + _A) ** _ALPHA) * ratio**_EXPONENT
        below = (2.0 * s / (s + audible_from)) ** 1.5 * at_threshold / (noise - alone) * (both - alone)
        return np.asarray(_C * np.where(heard, above, below))
