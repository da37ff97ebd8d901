"""The log as a window uses it: changes return at once, the writer makes them, reading shows them."""

from __future__ import annotations

import pytest

from app.errors import UsageError
from app.log.bars import Metre
from app.log.book import TakeBook
from app.log.records import TakeState


@pytest.fixture
def book(writer, make_update):
    for uid, name in (("one", "First verse"), ("two", "Second verse"), ("three", "Bridge")):
        writer.submit(make_update(uid, 1, name=name, state=TakeState.CLOSED, final=True))
    assert writer.flush()
    return TakeBook(writer)


def names(book, **narrowed):
    return [row.name for row in book.takes(**narrowed)]


def test_every_change_shows_when_it_is_read_again(book, writer):
    before = book.revision
    book.rename(1, "Intro")
    book.set_part(1, "voice")
    book.set_notes(1, "the good one")
    book.mark(1, True)
    book.set_metre(1, Metre(120.0, 4, 0.0))
    assert writer.flush()
    row = book.take(1).row
    assert (row.name, row.part, row.notes, row.kept) == ("Intro", "voice", "the good one", True)
    assert row.metre == Metre(120.0, 4, 0.0)
    assert book.revision > before


def test_pages_and_counts_are_narrowed_alike(book, writer):
    book.mark(2, True)
    assert writer.flush()
    assert names(book, limit=1, offset=1) == ["Second verse"]
    assert names(book, search="VERSE") == ["Second verse", "First verse"]
    assert book.count(search="VERSE") == 2
    assert names(book, kept_only=True) == ["Second verse"]
    assert book.count(kept_only=True) == 1
    assert book.count() == 3
    assert book.numbers(search="VERSE") == [2, 1]
    assert [row.number for row in book.takes_of([3, 99, 1])] == [3, 1]
    assert book.takes_of(book.numbers()) == book.takes(limit=-1)
    assert book.takes_of([]) == []


def test_what_is_deleted_can_be_seen_and_brought_back(book, writer):
    book.delete([1, 3])
    assert writer.flush()
    assert names(book) == ["Second verse"]
    assert [row.name for row in book.deleted()] == ["Bridge", "First verse"]
    with pytest.raises(UsageError):
        book.take(1)
    book.restore([1, 3])
    assert writer.flush()
    assert book.count() == 3
    assert book.deleted() == []


def test_takes_move_between_sessions(book, writer, make_update):
    book.begin_session("Evening")
    writer.submit(
        make_update("four", name="Coda", state=TakeState.CLOSED, final=True, started_us=2_000_000_000_000_000)
    )
    assert writer.flush()
    new, old = book.sessions()
    moved = book.move([1, 2], new.number)
    book.rename_session(new.number, "Night")
    assert writer.flush()
    assert [(s.name, s.takes) for s in book.sessions()] == [("Night", 3), ("", 1)]
    assert names(book, session=old.number) == ["Bridge"]
    book.move_back(moved)
    assert writer.flush()
    assert [(s.name, s.takes) for s in book.sessions()] == [("Night", 1), ("", 3)]


def test_a_change_that_makes_no_sense_is_told(book, writer):
    book.rename(99, "Nobody")
    assert writer.flush()
    assert "99" in book.notice
    assert book.problem is None
