"""The analysis thread: pulls hops from an input, runs the chain and the coach, publishes what it finds.

Threads: one analysis thread reads the source and owns chain, coach and history. Everybody else talks to it
through a command queue and reads :attr:`Engine.snapshot`, one reference that is swapped whole, so that no
lock is needed and nobody can make it wait. Observers are called on the analysis thread with every hop;
they must return within microseconds.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable, Sequence
from typing import TypeAlias

from app.coach.makers import CoachMaker
from app.engine.history import History
from app.engine.listening import Listening, SessionMaker
from app.engine.snapshot import HopReport, InputState, Snapshot
from app.engine.stride import Stride
from app.errors import SwellmarkError
from app.inputs.source import Block, Source, SourceInfo
from app.words import engine as words

Observer: TypeAlias = Callable[[HopReport], None]
EndWatcher: TypeAlias = Callable[[bool], None]
"""Told that an input is over: True where its file ended, False where it was left or lost."""

Listener: TypeAlias = Callable[[SourceInfo, Block], None]
"""Handed every block as it came from the input, before it is measured; the samples are not to be changed."""

_READ_S = 0.05
_READ_LATE_S = 0.02
"""How much longer than its hops last a read may take: drivers deliver in lumps."""
_LOOK_BEHIND_HOPS = 25
"""After so many hops it is looked whether many more wait already: then this thread has fallen behind."""
_CATCH_UP_HOPS = 50
"""Hops a read then: a fifth of the work, so that a busy machine loses less."""
_FILE_HOPS = 100
"""Hops a read where nobody waits for them: long blocks cost less."""
_STOP_S = 3.0
_log = logging.getLogger(__name__)


class Engine:
    """Listens to one input at a time.

    Parameters
    ----------
    make_coach
        Called for each input that opens.
    observers
        Called with every :class:`~app.engine.snapshot.HopReport`. One that raises is dropped, and the
        snapshot says so; the metering goes on.
    end_watchers
        Called when an input is over, after its last report.
    """

    def __init__(
        self,
        make_coach: CoachMaker,
        observers: Sequence[Observer] = (),
        end_watchers: Sequence[EndWatcher] = (),
    ) -> None:
        self._make_coach = make_coach
        self._observers = list(observers)
        self._end_watchers = tuple(end_watchers)
        self._listeners: list[Listener] = []
        self._commands: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._listening: Listening | None = None
        self._stride = Stride()
        self._since_look = 0
        """Hops since it was looked whether more wait."""
        self._stopping = threading.Event()
        self._snapshot = Snapshot()
        self._history = History(channels=1, hop_s=0.01)
        self._thread = threading.Thread(target=self._run, name="swellmark-analysis", daemon=True)
        self._thread.start()

    @property
    def snapshot(self) -> Snapshot:
        """The newest state. One attribute read of an immutable object: safe from every thread."""
        return self._snapshot

    @property
    def history(self) -> History:
        """What the chart draws from; a new one for each input."""
        return self._history

    def open(self, source: Source) -> None:
        """Leave the present input, if any, and listen to this one. Returns at once."""
        self._commands.put(lambda: self._open(source))

    def close_input(self) -> None:
        """Leave the present input. Returns at once."""
        self._commands.put(self._close)

    def reset(self) -> None:
        """Let go of the peak hold and the clip counts, and have the coach start its evidence afresh."""
        self._with_input(lambda listening: listening.reset())

    def set_taking(self, taking: bool) -> None:
        """Tell the coach whether a take runs: then no louder one is to come."""
        self._with_input(lambda listening: listening.set_taking(taking))

    def begin_session(self, make_session: SessionMaker, channel: int = 0) -> None:
        """Guide one channel (column index, from 0) of the present input to its gain, step by step."""
        self._with_input(lambda listening: listening.begin_session(make_session, channel))

    def skip_step(self) -> None:
        """Go on with the next step of the guided session."""
        self._with_input(lambda listening: listening.skip_step())

    def end_session(self) -> None:
        """Leave the guided session."""
        self._with_input(lambda listening: listening.end_session())

    def name_channels(self, names: Sequence[str]) -> None:
        """Call the channels of the present input by these names; an empty one leaves what it came with."""
        self._with_input(lambda listening: listening.name_channels(names))

    def set_coach(self, make_coach: CoachMaker) -> None:
        """Judge by another part or target from now on."""

        def change() -> None:
            self._make_coach = make_coach
            if self._listening:
                self._listening.set_coach(make_coach)

        self._commands.put(change)

    def add_listener(self, listener: Listener) -> None:
        """Hand the samples themselves to somebody too, from the next block on, whichever input is open.

        Called on the analysis thread; it must return within microseconds, and is dropped when it raises.
        """
        self._commands.put(lambda: self._listeners.append(listener))

    def remove_listener(self, listener: Listener) -> None:
        """Stop that. Nothing happens when it was dropped before."""

        def remove() -> None:
            if listener in self._listeners:
                self._listeners.remove(listener)

        self._commands.put(remove)

    def set_seen(self, seen: bool) -> None:
        """Tell whether somebody looks at a screen; the figures are the same, only later."""
        self._stride.set_seen(seen)

    def look_at(self, next_s: float, every_s: float) -> None:
        """Tell when (``time.monotonic()``) the newest state is wanted next, and how often after that.

        Reads end just before a look then, several hops at once; without it every hop is read by itself.
        """
        self._stride.look_at(next_s, every_s)

    def wait(self, timeout_s: float) -> bool:
        """Wait until everything asked for so far was done; False when it took longer."""
        done = threading.Event()
        self._commands.put(done.set)
        return done.wait(timeout_s)

    def stop(self) -> bool:
        """Close the input and end the thread, within three seconds; False when it did not end."""
        self._stopping.set()
        self._commands.put(self._close)
        self._thread.join(_STOP_S)
        return not self._thread.is_alive()

    def _with_input(self, act: Callable[[Listening], None]) -> None:
        """Have the analysis thread do something with the input that is open by then, if one is."""
        self._commands.put(lambda: act(self._listening) if self._listening else None)

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                self._obey()
                if self._listening is not None:
                    self._step(self._listening)
            except Exception as error:  # whatever broke must reach the user as a sentence
                self._fail(error)
        self._obey()
        self._close()

    def _obey(self) -> None:
        """Run the commands that wait; with no input to read, wait for one."""
        try:
            command = self._commands.get(block=self._listening is None, timeout=_READ_S)
            while True:
                command()
                command = self._commands.get_nowait()
        except queue.Empty:
            pass

    def _open(self, source: Source) -> None:
        self._close()
        self._snapshot = Snapshot(state=InputState.OPENING, published_s=time.monotonic())
        try:
            source.start()
            self._listening = Listening(source, self._make_coach)
            self._history = self._listening.history
        except Exception as error:
            source.close()
            self._fail(error)

    def _close(self) -> None:
        listening, self._listening = self._listening, None
        if listening is not None:
            self._tell(listening.finish())
            self._snapshot = listening.snapshot(InputState.CLOSED)
            self._leave(listening, file_ended=False)
        elif self._snapshot.state is InputState.OPENING:
            self._snapshot = Snapshot()

    def _fail(self, error: Exception) -> None:
        if isinstance(error, SwellmarkError):
            problem = error
        else:
            _log.error("the input or its analysis failed", exc_info=error)
            problem = SwellmarkError(words.analysis_failed(), f"{type(error).__name__}: {error}")
        listening, self._listening = self._listening, None
        info = None
        if listening is not None:
            info = listening.source.info
            self._leave(listening, file_ended=False)
        self._snapshot = Snapshot(
            state=InputState.FAILED, info=info, published_s=time.monotonic(), problem=problem
        )

    def _step(self, listening: Listening) -> None:
        block = self._read(listening)
        self._hand_out(listening, block)
        for report in listening.take(block):
            self._tell(report)
        if block.ended:
            self._tell(listening.finish())
            self._snapshot = listening.snapshot(InputState.ENDED)
            self._listening = None
            self._leave(listening, file_ended=True)
            return
        self._snapshot = listening.snapshot()

    def _read(self, listening: Listening) -> Block:
        """Take a hop of a live input, or many where many have gathered; of others always many."""
        if not listening.source.info.live:
            return listening.source.read(_FILE_HOPS * listening.hop_frames, _READ_S)
        if self._since_look < _LOOK_BEHIND_HOPS:
            hop_s = listening.hop_frames / listening.source.info.rate_hz
            hops = self._stride.hops(time.monotonic(), hop_s)
            self._since_look += hops
            wait_s = max(_READ_S, hops * hop_s + _READ_LATE_S)
            return listening.source.read(hops * listening.hop_frames, wait_s)
        block = listening.source.read(_CATCH_UP_HOPS * listening.hop_frames, 0.0)
        if block.samples.shape[0] < _LOOK_BEHIND_HOPS * listening.hop_frames:
            self._since_look = 0
        return block

    def _leave(self, listening: Listening, *, file_ended: bool) -> None:
        listening.source.close()
        for watcher in self._end_watchers:
            watcher(file_ended)

    def _hand_out(self, listening: Listening, block: Block) -> None:
        for listener in tuple(self._listeners):
            try:
                listener(listening.source.info, block)
            except Exception as error:  # as with observers
                _log.error("a listener failed and was dropped", exc_info=error)
                self._listeners.remove(listener)
                listening.problem = SwellmarkError(words.listener_failed(), repr(error))

    def _tell(self, report: HopReport) -> None:
        for observer in tuple(self._observers):
            try:
                observer(report)
            except Exception as error:  # one broken observer must not end the metering
                _log.error("an observer failed and was dropped", exc_info=error)
                self._observers.remove(observer)
                if self._listening is not None:
                    self._listening.problem = SwellmarkError(words.observer_failed(), repr(error))
