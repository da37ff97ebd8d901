"""The writer thread: whatever happens to the disk, what was handed over ends up in the log."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest

from app.log import schema
from app.log import writer as writer_module
from app.log.keeper import TakeKeeper
from app.log.records import TakeEvent, TakeState
from app.log.reserve import RESERVE_BYTES
from app.log.saving import save_take
from app.log.store import Store
from app.log.writer import LogWriter

KILL = Path(__file__).parents[2] / "bench" / "kill.py"


def wait_until(condition, timeout_s=10.0):
    deadline = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < deadline, "it never happened"
        time.sleep(0.005)


def damage(path):
    """Overwrite the middle of every page but the first, and leave no side file that could mend it."""
    content = bytearray(path.read_bytes())
    for start in range(4096, len(content), 4096):
        content[start : start + 64] = b"\xff" * 64
    path.write_bytes(content)


def test_an_update_is_in_the_log_within_a_second(path, writer, make_update):
    start_s = time.monotonic()
    writer.submit(make_update(events=2))
    with Store(path) as store:
        wait_until(store.count)
        assert time.monotonic() - start_s < 1.0
        assert len(store.take(1).events) == 2
    wait_until(lambda: writer.number("one") == 1)


def test_flush_waits_until_everything_is_written(path, writer, make_update):
    before = writer.revision
    for i in range(50):
        writer.submit(make_update(events=1, first=i))
    assert writer.flush()
    assert writer.revision > before
    with Store(path) as store:
        assert [event.frame for event in store.take(1).events] == [100 * i for i in range(50)]


def test_a_quiet_log_changes_no_list(writer, make_update):
    writer.submit(make_update())
    assert writer.flush()
    before = writer.revision
    assert writer.flush()
    assert writer.revision == before


def test_the_list_is_read_again_for_news_only(path, writer, make_update):
    def revision_after(**changes):
        writer.submit(make_update(**changes))
        assert writer.flush()
        return writer.revision

    first = revision_after()
    assert revision_after(frames=96_000) == first
    with_clip = revision_after(events=1)
    assert with_clip > first
    assert revision_after(events=0, per_channel=make_update(events=1).per_channel) == with_clip
    assert revision_after(state=TakeState.CLOSED, per_channel=make_update(events=1).per_channel) > with_clip


def test_closing_writes_everything_and_ends_the_thread(path, make_update):
    log = LogWriter(path)
    log.submit(make_update(state=TakeState.CLOSED, events=3, final=True))
    assert log.close()
    assert log.close()
    with Store(path) as store:
        assert store.list_takes()[0].state is TakeState.CLOSED
    assert not [thread for thread in threading.enumerate() if thread.name == "take log writer"]
    assert {file.name for file in path.parent.iterdir()} == {path.name, f"{path.name}-reserve"}


def test_late_events_of_a_closed_take_are_added(path, writer, make_update):
    writer.submit(make_update(state=TakeState.CLOSED, events=2))
    assert writer.flush()
    writer.submit(make_update(state=TakeState.CLOSED, events=1, first=2, final=True))
    assert writer.flush()
    with Store(path) as store:
        assert len(store.take(1).events) == 3


# Trouble with the disk


@pytest.fixture
def small_disk(monkeypatch):
    """A log that cannot grow: SQLite says the same as on a full disk. Call it to make room."""
    connect, full = schema.connect, threading.Event()
    full.set()

    def limited(path, *, busy_s):
        connection = connect(path, busy_s=busy_s)
        if full.is_set():
            (pages,) = connection.execute("PRAGMA page_count").fetchone()
            connection.execute(f"PRAGMA max_page_count = {pages}")
        return connection

    monkeypatch.setattr(schema, "connect", limited)
    monkeypatch.setattr(writer_module, "RETRY_EVERY_S", 0.05)
    monkeypatch.setattr(writer_module, "RESERVE_EVERY_S", 0.05)
    return full.clear


def test_a_full_disk_is_told_and_nothing_is_lost_when_there_is_room_again(
    path, small_disk, make_update, monkeypatch
):
    log = LogWriter(path)
    for i in range(40):
        log.submit(make_update(events=50, first=50 * i))
    wait_until(lambda: log.problem is not None)
    assert "is full" in log.problem.sentence
    assert "kept in memory" in log.problem.sentence
    assert not log.flush(0.3)
    log.submit(make_update(events=10, first=2000))
    small_disk()
    wait_until(lambda: log.problem is None)
    assert log.close()
    with Store(path) as store:
        take = store.take(1)
        assert [event.frame for event in take.events] == [100 * i for i in range(2010)]


def test_closing_on_a_full_disk_does_not_hang_and_admits_it(path, small_disk, make_update):
    log = LogWriter(path)
    log.submit(make_update(events=2000))
    start_s = time.monotonic()
    assert not log.close(timeout_s=0.5)
    assert time.monotonic() - start_s < 3.0
    assert "is full" in log.problem.sentence


@pytest.mark.skipif(
    sys.platform != "linux" or not hasattr(os, "geteuid") or os.geteuid() != 0, reason="mounts a small disk"
)
def test_a_really_full_disk(tmp_path, make_update):
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=512k", "tmpfs", disk], check=False).returncode:
        pytest.skip("mounting is not allowed here")
    try:
        log = LogWriter(disk / "takes.sqlite")
        log.submit(make_update(events=10))
        assert log.flush()
        (disk / "ballast").write_bytes(bytes(300 * 1024))
        log.submit(make_update(events=5000, first=10))
        wait_until(lambda: log.problem is not None)
        assert "is full" in log.problem.sentence
        # What was written before is still there to read.
        with Store(disk / "takes.sqlite") as store:
            assert len(store.take(1).events) == 10
        (disk / "ballast").unlink()
        log.submit(make_update(events=1, first=5010))
        wait_until(lambda: log.problem is None)
        (disk / "more").write_bytes(b"")
        with Store(disk / "takes.sqlite") as store:
            wait_until(lambda: len(store.take(1).events) == 5011)
        assert log.close()
    finally:
        subprocess.run(["umount", "-l", disk], check=True)


@pytest.fixture
def disk(tmp_path):
    """A disk of 16 MB of its own."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("mounting needs Linux and root")
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=16m", "tmpfs", disk], check=False).returncode:
        pytest.skip("mounting is not allowed here")
    yield disk
    subprocess.run(["umount", "-l", disk], check=True)


def fill(disk):
    """Leave no block free; returns what to delete."""
    ballast = disk / "ballast"
    with suppress(OSError), ballast.open("wb", buffering=0) as file:
        while True:
            file.write(bytes(4096))
    return ballast


def test_a_take_goes_on_in_the_reserve_when_the_disk_is_full(disk, make_update, monkeypatch):
    monkeypatch.setattr(writer_module, "RESERVE_EVERY_S", 0.1)
    log = LogWriter(disk / "takes.sqlite")
    log.submit(make_update(events=10))
    assert log.flush()
    assert log.problem is None
    ballast = fill(disk)
    for i in range(1, 20):
        log.submit(make_update(events=100, first=100 * i))
        assert log.flush()
    assert "goes on in the room that was kept" in log.problem.sentence
    with Store(disk / "takes.sqlite") as store:
        assert len(store.take(1).events) == 1910
    ballast.unlink()
    wait_until(lambda: log.problem is None)
    assert (disk / "takes.sqlite-reserve").stat().st_size == RESERVE_BYTES
    assert log.close()


def test_a_full_disk_is_told_by_its_name_where_sqlite_only_sees_a_failed_write(disk, make_update):
    log = LogWriter(disk / "takes.sqlite")
    assert log.flush()
    assert log.close()
    (disk / "takes.sqlite-reserve").unlink()
    ballast = fill(disk)
    log = LogWriter(disk / "takes.sqlite")
    log.submit(make_update(events=3))
    wait_until(lambda: log.problem is not None)
    assert "is full" in log.problem.sentence
    ballast.unlink()
    assert log.close()
    with Store(disk / "takes.sqlite") as store:
        assert len(store.take(1).events) == 3


def test_a_log_that_another_program_keeps_locked_is_told_and_written_later(path, make_update, monkeypatch):
    monkeypatch.setattr(writer_module, "RETRY_EVERY_S", 0.05)
    log = LogWriter(path, busy_s=0.05)
    assert log.flush()
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    log.submit(make_update(events=1))
    wait_until(lambda: log.problem is not None)
    assert "locked" in log.problem.sentence
    other.execute("ROLLBACK")
    other.close()
    wait_until(lambda: log.problem is None)
    assert log.close()
    with Store(path) as store:
        assert len(store.take(1).events) == 1


def test_a_log_deleted_in_the_middle_of_a_take_is_written_anew(path, make_update):
    log = LogWriter(path)
    log.submit(make_update(events=3))
    assert log.flush()
    for file in path.parent.glob("takes.sqlite*"):
        if "owner" not in file.name:
            file.unlink()
    log.submit(make_update(events=2, first=3, state=TakeState.CLOSED))
    assert log.close()
    with Store(path) as store:
        take = store.take(1)
        assert len(take.events) == 5
        assert take.row.state is TakeState.CLOSED


def test_a_log_damaged_in_the_middle_of_a_take_is_set_aside(path, make_update, monkeypatch):
    monkeypatch.setattr(writer_module, "RETRY_EVERY_S", 0.05)
    log = LogWriter(path)
    log.submit(make_update(events=3))
    assert log.flush()
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    damage(path)
    log.submit(make_update(events=2, first=3))
    wait_until(lambda: log.notice)
    assert "damaged" in log.notice
    assert log.close()
    with Store(path) as store:
        assert len(store.take(1).events) == 5
    assert len(list(path.parent.glob("takes-damaged-*.sqlite"))) == 1


def test_more_events_than_memory_holds_are_admitted(path, make_update, monkeypatch):
    monkeypatch.setattr(writer_module, "MAX_EVENTS_KEPT", 4)
    log = LogWriter(path)
    log.submit(make_update(events=3))
    log.submit(make_update(events=3, first=3))
    assert log.close()
    assert "2 events could not be kept" in log.notice
    with Store(path) as store:
        assert len(store.take(1).events) == 4


# Several programs, and programs that die


def test_takes_of_a_program_that_is_gone_are_marked_interrupted(path, make_update):
    with Store(path) as store, store.writing():
        save_take(store, make_update("gone"), None, "0" * 32)
    log = LogWriter(path)
    assert log.flush()
    with Store(path) as store:
        assert store.list_takes()[0].state is TakeState.INTERRUPTED
    assert log.revision > 0
    assert log.close()


def test_takes_of_a_program_that_still_runs_stay_open(path, make_update):
    running = LogWriter(path)
    running.submit(make_update("running"))
    assert running.flush()
    other = LogWriter(path)
    other.submit(make_update("other"))
    assert other.flush()
    with Store(path) as store:
        assert [row.state for row in store.list_takes()] == [TakeState.OPEN] * 2
    running.submit(make_update("running", state=TakeState.CLOSED, frames=96_000))
    assert running.close()
    assert other.close()
    with Store(path) as store:
        assert store.take(1).row.duration_s == 2.0


def test_lock_files_of_dead_programs_are_swept_and_others_are_not(path, make_update):
    running = LogWriter(path)
    assert running.flush()
    (dead := path.with_name("takes.sqlite-owner-" + "0" * 32)).touch()
    log = LogWriter(path)
    assert log.flush()
    assert not dead.exists()
    assert len(list(path.parent.glob("*-owner-*"))) == 2
    assert log.close()
    assert running.close()


PROGRAM = """
import sys, pathlib, time
from app.log.records import *
from app.log.writer import LogWriter
log = LogWriter(pathlib.Path(sys.argv[1]))
for i in range(100):
    log.submit(TakeUpdate(sys.argv[2], sys.argv[2], "", 0, 0, "player", "Player", 48000, TakeState.OPEN,
        i * 480, 0, None, (ChannelFigures(),), (TakeEvent("clip", i),)))
    time.sleep(0.005)
assert log.close(), log.problem
print(log.number(sys.argv[2]))
"""


def test_two_programs_write_to_one_log_at_once(path):
    programs = [
        subprocess.Popen([sys.executable, "-c", PROGRAM, str(path), name], stdout=subprocess.PIPE, text=True)
        for name in ("one", "two", "three")
    ]
    numbers = [int(program.communicate(timeout=60)[0]) for program in programs]
    assert sorted(numbers) == [1, 2, 3]
    with Store(path) as store:
        for number, name in zip(numbers, ("one", "two", "three"), strict=True):
            take = store.take(number)
            assert take.row.name == name
            assert [event.frame for event in take.events] == list(range(100))


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL")
def test_nothing_older_than_a_second_is_lost_when_the_program_is_killed():
    command = [sys.executable, str(KILL), "--count", "12", "--longest-s", "1.3", "--json"]
    run = subprocess.run(command, capture_output=True, text=True, check=False, timeout=100)
    results = json.loads(run.stdout)
    assert len(results) == 12
    assert sum(result["in_log"] for result in results) > 100
    assert [result for result in results if not result["ok"]] == []


def test_keeper_and_writer_together(path, reports):
    log = LogWriter(path)
    keeper = TakeKeeper(log)
    keeper.begin("Second verse", "bass")
    keeper(reports())
    wait_until(lambda: keeper.current.number == 1)
    with Store(path) as store:
        assert store.take(1).row.state is TakeState.OPEN
    keeper(reports.with_clips((500, 7, 0)))
    before = keeper.revision
    keeper.end()
    keeper.close()
    assert log.close()
    assert keeper.revision > before
    with Store(path) as store:
        take = store.take(1)
    assert (take.row.state, take.row.clips, len(take.events)) == (TakeState.CLOSED, 1, 1)
    assert take.trace.peak_dbfs.tolist() == [0.0]


def test_events_under_way_are_in_the_log_and_replaced_by_what_they_become(path, writer, make_update):
    loud = TakeEvent("over_ceiling", 100, 1, 480, -3.0, count=1, over_db=3.0)
    grown = replace(loud, frames=9_600, count=4)
    clip = TakeEvent("clip", 50, 1, 7, 0.0)
    writer.submit(make_update(events=(clip,), under_way=(loud, replace(loud, frame=200, channel=2))))
    assert writer.flush()
    with Store(path) as store:
        assert store.take(1).events == (clip, loud, replace(loud, frame=200, channel=2))
        writer.submit(make_update(under_way=(grown,)))
        assert writer.flush()
        assert store.take(1).events == (clip, grown)
        writer.submit(make_update(events=(grown,)))
        assert writer.flush()
        assert store.take(1).events == (clip, grown)
