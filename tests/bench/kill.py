"""Kill a program with SIGKILL in the middle of takes full of clips, and see what the log still has.

    python tests/bench/kill.py --count 200

Each child writes a take with a clip every 10 ms through the real keeper and writer, and tells on stdout
what it handed over and when. It is killed at a random moment; then the log is opened as at the next start.
What must hold: the log is sound, the take is there as interrupted (unless it was less than a second old),
and no clip older than one second is missing, nor is there one that never happened.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

LIMIT_S = 1.0
TOGETHER = 6
"""Children at a time. The promise needs a processor: on a busy machine ask for fewer with --together."""


def play(path: Path) -> None:
    """The child: a take full of clips until it is killed."""
    import numpy as np

    from app.coach.judgement import CoachReport, Judgement, Reason, Verdict
    from app.engine.events import Event, EventKind
    from app.engine.snapshot import HopReport
    from app.inputs.source import SourceInfo
    from app.log.keeper import TakeKeeper
    from app.log.writer import LogWriter
    from dsp.reading import Clip, ClipKind, Reading

    info = SourceInfo("player", "Player", 48_000, 1, live=True)
    coach = CoachReport((Judgement(Verdict.SLACK, 0, Reason.NOTHING_HEARD),), 0)
    one, level = np.full(1, -60.0), np.full((1, 1), -3.0)
    keeper = TakeKeeper(LogWriter(path))
    keeper.begin("full of clips")
    start_s = time.monotonic()
    for i in range(1_000_000):
        time.sleep(max(0.0, start_s + i * 0.01 - time.monotonic()))
        clip = Clip(ClipKind.FULL_SCALE, 0, i * 480 + 5, 3, 0.0)
        event = Event(EventKind.CLIP, clip.start_frame, clip.start_frame / 48_000, 1, 3, 0.0)
        reading = Reading(
            48_000, i * 480, 480, 480, level, level, one[:1], one[:1], one, one, one, one, (clip,)
        )
        keeper(HopReport(info, reading, coach, (event,), 0))
        print(i, time.monotonic(), flush=True)


def inspect(path: Path, handed_over: list[tuple[int, float]], killed_s: float) -> dict[str, object]:
    """Open the log as at the next start, and hold it against what the child had handed over."""
    from app.log.store import Store

    age_s = killed_s - handed_over[0][1] if handed_over else 0.0
    with Store(path) as store:
        store.interrupt_orphans()
        rows = store.list_takes()
        frames = {event.frame for event in store.take(rows[0].number).events} if rows else set()
        states = [row.state.value for row in rows]
        damaged = bool(store.notice)
    connection = sqlite3.connect(path)
    sound = connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()
    missing = [killed_s - t_s for i, t_s in handed_over if i * 480 + 5 not in frames]
    # The last line may not have reached us before the kill.
    invented = len(frames - {i * 480 + 5 for i in range(len(handed_over) + 1)})
    oldest_missing_s = max(missing, default=0.0)
    there = states == ["interrupted"] or (not states and age_s < LIMIT_S)
    return {
        "age_s": age_s,
        "clips": len(handed_over),
        "in_log": len(frames),
        "oldest_missing_s": oldest_missing_s,
        "states": states,
        "ok": sound and not damaged and there and not invented and oldest_missing_s <= LIMIT_S,
    }


def trial_batch(folder: Path, delays_s: list[float]) -> list[dict[str, object]]:
    """Several children at a time, each killed after its own delay."""
    with contextlib.ExitStack() as stack:
        children = []
        for i in range(len(delays_s)):
            command = [sys.executable, __file__, "--play", str(folder / f"{i}.sqlite")]
            children.append(stack.enter_context(subprocess.Popen(command, stdout=subprocess.PIPE, text=True)))
        # Counted from the first clip, so that the time it takes to start does not matter.
        firsts = [child.stdout.readline() for child in children]
        began_s = time.monotonic()
        killed = {}
        for i in sorted(range(len(children)), key=delays_s.__getitem__):
            time.sleep(max(0.0, began_s + delays_s[i] - time.monotonic()))
            children[i].send_signal(signal.SIGKILL)
            killed[i] = time.monotonic()
        results = []
        for i, child in enumerate(children):
            lines = [firsts[i], *child.stdout]
            child.wait()
            # A line that the kill cut short is not counted.
            told = [line.split() for line in lines if line.endswith("\n")]
            handed_over = [(int(number), float(t_s)) for number, t_s in told]
            results.append(inspect(folder / f"{i}.sqlite", handed_over, killed[i]))
    return results


def main() -> None:
    """Run the trials and print what was seen."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--longest-s", type=float, default=3.0, help="latest moment of a kill")
    parser.add_argument("--together", type=int, default=TOGETHER, help="children at a time")
    parser.add_argument("--json", action="store_true", help="print every trial")
    parser.add_argument("--play", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.play:
        play(options.play)
        return
    chance = random.Random(options.seed)
    results: list[dict[str, object]] = []
    while len(results) < options.count:
        count = min(options.together, options.count - len(results))
        with tempfile.TemporaryDirectory() as folder:
            delays_s = [chance.uniform(0.0, options.longest_s) for _ in range(count)]
            results += trial_batch(Path(folder), delays_s)
    if options.json:
        print(json.dumps(results, indent=1))
    else:
        missing = sorted(float(str(result["oldest_missing_s"])) for result in results)
        print(f"{len(results)} kills, {sum(int(str(r['clips'])) for r in results)} clips handed over")
        print(f"takes missing because younger than {LIMIT_S:g} s: {sum(not r['states'] for r in results)}")
        print(f"oldest missing clip: median {missing[len(missing) // 2]:.3f} s, worst {missing[-1]:.3f} s")
        print(f"trials that broke a promise: {sum(not r['ok'] for r in results)}")
    sys.exit(0 if all(result["ok"] for result in results) else 1)


if __name__ == "__main__":
    main()
