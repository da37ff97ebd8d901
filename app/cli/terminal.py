"""What a terminal or a pipe can take: any encoding, any name, and closed at any moment."""

from __future__ import annotations

import codecs
import io
import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any

import click

from app.words.numbers import MINUS, UNKNOWN

if TYPE_CHECKING:
    from rich.console import Console

_IN_ASCII = {MINUS: "-", UNKNOWN: "-", "…": "...", "∞": "inf", "·": "-", "’": "'", "“": '"', "”": '"'}
_HANDLER = "swellmark"
STDERR = 2


def prepare() -> None:
    """Let stdout and stderr print every text: a minus sign must not be lost to an old code page."""
    codecs.register_error(_HANDLER, _spell_out)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # there may be none, or something else in a test
            stream.reconfigure(errors=_HANDLER)


def let_go_of_stdout() -> None:
    """Send what is still to be printed nowhere, because whoever read it has left."""
    with suppress(OSError, ValueError):  # no file behind it: then nothing is flushed into a closed pipe
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


@contextmanager
def stderr_of_our_own() -> Iterator[None]:
    """Keep apart what drivers print by themselves: a person is to read our one sentence, and only that.

    It goes nowhere, unless a log is asked for by ``SWELLMARK_LOG``. Ours gets through whatever becomes of
    the descriptor 2.
    """
    before = sys.stderr
    try:
        is_the_descriptor = before.fileno() == STDERR and "SWELLMARK_LOG" not in os.environ
        ours = os.dup(STDERR) if is_the_descriptor else -1
    except (AttributeError, OSError):  # a windowed program has none, and a test may have its own
        is_the_descriptor = False
    if not is_the_descriptor:
        yield
        return
    with open(ours, "w", encoding=before.encoding, errors=before.errors, buffering=1) as stream:
        sys.stderr = stream
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, STDERR)
        os.close(nowhere)
        try:
            yield
        finally:
            os.dup2(ours, STDERR)
            sys.stderr = before


def printable(text: str) -> str:
    """On one line, with nothing in it that steers a terminal: a file may have any name."""
    return "".join(
        sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in " ".join(text.split())
    )


def complain(sentence: str) -> None:
    """One line on stderr."""
    with suppress(OSError):  # a terminal that has gone cannot be told anything
        click.echo(f"swellmark: {printable(sentence)}", err=True)


def console() -> Console:
    """Whatever prints tables and sentences on stdout."""
    from rich.console import Console  # late: it takes a while to load, and JSON needs none of it

    class Ours(Console):
        """Leaves a closed pipe to the command, which may have a take to end first."""

        def on_broken_pipe(self) -> None:
            raise BrokenPipeError

    return Ours(highlight=False, markup=False, emoji=False)


def print_json(document: Any, *, compact: bool = False) -> None:
    """Print one JSON document; anything that is no JSON number is a mistake of ours and raises."""
    indent = None if compact else 1
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, indent=indent)
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:  # JSON has a spelling of its own for what the encoding lacks
        text = json.dumps(document, ensure_ascii=True, allow_nan=False, indent=indent)
    click.echo(text)


def _spell_out(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    wrong = error.object[error.start : error.end]
    return "".join(_IN_ASCII.get(sign, "?") for sign in wrong), error.end
