"""What the chain reports: frozen figures, so that any thread may keep and read them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from dsp.types import Floats


class ClipKind(StrEnum):
    """Where the waveform was cut."""

    FULL_SCALE = "full_scale"
    """A run of at least three frames at full scale: the converter ran out of numbers."""
    FLAT_TOP = "flat_top"
    """Flat tops below full scale: overloaded before the converter, possibly. Never claimed as fact."""


@dataclass(frozen=True, slots=True)
class Clip:
    """One clipping event: a run of clipped frames, or several that lie close together."""

    kind: ClipKind
    channel: int
    """Column index, from 0."""
    start_frame: int
    """Position in the stream, lost frames included."""
    frames: int
    """From the first clipped frame to the last, both counted."""
    peak_dbfs: float
    runs: int = 1
    """How many separate runs the event holds."""


@dataclass(frozen=True, slots=True)
class Hum:
    """A steady mains tone with its harmonics."""

    mains_hz: int
    """50 or 60."""
    level_dbfs: float
    """RMS level of the fundamental and its harmonics together, AES17."""


class FaultKind(StrEnum):
    """What can be wrong with an input besides its level."""

    DIGITAL_SILENCE = "digital_silence"
    DEAD_CHANNEL = "dead_channel"
    SAME_CHANNELS = "same_channels"
    DC_OFFSET = "dc_offset"
    INVERTED_CHANNELS = "inverted_channels"
    LOW_RESOLUTION = "low_resolution"
    PUMPING = "pumping"
    BAD_SAMPLES = "bad_samples"


@dataclass(frozen=True, slots=True)
class Fault:
    """Something about the input that a person should look at."""

    kind: FaultKind
    channel: int | None = None
    """Column index from 0, or None when the whole input is meant."""
    value: float | None = None
    """The figure that gave it away, in the unit that the kind implies."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What one call of :meth:`dsp.chain.Chain.process` found.

    Series have one row a hop and one column a channel; the rest has one figure a channel, as it stood at
    the end of the block. ``-inf`` is digital silence, ``nan`` is not known (yet).
    """

    rate_hz: int
    start_frame: int
    """Position of the first frame of the first hop."""
    frames: int
    """Frames that the hops cover."""
    hop_frames: int

    average_dbfs: Floats
    """(hops, channels): the slow average (IEC 60268-17, AES17) at the end of each hop."""
    peak_dbfs: Floats
    """(hops, channels): the highest sample magnitude in each hop."""
    momentary_lufs: Floats
    """(hops,): BS.1770 loudness of the last 400 ms; nan until a full window is in."""
    short_term_lufs: Floats
    """(hops,): the same over 3 s."""

    peak_hold_dbfs: Floats
    """(channels,): highest sample peak, held."""
    true_peak_dbtp: Floats
    """(channels,): highest true peak (BS.1770 Annex 2) since the start or the last reset."""
    noise_floor_dbfs: Floats
    """(channels,): nan while there was not enough quiet."""
    noise_floor_dba: Floats

    clips: Sequence[Clip] = ()
    """Clipping events that ended within this block."""
    hum: Sequence[Hum | None] = ()
    faults: Sequence[Fault] = field(default=())
    """Faults that hold now."""
    bad_samples: int = 0
    """NaN, infinite or absurdly large samples in this block, treated as silence."""

    @property
    def hops(self) -> int:
        """How many hops the series hold."""
        return int(self.average_dbfs.shape[0])

    @property
    def channels(self) -> int:
        """How many channels the figures describe."""
        return int(self.peak_hold_dbfs.shape[0])


@dataclass(frozen=True, slots=True)
class Summary:
    """Figures over everything since the chain began: what a whole file was like.

    Arrays are (channels,). Clips are not kept here: a stream may hold any number of them, and every one
    was reported by the reading in which it ended.
    """

    rate_hz: int
    frames: int
    peak_dbfs: Floats
    true_peak_dbtp: Floats
    average_max_dbfs: Floats
    rms_dbfs: Floats
    crest_db: Floats
    """Crest factor: the sample peak over the plain RMS, so a sine has 3.01 dB."""
    dc_offset: Floats
    """Mean of the samples at ±1.0 full scale."""
    noise_floor_dbfs: Floats
    noise_floor_dba: Floats
    integrated_lufs: float
    range_lu: float
    momentary_max_lufs: float
    short_term_max_lufs: float
    hum: Sequence[Hum | None]
    faults: Sequence[Fault]
    inter_sample_overs: Floats
    """(channels,): hops whose true peak passes full scale while no sample is clipped."""
    bad_samples: int
