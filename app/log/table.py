"""Takes as CSV after RFC 4180, safe to open in a spreadsheet.

One table: a row for each take, each of its channels and each of its events; the first column says which.
Text is quoted and guarded against being run as a formula (CWE-1236, and the OWASP page on CSV injection);
numbers stay bare, so that -23.1 is a number.
"""

from __future__ import annotations

import csv
import io
import unicodedata
from collections.abc import Iterable, Sequence
from typing import Any

from app.log.document import take_document
from app.log.records import TakeDetail

COLUMNS = (
    "entry",
    "take",
    "name",
    "part",
    "started",
    "state",
    "verdict",
    "input",
    "rate_hz",
    "duration_s",
    "lost_frames",
    "channel",
    "average_max_dbfs",
    "peak_dbfs",
    "headroom_db",
    "noise_floor_dbfs",
    "clips",
    "session",
    "kept",
    "notes",
    "kind",
    "t_s",
    "bar",
    "beat",
    "frames",
    "count",
    "over_db",
    "change_db",
    "detail",
)

_RISKY = frozenset("=+-@\t\r\n\0|%")
_GUARD = "'"


def csv_text(takes: Iterable[TakeDetail]) -> str:
    """The whole table, lines ended by CR LF."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for take in takes:
        for entry in _entries(take):
            writer.writerow([_cell(entry.get(column)) for column in COLUMNS])
    return out.getvalue()


def guarded(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet might run.

    Text that begins with an apostrophe gets one too, so that taking one away always gives the text back.
    """
    first = text.lstrip(" \N{NO-BREAK SPACE}\N{ZERO WIDTH NO-BREAK SPACE}")[:1]
    # NFKC turns full-width look-alikes into the signs that some programs take them for.
    risky = first and (first in _RISKY or unicodedata.normalize("NFKC", first) in _RISKY)
    return _GUARD + text if risky or text.startswith(_GUARD) else text


def unguarded(cell: str) -> str:
    """What :func:`guarded` was given."""
    return cell.removeprefix(_GUARD)


def _cell(value: Any) -> str | float | None:
    if isinstance(value, bool):
        return int(value)
    return guarded(value) if isinstance(value, str) else value


def _entries(take: TakeDetail) -> Sequence[dict[str, Any]]:
    document = take_document(take)
    channels = document.pop("per_channel")
    events = document.pop("events")
    named = {key: document[key] for key in ("take", "name", "part")}
    return [
        {"entry": "take", **document, "clips": take.row.clips},
        *(
            {"entry": "channel", **named, "channel": position, **channel}
            for position, channel in enumerate(channels, 1)
        ),
        *({"entry": "event", **named, **event} for event in events),
    ]
