"""The take that ``swellmark watch --take`` logs."""

from __future__ import annotations

from types import TracebackType

import click

from app.cli import terminal
from app.cli.options import take_coach
from app.coach.judgement import Verdict
from app.coach.parts import PartProfile
from app.engine.snapshot import HopReport
from app.errors import LogError
from app.log.keeper import TakeKeeper
from app.log.store import Store
from app.log.writer import LogWriter
from app.words import cli as words


class TakeLog:
    """One take in the user's log, from its first hop on. The log closes with the ``with`` block.

    Parameters
    ----------
    name, profile
        What the take is called, and what is played.
    """

    def __init__(self, name: str, profile: PartProfile) -> None:
        self._writer = LogWriter()
        self._told: str | None = None
        self._began = False
        self.keeper = TakeKeeper(self._writer)
        self.keeper.begin(name, profile.key, make_coach=take_coach(profile))

    def __call__(self, report: HopReport) -> None:
        """Take in the newest hops; an observer of the engine."""
        self._began = True
        self.keeper(report)

    def __enter__(self) -> TakeLog:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        self._writer.close()

    def tell_trouble(self) -> None:
        """Say once, on stderr, why the log cannot be written just now; the watch goes on."""
        problem = self._writer.problem
        sentence = None if problem is None else problem.sentence
        if sentence not in (None, self._told):
            terminal.complain(str(sentence))
        self._told = sentence or self._told

    def finish(self, *, quiet: bool) -> bool:
        """Write the rest, after the take has ended, and say where it is.

        Returns
        -------
        Whether the take shows something to act on.

        Raises
        ------
        app.errors.LogError
            When the take could not be written.
        """
        complete = self._writer.close()
        self.tell_trouble()
        if not complete:
            raise LogError(words.log_not_written(str(self._writer.path)))
        if self._writer.notice:
            terminal.complain(self._writer.notice)
        if not self._began:
            return False
        with Store(self._writer.path) as store:
            take = store.list_takes(limit=1)[0]
        if not quiet:
            click.echo(words.take_logged(take.number, take.clips))
        return take.verdict is not Verdict.FAIR_WATER
