"""``swellmark check``: measure recorded files."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import click

from app.check.document import document
from app.check.many import Checking, Step
from app.check.measure import FileCheck
from app.cli import terminal
from app.cli.main import ACT, DONE, STOPPED, WRONG
from app.cli.options import (
    Seconds,
    ceilings_option,
    explain_option,
    json_option,
    parts_option,
    the_parts,
    the_targets,
)
from app.coach.verdict import TAKE_S
from app.words import cli as words
from app.words.numbers import clock


@click.command(help=words.check_help())
@click.argument("paths", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path))
@parts_option
@ceilings_option
@click.option(
    "--take-seconds",
    type=Seconds(1.0, 86_400.0),
    default=TAKE_S,
    show_default=True,
    help=words.take_seconds_help(),
)
@explain_option
@json_option
def check(
    paths: tuple[Path, ...],
    parts: tuple[str, ...],
    ceilings: tuple[str, ...],
    take_seconds: float,
    explain: bool,
    as_json: bool,
) -> None:
    """Measure every file; those that cannot be read are named on stderr, and the others still measured."""
    checking = Checking(paths, the_parts(parts), the_targets(ceilings), take_s=take_seconds)
    show = _keep_quiet if as_json else _shower(explain=explain)
    checks: dict[int, FileCheck] = {}
    unreadable = total = 0
    stopped = False
    # Closed whatever happens: nothing that measures aside outlives the command.
    with _bar() as bar, closing(iter(checking)) as steps:
        try:
            for step in steps:
                total = step.total
                if step.outcome is None:
                    bar.move(step)
                    continue
                bar.clear()
                if step.outcome.error is not None:
                    unreadable += 1
                    terminal.complain(step.outcome.error.sentence)
                elif step.outcome.check is not None:
                    checks[step.outcome.number] = step.outcome.check
                    show(step.outcome.check)
                bar.move(step)
        except KeyboardInterrupt:
            stopped = True
    to_act_on = sum(each.needs_action for each in checks.values())
    if as_json:
        terminal.print_json(document([checks[number] for number in sorted(checks)], stopped=stopped))
    elif total > 1:
        click.echo(words.measured(len(checks), to_act_on, unreadable))
    if stopped:
        terminal.complain(words.stopped(total - len(checks) - unreadable))
        sys.exit(STOPPED)
    if unreadable:
        sys.exit(WRONG)
    sys.exit(ACT if to_act_on else DONE)


def _keep_quiet(_check: FileCheck) -> None:
    pass


def _shower(*, explain: bool) -> Callable[[FileCheck], None]:
    from app.cli.checktext import print_check  # late: rich takes a while to load, and JSON needs none of it

    console = terminal.console()
    return lambda check: print_check(console, check, explain=explain)


class _NoBar:
    """What moves where nobody looks."""

    def move(self, step: Step) -> None:
        """Show how far it is."""

    def clear(self) -> None:
        """Make way for something to be printed."""


@contextmanager
def _bar() -> Iterator[_NoBar]:
    """A bar on stderr, if that is a terminal."""
    if not sys.stderr.isatty():
        yield _NoBar()
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    progress = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.fields[files]}"),
        TextColumn("{task.fields[left]}"),
        console=Console(stderr=True),
        transient=True,
        redirect_stdout=False,  # or results would go to stderr, where the bar is
        redirect_stderr=False,
    )
    task = progress.add_task(words.checking(), total=1.0, files="", left="")

    class Bar(_NoBar):
        def move(self, step: Step) -> None:
            files = words.so_many_of(step.done, step.total) if step.total > 1 else ""
            left = "" if step.seconds_left is None else words.time_left(clock(step.seconds_left))
            progress.update(task, completed=step.share, files=files, left=left)
            progress.start()

        def clear(self) -> None:
            progress.stop()

    try:
        yield Bar()
    finally:
        progress.stop()
