"""How often flat tops are found, and how often they are seen where none are.

    python tests/bench/flat_tops.py [--minutes 10] [--clean-minutes 60] [--part NAME]

Every part of ``render.PARTS`` and a voice, clean and overloaded: cut at four times the sample rate, so many
decibels below the highest peak of the take, with and without a coupling high-pass and noise after the cut. An
event is a run of cut samples, or several up to 50 ms apart; an overload is how far it would have gone above
the ceiling. A claim in clean playing is true where the sound stands still within 1.5 % for 1.5 ms: some
recordings in the sound font are cut themselves. How many of them stand still for 2 ms is told beside it. A
synthesised square is flat by nature, and rightly never accused: it is left out of the sums. Exit status 1
when a part is accused more than once an hour while it is clean, or when fewer than nine in ten events of 5 dB
or more are found at an overload of 6 dB without a coupling.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from render import PARTS, lacking, render_part, render_voice
from scipy.signal import lfilter, resample_poly

from dsp.flattops import FlatTopFinder
from dsp.hops import hop_frames
from dsp.reading import Clip

RATE_HZ = 48_000
STRONG_DB = 5.0
FLAT_BY_NATURE = ("synth square",)


@dataclass(frozen=True)
class Condition:
    over_db: float
    coupling_hz: float = 0.0
    noise_dbfs: float | None = None

    def __str__(self) -> str:
        coupling = f", {self.coupling_hz:g} Hz" if self.coupling_hz else ""
        return f"{self.over_db:g} dB{coupling}"


CONDITIONS = tuple(
    Condition(over_db, coupling_hz, -66.0 if coupling_hz else None)
    for coupling_hz in (0.0, 3.0, 10.0, 20.0)
    for over_db in (3.0, 6.0, 9.0)
)
STILL_S = (0.0015, 0.002)


def overload(
    x: npt.NDArray[np.float32], condition: Condition
) -> tuple[npt.NDArray[np.float32], list[tuple[int, int, float]]]:
    """Cut a mono take, (frames,); returns it and the events [(start, stop, overload in dB)]."""
    ceiling = float(np.abs(x).max()) / 10 ** (condition.over_db / 20)
    fine = np.clip(resample_poly(x.astype(np.float64), 4, 1), -ceiling, ceiling)
    if condition.coupling_hz:
        keep = np.exp(-2 * np.pi * condition.coupling_hz / (4 * RATE_HZ))
        fine = lfilter([(1 + keep) / 2, -(1 + keep) / 2], [1, -keep], fine)
    y = resample_poly(fine, 1, 4)[: x.size]
    if condition.noise_dbfs is not None:
        y = y + np.random.default_rng(0).normal(0, 10 ** (condition.noise_dbfs / 20), y.size)
    cut = np.flatnonzero(np.abs(x) > ceiling)
    groups = np.split(cut, np.flatnonzero(np.diff(cut) > 0.050 * RATE_HZ) + 1)
    events = [
        (int(group[0]), int(group[-1]) + 1, float(20 * np.log10(np.abs(x[group]).max() / ceiling)))
        for group in groups
        if group.size >= 3
    ]
    return y.astype(np.float32), events


def find(x: npt.NDArray[np.float32]) -> tuple[Clip, ...]:
    hop = hop_frames(RATE_HZ)
    finder = FlatTopFinder(RATE_HZ, 1, hop)
    whole = np.ascontiguousarray(x[: x.size // hop * hop, np.newaxis])
    return finder.process(whole, 0) + finder.flush()


def found(clips: tuple[Clip, ...], events: list[tuple[int, int, float]], frames: int) -> list[bool]:
    covered = np.zeros(frames + RATE_HZ, bool)
    for clip in clips:
        covered[clip.start_frame : clip.start_frame + clip.frames] = True
    slack = RATE_HZ // 100
    return [bool(covered[max(0, start - slack) : stop + slack].any()) for start, stop, _ in events]


def stands_still(x: npt.NDArray[np.float32], clip: Clip, for_s: float) -> bool:
    """Whether a claim is true of the sound itself.

    The lowest note of all parts, 41 Hz, falls by 1.9 % within 0.75 ms of its top, as a sine.
    """
    around = np.abs(x[clip.start_frame : clip.start_frame + clip.frames])
    windows = np.lib.stride_tricks.sliding_window_view(around, round(for_s * RATE_HZ))
    high, low = windows.max(axis=1), windows.min(axis=1)
    return bool(np.any((high >= 0.9 * around.max()) & (high - low <= 0.015 * high)))


def take(name: str, seconds: float, seed: int) -> npt.NDArray[np.float32]:
    for part in PARTS:
        if part.name == name:
            return render_part(part, seconds, seed, RATE_HZ)[:, 0]
    return render_voice(seconds, seed, RATE_HZ)[:, 0]


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--minutes", type=float, default=2.0, help="of each part, overloaded; 0 = none")
    parser.add_argument("--clean-minutes", type=float, default=10.0, help="of each part, clean")
    parser.add_argument("--part", action="append", help="only this part (may be repeated)")
    options = parser.parse_args()
    if lacking():
        return 2
    conditions = CONDITIONS if options.minutes else ()
    names = options.part or [part.name for part in PARTS] + ["voice"]
    print(
        "accused: events claimed in clean playing, wrongly + where it stands still for 1.5 ms (for 2 ms). "
        "Then events found of all; noise of -66 dBFS wherever there is a coupling."
    )
    print(f"{'part':18s}  {'accused':>10s}  " + "  ".join(f"{condition!s:>11s}" for condition in conditions))
    all_of: dict[Condition, npt.NDArray[np.int64]] = {c: np.zeros(4, np.int64) for c in conditions}
    accused_parts, heard_s, spent_s = 0, 0.0, 0.0
    for name in names:
        accused, left_min, seed = 0, options.clean_minutes, 100
        true = np.zeros(len(STILL_S), np.int64)
        while left_min > 0:
            clean = take(name, 60 * min(left_min, 10.0), seed)
            begun = time.process_time()
            claims = find(clean)
            spent_s += time.process_time() - begun
            flat = [sum(stands_still(clean, clip, for_s) for clip in claims) for for_s in STILL_S]
            true += flat
            accused += len(claims) - flat[0]
            heard_s += clean.size / RATE_HZ
            left_min -= 10.0
            seed += 1
        accused_parts += accused > max(1.0, options.clean_minutes / 60)
        cells: list[str] = []
        x = take(name, 60 * options.minutes, 1) if conditions else np.empty(0, np.float32)
        for condition in conditions:
            y, events = overload(x, condition)
            hits = np.array(found(find(y), events, x.size), bool)
            strong = np.array([over_db >= STRONG_DB for _, _, over_db in events], bool)
            row = np.array([hits.sum(), hits.size, (hits & strong).sum(), strong.sum()])
            if name not in FLAT_BY_NATURE:
                all_of[condition] += row
            cells.append(f"{row[0]:>6d}/{row[1]:<4d}")
        told = f"{accused}+{true[0]} ({true[1]})"
        print(f"{name:18s}  {told:>10s}  " + "  ".join(cells), flush=True)
    for condition, row in all_of.items():
        everything, strongest = row[0] / max(1, row[1]), row[2] / max(1, row[3])
        print(
            f"{condition!s:>12s}: {everything:6.1%} of all events, "
            f"{strongest:6.1%} of those {STRONG_DB:g} dB over or more"
        )
    if heard_s:
        print(
            f"{heard_s / 60:.0f} min clean; {spent_s / heard_s * 3600:.2f} s of processor an hour and channel"
        )
    plain = all_of.get(Condition(6), np.zeros(4, np.int64))
    return int(bool(accused_parts) or bool(plain[2] < 0.9 * plain[3]))


if __name__ == "__main__":
    sys.exit(main())
