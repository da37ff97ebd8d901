"""A damaged log is set aside, and what can be read of it is not lost."""

from __future__ import annotations

import random
import shutil
import sqlite3

import pytest

from app.errors import LogError
from app.log.damage import set_aside
from app.log.saving import save_events, save_take
from app.log.store import Store
from app.log.writer import LogWriter


@pytest.fixture
def filled(path, make_update):
    """A log of 300 takes with 10 events each, wholly in one file."""
    with Store(path) as store, store.writing():
        for i in range(300):
            number = save_take(store, make_update(str(i), name=f"take {i}"), None, "nobody")
            save_events(store, number, 0, make_update(events=10).events)
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return path


def asides(path):
    return sorted(file.name for file in path.parent.glob("takes-damaged-*"))


@pytest.mark.parametrize("content", [b"this is no database, whatever its name says. " * 50, b"\0" * 8192])
def test_what_is_no_database_is_set_aside(path, content):
    path.write_bytes(content)
    with Store(path) as store:
        assert store.count() == 0
        assert "damaged" in store.notice
        assert "0 takes were recovered" in store.notice
    (aside,) = asides(path)
    assert (path.parent / aside).read_bytes() == content
    with Store(path) as store:
        assert store.notice == ""


def test_an_empty_file_is_a_new_log(path):
    path.touch()
    with Store(path) as store:
        assert (store.count(), store.notice) == (0, "")


def test_a_header_that_was_overwritten(filled):
    with filled.open("r+b") as file:
        file.write(b"\xff" * 100)
    with Store(filled) as store:
        assert "damaged" in store.notice
    assert len(asides(filled)) == 1


@pytest.mark.parametrize("seed", range(4))
def test_most_takes_are_recovered_from_a_file_with_broken_pages(filled, seed):
    content = bytearray(filled.read_bytes())
    pages = len(content) // 4096
    chance = random.Random(seed)
    for page in chance.sample(range(10, pages), 2):
        content[page * 4096 : page * 4096 + 200] = chance.randbytes(200)
    filled.write_bytes(content)
    notice = set_aside(filled, busy_s=1.0)
    assert "damaged" in notice
    with Store(filled) as store:
        rows = store.list_takes(limit=1000)
        assert f"{len(rows)} takes were recovered" in notice
        assert len(rows) >= 100
        for row in rows:
            assert row.name == f"take {row.number - 1}"
            assert len(store.take(row.number).events) <= 10
        # Numbers go on after the highest that was recovered.
        assert store.rows("PRAGMA foreign_key_check") == []


def test_numbers_go_on_where_the_damaged_log_ended(filled, make_update):
    content = bytearray(filled.read_bytes())
    content[-4096:-3896] = b"\xff" * 200
    filled.write_bytes(content)
    assert set_aside(filled, busy_s=1.0)
    with Store(filled) as store, store.writing():
        assert save_take(store, make_update("new"), None, "nobody") == 301


def test_a_sound_log_is_not_set_aside(filled):
    assert set_aside(filled, busy_s=1.0) == ""
    assert asides(filled) == []


def test_damage_found_while_reading_is_mended_at_once(filled):
    content = bytearray(filled.read_bytes())
    last_take = content.rindex(b"take 299") // 4096 * 4096
    content[last_take : last_take + 64] = b"\xff" * 64
    filled.write_bytes(content)
    with Store(filled) as store:
        assert store.notice == ""
        rows = store.list_takes(limit=1000)
        assert 100 < len(rows) < 300
        assert f"{len(rows)} takes were recovered" in store.notice


def test_damage_that_cannot_be_mended_gives_a_sentence(filled, monkeypatch):
    def refuse(path, *, busy_s):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("app.log.store.set_aside", refuse)
    filled.write_bytes(b"no database " * 100)
    with pytest.raises(LogError, match=r"cannot be read.*Permission denied"):
        Store(filled)


def test_two_damaged_logs_have_two_names(path):
    for _ in range(2):
        path.write_bytes(b"no database " * 100)
        Store(path).close()
    assert len(asides(path)) == 2
    shutil.rmtree(path.parent)


def test_the_writer_looks_for_damage_before_anybody_meets_it(filled):
    content = bytearray(filled.read_bytes())
    last_take = content.rindex(b"take 299") // 4096 * 4096
    content[last_take : last_take + 64] = b"\xff" * 64
    filled.write_bytes(content)
    log = LogWriter(filled)
    assert log.flush()
    assert "was damaged" in log.notice
    assert log.problem is None
    assert log.close()
    with Store(filled) as store:
        assert store.notice == ""
        assert store.count() > 100
