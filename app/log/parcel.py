"""Takes for whoever helps: the page that a person reads, with the same takes in it for a program.

One HTML file. It names no folder and no computer: a home folder in somebody's notes becomes ``~``.
"""

from __future__ import annotations

import json
import platform
from collections.abc import Sequence
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import app
from app.errors import LogError, UsageError
from app.log.document import levels_document, take_document
from app.log.records import TakeDetail
from app.log.sheet import DATA_ID, html_text
from app.log.whole import whole_file
from app.words import log as log_words
from app.words import parcel as words

ENDINGS = (".html", ".htm")


def parcel_text(takes: Sequence[TakeDetail], letter: str = "", *, home: Path | None = None) -> str:
    """The page.

    Parameters
    ----------
    takes
        What is sent: everything that the log has of them but where their input lies.
    letter
        What the sender has to say.
    home
        The folder that is not named; the user's own when None.
    """
    folder = str(home or Path.home())
    takes = [_anonymous(take, folder) for take in takes]
    data = {
        "swellmark": app.__version__,
        "system": platform.system(),
        "takes": [{**take_document(take), "levels": levels_document(take.trace)} for take in takes],
    }
    return html_text(takes, letter=_hidden(letter, folder), data=data)


def write_parcel(takes: Sequence[TakeDetail], path: Path, letter: str = "") -> None:
    """Write the page to a file, which is there wholly or not at all; one of that name is replaced.

    Raises
    ------
    app.errors.UsageError
        When the name does not end like that of a page.
    app.errors.LogError
        When the file cannot be written.
    """
    check_ending(path)
    content = parcel_text(takes, letter).encode("utf-8")
    try:
        with whole_file(path) as file:
            file.write(content)
    except OSError as error:
        raise LogError(
            log_words.cannot_be_exported(str(path), error.strerror or str(error)), repr(error)
        ) from error


def check_ending(path: Path) -> None:
    """Find out that a file's name is wrong before any work is done.

    Raises
    ------
    app.errors.UsageError
        When it does not end like that of a page.
    """
    if path.suffix.lower() not in ENDINGS:
        raise UsageError(words.wrong_ending(str(path)))


def read_parcel(text: str) -> dict[str, Any] | None:
    """The takes in a page that was sent, as JSON has them; None where there are none in it."""
    finder = _Finder()
    try:
        finder.feed(text)
        found = json.loads(finder.data or "null")
    # Python's parser asserts where a declaration is broken; numbers and nesting have their limits.
    except (ValueError, AssertionError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


class _Finder(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.data: str | None = None
        self._inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._inside = tag == "script" and ("id", DATA_ID) in attrs

    def handle_endtag(self, tag: str) -> None:  # noqa: ARG002 - the parser's signature
        self._inside = False

    def handle_data(self, data: str) -> None:
        if self._inside:
            self.data = (self.data or "") + data


def _anonymous(take: TakeDetail, folder: str) -> TakeDetail:
    row = take.row
    return replace(
        take,
        row=replace(
            row,
            name=_hidden(row.name, folder),
            part=_hidden(row.part, folder),
            notes=_hidden(row.notes, folder),
            input_name=_hidden(row.input_name, folder),
        ),
    )


def _hidden(text: str, folder: str) -> str:
    """A text without the home folder: whose computer it is, is nobody's business."""
    return text if folder in ("", "/") else text.replace(folder, "~")
