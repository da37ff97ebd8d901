"""The database: what goes in comes out, and no trouble with the file loses a take."""

from __future__ import annotations

import math
import sqlite3
import stat
import subprocess
import sys
from contextlib import suppress
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.errors import LogError, UsageError
from app.log import schema
from app.log.records import ChannelFigures, LevelTrace, TakeEvent, TakeState, iso_started
from app.log.saving import save_events, save_take
from app.log.store import Store


def save(store, update, number=None, owner="somebody"):
    with store.writing():
        number = save_take(store, update, number, owner)
        save_events(store, number, 0, update.events)
    return number


def test_what_goes_in_comes_out(path, make_update):
    trace = LevelTrace(0.1, b"\x01\x00\x02\x00")
    with Store(path) as store:
        update = make_update(events=3, lost_frames=5, frames=72_000, trace=trace)
        number = save(store, update)
        take = store.take(number)
    assert take.row.name == "Second verse"
    assert take.row.started == "2023-11-14T23:13:20.000+01:00"
    assert take.row.duration_s == 1.5
    assert (take.row.state, take.row.verdict) == (update.state, update.verdict)
    assert (take.row.lost_frames, take.row.clips, take.row.peak_dbfs) == (5, 3, -7.25)
    assert take.per_channel == update.per_channel
    assert take.events == update.events
    assert take.trace == trace


levels = st.one_of(st.none(), st.just(-math.inf), st.floats(-200.0, 20.0))
texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=40)
events = st.builds(
    TakeEvent,
    kind=st.sampled_from(["clip", "gap", "verdict"]),
    frame=st.integers(0, 2**40),
    channel=st.none() | st.integers(1, 32),
    frames=st.none() | st.integers(1, 2**40),
    peak_dbfs=levels,
    detail=texts,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60, deadline=None)
@given(
    name=texts,
    part=texts,
    channels=st.lists(st.builds(ChannelFigures, levels, levels, levels, st.integers(0, 2**40)), max_size=4),
    happened=st.lists(events, max_size=5),
)
def test_any_take_comes_back_equal(tmp_path, make_update, name, part, channels, happened):
    update = make_update(name=name, part=part, per_channel=tuple(channels), events=tuple(happened))
    with Store(tmp_path / "any.sqlite") as store:
        with store.writing():
            number = save_take(store, update, None, "somebody")
            store.change("DELETE FROM take WHERE number = ?", number)
        take = store.take(save(store, update))
    assert (take.row.name, take.row.part) == (name, part)
    assert take.per_channel == tuple(channels)
    assert sorted(take.events, key=repr) == sorted(happened, key=repr)


def test_the_newest_take_comes_first_a_page_at_a_time(path, make_update):
    with Store(path) as store:
        for i in range(5):
            save(store, make_update(uid=str(i)))
        assert store.count() == 5
        assert [row.number for row in store.list_takes(limit=2)] == [5, 4]
        assert [row.number for row in store.list_takes(limit=9, offset=3)] == [2, 1]


def test_events_are_in_the_order_of_their_place(path, make_update):
    happened = (TakeEvent("clip", 500), TakeEvent("clip", 100), TakeEvent("gap", 300))
    with Store(path) as store:
        take = store.take(save(store, make_update(events=happened)))
    assert [event.frame for event in take.events] == [100, 300, 500]


def test_a_number_is_never_used_again(path, make_update):
    with Store(path) as store:
        save(store, make_update("one"))
        last = save(store, make_update("two"))
        with store.writing():
            store.change("DELETE FROM take WHERE number = ?", last)
    with Store(path) as store:
        assert save(store, make_update("three")) == last + 1


def test_writing_a_take_twice_changes_nothing(path, make_update):
    update = make_update(events=2)
    with Store(path) as store:
        number = save(store, update)
        assert save(store, update, number) == number
        assert store.count() == 1
        assert store.take(number).events == update.events


def test_a_take_that_is_not_there(path):
    with Store(path) as store, pytest.raises(UsageError, match="no take 7"):
        store.take(7)


def test_nothing_is_written_when_something_fails(path, make_update):
    with Store(path) as store:
        with suppress(ZeroDivisionError), store.writing():
            assert save_take(store, make_update(), None, "somebody") == 1
            raise ZeroDivisionError
        assert store.count() == 0


@pytest.mark.skipif(sys.platform == "win32", reason="Windows keeps rights in access lists")
def test_the_log_is_for_its_owner_alone(path, make_update):
    with Store(path) as store:
        save(store, make_update())
        files = list(path.parent.iterdir())
        assert {file.name for file in files} >= {"takes.sqlite", "takes.sqlite-wal"}
        assert {stat.S_IMODE(file.stat().st_mode) for file in files} == {0o600}


def test_commits_are_on_the_disk(path):
    with Store(path) as store:
        assert store.rows("PRAGMA synchronous") == [(2,)]
        assert store.rows("PRAGMA journal_mode") == [("wal",)]
        assert store.rows("PRAGMA foreign_keys") == [(1,)]


# Migrations


def dump_shape(connection):
    sql = "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY name"
    columns = {
        name: connection.execute(f"PRAGMA table_xinfo({name})").fetchall()
        for kind, name, _ in connection.execute(sql)
        if kind == "table"
    }
    return columns, [name for _, name, _ in connection.execute(sql)]


@pytest.mark.parametrize("version", range(1, len(schema.MIGRATIONS) + 1))
def test_a_log_of_every_version_becomes_the_newest_with_its_takes(tmp_path, version):
    old, fresh = tmp_path / "old.sqlite", tmp_path / "fresh.sqlite"
    connection = sqlite3.connect(old)
    for statement in schema.MIGRATIONS[0]:
        connection.execute(statement)
    connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {version}")
    # Written by version 1, and migrated as far as ``version`` before the newest program sees it.
    connection.execute(
        "INSERT INTO take (number, uid, owner, name, part, started_us, utc_offset_s, input_spec, input_name,"
        " rate_hz, state, frames, lost_frames, verdict, clips, peak_dbfs)"
        " VALUES (7, 'u', 'o', 'Old song', 'voice', 0, 0, 'player', 'Player', 48000, 'closed', 96000, 1,"
        " 'awash', 1, -0.5)"
    )
    connection.execute("INSERT INTO channel VALUES (7, 0, -0.5, -10.0, NULL, 1)")
    connection.execute("INSERT INTO event VALUES (7, 0, 'clip', 480, 1, 5, 0.0, '')")
    connection.execute("INSERT INTO trace VALUES (7, 0.1, x'01000200')")
    for statements in schema.MIGRATIONS[1:version]:
        for statement in statements:
            connection.execute(statement)
    connection.commit()
    connection.close()
    with Store(old) as store:
        take = store.take(7)
        assert (take.row.name, take.row.duration_s, take.row.verdict) == ("Old song", 2.0, "awash")
        assert take.per_channel == (ChannelFigures(-0.5, -10.0, None, 1),)
        assert take.events == (TakeEvent("clip", 480, 1, 5, 0.0),)
        assert take.trace.points == b"\x01\x00\x02\x00"
        assert store.notice == ""
        assert take.row.session == 1
        assert [session.takes for session in store.sessions()] == [1]
        with Store(fresh) as other:
            assert dump_shape(store._connection) == dump_shape(other._connection)


def test_the_first_migration_is_what_was_released():
    # Editing a released migration splits the world into two kinds of version 1.
    connection = sqlite3.connect(":memory:")
    for statement in schema.MIGRATIONS[0]:
        connection.execute(statement)
    columns = [row[1] for row in connection.execute("PRAGMA table_info(take)")]
    connection.close()
    assert columns == [
        "number", "uid", "owner", "name", "part", "started_us", "utc_offset_s", "input_spec", "input_name",
        "rate_hz", "state", "frames", "lost_frames", "verdict", "clips", "peak_dbfs",
    ]  # fmt: skip


def test_a_log_of_a_newer_version_is_left_alone(path):
    with Store(path):
        pass
    connection = sqlite3.connect(path)
    connection.execute(f"PRAGMA user_version = {len(schema.MIGRATIONS) + 1}")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(LogError, match="newer"):
        Store(path)
    assert path.read_bytes() == before


def test_a_foreign_database_is_left_alone(path):
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE bookmark (url TEXT)")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(LogError, match="not a take log"):
        Store(path)
    assert path.read_bytes() == before


def test_a_folder_that_cannot_be_written_gives_a_sentence(tmp_path):
    with pytest.raises(LogError, match="cannot be read") as raised:
        Store(tmp_path / "no such folder" / "takes.sqlite")
    assert "FileNotFoundError" in raised.value.detail


LOCK_TEST = """
import fcntl, sys
with open(sys.argv[1], "r+b") as file:
    try:
        fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB, 510, 0x40000002)
    except OSError:
        print("locked")
    else:
        print("free")
"""
"""Asks for the bytes on which every SQLite connection in WAL mode holds a shared lock (its file format)."""


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX locks")
def test_opening_a_log_twice_drops_no_lock(path, make_update):
    # POSIX locks belong to the process: to open and close the file itself would drop SQLite's.
    with Store(path) as store:
        save(store, make_update())
        Store(path).close()
        run = subprocess.run(
            [sys.executable, "-c", LOCK_TEST, path], capture_output=True, text=True, check=True
        )
        assert run.stdout == "locked\n"


def test_a_reader_follows_a_log_that_was_set_aside(path, make_update):
    with Store(path) as reader:
        save(reader, make_update())
        assert reader.count() == 1
        path.rename(path.with_name("aside.sqlite"))
        for end in ("-wal", "-shm"):
            path.with_name(path.name + end).unlink()
        assert reader.count() == 0


def test_several_programs_may_read_while_one_writes(path, make_update):
    with Store(path, busy_s=0.0) as writing, Store(path, busy_s=0.0) as reading:
        number = save(writing, make_update())
        with writing.writing():
            save_take(writing, make_update(state=TakeState.CLOSED), number, "somebody")
            assert reading.take(number).row.state is TakeState.OPEN
        assert reading.take(number).row.state is TakeState.CLOSED


def test_a_number_that_another_take_has_is_not_taken_from_it(path, make_update):
    # A log that was replaced in the middle of a take may hold a take of that number already.
    with Store(path) as store:
        assert save(store, make_update("theirs")) == 1
        assert save(store, make_update("ours"), number=1) == 2
        assert save(store, make_update("ours too"), number=9) == 9
        assert store.count() == 3


@given(
    st.integers(-10_000_000_000_000_000, 100_000_000_000_000_000),
    st.integers(-14 * 60, 14 * 60).map(lambda minutes: 60 * minutes),
)
def test_a_moment_is_written_as_the_standard_library_would(started_us, utc_offset_s):
    zone = timezone(timedelta(seconds=utc_offset_s))
    moment = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=started_us)).astimezone(zone)
    assert iso_started(started_us, utc_offset_s) == moment.isoformat(timespec="milliseconds")
