"""Reads the take log for its page, off the window's thread, and no more than is looked at."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from app.log.records import SessionRow, TakeDetail, TakeRow
from app.window.errands import Errands
from app.window.takeports import Book


@dataclass(frozen=True, slots=True)
class Query:
    """Which takes are listed."""

    search: str = ""
    session: int | None = None
    kept_only: bool = False


@dataclass(frozen=True, slots=True)
class Listing:
    """What a query found."""

    query: Query
    numbers: Sequence[int]
    sessions: Sequence[SessionRow]


class LogReader:
    """Keeps a listing fresh. Everything is called on the window's thread but the reading itself.

    Parameters
    ----------
    book, errands, failed
        The log, where to read it, and who is told when that fails.
    show_listing, show_rows, show_take
        Called with what was read.
    """

    def __init__(
        self,
        book: Book,
        errands: Errands,
        failed: Callable[[Exception], None],
        *,
        show_listing: Callable[[Listing], None],
        show_rows: Callable[[Sequence[TakeRow]], None],
        show_take: Callable[[TakeDetail], None],
    ) -> None:
        self._book, self._errands, self._failed = book, errands, failed
        self._show_listing, self._show_rows, self._show_take = show_listing, show_rows, show_take
        self._listed: tuple[int, Query] | None = None
        self._busy: set[str] = set()
        self._read_take: tuple[int, int] | None = None

    def look(self, query: Query) -> None:
        """Read the list again where the query or the log has changed."""
        now = (self._book.revision, query)
        if now == self._listed:
            return

        def work() -> Listing:
            return Listing(
                query,
                self._book.numbers(search=query.search, session=query.session, kept_only=query.kept_only),
                self._book.sessions(),
            )

        if self._run("list", work, self._show_listing):
            self._listed = now

    def read_rows(self, numbers: Sequence[int]) -> bool:
        """Read these takes' rows; False while others are being read."""
        return self._run("rows", lambda: self._book.takes_of(numbers), self._show_rows)

    def want_take(self, number: int | None) -> None:
        """Read everything about a take, now and whenever the log has changed."""
        wanted = None if number is None else (self._book.revision, number)
        if wanted is None or wanted == self._read_take:
            return
        if self._run("take", lambda: self._book.take(wanted[1]), self._show_take):
            self._read_take = wanted

    def forget_take(self) -> None:
        """Read the take anew when it is wanted next."""
        self._read_take = None

    def _run(self, name: str, work: Callable[[], object], then: Callable[..., None]) -> bool:
        """Do one thing of a kind at a time."""
        if name in self._busy:
            return False
        self._busy.add(name)

        def done(result: object) -> None:
            self._busy.discard(name)
            then(result)

        def failed(error: Exception) -> None:
            self._busy.discard(name)
            self._failed(error)

        self._errands.run(f"log-{name}", work, done, failed)
        return True
