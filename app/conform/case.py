"""What a conformance check consists of."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from dsp.reading import Clip, Summary
from dsp.types import Floats, Samples

Blocks: TypeAlias = Iterable[Samples]
"""A signal, block by block: (frames, channels) each."""


@dataclass(frozen=True, slots=True)
class Measured:
    """All that the chain said about one signal."""

    rate_hz: int
    hop_frames: int
    average_dbfs: Floats
    """(hops, channels)."""
    momentary_lufs: Floats
    """(hops,)."""
    short_term_lufs: Floats
    """(hops,)."""
    clips: tuple[Clip, ...]
    summary: Summary

    def hop_at(self, t_s: float) -> int:
        """The hop that ends at a time, or the last before it."""
        return round(t_s * self.rate_hz / self.hop_frames) - 1


@dataclass(frozen=True, slots=True)
class Case:
    """One figure that a standard demands of a signal."""

    name: str
    """What is measured, for a person."""
    source: str
    """The standard and its clause or case."""
    measure: Callable[[Measured], float]
    """Picks the figure out of what was measured; nan where the chain had no answer."""
    required: float
    tolerance_low: float
    """How far below the figure may lie; 0 or more."""
    tolerance_high: float
    """How far above."""
    unit: str = ""

    def judge(self, measured: Measured) -> Result:
        """Compare; no answer is a failure."""
        return self.judge_value(self.measure(measured))

    def judge_value(self, value: float) -> Result:
        """Compare a figure that was measured elsewhere."""
        lowest, highest = self.required - self.tolerance_low, self.required + self.tolerance_high
        return Result(self, value, passed=lowest <= value <= highest)


@dataclass(frozen=True, slots=True)
class Result:
    """What a case came to."""

    case: Case
    measured: float
    passed: bool


@dataclass(frozen=True, slots=True)
class Trial:
    """One signal and every figure demanded of it."""

    rate_hz: int
    channels: int
    signal: Callable[[], Blocks]
    cases: Sequence[Case]
