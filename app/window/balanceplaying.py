"""Playing along: starts and stops the backing, follows the advice, and watches for it in the microphone.

No Qt in here. Everything is called on the window's thread; drivers are waited for, and streams compared, on
errands.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from app.engine.bleedwatch import BleedView, BleedWatch
from app.errors import SwellmarkError
from app.inputs.playback import Playback, Turned
from app.window.balanceports import BalanceServices
from app.window.errands import Errands

_LOOK_S = 1.0


class PlayingAlong:
    """The backing in the headphones.

    Parameters
    ----------
    services
        The rest of the program.
    errands
        Those of the window.
    failed
        Told what kept it from playing, or ended it.
    """

    def __init__(
        self, services: BalanceServices, errands: Errands, failed: Callable[[Exception], None]
    ) -> None:
        self._services = services
        self._errands = errands
        self._failed = failed
        self._playback: Playback | None = None
        self._starting = False
        self._watch: BleedWatch | None = None
        self._looking = False
        self._next_look_s = 0.0
        self._number = 0
        self.bleed: BleedView | None = None
        """What is known about the microphone; None while nothing plays."""

    @property
    def running(self) -> bool:
        """Whether it plays, or is about to."""
        return self._starting or (self._playback is not None and self._playback.playing)

    @property
    def playback(self) -> Playback | None:
        """What plays now."""
        return self._playback

    def start(self, files: Sequence[Turned], channel: int) -> None:
        """Play; the input's channel (from 0) is watched for it."""
        if self.running or not files:
            return
        self._starting = True
        self._number += 1
        number = self._number

        def done(playback: Playback) -> None:
            if number != self._number:  # stopped meanwhile
                self._end(playback)
                return
            self._starting = False
            self._playback = playback
            self._watch = BleedWatch(playback, channel)
            self.bleed = BleedView(knows=False, bleed=None)
            self._services.listen(self._watch)

        def failed(error: Exception) -> None:
            if number == self._number:
                self._starting = False
                self._failed(error)

        self._errands.run("play-along", lambda: self._services.headphones.play_along(files), done, failed)

    def stop(self) -> None:
        """Fall silent at once."""
        self._number += 1
        self._starting = False
        playback, self._playback = self._playback, None
        current = self._services.headphones.current
        if current is not None:
            current.hush()
            self._end(current)
        if playback is not None and playback is not current:
            self._end(playback)
        self._leave()

    def follow(self, pull_down_db: Sequence[int]) -> None:
        """Turn what plays to another advice."""
        playback = self._playback
        if playback is not None and len(pull_down_db) == len(playback.files):
            playback.set_pull_down(pull_down_db)

    def look(self, now_s: float) -> None:
        """See whether it still plays, and now and then whether the microphone hears it."""
        playback = self._playback
        if playback is None:
            return
        if not playback.playing:
            problem = playback.problem
            self.stop()
            if problem is not None:
                self._failed(problem)
            return
        watch = self._watch
        if watch is not None and not self._looking and now_s >= self._next_look_s:
            self._looking, self._next_look_s = True, now_s + _LOOK_S
            self._errands.run("bleed", watch.look, self._took_look, self._lost_sight)

    def shut_down(self) -> None:
        """The program ends."""
        self._number += 1
        self._leave()
        self._services.headphones.stop()

    def _took_look(self, view: BleedView) -> None:
        self._looking = False
        if self._watch is not None:
            self.bleed = view

    def _lost_sight(self, error: Exception) -> None:
        self._looking = False
        self._leave()
        if not isinstance(error, SwellmarkError):
            raise error

    def _leave(self) -> None:
        if self._watch is not None:
            self._services.leave(self._watch)
        self._watch = self.bleed = None

    def _end(self, playback: Playback) -> None:
        playback.hush()
        self._errands.run("hush", playback.stop, lambda _none: None, self._failed)
