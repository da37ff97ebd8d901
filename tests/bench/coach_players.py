"""Players for the coach's benches: performances rendered once, each heard from many sides.

A performance is five minutes on one instrument of the sound font, or of a spoken voice. Its first part
serves as the rehearsal, the rest as the take, so that no player is asked to play the same thing twice.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).parent))

import render

from app.coach.evidence import Evidence, Levels
from app.coach.parts import PartProfile, find_part
from app.coach.ticks import TickCutter
from dsp.average import SlowAverage
from dsp.decibels import amplitude_to_db
from dsp.hops import HOP_S, hop_frames
from dsp.peaks import hop_peaks

RATE_HZ = 48_000
REHEARSAL_S = 60.0
TAKE_S = 240.0

PROFILES = {
    "bass": "bass",
    "slap bass": "bass",
    "acoustic bass": "bass",
    "synth bass": "bass",
    "steel guitar": "acoustic_guitar",
    "clean guitar": "guitar",
    "overdriven guitar": "guitar",
    "distorted guitar": "guitar",
    "drums": "drums",
    "piano": "keys",
    "electric piano": "keys",
    "drawbar organ": "keys",
    "church organ": "keys",
    "synth square": "keys",
    "synth saw": "keys",
    "synth pad": "keys",
    "strings": "strings",
    "cello": "strings",
    "trumpet": "winds_brass",
    "brass section": "winds_brass",
    "saxophone": "winds_brass",
    "flute": "winds_brass",
    "voice": "spoken_word",
}

FITTED = tuple(sorted(PROFILES)[::2])
"""The instruments that the coach's constants were fitted on; the others are kept for testing."""


@dataclass(frozen=True, slots=True)
class Performance:
    """What one player played, at unity gain."""

    name: str
    profile: PartProfile
    rehearsal: npt.NDArray[np.float32]
    """(frames, 1)."""
    rehearsal_levels: Levels
    rehearsal_ticks: npt.NDArray[np.float64]
    """(ticks, 2): average and peak of each 100 ms."""
    take_levels: Levels
    """Unclipped."""


def performances(names: Iterator[str] | list[str] | tuple[str, ...], seeds: range) -> Iterator[Performance]:
    """Render players one by one."""
    parts = {part.name: part for part in render.PARTS}
    for seed in seeds:
        for name in names:
            length_s = REHEARSAL_S + TAKE_S
            # A seed of their own, or all players of one seed would phrase alike: one player in many coats.
            own_seed = 100 * seed + sorted(PROFILES).index(name)
            if name == "voice":
                samples = render.render_voice(length_s, own_seed)
            else:
                samples = render.render_part(parts[name], length_s, own_seed)
            cut = round(REHEARSAL_S * RATE_HZ)
            ticks = tick_levels(samples[:cut])
            yield Performance(
                name=name,
                profile=find_part(PROFILES[name]),
                rehearsal=samples[:cut],
                rehearsal_levels=levels_of(ticks),
                rehearsal_ticks=ticks,
                take_levels=levels_of(tick_levels(samples[cut:])),
            )


def tick_levels(samples: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    """(ticks, 2): the slow average and the peak of each 100 ms."""
    hop = hop_frames(RATE_HZ)
    whole = samples[: samples.shape[0] // hop * hop]
    average = SlowAverage(RATE_HZ, 1, hop).process(whole)
    peak = amplitude_to_db(hop_peaks(whole, hop))
    return np.column_stack(TickCutter(HOP_S).push(average[:, 0], peak[:, 0]))


def levels_of(ticks: npt.NDArray[np.float64]) -> Levels:
    """Figures over the loud playing."""
    evidence = Evidence(None)
    evidence.add(ticks[:, 0], ticks[:, 1])
    levels = evidence.levels(-60.0)
    if levels is None:
        raise RuntimeError("a player who plays nothing")
    return levels
