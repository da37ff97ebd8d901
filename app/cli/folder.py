"""``swellmark folder``: watch the folder that recordings land in."""

from __future__ import annotations

import queue
import sys
import time
from functools import partial
from pathlib import Path
from typing import Any

import click

from app.check.document import document
from app.cli import terminal
from app.cli.main import ACT, DONE, WRONG
from app.cli.options import Seconds, json_option, part_option, the_part
from app.cli.signals import signals_end_it
from app.coach.judgement import Target
from app.errors import LogError, UsageError
from app.log.folder import FolderNews, FolderView, FolderWatch
from app.log.lookup import is_logged
from app.log.writer import LogWriter
from app.words import advice
from app.words import cli as cli_words
from app.words import folder as words
from app.words.numbers import clock, decibels

_WAIT_S = 0.2


@click.command(help=words.folder_help())
@click.argument("path", metavar="DIR", type=click.Path(path_type=Path))
@part_option
@click.option("--existing", is_flag=True, help=words.existing_help())
@click.option("--seconds", type=Seconds(min=0.0, min_open=True), help=words.seconds_help())
@json_option
def folder(path: Path, part: str, existing: bool, seconds: float | None, as_json: bool) -> None:
    """Watch until interrupted; a line for each file that came."""
    profile = the_part(part)
    if not path.is_dir():
        raise UsageError(words.not_a_folder(str(path)))
    news: queue.SimpleQueue[FolderNews] = queue.SimpleQueue()
    log = LogWriter()
    watch = FolderWatch(
        path,
        profile,
        log,
        partial(is_logged, log.path),
        target=Target(),
        existing=existing,
        tell=news.put,
    )
    printer = _Printer(log, as_json=as_json)
    ends_s = None if seconds is None else time.monotonic() + seconds
    with terminal.stderr_of_our_own(), signals_end_it():
        try:
            while ends_s is None or time.monotonic() < ends_s:
                printer.tell(watch.view)
                try:
                    printer.show(news.get(timeout=_WAIT_S))
                except queue.Empty:
                    continue
        except KeyboardInterrupt:  # the usual way to end it
            pass
        except BrokenPipeError:  # so is closing what reads it
            terminal.let_go_of_stdout()
        finally:
            watch.stop()
            written = log.close()
    if not written:
        raise log.problem or LogError(cli_words.log_not_written(str(log.path)))
    while not news.empty():
        printer.show(news.get())
    view = watch.view
    if not as_json:
        click.echo(words.summary(view.logged, view.unreadable, view.waiting))
    if view.unreadable:
        sys.exit(WRONG)
    sys.exit(ACT if printer.needs_action else DONE)


class _Printer:
    """Prints what comes: sentences for people, or one JSON object a line."""

    def __init__(self, log: LogWriter, *, as_json: bool) -> None:
        self._log = log
        self._as_json = as_json
        self._told = ""
        self._problem = ""
        self.needs_action = False

    def tell(self, view: FolderView) -> None:
        """Say on stderr, once, how the folder is watched, and what keeps the log from being written."""
        if view.watching.value != self._told:
            self._told = view.watching.value
            terminal.complain(words.watching(self._told, str(view.folder), view.known))
        problem = self._log.problem.sentence if self._log.problem else ""
        if problem != self._problem:
            self._problem = problem
            if problem:
                terminal.complain(problem)

    def show(self, news: FolderNews) -> None:
        """Print what became of one file."""
        if news.problem is not None:
            terminal.complain(news.problem.sentence)
            return
        check = news.check
        if check is None:
            return
        self.needs_action |= check.needs_action
        self._log.flush()
        number = self._log.number(news.uid)
        if self._as_json:
            line: dict[str, Any] = {"take": number, **document([check])["files"][0]}
            terminal.print_json(line, compact=True)
            return
        click.echo(
            words.logged_line(
                terminal.printable(news.path.name),
                "–" if number is None else str(number),
                advice.verdict_name(check.verdict),
                clock(check.duration_s),
                decibels(float(check.summary.peak_dbfs.max())),
                sum(len(channel.clips) for channel in check.channels),
            )
        )
