"""How long a log of 10,000 takes with 200,000 events takes to open, list and read.

python tests/bench/log_size.py

Each round does the work once and, right after it, what the least program would have to do: open the same
database with the sqlite3 module alone and fetch the same rows as tuples. The ratio is ours over that, so that
it means something on a machine that does other things as well.
"""

from __future__ import annotations

import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from app.coach.judgement import Verdict
from app.log.records import ChannelFigures, LevelTrace, TakeEvent, TakeState, TakeUpdate
from app.log.saving import save_events, save_take
from app.log.store import Store

TAKES, EVENTS_PER_TAKE = 10_000, 20
ROUNDS = 15
PAGE = 100


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


def time_ms(work: Callable[[], object]) -> float:
    """How long it takes once."""
    start_s = time.perf_counter()
    work()
    return (time.perf_counter() - start_s) * 1000


def compared(name: str, work: Callable[[], object], least: Callable[[], object]) -> None:
    """Print the median and the worst of several rounds, and the median of the ratios of the pairs."""
    pairs = [(time_ms(work), time_ms(least)) for _ in range(ROUNDS)]
    ours = [pair[0] for pair in pairs]
    ratio = statistics.median(one / other for one, other in pairs)
    print(
        f"{name:44} {statistics.median(ours):8.1f} {max(ours):8.1f}"
        f" {statistics.median(pair[1] for pair in pairs):8.1f} {ratio:6.2f}"
    )


def main() -> None:
    """Fill a log and measure."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "takes.sqlite"
        fill(path)
        print(f"{TAKES} takes, {TAKES * EVENTS_PER_TAKE} events, {path.stat().st_size / 1e6:.0f} MB")
        print(f"{'milliseconds':44} {'median':>8} {'worst':>8} {'sqlite3':>8} {'ratio':>6}")

        def plain(sql: str) -> Callable[[], object]:
            def run() -> object:
                connection = sqlite3.connect(path)
                try:
                    return connection.execute(sql).fetchall()
                finally:
                    connection.close()

            return run

        def open_as_the_window() -> None:
            with Store(path) as store:
                store.takes_of(store.take_numbers()[:PAGE])

        def open_and_list(limit: int) -> None:
            with Store(path) as store:
                store.list_takes(limit=limit)

        def open_and_search() -> None:
            with Store(path) as store:
                store.take_numbers(search="verse 777")

        def open_and_read() -> None:
            with Store(path) as store:
                store.take(TAKES // 2)

        newest = f"SELECT * FROM take ORDER BY number DESC LIMIT {PAGE}"
        compared("open: all numbers and the newest 100 takes", open_as_the_window, plain(newest))
        compared("open and list the newest 100", lambda: open_and_list(PAGE), plain(newest))
        compared("open and list all", lambda: open_and_list(-1), plain("SELECT * FROM take"))
        compared(
            "open and search",
            open_and_search,
            plain("SELECT number FROM take WHERE name LIKE '%verse%' AND name LIKE '%777%'"),
        )
        compared(
            "open and read a take with events and picture",
            open_and_read,
            plain(f"SELECT * FROM event WHERE take = {TAKES // 2}"),
        )
        with Store(path) as store:
            compared(
                "100 in the middle, as they come into sight",
                lambda: store.takes_of(range(TAKES // 2, TAKES // 2 + PAGE)),
                plain(newest),
            )
            compared("look for damage", store.look_for_damage, plain("PRAGMA quick_check(1)"))


if __name__ == "__main__":
    main()
