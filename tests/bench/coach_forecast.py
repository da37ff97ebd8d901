"""Is the forecast calibrated? Of the takes said to clip with 30 % probability, do 30 % clip?

Run it with ``python tests/bench/coach_forecast.py [--seeds 4]``; it needs fluidsynth, its sound font and
espeak-ng. The players are instruments that the coach's constants were **not** fitted on. From each,
stretches of 10 to 30 s of rehearsal are forecast; the take is four minutes that the rehearsal is no part
of, 0 to 4 dB louder, at a gain chosen so that every size of forecast occurs. Two other forecasters see the
same: "the highest peak so far plus a margin" (it clips if that passes full scale; the margin is the best
one for these very takes), and the bare record rule (certain once full scale was reached, the record
probability otherwise).

All forecasts of one performance share its take, so the number of performances counts, not that of forecasts.
The ± is twice the standard error of observed minus forecast, with performances as the unit.
"""

from __future__ import annotations

import argparse
import itertools
import sys

import numpy as np
import numpy.typing as npt
from coach_players import FITTED, PROFILES, TAKE_S, Performance, performances
from render import lacking

from app.coach.evidence import Evidence
from app.coach.forecast import forecast
from app.coach.judgement import Target

BANDS = (0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0)
TARGET = Target()


def cases(
    performance: Performance, count: int, rng: np.random.Generator
) -> list[tuple[float, float, float, bool]]:
    """(forecast, record probability, highest peak heard, whether the take clipped) of so many stretches."""
    found = []
    ticks = performance.rehearsal_ticks
    for _ in range(count):
        length = 10 * int(rng.integers(10, 31))
        start = int(rng.integers(0, ticks.shape[0] - length))
        stretch = ticks[start : start + length]
        take_peak = performance.take_levels.peak_dbfs + rng.uniform(0.0, 4.0)
        # A gain around the one at which an average player's take just reaches full scale.
        gain = rng.normal(-stretch[:, 1].max() - 4.0, 3.5)
        heard = stretch[:, 1] + gain
        if heard.max() >= 0.0:
            continue
        evidence = Evidence(None)
        evidence.add(stretch[:, 0] + gain, heard, playing_dbfs=-60.0)
        coming = forecast(evidence.block_peaks_dbfs, performance.profile, TARGET, take_s=TAKE_S)
        if coming is not None:
            clipped = take_peak + gain >= 0.0
            found.append((coming.clip_probability, coming.record_probability, float(heard.max()), clipped))
    return found


def difference(
    chance: npt.NDArray[np.float64], happened: npt.NDArray[np.float64], player: npt.NDArray[np.int64]
) -> tuple[float, float]:
    """Observed minus forecast, and twice its standard error with whole performances as the unit."""
    off = happened - chance
    mean = float(off.mean())
    by_player = np.bincount(player, weights=off - mean)
    return mean, 2.0 * float(np.sqrt(np.square(by_player).sum())) / off.size


def brier(chance: npt.NDArray[np.float64], happened: npt.NDArray[np.float64]) -> float:
    """Mean squared error of a probability (Brier, Monthly Weather Review 78, 1950)."""
    return float(np.mean(np.square(chance - happened)))


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=4, help="performances of each instrument")
    parser.add_argument("--first-seed", type=int, default=301)
    parser.add_argument("--stretches", type=int, default=40, help="rehearsals from each performance")
    options = parser.parse_args()
    if lacking():
        sys.exit(2)

    rng = np.random.default_rng(options.first_seed)
    names = tuple(name for name in PROFILES if name not in FITTED)
    rows: list[tuple[float, float, float, bool]] = []
    player: list[int] = []
    for performance in performances(names, range(options.first_seed, options.first_seed + options.seeds)):
        found = cases(performance, options.stretches, rng)
        player += [player[-1] + 1 if player else 0] * len(found)
        rows += found
    chance, record, heard, clipped = np.array(rows, dtype=np.float64).T

    performed = len(set(player))
    print(f"{chance.size} forecasts of {performed} performances on {len(names)} instruments: ", end="")
    print(f"{', '.join(names)}\n")
    print("| forecast | forecasts | mean forecast | clipped | difference |\n|---|---|---|---|---|")
    for low, high in itertools.pairwise(BANDS):
        inside = (chance >= low) & ((chance < high) | (high == 1.0))
        if inside.any():
            off, doubt = difference(chance[inside], clipped[inside], np.array(player)[inside])
            cells = (f"{low:.0%} to {high:.0%}", inside.sum(), chance[inside].mean(), clipped[inside].mean())
            print("| {} | {} | {:.1%} | {:.1%} |".format(*cells), f"{100 * off:+.1f} ± {100 * doubt:.1f} |")
    margins = np.arange(0.0, 12.1, 0.5)
    best = min(margins, key=lambda margin: brier((heard + margin >= 0.0).astype(float), clipped))
    print("\n| forecaster | Brier score |\n|---|---|")
    print(f"| this forecast | {brier(chance, clipped):.3f} |")
    print(f"| highest peak plus {best:g} dB | {brier((heard + best >= 0.0).astype(float), clipped):.3f} |")
    print(f"| record rule | {brier(record, clipped):.3f} |")


if __name__ == "__main__":
    main()
