"""``swellmark takes compare``: takes side by side."""

from __future__ import annotations

import sys

import click
import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from app.cli import terminal
from app.cli.main import ACT, DONE
from app.cli.options import json_option
from app.errors import UsageError
from app.log.compare import Comparison, Standing, compare, counterpart
from app.log.comparelisting import figure_rows, flaws, sentences
from app.log.document import comparison_document
from app.log.store import Store
from app.words import compare as words
from app.words import log as log_words

_BARS = " ▁▂▃▄▅▆▇█"
_BOTTOM_DBFS = -54.0
_MOST_WIDE = 72
_MARGIN = 2
_ALL = -1


@click.command("compare", help=words.compare_help())
@click.argument("numbers", type=int, nargs=-1, required=True, metavar="N...")
@json_option
def compare_takes(numbers: tuple[int, ...], as_json: bool) -> None:
    """Compare them; the exit status tells whether the safest has something against it."""
    with Store() as store:
        takes = [store.take(number) for number in dict.fromkeys(numbers)]
        if len(takes) == 1:
            row = takes[0].row
            other = counterpart(row, store.list_takes(_ALL))
            if other is None:
                raise UsageError(words.nothing_to_compare_with(row.number))
            takes.append(store.take(other.number))
    comparison = compare(takes)
    if as_json:
        terminal.print_json(comparison_document(comparison, sentences(comparison)))
    else:
        _print(terminal.console(), comparison)
    safest = comparison.safest or next(iter(comparison.alike), None)
    sys.exit(ACT if safest is None or flaws(safest) else DONE)


def _print(console: Console, comparison: Comparison) -> None:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column(words.figure_heading())
    for each in comparison.standings:
        table.add_column(
            Text(log_words.take_title(each.number, log_words.one_line(each.take.row.name, 18))),
            justify="right",
        )
    for name, texts in figure_rows(comparison):
        table.add_row(name, *texts)
    console.print(table)
    width = min(_MOST_WIDE, console.width - _MARGIN)
    longest_s = max(each.take.row.duration_s for each in comparison.standings)
    for each in comparison.standings:
        console.print(words.levels_name(each.number, each.clips), markup=False)
        for line in _levels(each, longest_s, width):
            console.print(line, markup=False, no_wrap=True)
    console.print()
    for sentence in sentences(comparison):
        console.print(sentence, markup=False)


def _levels(each: Standing, longest_s: float, width: int) -> list[str]:
    """Levels over time, all takes on one scale of time, and a line with a mark for each clip."""
    trace = each.take.trace
    levels = trace.average_dbfs
    if not levels.size or not longest_s:
        return []
    columns = max(1, min(width, round(width * levels.size * trace.point_s / longest_s)))
    starts = np.arange(min(columns, levels.size)) * levels.size // min(columns, levels.size)
    tops = np.maximum.reduceat(levels, starts)
    tops = tops[np.arange(columns) * tops.size // columns]
    heights = np.clip((tops - _BOTTOM_DBFS) / -_BOTTOM_DBFS, 0.0, 1.0)
    bars = "".join(_BARS[round(height * (len(_BARS) - 1))] for height in heights.tolist())
    marks = [" "] * width
    for t_s in each.clips_s:
        marks[min(width - 1, int(t_s / longest_s * width))] = "!"
    return [bars, *(["".join(marks).rstrip()] if each.clips_s else [])]
