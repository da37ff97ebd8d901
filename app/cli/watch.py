"""``swellmark watch``: the coach in a terminal.

The analysis thread puts its reports into a queue; this thread takes them out, adds them up to tenths of a
second of sound, and prints.
"""

from __future__ import annotations

import math
import queue
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any, Protocol

import click

from app.cli import terminal
from app.cli.completing import complete_input
from app.cli.limited import Limited
from app.cli.main import ACT, DONE, WRONG
from app.cli.options import (
    Seconds,
    ceilings_option,
    explain_option,
    json_option,
    live_coach,
    parts_option,
    the_parts,
    the_targets,
)
from app.cli.signals import signals_end_it
from app.cli.takelog import TakeLog
from app.cli.tally import Tally
from app.coach.judgement import Verdict
from app.engine.events import Event, EventKind
from app.engine.handsfree import Wishes
from app.engine.loop import EndWatcher, Engine, Observer
from app.engine.snapshot import HopReport, InputState
from app.errors import UsageError
from app.inputs.spec import open_spec
from app.words import advice
from app.words import cli as words
from app.words import taking as taking_words
from app.words.numbers import clock, decibels
from dsp.reading import ClipKind

_WAIT_S = 0.2
_FIGURES_EVERY_S = 1.0
_OVER = (InputState.ENDED, InputState.FAILED)
_AWAY = (InputState.LOST, InputState.STALLED)
"""A device comes back by itself when it is plugged in again, so this is not the end."""

_GRACE_S = 2.0
"""How much later than asked a watch ends whose input is away: what is on its way must not be cut off."""


@click.command(help=words.watch_help())
@click.option(
    "--input",
    "spec",
    metavar="SPEC",
    default="player",
    show_default=True,
    shell_complete=complete_input,
    help=words.input_help(),
)
@parts_option
@ceilings_option
@click.option("--seconds", type=Seconds(min=0.0, min_open=True), help=words.seconds_help())
@click.option("--take", "take_name", metavar="NAME", help=words.take_help())
@click.option("--on-sound", is_flag=True, help=taking_words.on_sound_help())
@click.option("--quiet", "quiet_s", type=Seconds(min=2.0), metavar="SECONDS", help=taking_words.quiet_help())
@click.option(
    "--length", "length_s", type=Seconds(min=1.0), metavar="SECONDS", help=taking_words.length_help()
)
@click.option("--keep-clips", is_flag=True, help=taking_words.keep_clips_help())
@click.option("--unpaced", is_flag=True, help=words.unpaced_help())
@explain_option
@json_option
def watch(
    spec: str,
    parts: tuple[str, ...],
    ceilings: tuple[str, ...],
    seconds: float | None,
    take_name: str | None,
    on_sound: bool,
    quiet_s: float | None,
    length_s: float | None,
    keep_clips: bool,
    unpaced: bool,
    explain: bool,
    as_json: bool,
) -> None:
    """Listen, judge and print."""
    wishes = _wishes(take_name, quiet_s, length_s, on_sound=on_sound, keep_clips=keep_clips)
    played, targets = the_parts(parts), the_targets(ceilings)
    source = open_spec(spec, paced=not unpaced)
    if seconds is not None:
        source = Limited(source, seconds)
    printer: _Printer = _JsonLines() if as_json else _Lines(explain=explain)
    reports: queue.SimpleQueue[HopReport] = queue.SimpleQueue()
    observers: list[Observer] = [reports.put]
    end_watchers: list[EndWatcher] = []
    with ExitStack() as stack:
        stack.enter_context(terminal.stderr_of_our_own())
        stack.enter_context(signals_end_it())
        take = None
        if take_name is not None or on_sound:
            take = stack.enter_context(
                TakeLog(take_name or "", played, targets, wishes, keep_clips=keep_clips)
            )
            observers = [*take.observers, *observers]
            end_watchers += take.end_watchers
        engine = Engine(live_coach(played, targets), observers, end_watchers)
        stack.callback(engine.stop)
        if take is not None:
            take.attach(engine)
        engine.open(source)
        engine.set_taking(take is not None and take.runs)
        ends_s = math.inf if seconds is None else time.monotonic() + seconds + _GRACE_S
        heard = _listen(engine, reports, printer, take, ends_s, quiet=as_json)
        over = engine.snapshot
        away = over.state in _AWAY
        # A take whose input is away stays interrupted; any other ends as asked, before the engine stops.
        if take is not None and not away:
            take.end()
        engine.stop()
        if over.problem is not None:
            raise over.problem
        printer.end()
        needs_action = printer.needs_action
        if take is not None:
            needs_action |= take.finish(quiet=as_json)
    if away and not heard:  # its sentence was said when it happened
        sys.exit(WRONG)
    sys.exit(ACT if needs_action or away else DONE)


def _listen(
    engine: Engine,
    reports: queue.SimpleQueue[HopReport],
    printer: _Printer,
    take: TakeLog | None,
    ends_s: float,
    *,
    quiet: bool,
) -> bool:
    """Print until it is over, or until ``ends_s`` while the input is away; returns whether anything came."""
    heard = False
    try:
        for report in _reports(engine, reports):
            if take is not None:
                take.tell(quiet=quiet)
            if report is not None:
                heard |= report.reading.frames > 0
                for event in report.events:
                    _tell(event, report)
                printer.show(report)
            elif time.monotonic() > ends_s and engine.snapshot.state in _AWAY:
                break
    except KeyboardInterrupt:  # the usual way to end it
        pass
    except BrokenPipeError:  # so is closing what reads it
        terminal.let_go_of_stdout()
    return heard


def _wishes(
    take_name: str | None,
    quiet_s: float | None,
    length_s: float | None,
    *,
    on_sound: bool,
    keep_clips: bool,
) -> Wishes:
    """What the options about takes ask for together."""
    if quiet_s is not None and not on_sound:
        raise UsageError(taking_words.needs_on_sound("--quiet"))
    for option, given in (("--length", length_s is not None), ("--keep-clips", keep_clips)):
        if given and take_name is None and not on_sound:
            raise UsageError(taking_words.needs_a_take(option))
    return Wishes(on_sound=on_sound, quiet_s=quiet_s, length_s=length_s)


def _reports(engine: Engine, reports: queue.SimpleQueue[HopReport]) -> Iterator[HopReport | None]:
    """Yield what comes until nothing more will come, and None now and then while nothing comes."""
    while True:
        # Read before the queue: whatever was reported before the end is in the queue by then.
        over = engine.snapshot.state in _OVER
        report = None
        try:
            report = reports.get(timeout=0 if over else _WAIT_S)
        except queue.Empty:
            if over:
                return
        yield report


def _tell(event: Event, report: HopReport) -> None:
    """What must not be missed goes to stderr, whatever is printed on stdout."""
    name = report.info.name
    if event.kind is EventKind.INPUT_LOST:
        terminal.complain(taking_words.input_away(name))
    elif event.kind is EventKind.INPUT_BACK:
        terminal.complain(" ".join(filter(None, (words.input_back(name), report.info.doubt))))
    elif event.kind is EventKind.GAP and event.frames:
        lost_s = decibels(event.frames / report.info.rate_hz, 2)
        terminal.complain(words.frames_lost(event.frames, lost_s))


class _Printer(Protocol):
    needs_action: bool

    def show(self, report: HopReport) -> None: ...

    def end(self) -> None: ...


class _JsonLines:
    """One JSON object a line, ten for each second of sound."""

    def __init__(self) -> None:
        self._tally = Tally()
        self.needs_action = False

    def show(self, report: HopReport) -> None:
        self.needs_action = _needs_action(report)
        for line in self._tally.lines(report):
            terminal.print_json(line, compact=True)

    def end(self) -> None:
        for line in self._tally.last_line():
            terminal.print_json(line, compact=True)


class _Lines:
    """For people: a line whenever the coach says something new, and the figures once a second."""

    def __init__(self, *, explain: bool) -> None:
        self._explain = explain
        self._explained: Verdict | None = None
        self._said: tuple[Any, ...] = ()
        self._next_s = 0.0
        self._t_s = 0.0
        self._clips = 0
        self._average_dbfs = self._peak_dbfs = float("-inf")
        self.needs_action = False
        self._console = terminal.console()

    def show(self, report: HopReport) -> None:
        self.needs_action = _needs_action(report)
        reading, worst = report.reading, report.coach.worst
        self._clips += sum(clip.kind is ClipKind.FULL_SCALE for clip in reading.clips)
        if not reading.hops:
            return
        if not self._said:
            info = report.info
            self._say(
                words.listening_to(terminal.printable(info.name), f"{info.rate_hz / 1000:g}", info.channels)
            )
        self._t_s = (reading.start_frame + reading.frames) / reading.rate_hz
        self._average_dbfs = max(self._average_dbfs, float(reading.average_dbfs.max()))
        self._peak_dbfs = max(self._peak_dbfs, float(reading.peak_dbfs.max()))
        said = (worst.verdict, worst.gain_change_db, worst.reason)
        if said == self._said and self._t_s < self._next_s:
            return
        self._said, self._next_s = said, self._t_s + _FIGURES_EVERY_S
        channel = report.coach.worst_channel
        verdict = advice.verdict_name(worst.verdict)
        if len({(each.verdict, each.gain_change_db) for each in report.coach.channels}) > 1:
            verdict = words.verdict_of_channel(verdict, channel + 1)
        self._say(
            words.watch_line(
                place=clock(self._t_s),
                verdict=verdict,
                advice=advice.advice_sentence(worst.reason, worst.gain_change_db, worst.values),
                average=decibels(float(reading.average_dbfs[-1, channel])),
                peak=decibels(float(reading.peak_hold_dbfs[channel])),
                floor=decibels(float(reading.noise_floor_dbfs[channel])),
            )
        )
        if self._explain and worst.verdict is not self._explained:
            self._explained = worst.verdict
            self._say(advice.explanation(worst.verdict))

    def end(self) -> None:
        if self._said:
            average, peak = decibels(self._average_dbfs), decibels(self._peak_dbfs)
            self._say(words.heard(clock(self._t_s), average, peak, self._clips))

    def _say(self, text: str) -> None:
        # A terminal breaks long lines by itself; a pipe gets one line for each.
        self._console.print(text, soft_wrap=True)


def _needs_action(report: HopReport) -> bool:
    return report.coach.worst.verdict is not Verdict.FAIR_WATER
