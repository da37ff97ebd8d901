"""Hearing a place of a take, where the sound around it was kept."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from app.inputs.playback import Headphones, Playback
from app.log.records import TakeDetail, TakeEvent
from app.window.errands import Errands
from app.window.takecard import TakeCard


class ClipListening:
    """Plays what the card of a take has chosen.

    Parameters
    ----------
    card
        Chooses, and shows whether something plays.
    evidence_of
        Where the sound around an event lies, if it was kept.
    headphones, errands, failed
        Who plays, waits for the driver, and is told when it cannot be done.
    """

    def __init__(
        self,
        card: TakeCard,
        evidence_of: Callable[[TakeDetail, TakeEvent], Path | None],
        headphones: Headphones,
        errands: Errands,
        failed: Callable[[Exception], None],
    ) -> None:
        self._card, self._evidence_of = card, evidence_of
        self._headphones, self._errands, self._failed = headphones, errands, failed
        self._path: Path | None = None
        self._playback: Playback | None = None
        card.place_chosen.connect(self._offer)
        card.play_wanted.connect(self.toggle)

    @property
    def playing(self) -> bool:
        """Whether something sounds."""
        return self._playback is not None

    def toggle(self) -> None:
        """Play the chosen place, or fall silent."""
        if self._playback is not None:
            self.hush()
        elif self._path is not None:
            path = self._path
            self._errands.run("play-clip", lambda: self._headphones.play(path), self._began, self._failed)

    def look(self) -> None:
        """Notice that it is over."""
        if self._playback is not None and not self._playback.playing:
            problem = self._playback.problem
            self.hush()
            if problem is not None:
                self._failed(problem)

    def hush(self) -> None:
        """Fall silent at once."""
        playback, self._playback = self._playback, None
        if playback is not None:
            playback.hush()
            self._errands.run("hush-clip", playback.stop, lambda _nothing: None, self._failed)
            self._card.offer_sound(self._path, playing=False)

    def _offer(self, event: TakeEvent | None) -> None:
        take = self._card.take
        self._path = None if take is None or event is None else self._evidence_of(take, event)
        self._card.offer_sound(self._path, playing=self.playing)

    def _began(self, playback: Playback) -> None:
        self._playback = playback
        self._card.offer_sound(self._path, playing=True)
