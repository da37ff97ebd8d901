"""``swellmark conform``: the standards' test signals, measured against required."""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from typing import Any

import click
from rich import box
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table

from app import __version__
from app.cli import terminal
from app.cli.main import ACT, DONE
from app.cli.options import json_option, print_json
from app.conform import Case, Result, run_catalogue, trials
from app.words import conform as words
from app.words.numbers import decibels

_WIDE = 150


@click.command(help=words.command_help())
@json_option
def conform(as_json: bool) -> None:
    """Run every signal; exit status 1 when a figure is off."""
    results = _measure_all()
    if as_json:
        print_json(_document(results))
    else:
        console = _console()
        console.print(_table(results))
        missed = [result for result in results if not result.passed]
        if missed:
            # Once more, below all that scrolled by.
            console.print(_table(missed))
        console.print(words.summary(sum(result.passed for result in results), len(results)))
    sys.exit(DONE if all(result.passed for result in results) else ACT)


def _console() -> Console:
    console = terminal.console()
    # A pipe or a file has no width of its own, and folded rows are hard to search.
    return console if console.is_terminal else Console(highlight=False, width=max(console.width, _WIDE))


def _measure_all() -> list[Result]:
    everything = list(trials())
    total = sum(len(trial.cases) for trial in everything)
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        return list(progress.track(run_catalogue(), total=total, description=words.progress()))


def _table(results: Sequence[Result]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column(words.source_heading())
    table.add_column(words.name_heading())
    for heading in (words.measured_heading(), words.required_heading(), words.tolerance_heading()):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column(words.verdict_heading(), no_wrap=True)
    for result in results:
        case = result.case
        digits = _digits(case)
        table.add_row(
            case.source,
            case.name,
            decibels(result.measured, digits),
            f"{decibels(case.required, digits)} {case.unit}".rstrip(),
            words.tolerance(f"{case.tolerance_low:g}", f"{case.tolerance_high:g}"),
            words.verdict(result.passed),
            style=None if result.passed else "bold",
        )
    return table


def _digits(case: Case) -> int:
    """Decimals that show a tenth of the tolerance; none for what is counted."""
    finest = min((t for t in (case.tolerance_low, case.tolerance_high) if t > 0.0), default=math.inf)
    if math.isinf(finest):
        return 0
    return max(2, 1 - math.floor(math.log10(finest)))


def _document(results: Sequence[Result]) -> dict[str, Any]:
    return {
        "swellmark": __version__,
        "passed": all(result.passed for result in results),
        "cases": [
            {
                "source": result.case.source,
                "name": result.case.name,
                "measured": result.measured if math.isfinite(result.measured) else None,
                "required": result.case.required,
                "tolerance_low": result.case.tolerance_low,
                "tolerance_high": result.case.tolerance_high,
                "unit": result.case.unit,
                "passed": result.passed,
            }
            for result in results
        ],
    }
