"""What a person changes afterwards: names, notes, marks, sessions, deletion and its undoing."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta

import pytest

from app.errors import UsageError
from app.log import edit, schema
from app.log.bars import Metre
from app.log.records import TakeState
from app.log.saving import save_take
from app.log.store import Store
from app.log.writer import LogWriter

HOUR_US = 3600 * 1_000_000
START_US = 1_700_000_000_000_000


@pytest.fixture
def store(path, make_update):
    """Three takes in two sessions: two an hour apart, and one on the next evening."""
    with Store(path) as store:
        with store.writing():
            for i, hours in enumerate((0, 1, 24)):
                update = make_update(
                    str(i),
                    name=("Second verse", "Chorus", "Größe und Straße")[i],
                    state=TakeState.CLOSED,
                    started_us=START_US + hours * HOUR_US,
                )
                save_take(store, update, None, "nobody")
        yield store


def run(store, change):
    with store.writing():
        change(store)


def numbers(rows):
    return [row.number for row in rows]


@pytest.mark.parametrize(
    ("change", "field", "value"),
    [
        (edit.rename(2, "New name"), "name", "New name"),
        (edit.set_part(2, "voice"), "part", "voice"),
        (edit.set_notes(2, "flat in bar 9\nbut warm"), "notes", "flat in bar 9\nbut warm"),
        (edit.mark(2, True), "kept", True),
        (edit.move([2], 2), "session", 2),
        (edit.set_metre(2, Metre(97.5, 3, 2.0)), "metre", Metre(97.5, 3, 2.0)),
    ],
)
def test_a_change_changes_one_take(store, change, field, value):
    before = store.list_takes()
    run(store, change)
    assert getattr(store.take(2).row, field) == value
    assert [row for row in store.list_takes() if row.number != 2] == [
        row for row in before if row.number != 2
    ]


def test_a_mark_can_be_taken_away(store):
    run(store, edit.mark(2, True))
    assert numbers(store.list_takes(kept_only=True)) == [2]
    run(store, edit.mark(2, False))
    assert store.list_takes(kept_only=True) == []


def test_a_metre_given_at_the_beginning_can_be_taken_away(store, make_update):
    with store.writing():
        number = save_take(store, make_update("counted", metre=Metre(120.0, 4)), None, "me")
    assert store.take(number).row.metre == Metre(120.0, 4)
    run(store, edit.set_metre(number, None))
    assert store.take(number).row.metre is None


def test_a_take_that_is_not_there_cannot_be_changed(store):
    with pytest.raises(UsageError, match="no take 9"):
        run(store, edit.rename(9, "x"))


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("verse", [1]),
        ("VERSE second", [1]),
        ("verse chorus", []),
        ("GRÖSSE", [3]),
        ("straße", [3]),
        ("%", []),
        ("player", [3, 2, 1]),
        ("", [3, 2, 1]),
    ],
)
def test_search_finds_all_words_whatever_their_case(store, words, found):
    assert numbers(store.list_takes(search=words)) == found


def test_search_looks_at_notes_and_sessions(store):
    run(store, edit.set_notes(2, "buzz on the low string"))
    run(store, edit.rename_session(2, "Rehearsal in May"))
    assert numbers(store.list_takes(search="buzz")) == [2]
    assert numbers(store.list_takes(search="rehearsal")) == [3]


def test_a_deleted_take_is_gone_from_everywhere_and_comes_back(store):
    run(store, edit.delete([1, 3]))
    assert numbers(store.list_takes()) == [2]
    assert store.count() == 1
    assert [session.number for session in store.sessions()] == [1]
    with pytest.raises(UsageError):
        store.take(1)
    with pytest.raises(UsageError):
        run(store, edit.rename(1, "x"))
    run(store, edit.restore([1, 3]))
    assert numbers(store.list_takes()) == [3, 2, 1]


def test_a_take_that_runs_cannot_be_deleted(store, make_update):
    with store.writing():
        number = save_take(store, make_update("runs"), None, "somebody")
    run(store, edit.delete([number]))
    assert number in numbers(store.list_takes())


def test_what_was_deleted_long_ago_is_purged_with_its_events(store, make_update):
    now = datetime.now(UTC)
    run(store, edit.delete([1], now - timedelta(days=edit.KEEP_DELETED_DAYS + 1)))
    run(store, edit.delete([2], now - timedelta(days=edit.KEEP_DELETED_DAYS - 1)))
    run(store, edit.purge(now))
    run(store, edit.restore([1, 2]))
    assert numbers(store.list_takes()) == [3, 2]
    assert store.rows("SELECT count(*) FROM channel WHERE take = 1") == [(0,)]


# Sessions


def test_takes_of_one_evening_are_one_session(store):
    assert [(row.number, row.session) for row in store.list_takes()] == [(3, 2), (2, 1), (1, 1)]
    assert [(session.number, session.takes) for session in store.sessions()] == [(2, 1), (1, 2)]
    assert numbers(store.list_takes(session=1)) == [2, 1]


def test_a_session_can_be_begun_by_hand(store, make_update):
    moment = datetime.fromtimestamp(START_US / 1e6, UTC) + timedelta(hours=24, minutes=10)
    run(store, edit.begin_session("Second song", moment))
    with store.writing():
        update = make_update("new", started_us=START_US + 25 * HOUR_US)
        number = save_take(store, update, None, "nobody")
    assert store.take(number).row.session == 3
    assert store.sessions()[0].name == "Second song"


def test_takes_move_to_a_session_of_their_own_and_back(store):
    run(store, edit.delete([3]))
    moved = {}
    run(store, edit.move([2, 3, 99], None, moved))
    assert moved == {2: 1}, "what is deleted or was never there stays out"
    assert store.take(2).row.session == 3
    assert [(each.number, each.takes) for each in store.sessions()] == [(3, 1), (1, 1)]
    assert store.sessions()[0].started == store.take(2).row.started
    run(store, edit.move([99], None))
    assert len(store.rows("SELECT number FROM session")) == 3, "no session without takes"
    run(store, edit.move_back(moved))
    assert store.take(2).row.session == 1


def test_a_clock_that_jumps_back_a_little_ends_no_session(store, make_update):
    with store.writing():
        number = save_take(store, make_update("x", started_us=START_US + 23 * HOUR_US), None, "nobody")
    assert store.take(number).row.session == 2


def test_a_take_keeps_its_session_and_its_new_name_while_it_runs(store, make_update):
    with store.writing():
        number = save_take(store, make_update("runs", started_us=START_US + 24 * HOUR_US), None, "me")
    run(store, edit.rename(number, "Renamed meanwhile"))
    run(store, edit.move([number], 1))
    with store.writing():
        closed = make_update("runs", started_us=START_US + 24 * HOUR_US, state=TakeState.CLOSED)
        save_take(store, closed, number, "me")
    row = store.take(number).row
    assert (row.name, row.session, row.state) == ("Renamed meanwhile", 1, TakeState.CLOSED)


def test_takes_of_version_1_are_grouped_into_sessions(path):
    connection = sqlite3.connect(path)
    for statement in schema.MIGRATIONS[0]:
        connection.execute(statement)
    connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    connection.execute("PRAGMA user_version = 1")
    for number, hours in ((2, 0), (3, 1), (5, 5), (6, 12), (7, 11), (9, 100)):
        connection.execute(
            "INSERT INTO take (number, uid, owner, name, part, started_us, utc_offset_s, input_spec,"
            " input_name, rate_hz, state, frames, lost_frames, verdict, clips, peak_dbfs)"
            " VALUES (?, ?, '', '', '', ?, 0, '', '', 48000, 'closed', 48000, 0, NULL, 0, NULL)",
            (number, str(number), START_US + hours * HOUR_US),
        )
    connection.commit()
    connection.close()
    with Store(path) as store:
        grouped = [(row.number, row.session) for row in reversed(store.list_takes())]
        assert grouped == [(2, 1), (3, 1), (5, 1), (6, 2), (7, 2), (9, 3)]
        assert [session.takes for session in store.sessions()] == [1, 2, 3]


# Through the writer


def test_the_writer_runs_edits_in_order_after_what_it_was_given(path, make_update):
    log = LogWriter(path)
    log.submit(make_update(state=TakeState.CLOSED))
    log.edit(edit.rename(1, "one"))
    log.edit(edit.rename(1, "two"))
    before = log.revision
    assert log.flush()
    assert log.revision > before
    with Store(path) as store:
        assert store.take(1).row.name == "two"
    assert log.close()


def test_an_edit_that_makes_no_sense_is_told_and_does_not_stop_the_writer(path, make_update):
    log = LogWriter(path)
    log.edit(edit.rename(5, "nobody"))
    log.submit(make_update())
    assert log.flush()
    assert "no take 5" in log.notice
    assert log.problem is None
    assert log.close()


def test_an_edit_that_breaks_is_dropped_and_told(path, make_update, monkeypatch):
    monkeypatch.setattr("app.log.writer.RETRY_EVERY_S", 0.02)
    log = LogWriter(path)
    asked = []

    def broken(store):
        asked.append(store)
        raise ZeroDivisionError("broken")

    log.edit(broken)
    log.submit(make_update())
    assert log.flush()
    assert log.number("one") == 1
    assert len(asked) == 1
    assert "fault in the program" in log.notice
    assert log.problem is None
    assert log.close()
