"""``swellmark takes``: the take log."""

from __future__ import annotations

from pathlib import Path

import click
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

import app
from app.cli import terminal
from app.cli.options import json_option, print_json
from app.cli.takecompare import compare_takes
from app.cli.takesend import send
from app.errors import UsageError
from app.log.document import row_document, take_document
from app.log.export import check_ending
from app.log.export import export as export_takes
from app.log.grouping import grouped
from app.log.listing import channel_headings, channel_texts, event_texts, marks_of, remarks
from app.log.marks import marked_copy
from app.log.records import TakeDetail, TakeRow, TakeState
from app.log.store import Store
from app.words import advice
from app.words import log as words
from app.words.numbers import clock, decibels

_MOST_EVENTS_LISTED = 100
_WIDE = 100
_PART_ROOM = 12
_OTHER_COLUMNS_ROOM = 5 + 16 + 7 + 11 + 5 + 5 + 2 * 7 + 1
"""Widths of all columns but name and part, and what lies between."""
_ALL = -1
"""SQLite's own sign for "no limit"."""


@click.group(help=words.takes_help())
def takes() -> None:
    """The take log."""


takes.add_command(compare_takes)
takes.add_command(send)


@takes.command("list", help=words.list_help())
@click.option("--last", type=click.IntRange(min=1), metavar="N", help=words.last_help())
@click.option("--find", metavar="WORDS", default="", help=words.find_help())
@json_option
def list_(last: int | None, find: str, as_json: bool) -> None:
    """List the takes."""
    with _open() as store:
        rows = store.list_takes(limit=last or _ALL, search=find)
    if as_json:
        print_json({"swellmark": app.__version__, "takes": [row_document(row) for row in rows]})
        return
    console = terminal.console()
    if not rows:
        console.print(words.no_takes_yet(), markup=False)
        return
    with_part = console.width >= _WIDE
    name_room = max(8, console.width - _OTHER_COLUMNS_ROOM - (_PART_ROOM + 2) * with_part)
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column(words.take_heading(), justify="right", width=5)
    table.add_column(words.name_heading(), no_wrap=True)
    if with_part:
        table.add_column(words.part_heading(), no_wrap=True)
    table.add_column(words.started_heading(), width=16)
    table.add_column(words.length_heading(), justify="right", width=7)
    table.add_column(words.verdict_heading(), width=11)
    table.add_column(words.peak_heading(), justify="right", width=5)
    table.add_column(words.clips_heading(), justify="right", width=5)
    for row in rows:
        table.add_row(
            str(row.number),
            Text(words.one_line(row.name, name_room)),
            *([Text(words.one_line(row.part, _PART_ROOM))] if with_part else []),
            row.started[:16].replace("T", " "),
            clock(row.duration_s),
            "\n".join(_verdict_and_state(row)),
            decibels(row.peak_dbfs),
            str(row.clips),
        )
    console.print(table)


@takes.command(help=words.show_help())
@click.argument("number", type=int, metavar="N")
@json_option
def show(number: int, as_json: bool) -> None:
    """Show one take."""
    with _open() as store:
        take = store.take(number)
    if as_json:
        print_json(take_document(take))
    else:
        _print(terminal.console(), take)


@takes.command(help=words.export_help())
@click.argument("numbers", type=int, nargs=-1, required=True, metavar="N...")
@click.option(
    "--to", "path", required=True, metavar="FILE", type=click.Path(path_type=Path), help=words.to_help()
)
@click.option("--sound", metavar="FILE", type=click.Path(path_type=Path), help=words.sound_help())
@click.option("--offset", "offset_s", metavar="SECONDS", type=float, default=0.0, help=words.offset_help())
def export(numbers: tuple[int, ...], path: Path, sound: Path | None, offset_s: float) -> None:
    """Write takes to a file."""
    if sound is not None or path.suffix.lower() == ".wav":
        _export_marks(numbers, path, sound, offset_s)
        return
    check_ending(path)
    with _open() as store:
        details = [store.take(number) for number in numbers]
    export_takes(details, path)
    click.echo(words.exported(len(details), str(path)))


def _export_marks(numbers: tuple[int, ...], path: Path, sound: Path | None, offset_s: float) -> None:
    if sound is None:
        raise UsageError(words.marks_need_a_sound())
    if len(numbers) != 1:
        raise UsageError(words.marks_take_one())
    with _open() as store:
        take = store.take(numbers[0])
    marks = marks_of(take, offset_s)
    count = marked_copy(sound, path, marks)
    click.echo(words.marked(count, len(marks) - count, str(path)))


def _open() -> Store:
    store = Store()
    if store.notice:
        click.echo(store.notice, err=True)
    return store


def _verdict_and_state(row: TakeRow) -> list[str]:
    """The verdict, and the state where it is not the usual one."""
    texts = [advice.verdict_name(row.verdict)] if row.verdict else []
    return texts if row.state is TakeState.CLOSED else [*texts, words.state_name(row.state)]


def _print(console: Console, take: TakeDetail) -> None:
    row = take.row
    title = words.take_title(row.number, words.one_line(row.name))
    console.print(Text(title, style="bold"))
    source = words.input_line(words.one_line(row.input_name), f"{row.rate_hz / 1000:g}")
    verdict = [advice.verdict_name(row.verdict)] if row.verdict else []
    kept = [words.kept()] if row.kept else []
    facts = [*verdict, clock(row.duration_s), words.state_name(row.state), *kept, row.started, source]
    console.print(" · ".join(facts), markup=False)
    if row.notes:
        console.print(Text(words.one_line(row.notes, most=500)))
    for line in remarks(take):
        console.print(line, markup=False)
    figures = Table(box=box.SIMPLE_HEAD)
    for heading in channel_headings():
        figures.add_column(heading, justify="right")
    for cells in channel_texts(take):
        figures.add_row(*cells)
    console.print(figures)
    _print_events(console, take)


def _print_events(console: Console, take: TakeDetail) -> None:
    if not take.events:
        console.print(words.no_events(), markup=False)
        return
    happened = Table(box=box.SIMPLE_HEAD)
    happened.add_column(words.place_heading(), justify="right")
    happened.add_column(words.channel_heading(), justify="right")
    happened.add_column(words.event_heading())
    lines = grouped(take.events, take.row.rate_hz)
    for event in lines[:_MOST_EVENTS_LISTED]:
        happened.add_row(*map(Text, event_texts(event, take.row)))
    console.print(happened)
    if len(lines) > _MOST_EVENTS_LISTED:
        console.print(words.more_events(len(lines) - _MOST_EVENTS_LISTED), markup=False)
