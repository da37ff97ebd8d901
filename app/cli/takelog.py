"""The takes that ``swellmark watch`` logs: one from its first hop on, or one each time somebody plays."""

from __future__ import annotations

from collections.abc import Sequence
from types import TracebackType

import click

from app.cli import terminal
from app.cli.options import take_coach
from app.coach.judgement import Verdict
from app.coach.makers import Parts, Targets
from app.engine.evidence import EvidenceTaker
from app.engine.handsfree import HandsFree, Phase, Wishes
from app.engine.loop import EndWatcher, Engine, Observer
from app.errors import LogError
from app.log.evidence import evidence_folder
from app.log.keeper import TakeKeeper
from app.log.store import Store
from app.log.writer import LogWriter
from app.words import cli as words
from app.words import taking as taking_words


class TakeLog:
    """Takes in the user's log. The log closes with the ``with`` block.

    Parameters
    ----------
    name, parts, targets
        What each take is called, what is played, and where it should sit.
    wishes
        How takes begin and end by themselves. Unless they begin so, one begins with the first hop.
    keep_clips
        Keep the sound around clips.
    """

    def __init__(
        self,
        name: str,
        parts: Parts,
        targets: Targets = Targets(),  # noqa: B008 - frozen
        wishes: Wishes = Wishes(),  # noqa: B008 - frozen
        *,
        keep_clips: bool = False,
    ) -> None:
        self._name = name
        self._parts, self._targets = parts, targets
        self._writer = LogWriter()
        self._engine: Engine | None = None
        self._told: str | None = None
        self._phase = Phase.OFF
        self._evidence = EvidenceTaker(self._writer.keep, on=keep_clips)
        self._keeper = TakeKeeper(self._writer, self._evidence)
        self._handsfree = HandsFree(
            self._keeper, takes=lambda: self._keeper.takes, begin=self._begin, end=self._end
        )
        self._handsfree.wish(wishes)
        self.observers: Sequence[Observer] = (self._handsfree,)
        """For the engine, before anything that may wait."""
        self.end_watchers: Sequence[EndWatcher] = (
            self._handsfree.input_gone,
            self._keeper.input_gone,
            self._evidence.input_gone,
        )
        if not wishes.on_sound:
            self._begin()

    def attach(self, engine: Engine) -> None:
        """Listen to the sound, and let this engine know when takes run. Before its input opens."""
        self._engine = engine
        engine.add_listener(self._evidence)

    @property
    def runs(self) -> bool:
        """Whether a take runs, or begins with the next hop."""
        return self._keeper.takes

    def __enter__(self) -> TakeLog:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        self._writer.close()

    def end(self) -> None:
        """End the take that runs, because the watch does. Before the engine stops."""
        self._keeper.end()

    def tell(self, *, quiet: bool) -> None:
        """Say what is new: unless ``quiet`` that it waits or begins; trouble with the log once, on stderr.

        The watch goes on whatever it is.
        """
        problem = self._writer.problem
        sentence = None if problem is None else problem.sentence
        if sentence not in (None, self._told):
            terminal.complain(str(sentence))
        self._told = sentence or self._told
        phase = self._handsfree.state.phase
        if phase is Phase.QUIET:
            phase = Phase.TAKING
        if phase is self._phase or not self._handsfree.wishes.on_sound:
            return
        self._phase = phase
        if not quiet:
            click.echo(taking_words.waiting() if phase is Phase.WAITING else taking_words.take_begins())

    def finish(self, *, quiet: bool) -> bool:
        """Write the rest, after the takes have ended, and say where they are.

        Returns
        -------
        Whether any take shows something to act on.

        Raises
        ------
        app.errors.LogError
            When a take could not be written.
        """
        complete = self._writer.close()
        self.tell(quiet=True)
        if not complete:
            raise LogError(words.log_not_written(str(self._writer.path)))
        if self._writer.notice:
            terminal.complain(self._writer.notice)
        numbers = [number for uid in self._keeper.begun if (number := self._writer.number(uid)) is not None]
        with Store(self._writer.path) as store:
            takes = store.takes_of(numbers)
        if not quiet:
            for take in takes:
                click.echo(words.take_logged(take.number, take.clips))
            if not takes and self._handsfree.wishes.on_sound:
                click.echo(taking_words.no_take_begun())
            if self._evidence.on and any(take.clips for take in takes):
                click.echo(taking_words.keeping_clips(str(evidence_folder(self._writer.path))))
        return any(take.verdict is not Verdict.FAIR_WATER for take in takes)

    def _begin(self) -> None:
        self._keeper.begin(
            self._name, self._parts.default.key, make_coach=take_coach(self._parts, self._targets)
        )
        if self._engine is not None:
            self._engine.set_taking(True)

    def _end(self) -> None:
        self._keeper.end()
        if self._engine is not None:
            self._engine.set_taking(False)
