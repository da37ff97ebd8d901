"""Takes as a file for somebody else: JSON, CSV or a page to print, by the ending of the file's name.

Nothing in it names a folder of this computer.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import app
from app.errors import LogError, UsageError
from app.log.document import take_document
from app.log.records import TakeDetail
from app.log.sheet import html_text
from app.log.table import csv_text
from app.log.whole import whole_file
from app.words import log as words


def json_text(takes: Sequence[TakeDetail]) -> str:
    """One document: the version, and the takes as ``takes show --json`` has each."""
    document = {"swellmark": app.__version__, "takes": [take_document(take) for take in takes]}
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


_FORMATS: Mapping[str, tuple[Callable[[Sequence[TakeDetail]], str], str]] = {
    ".json": (json_text, "utf-8"),
    # Spreadsheets take CSV for a local code page unless it begins with this mark.
    ".csv": (csv_text, "utf-8-sig"),
    ".html": (html_text, "utf-8"),
    ".htm": (html_text, "utf-8"),
}

ENDINGS = (".json", ".csv", ".html")
"""What a file to export to may end in."""


def check_ending(path: Path) -> None:
    """Find out that a file's ending is unknown before any work is done.

    Raises
    ------
    app.errors.UsageError
        When it is.
    """
    if path.suffix.lower() not in _FORMATS:
        raise UsageError(words.unknown_ending(str(path), ENDINGS))


def export(takes: Sequence[TakeDetail], path: Path) -> None:
    """Write takes to a file, which is there wholly or not at all; one of that name is replaced.

    Raises
    ------
    app.errors.UsageError
        When the ending of the name is not one of :data:`ENDINGS`.
    app.errors.LogError
        When the file cannot be written.
    """
    check_ending(path)
    make_text, encoding = _FORMATS[path.suffix.lower()]
    content = make_text(takes).encode(encoding)
    try:
        with whole_file(path) as file:
            file.write(content)
    except OSError as error:
        raise LogError(
            words.cannot_be_exported(str(path), error.strerror or str(error)), repr(error)
        ) from error
