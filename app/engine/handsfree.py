"""Takes that begin and end without a hand: with the first note, after quiet, after a set time.

An observer of the engine that stands before the keeper of takes: it hands every report on, after what was
heard before the first note when a take begins by itself, and holds back what may turn out to be the quiet
after the last. So a take has its first note whole, with a moment before it, and ends a moment after the last;
what was dropped held nothing but quiet, for whatever else happens in it is handed on.

Threads: called by the analysis thread; wishes are set, and the state is read, by any: each is one reference
that is swapped whole.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

from app.engine.events import EventKind
from app.engine.lately import Lately, joined
from app.engine.playing import MEMORY_S, PlayingWatch
from app.engine.snapshot import HopReport

LEAD_S = 2.0
"""How much of what came before the first note belongs to the take."""
TAIL_S = 1.0
"""How much of the quiet after the last note belongs to it."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What is to happen by itself."""

    on_sound: bool = False
    """A take begins with the first playing, and after it has ended the next one does."""
    quiet_s: float | None = None
    """A take that began so ends after so much quiet; None = it does not."""
    length_s: float | None = None
    """Any take ends after so much time, however it began; None = it does not."""


class Phase(StrEnum):
    """What it does now."""

    OFF = "off"
    WAITING = "waiting"
    """For the first note."""
    TAKING = "taking"
    QUIET = "quiet"
    """A take runs, and nobody plays."""


@dataclass(frozen=True, slots=True)
class HandsFreeState:
    """For whoever shows it."""

    phase: Phase = Phase.OFF
    wishes: Wishes = Wishes()
    quiet_left_s: float | None = None
    """So much more quiet ends the take; None where quiet does not."""
    length_left_s: float | None = None
    """So much more time ends the take; None where time does not."""


class HandsFree:
    """Begins and ends takes by what is heard.

    Parameters
    ----------
    keeper
        Takes in the reports; :class:`app.log.keeper.TakeKeeper`.
    takes
        Whether a take runs, or waits for its first hop.
    begin, end
        Begin and end one. Called on the analysis thread: they must return within microseconds.
    lead_s, tail_s
        How much before the first and after the last note belongs to a take.
    """

    def __init__(
        self,
        keeper: Callable[[HopReport], None],
        *,
        takes: Callable[[], bool],
        begin: Callable[[], None],
        end: Callable[[], None],
        lead_s: float = LEAD_S,
        tail_s: float = TAIL_S,
    ) -> None:
        self._keeper = keeper
        self._takes = takes
        self._begin = begin
        self._end = end
        self._lead_s = lead_s
        self._tail_s = tail_s
        self._wishes = Wishes()
        self._state = HandsFreeState()
        self._by_hand = False
        # Below: the analysis thread's own.
        self._lately = Lately(MEMORY_S + lead_s)
        self._watch: PlayingWatch | None = None
        self._armed = False
        self._next_frame = 0
        self._over_frame = 0
        """Where the last take ended: no other begins before it, nor with playing that merely goes on."""
        self._own = False
        self._start_frame: int | None = None
        self._held: list[HopReport] = []

    # For any thread

    @property
    def state(self) -> HandsFreeState:
        """What it does now, by the newest wishes even where no report has come since."""
        state, wishes = self._state, self._wishes
        if state.wishes is wishes:
            return state
        phase = state.phase
        if phase in (Phase.OFF, Phase.WAITING):
            phase = Phase.WAITING if wishes.on_sound else Phase.OFF
        return replace(state, phase=phase, wishes=wishes)

    @property
    def wishes(self) -> Wishes:
        """What is to happen by itself."""
        return self._wishes

    def wish(self, wishes: Wishes) -> None:
        """Have this happen from now on."""
        self._wishes = wishes

    def begun_by_hand(self) -> None:
        """Say, before a hand begins a take, that the quiet is not to end it."""
        self._by_hand = True

    # For the analysis thread

    def __call__(self, report: HopReport) -> None:
        """Take in the newest hops."""
        wishes = self._wishes
        if report.reading.start_frame != self._next_frame:
            # What was lost in between is no quiet, and the playing behind it has a beginning of its own.
            self._forget_sound()
            self._over_frame = report.reading.start_frame
        self._next_frame = report.reading.start_frame + report.reading.frames
        ticked = self._listen(report, wishes)
        if self._by_hand:
            self._by_hand = self._own = False
            self._start_frame = None
            self._held.clear()
        if self._takes():
            self._go_on(report, wishes)
        else:
            if self._start_frame is not None:  # somebody else ended it
                self._forget_take()
            self._wait(report, wishes, ticked=ticked)
        self._state = self._seen(wishes, report.info.rate_hz)

    def input_gone(self, _ended: bool = False) -> None:
        """Hand on what is held back, because no more will come; an end watcher, before the keeper's own."""
        self._hand_on()
        self._forget_sound()
        self._next_frame = -1

    def _listen(self, report: HopReport, wishes: Wishes) -> bool:
        """Hear whether somebody plays, where anybody wants to know; returns whether anything is new."""
        newly_armed = wishes.on_sound and not self._armed
        self._armed = wishes.on_sound
        if not wishes.on_sound and not self._own:
            self._forget_sound()
            return False
        if self._watch is None or newly_armed:
            self._begin_watch(report)
        assert self._watch is not None  # noqa: S101 - made above
        self._lately(report)
        return self._watch.process(report.reading)

    def _forget_sound(self) -> None:
        self._watch = None
        self._lately.clear()

    def _begin_watch(self, report: HopReport) -> None:
        self._watch = PlayingWatch(report.reading.channels, report.reading.hop_frames / report.info.rate_hz)

    def _wait(self, report: HopReport, wishes: Wishes, *, ticked: bool) -> None:
        began_at = self._watch.began_at() if self._watch and wishes.on_sound and ticked else None
        if began_at is None or began_at < self._over_frame:
            self._keeper(report)
            return
        first = max(self._over_frame, began_at - round(self._lead_s * report.info.rate_hz))
        heard = self._lately.since(first) or report
        self._begin()
        self._own = True
        self._start_frame = heard.reading.start_frame
        self._keeper(heard)
        self._end_in_time(wishes, report.info.rate_hz)

    def _go_on(self, report: HopReport, wishes: Wishes) -> None:
        rate_hz = report.info.rate_hz
        if self._start_frame is None:
            self._start_frame = report.reading.start_frame
        quiet_frames = self._next_frame - self._heard_until
        if (
            not self._own
            or wishes.quiet_s is None
            or quiet_frames <= self._tail_s * rate_hz
            or _says_something(report)
        ):
            self._hand_on()
            self._keeper(report)
        else:
            self._held.append(report)
            if quiet_frames >= wishes.quiet_s * rate_hz:
                self._forget_take()
                self._begin_watch(report)  # however short the quiet was, the next note is a first one
                self._end()
                return
        self._end_in_time(wishes, rate_hz)

    @property
    def _heard_until(self) -> int:
        """Where quiet began; a hole in the stream is none."""
        sounds_until = self._watch.sounds_until if self._watch else None
        return max(sounds_until or 0, self._start_frame or 0, self._over_frame)

    def _hand_on(self) -> None:
        """It was a rest and not the end."""
        report = joined(self._held)
        self._held.clear()
        if report is not None:
            self._keeper(report)

    def _end_in_time(self, wishes: Wishes, rate_hz: int) -> None:
        if wishes.length_s is None or self._start_frame is None:
            return
        if self._next_frame - self._start_frame >= wishes.length_s * rate_hz:
            self._hand_on()
            self._forget_take()
            self._end()

    def _forget_take(self) -> None:
        self._held.clear()
        self._own, self._start_frame = False, None
        self._over_frame = self._next_frame

    def _seen(self, wishes: Wishes, rate_hz: int) -> HandsFreeState:
        if not self._takes():
            return HandsFreeState(Phase.WAITING if wishes.on_sound else Phase.OFF, wishes)
        length_left_s = quiet_left_s = None
        if wishes.length_s is not None:
            done = 0 if self._start_frame is None else self._next_frame - self._start_frame
            length_left_s = max(0.0, wishes.length_s - done / rate_hz)
        if self._own and wishes.quiet_s is not None:
            quiet_left_s = max(0.0, wishes.quiet_s - (self._next_frame - self._heard_until) / rate_hz)
        return HandsFreeState(
            Phase.QUIET if self._held else Phase.TAKING, wishes, quiet_left_s, length_left_s
        )


def _says_something(report: HopReport) -> bool:
    """Whether a report holds anything that must not be dropped with the quiet around it."""
    return any(event.kind is not EventKind.VERDICT for event in report.events)
