"""``swellmark watch``: the coach in a terminal.

The analysis thread puts its reports into a queue; this thread takes them out, adds them up to tenths of a
second of sound, and prints.
"""

from __future__ import annotations

import queue
import sys
from contextlib import ExitStack, suppress
from typing import Any, Protocol

import click
from rich.console import Console

from app.cli.main import ACT, DONE
from app.cli.options import json_option, live_coach, part_option, print_json, the_part
from app.cli.tally import Tally
from app.coach.judgement import Verdict
from app.engine.events import Event, EventKind
from app.engine.loop import EndWatcher, Engine, Observer
from app.engine.snapshot import HopReport, InputState
from app.errors import InputError
from app.inputs.spec import open_spec
from app.log.keeper import TakeKeeper
from app.log.store import Store
from app.log.writer import LogWriter
from app.words import advice
from app.words import cli as words
from app.words.numbers import clock, decibels

_WAIT_S = 0.2
_FIGURES_EVERY_S = 1.0


@click.command(help=words.watch_help())
@click.option("--input", "spec", metavar="SPEC", default="player", show_default=True, help=words.input_help())
@part_option
@click.option("--seconds", type=click.FloatRange(min=0.0, min_open=True), help=words.seconds_help())
@click.option("--take", "take_name", metavar="NAME", help=words.take_help())
@click.option("--unpaced", is_flag=True, help=words.unpaced_help())
@json_option
def watch(
    spec: str, part: str, seconds: float | None, take_name: str | None, unpaced: bool, as_json: bool
) -> None:
    """Listen, judge and print."""
    profile = the_part(part)
    source = open_spec(spec, paced=not unpaced)
    reports: queue.SimpleQueue[HopReport] = queue.SimpleQueue()
    with ExitStack() as stack:
        observers: list[Observer] = [reports.put]
        end_watchers: list[EndWatcher] = []
        log: LogWriter | None = None
        keeper: TakeKeeper | None = None
        if take_name is not None:
            log = LogWriter()
            stack.callback(log.close)
            keeper = TakeKeeper(log)
            keeper.begin(take_name, profile.key)
            observers.insert(0, keeper)
            end_watchers.append(keeper.input_gone)
        engine = Engine(live_coach(profile), observers, end_watchers)
        stack.callback(engine.stop)
        engine.open(source)
        printer = _JsonLines() if as_json else _Lines()
        with suppress(KeyboardInterrupt):  # the usual way to end it
            _follow(engine, reports, seconds, printer)
        if keeper is not None:
            keeper.end()
        engine.stop()
        if log is not None:
            _close_log(log, quiet=as_json)
        problem = engine.snapshot.problem
    if problem is not None:
        raise problem
    sys.exit(ACT if printer.needs_action else DONE)


def _follow(
    engine: Engine, reports: queue.SimpleQueue[HopReport], seconds: float | None, printer: _Printer
) -> None:
    """Print what comes until the time is up or nothing more will come."""
    while True:
        try:
            report = reports.get(timeout=_WAIT_S)
        except queue.Empty:
            if engine.snapshot.state in (InputState.ENDED, InputState.FAILED, InputState.CLOSED):
                return
            continue
        printer.show(report)
        for event in report.events:
            _tell(event, report)
        if engine.snapshot.state is InputState.LOST:
            raise InputError(words.input_silent(report.info.name))
        position_s = (report.reading.start_frame + report.reading.frames) / report.reading.rate_hz
        if seconds is not None and position_s >= seconds:
            return


def _tell(event: Event, report: HopReport) -> None:
    """What must not be missed goes to stderr, whatever is printed on stdout."""
    if event.kind is EventKind.INPUT_LOST:
        click.echo(words.input_silent(report.info.name), err=True)
    elif event.kind is EventKind.INPUT_BACK:
        click.echo(words.input_back(report.info.name), err=True)
    elif event.kind is EventKind.GAP and event.frames:
        lost_s = decibels(event.frames / report.info.rate_hz, 2)
        click.echo(words.frames_lost(event.frames, lost_s), err=True)


def _close_log(log: LogWriter, *, quiet: bool) -> None:
    log.close()
    if log.problem is not None:
        raise log.problem
    if log.notice:
        click.echo(log.notice, err=True)
    if not quiet:
        with Store(log.path) as store:
            for take in store.list_takes(limit=1):
                click.echo(words.take_logged(take.number, take.clips))


class _Printer(Protocol):
    needs_action: bool

    def show(self, report: HopReport) -> None: ...


class _JsonLines:
    """One JSON object a line, ten for each second of sound."""

    def __init__(self) -> None:
        self._tally = Tally()
        self.needs_action = False

    def show(self, report: HopReport) -> None:
        self.needs_action = _needs_action(report)
        for line in self._tally.lines(report):
            print_json(line, compact=True)


class _Lines:
    """For people: a line whenever the coach says something new, and the figures once a second."""

    def __init__(self) -> None:
        self._said: tuple[Any, ...] = ()
        self._next_s = 0.0
        self.needs_action = False
        self._console = Console(highlight=False)

    def show(self, report: HopReport) -> None:
        self.needs_action = _needs_action(report)
        reading, worst = report.reading, report.coach.worst
        if not reading.hops:
            return
        t_s = (reading.start_frame + reading.frames) / reading.rate_hz
        said = (worst.verdict, worst.gain_change_db, worst.reason)
        if not self._said:
            info = report.info
            self._console.print(words.listening_to(info.name, info.rate_hz, info.channels), markup=False)
        if said == self._said and t_s < self._next_s:
            return
        self._said, self._next_s = said, t_s + _FIGURES_EVERY_S
        channel = report.coach.worst_channel
        self._console.print(
            words.watch_line(
                place=clock(t_s),
                verdict=advice.verdict_name(worst.verdict),
                advice=advice.advice_sentence(worst.reason, worst.gain_change_db, worst.values),
                average=decibels(float(reading.average_dbfs[-1, channel])),
                peak=decibels(float(reading.peak_hold_dbfs[channel])),
                floor=decibels(float(reading.noise_floor_dbfs[channel])),
            ),
            markup=False,
        )


def _needs_action(report: HopReport) -> bool:
    return report.coach.worst.verdict is not Verdict.FAIR_WATER
