"""A long evening in a short one: the built-in player at speed, through engine, coach and log.

    python tests/bench/soak.py [--minutes 6] [--speed 10] [--part drums]

Takes begin and end all the time, the gain knob is turned, and the input is changed. Printed each
tenth of the way, and judged at the end: memory, threads, lost frames, takes in the log. Exit status 1 when
frames were lost, a thread was left, the log misses a take, or memory grew by more than 10 MB after the first
tenth.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import threading
import time
from pathlib import Path

from app.cli.options import live_coach
from app.cli.takedesk import TakeDesk
from app.coach.judgement import Target
from app.coach.parts import shipped_parts
from app.engine.loop import Engine
from app.inputs.player import PARTS, PlayerSource
from app.log.keeper import TakeKeeper
from app.log.store import Store
from app.log.writer import LogWriter

_MOST_GROWTH_MB = 10.0
_STEPS = 40


def main() -> int:
    """Run, print, judge."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--minutes", type=float, default=6.0)
    arguments.add_argument("--speed", type=float, default=10.0)
    arguments.add_argument("--part", choices=PARTS)
    arguments.add_argument("--steps", type=int, default=_STEPS, help="inputs, with three takes each")
    arguments.add_argument("--growth-mb", type=float, default=_MOST_GROWTH_MB, help="more fails it")
    chosen = arguments.parse_args()
    threads_before = threading.active_count()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "takes.db"
        log = LogWriter(path)
        keeper = TakeKeeper(log)
        parts = shipped_parts()
        engine = Engine(live_coach(parts["other"]), [keeper], [keeper.input_gone])
        desk = TakeDesk(keeper, engine, parts, Target())
        lost, heard_s, began, memory_mb = _play(engine, desk, keeper, chosen)
        ended = engine.stop() and log.close()
        with Store(path) as store:
            takes = store.count()
    left = threading.active_count() - threads_before
    growth_mb = max(memory_mb) - memory_mb[0]
    print(
        f"{heard_s / 60:.1f} minutes of sound, {lost} frames lost, {takes} of {began} takes in the log, "
        f"memory grew by {growth_mb:.1f} MB, {left} threads left"
    )
    return int(bool(lost or left or not ended or takes != began or growth_mb > chosen.growth_mb))


def _play(
    engine: Engine, desk: TakeDesk, keeper: TakeKeeper, chosen: argparse.Namespace
) -> tuple[int, float, int, list[float]]:
    """Frames lost, seconds heard, takes begun, and memory at each tenth of the way."""
    lost, heard_s, began = 0, 0.0, 0
    memory_mb = []
    for step in range(chosen.steps):
        part = chosen.part or PARTS[step % len(PARTS)]
        player = PlayerSource(part, gain_db=-6.0, speed=chosen.speed, seed=step)
        engine.open(player)
        engine.wait(5.0)
        for gain_db in (-20.0, 0.0, 12.0):
            desk.begin(f"{part} {step}", part)
            began += 1
            player.gain_db = gain_db
            time.sleep(chosen.minutes * 60.0 / chosen.steps / 3.0)
            _wait_for_sound(keeper)
            desk.end()
        snapshot = engine.snapshot
        lost += snapshot.lost_frames
        heard_s += snapshot.t_s
        tenth = max(1, chosen.steps // 10)
        if step % tenth == tenth - 1:
            memory_mb.append(_memory_mb())
            print(f"{heard_s / 60:6.1f} min heard, {memory_mb[-1]:6.1f} MB, {lost} frames lost", flush=True)
    return lost, heard_s, began, memory_mb


def _wait_for_sound(keeper: TakeKeeper) -> None:
    """A take that nothing came into is not logged, rightly; on a busy machine a short one may be such."""
    give_up_s = time.monotonic() + 20.0
    while keeper.current is not None and not keeper.current.duration_s and time.monotonic() < give_up_s:
        time.sleep(0.01)


def _memory_mb() -> float:
    with open("/proc/self/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * 4096 / 1e6


if __name__ == "__main__":
    sys.exit(main())
