"""How long a log of 10,000 takes with 200,000 events takes to open, list and read.

python tests/bench/log_size.py
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from app.coach.judgement import Verdict
from app.log.records import ChannelFigures, LevelTrace, TakeEvent, TakeState, TakeUpdate
from app.log.saving import save_events, save_take
from app.log.store import Store

TAKES, EVENTS_PER_TAKE = 10_000, 20
ROUNDS = 9


def fill(path: Path) -> None:
    """Write the takes, of four minutes each."""
    figures = (ChannelFigures(-3.2, -14.1, -66.0, EVENTS_PER_TAKE),) * 2
    trace = LevelTrace(0.2, bytes(4 * 1200))
    with Store(path) as store, store.writing():
        for i in range(TAKES):
            update = TakeUpdate(
                uid=f"{i:032x}",
                name=f"Second verse {i}",
                part="bass",
                started_us=1_700_000_000_000_000 + i * 300_000_000,
                utc_offset_s=3600,
                input_spec="device:Input 1",
                input_name="Input 1",
                rate_hz=48_000,
                state=TakeState.CLOSED,
                frames=240 * 48_000,
                lost_frames=0,
                verdict=Verdict.AWASH,
                per_channel=figures,
                trace=trace,
            )
            number = save_take(store, update, None, "nobody")
            events = [TakeEvent("clip", j * 480_000, 1, 7, 0.0) for j in range(EVENTS_PER_TAKE)]
            save_events(store, number, 0, events)


def timed(name: str, work: Callable[[], object]) -> None:
    """Print the median and the worst of several rounds."""
    times_ms = []
    for _ in range(ROUNDS):
        start_s = time.perf_counter()
        work()
        times_ms.append((time.perf_counter() - start_s) * 1000)
    times_ms.sort()
    print(f"{name:42} median {times_ms[ROUNDS // 2]:8.2f} ms, worst {times_ms[-1]:8.2f} ms")


def main() -> None:
    """Fill a log and measure."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "takes.sqlite"
        fill(path)
        print(f"{TAKES} takes, {TAKES * EVENTS_PER_TAKE} events, {path.stat().st_size / 1e6:.0f} MB")

        def open_and_list(limit: int) -> None:
            with Store(path) as store:
                store.list_takes(limit=limit)

        timed("open, and list the newest 100", lambda: open_and_list(100))
        timed("open, and list all", lambda: open_and_list(-1))
        with Store(path) as store:
            timed("list 100 in the middle", lambda: store.list_takes(100, TAKES // 2))
            timed("count", store.count)
            timed("one take with its events and its picture", lambda: store.take(TAKES // 2))
            timed("look for damage", lambda: store.rows("PRAGMA quick_check(1)"))


if __name__ == "__main__":
    main()
