"""The coach in closed loop: does the next take sit in the window after one turn of the knob?

Run it with ``python tests/bench/coach.py [--seeds 4] [--sessions 7]``; it needs fluidsynth, its sound font
and espeak-ng (see tests/bench/render.py). Each session is one player (an instrument of the sound font, or a
spoken voice) with a knob that is wrong by -30 to +12 dB, a room whose noise lies 35 to 65 dB under the
playing, a hand that misses by up to 1 dB, and a take that runs 0 to 4 dB louder than the rehearsal. Three
advisers set the gain from the same rehearsal, sample by sample, with everything over full scale cut off:

* the guided session of this program,
* "aim the peak at -6": turn until the highest peak reads -6 dBFS,
* "average to -18": turn until the loud playing averages -18 dBFS.

A take is **in the window** when its peaks stay under the ceiling (-6 dBFS) and either its loud playing
averages -20 to -12 dBFS or its peaks reach the 8 dB under the ceiling (what a wide crest leaves). It is
judged at the levels that the player would have reached without clipping.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from coach_players import PROFILES, RATE_HZ, Performance, performances
from render import lacking

from app.coach.evidence import Evidence
from app.coach.judgement import Target
from app.coach.session import GuidedSession, Step
from dsp.average import SlowAverage
from dsp.clips import ClipFinder
from dsp.decibels import amplitude_to_db, db_to_amplitude
from dsp.hops import HOP_S, hop_frames
from dsp.peaks import hop_peaks

TARGET = Target()
HOP = hop_frames(RATE_HZ)
TICK_HOPS = 10
BLOCK = 5 * TICK_HOPS * HOP
LOOK_S = 20.0
"""How long those who go by a rule of thumb look at their meters."""
MOST_MOVES = 4
CONVERTER_NOISE_DBFS = -100.0


@dataclass
class World:
    """One session: a performance, a room, a knob and a hand."""

    performance: Performance
    gain_db: float
    noise_dbfs: float
    """At the gain that would put the playing at -18 dBFS."""
    growth_db: float
    rng: np.random.Generator
    at: int = 0

    def __post_init__(self) -> None:
        self.right_gain_db = -18.0 - self.performance.rehearsal_levels.average_dbfs

    def hear(self, block_frames: int, *, playing: bool) -> npt.NDArray[np.float32]:
        """What the converter delivers next."""
        noise_dbfs = self.noise_dbfs + self.gain_db - self.right_gain_db
        # Room and converter are independent: their powers add. AES17: a sine of full scale has -3.01 dB rms.
        noise_rms = np.hypot(db_to_amplitude(noise_dbfs), db_to_amplitude(CONVERTER_NOISE_DBFS)) * np.sqrt(
            0.5
        )
        heard = self.rng.standard_normal((block_frames, 1), np.float32) * np.float32(noise_rms)
        if playing:
            frames = np.arange(self.at, self.at + block_frames) % self.performance.rehearsal.shape[0]
            self.at += block_frames
            heard += self.performance.rehearsal[frames] * np.float32(db_to_amplitude(self.gain_db))
        return np.clip(heard, -1.0, 1.0, out=heard)

    def turn(self, change_db: float) -> None:
        """Turn the knob, with a hand that misses."""
        self.gain_db += change_db + self.rng.uniform(-1.0, 1.0)


class Ears:
    """The measurements that advisers share."""

    def __init__(self) -> None:
        self._average = SlowAverage(RATE_HZ, 1, HOP)
        self._clips = ClipFinder(RATE_HZ, 1)
        self._frame = 0

    def process(self, block: npt.NDArray[np.float32]):
        average = self._average.process(block)[:, 0]
        peak = amplitude_to_db(hop_peaks(block, HOP))[:, 0]
        clips = self._clips.process(block, self._frame)
        self._frame += block.shape[0]
        return average, peak, clips


def guided(world: World) -> list[float]:
    """The gains after each turn that the guided session asks for, the starting gain first."""
    session = GuidedSession(world.performance.profile, TARGET, HOP_S, 240.0)
    ears = Ears()
    gains = [world.gain_db]
    state = session.process(np.empty(0), np.empty(0), np.nan)
    for _ in range(1200):
        block = world.hear(BLOCK, playing=state.step in (Step.LOUD, Step.CHECK))
        average, peak, clips = ears.process(block)
        state = session.process(average, peak, np.nan, clips)
        if state.step is Step.TURN:
            world.turn(state.gain_change_db)
            gains.append(world.gain_db)
            # The hand is believed: the follow-up of the knob has tests of its own.
            state = session.skip()
        if state.step is Step.DONE or len(gains) > MOST_MOVES:
            break
    return gains


def rule_of_thumb(reading: Callable[[float, float], float]) -> Callable[[World], list[float]]:
    """An adviser who looks at the meters for a while and turns by what ``reading(average, peak)`` says."""

    def adviser(world: World) -> list[float]:
        gains = [world.gain_db]
        while len(gains) <= MOST_MOVES:
            ears, evidence = Ears(), Evidence(None)
            average, peak, _ = ears.process(world.hear(round(LOOK_S * RATE_HZ), playing=True))
            evidence.add(average[TICK_HOPS - 1 :: TICK_HOPS], peak.reshape(-1, TICK_HOPS).max(axis=1))
            levels = evidence.levels(-60.0)
            change = 20.0 if levels is None else reading(levels.average_dbfs, levels.peak_dbfs)
            if abs(change) < 1.5:
                break
            world.turn(round(change))
            gains.append(world.gain_db)
        return gains

    return adviser


ADVISERS = {
    "this coach": guided,
    "peak to -6": rule_of_thumb(lambda _, peak: -6.0 - peak),
    "average to -18": rule_of_thumb(lambda average, _: -18.0 - average),
}


def take(world: World, gain_db: float) -> dict[str, bool]:
    """What the take at a gain is like."""
    levels = world.performance.take_levels
    average = levels.average_dbfs + gain_db + world.growth_db
    peak = levels.peak_dbfs + gain_db + world.growth_db
    low = TARGET.ceiling_dbfs - (TARGET.window_high_dbfs - TARGET.window_low_dbfs)
    in_average = TARGET.window_low_dbfs <= average <= TARGET.window_high_dbfs
    under = peak <= TARGET.ceiling_dbfs
    by_peaks = world.performance.profile.rules == "peaks"
    return {
        "in the window": under and (peak >= low or (in_average and not by_peaks)),
        "over the ceiling": not under,
        "clipped": peak >= 0.0,
        "too low": under and peak < low and (by_peaks or not in_average),
    }


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=4, help="performances of each instrument")
    parser.add_argument("--first-seed", type=int, default=101)
    parser.add_argument("--sessions", type=int, default=7, help="sessions of each performance")
    parser.add_argument("--thumbs", type=int, default=2, help="of them, by the rules of thumb too")
    parser.add_argument("--by-part", action="store_true")
    parser.add_argument("--misses", action="store_true", help="name every session that missed the window")
    options = parser.parse_args()
    if lacking():
        sys.exit(2)

    started_s = time.monotonic()
    results: dict[str, list[dict[str, float]]] = defaultdict(list)
    by_part: dict[str, list[float]] = defaultdict(list)
    by_seed: dict[int, list[float]] = defaultdict(list)
    seeds = range(options.first_seed, options.first_seed + options.seeds)
    for number, performance in enumerate(performances(tuple(PROFILES), seeds)):
        for session in range(options.sessions):
            for name, adviser in ADVISERS.items():
                if name != "this coach" and session >= options.thumbs:
                    continue
                # The same world for every adviser.
                rng = np.random.default_rng((options.first_seed, number, session))
                right = -18.0 - performance.rehearsal_levels.average_dbfs
                start_db = rng.uniform(-30.0, 12.0)
                world = World(
                    performance,
                    gain_db=right + start_db,
                    noise_dbfs=-18.0 - rng.uniform(35.0, 65.0),
                    growth_db=rng.uniform(0.0, 4.0),
                    rng=rng,
                    at=int(rng.integers(0, performance.rehearsal.shape[0])),
                )
                gains = adviser(world)
                first = take(world, gains[min(1, len(gains) - 1)])
                last = take(world, gains[-1])
                results[name].append(
                    {**first, "in the window at the end": last["in the window"], "moves": len(gains) - 1}
                )
                if name == "this coach":
                    by_part[performance.name].append(first["in the window"])
                    by_seed[number // len(PROFILES)].append(first["in the window"])
                    if options.misses and not first["in the window"]:
                        fate = ", ".join(word for word, is_so in first.items() if is_so)
                        print(f"missed: {performance.name}, start {start_db:+.0f} dB: {fate}", flush=True)
        if (number + 1) % len(PROFILES) == 0:
            print_table(results, time.monotonic() - started_s)
    print("in the window by seed: " + ", ".join(f"{100 * np.mean(each):.0f} %" for each in by_seed.values()))
    if options.by_part:
        for name, inside in sorted(by_part.items(), key=lambda item: np.mean(item[1])):
            print(f"{name:20s} {100 * np.mean(inside):.0f} %")


def print_table(results: dict[str, list[dict[str, float]]], seconds: float) -> None:
    """Print what was found so far."""
    counts = ", ".join(f"{name} {len(rows)}" for name, rows in results.items())
    print(f"\nsessions: {counts}; {seconds:.0f} s\n")
    columns = list(results["this coach"][0])
    print("| after one move | " + " | ".join(columns) + " |\n|" + "---|" * (len(columns) + 1))
    for name, rows in results.items():
        cells = []
        for column in columns:
            mean = float(np.mean([row[column] for row in rows]))
            cells.append(f"{mean:.2f}" if column == "moves" else f"{100 * mean:.1f} %")
        print(f"| {name} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()
