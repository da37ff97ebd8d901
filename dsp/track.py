"""What the headphone balance needs to know of a part or a backing track, from one pass over its samples."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dsp.chain import Together, in_turn
from dsp.decibels import power_to_db
from dsp.excitation import BANDS, CELLS_PER_S, Excitation, Pattern
from dsp.hops import HOP_S, HopBuffer, hop_frames
from dsp.loudness import Loudness
from dsp.peaks import hop_peaks
from dsp.truepeak import TruePeak
from dsp.types import Floats, Samples

STEP_S = 0.1
"""Distance of the short-term loudness readings that are kept."""
_STEP_HOPS = round(STEP_S / HOP_S)
_MONO_LU = 10.0 * math.log10(2.0)


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """Figures of a sound, from its first frame to its last."""

    duration_s: float
    channels: int
    excitation: Pattern
    """(cells, bands), see :mod:`dsp.excitation`."""
    short_term_lufs: Floats
    """Every :data:`STEP_S`, at the end of its 3 s window; ``nan`` in the first 3 s, ``-inf`` for silence."""
    integrated_lufs: float
    short_term_max_lufs: float
    true_peak_dbtp: float
    """The highest of all channels."""

    @property
    def silent(self) -> bool:
        """Whether nothing in it passes the absolute gate of BS.1770."""
        return not math.isfinite(self.integrated_lufs)

    @property
    def peak_to_loudness_db(self) -> float:
        """How far the true peak stands above the integrated loudness: small where a track is dense."""
        return math.nan if self.silent else self.true_peak_dbtp - self.integrated_lufs

    @property
    def short_term_p50_lufs(self) -> float:
        """Median short-term loudness of what passes the gates of EBU Tech 3342; nan where nothing does."""
        levels = self.short_term_lufs[self.short_term_lufs > -70.0]
        if not levels.size:
            return math.nan
        gate = power_to_db(float(np.mean(10.0 ** (levels / 10.0)))) - 20.0
        return float(np.median(levels[levels >= gate]))

    @property
    def in_both_ears_lu(self) -> float:
        """What to add to its loudness for headphones: one channel is heard twice (BS.1770 counts it once)."""
        return _MONO_LU if self.channels == 1 else 0.0


class TrackMeter:
    """Measures a stream of blocks of any size into a :class:`Track`.

    Parameters
    ----------
    rate_hz
        8000 to 384000, as for :class:`dsp.chain.Chain`.
    channels
        Columns of the samples.
    together
        How two halves of the work are done: by default one after the other.
    memory_s
        How far back the series reach, in whole tenths; None keeps them from the first frame. The integrated
        loudness, the loudest 3 s and the true peak are of everything in either case.
    """

    def __init__(
        self, rate_hz: int, channels: int, together: Together = in_turn, memory_s: float | None = None
    ) -> None:
        self._memory_s = memory_s
        self._together = together
        self._rate_hz = rate_hz
        self._channels = channels
        self._hop = hop_frames(rate_hz)
        self._buffer = HopBuffer(self._hop, channels)
        self._loudness = Loudness(rate_hz, channels, self._hop)
        self._true_peak = TruePeak(rate_hz, channels, self._hop)
        self._excitation = Excitation(rate_hz, channels)
        self._frames = 0
        self._hops = 0
        self._cells: list[Pattern] = []
        self._short_term: list[Floats] = []

    @property
    def frames(self) -> int:
        """How much came in."""
        return self._frames

    def process(self, block: Samples) -> None:
        """Take in samples, ``(frames, channels)``; NaN and infinities count as silence."""
        self._frames += block.shape[0]
        finite = np.isfinite(block)
        samples = block if finite.all() else np.where(finite, block, np.float32(0.0))
        self._cells.append(
            self._together(
                lambda: self._excitation.process(samples), lambda: self._measure(self._buffer.push(samples))
            )
        )

    def so_far(self) -> Track:
        """What came in up to now, the last instants aside; the stream goes on."""
        self._cells = [np.concatenate((np.empty((0, BANDS), np.float32), *self._cells))]
        self._short_term = [np.concatenate((np.empty(0), *self._short_term))]
        duration_s = self._frames / self._rate_hz
        if self._memory_s is not None:
            duration_s = min(duration_s, self._memory_s)
            self._cells[0] = self._cells[0][-round(self._memory_s * CELLS_PER_S) :].copy()
            self._short_term[0] = self._short_term[0][-round(self._memory_s / STEP_S) :].copy()
        return Track(
            duration_s=duration_s,
            channels=self._channels,
            excitation=self._cells[0],
            short_term_lufs=self._short_term[0],
            integrated_lufs=self._loudness.integrated_lufs,
            short_term_max_lufs=self._loudness.short_term_max_lufs,
            true_peak_dbtp=float(self._true_peak.max_dbtp.max()),
        )

    def finish(self) -> Track:
        """End the stream."""
        self._cells.append(self._excitation.finish())
        self._measure(self._buffer.take_padded())
        self._true_peak.flush()
        return self.so_far()

    def _measure(self, hops: Samples) -> None:
        if not hops.shape[0]:
            return
        hops = np.asfortranarray(hops)
        _, short_term = self._loudness.process(hops)
        self._true_peak.process(hops, hop_peaks(hops, self._hop))
        # Readings at the end of hops 9, 19, … of the stream.
        self._short_term.append(short_term[(_STEP_HOPS - 1 - self._hops) % _STEP_HOPS :: _STEP_HOPS])
        self._hops += short_term.size
