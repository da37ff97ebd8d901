"""``swellmark takes send``: one page for whoever helps."""

from __future__ import annotations

from pathlib import Path

import click

from app.log.parcel import check_ending, write_parcel
from app.log.store import Store
from app.words import parcel as words


@click.command(help=words.send_help())
@click.argument("numbers", type=int, nargs=-1, required=True, metavar="N...")
@click.option(
    "--to",
    "path",
    required=True,
    metavar="FILE",
    type=click.Path(path_type=Path),
    help=words.send_to_help(),
)
@click.option("--letter", metavar="TEXT", default="", help=words.letter_help())
def send(numbers: tuple[int, ...], path: Path, letter: str) -> None:
    """Write the page."""
    check_ending(path)
    with Store() as store:
        takes = [store.take(number) for number in dict.fromkeys(numbers)]
    write_parcel(takes, path, letter)
    click.echo(words.sent(len(takes), str(path)))
