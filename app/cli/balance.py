"""``swellmark balance``: how far to pull the backing down in the headphones."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click
from rich import box
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from app import settings
from app.check.balanced import FilesBalance, balance_files, document
from app.check.quieter import Quieter, write_quieter
from app.check.shelf import Shelf
from app.cli.main import ACT, DONE
from app.cli.options import Seconds, json_option
from app.cli.terminal import console, print_json, printable
from app.words import balance as words
from app.words.numbers import decibels

_MOST_MORE_ME_DB = 20
_FILE = click.Path(path_type=Path)


@click.command(help=words.command_help())
@click.option("--part", required=True, metavar="FILE", type=_FILE, help=words.part_help())
@click.option(
    "--backing", required=True, multiple=True, metavar="FILE", type=_FILE, help=words.backing_help()
)
@click.option("--write", "folder", metavar="DIR", type=_FILE, help=words.write_help())
@click.option(
    "--more-me",
    "more_me_db",
    metavar="DB",
    type=click.IntRange(0, _MOST_MORE_ME_DB),
    default=0,
    help=words.more_me_help(),
)
@click.option(
    "--start", "start_s", metavar="SECONDS", type=Seconds(0.0), default=0.0, help=words.start_help()
)
@json_option
@click.argument("further", nargs=-1, metavar="[FILE]...", type=_FILE)
def balance(
    part: Path,
    backing: tuple[Path, ...],
    further: tuple[Path, ...],
    folder: Path | None,
    more_me_db: int,
    start_s: float,
    as_json: bool,
) -> None:
    """Measure the part and its backing, advise, and write copies where they are wanted.

    Files without an option in front belong to the backing, so that ``--backing *.wav`` does what it says.
    """
    backing += further
    with _bar(words.measuring()) as progress:
        shelf = Shelf(settings.cache_folder() / "tracks")
        found = balance_files(part, backing, more_me_db, start_s, progress=progress, shelf=shelf)
    written: tuple[Path, ...] = ()
    if folder is not None:
        wanted = [
            Quieter(path, advice.pull_down_db)
            for path, advice in zip(backing, found.balance.files, strict=True)
        ]
        with _bar(words.writing()) as progress:
            written = write_quieter(wanted, folder, progress)
    if as_json:
        print_json(document(found, written))
    else:
        _print(console(), found, written)
    sys.exit(ACT if found.balance.needs_action else DONE)


@contextmanager
def _bar(label: str) -> Iterator[Callable[[float], None]]:
    """Draw a bar on stderr while work is done, if somebody is looking."""
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )
    with bar:
        task = bar.add_task(label, total=1.0)
        yield lambda share: bar.update(task, completed=share)


def _print(out: Console, found: FilesBalance, written: tuple[Path, ...]) -> None:
    advice = found.balance
    amounts = tuple(file.pull_down_db for file in advice.files)
    several = len(amounts) > 1
    out.print(_table(found))
    out.print(words.advice_sentence(amounts))
    out.print(words.reason_sentence(advice.reason, advice.values))
    if advice.deep_hz is not None:
        out.print(words.deep_note(*advice.deep_hz))
    if found.more_me_db and any(amounts):
        out.print(words.more_me_sentence(found.more_me_db))
    if several and any(amounts):
        out.print(words.equal_sentence(advice.equal_pull_down_db, len(amounts)))
    if advice.before is not None:
        out.print(words.heard_note())
    for each in advice.ranges:
        if each.before is not None and each.after is not None:
            out.print("  " + words.range_line(each.low_hz, each.high_hz, each.before, each.after))
    out.print()
    for number, sentence in enumerate(words.care_sentences(advice.needs_action), 1):
        out.print(f"{number}. {sentence}" if advice.needs_action else sentence)
    for path in written:
        out.print(words.written_line(printable(str(path))), soft_wrap=True)


def _table(found: FilesBalance) -> Table:
    several = len(found.backing) > 1
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column(words.file_heading(), overflow="fold")
    for heading in (words.pull_down_heading(), words.loudness_heading(), words.loudest_heading()):
        table.add_column(heading, justify="right")
    if several:
        table.add_column(words.in_the_way_heading())
    for measured, advice in zip(found.backing, found.balance.files, strict=True):
        row = [
            printable(measured.path.name),
            str(advice.pull_down_db),
            decibels(measured.track.integrated_lufs),
            decibels(measured.track.short_term_max_lufs),
        ]
        if several:
            worst = advice.in_the_way_hz
            row.append("" if worst is None else words.in_the_way(advice.in_the_way, *worst))
        table.add_row(*row)
    return table
