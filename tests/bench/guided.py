"""The program's own parsers, fed by a fuzzer that watches which lines of them are reached.

    python tests/bench/guided.py [--seconds 60] [--only parts wav ...]

Each target reads what somebody else may have written: it takes it, or refuses it with a sentence of the
program's (a :class:`~app.errors.SwellmarkError`); whatever else is raised is a fault, and so is a value that
does not come back as it was written. Each runs in a process of its own; the input that broke one is printed
and kept. Needs atheris, which is no dependency of anything here: ``python -m pip install atheris``. It does
not see into libsndfile and Qt: ``fuzz.py`` is for what they read.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import functools
import io
import json
import math
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

try:
    import atheris
except ImportError:
    atheris = None

if atheris is not None and "--target" in sys.argv:
    with atheris.instrument_imports(include=["app", "tomllib", "json", "html"]):
        from app.cli import channeldesk
        from app.coach import parts
        from app.errors import SwellmarkError
        from app.inputs import devices, spec
        from app.log import bars, edit, export, marks, parcel, records, saving, store, table
        from app.settings import Memory

_KEPT = Path(tempfile.gettempdir()) / "swellmark-guided"
_MOST_BYTES = 8192
"""Numbers of more digits than Python reads fit in."""
_TONE = b"RIFF\x34\0\0\0WAVEfmt \x10\0\0\0\1\0\1\0\x80\xbb\0\0\0\x77\1\0\2\0\x10\0data\x04\0\0\0\0\0\0\0"
_CUES = b"cue \x1c\0\0\0\1\0\0\0\1\0\0\0\0\0\0\0data\0\0\0\0\0\0\0\0\0\0\0\0"
_PARTS = b'[banjo]\nname = "Banjo"\nrules = "peaks"\ncrest_db = 14.0\ngrowth_db = 2.0\ngrowth_sd_db = 1.5\n'


def read_parts(data: bytes) -> None:
    """A user's own parts."""
    file = _written("parts.toml", data)
    for part in parts.load_parts(file).values():
        assert part.name
        assert math.isfinite(part.crest_db + part.growth_db + part.growth_sd_db)


def read_settings(data: bytes) -> None:
    """What is remembered between runs; never raises, and takes what is put."""
    memory = Memory(_written("settings.json", data))
    assert memory.get("input") is None or isinstance(memory.get("input"), str)
    memory.put("guided", "1")
    assert memory.get("guided") == "1"


def read_seats(data: bytes) -> None:
    """What was remembered of the channels; never raises."""
    for channel, seat in channeldesk._read(_text(data)).items():
        assert channel >= 0
        assert isinstance(seat.name, str)


def read_spec(data: bytes) -> None:
    """What is written behind ``--input``."""
    parsed = spec.parse_spec(_text(data))
    if isinstance(parsed, spec.DeviceSpec):
        one = devices.DeviceInfo(0, "Desk pair", "ALSA", 2, 48_000.0, is_default=True)
        device, picks = devices.resolve(parsed, [one])
        assert device is one
        assert all(1 <= pick <= one.channels for pick in picks)
        assert spec.parse_spec(one.spec(picks)) == spec.DeviceSpec(one.spec(picks).partition(":")[2])


def read_wav(data: bytes) -> None:
    """The chunks of a WAV file; a marked copy can be marked again."""
    sound, copy, again = _written("sound.wav", data), _folder() / "copy.wav", _folder() / "again.wav"
    mark = marks.Mark(0.0, "here")
    written = marks.marked_copy(sound, copy, [mark])
    assert marks.marked_copy(copy, again, [mark]) == written
    assert again.stat().st_size >= copy.stat().st_size


def read_parcel(data: bytes) -> None:
    """A page that was sent."""
    found = parcel.read_parcel(_text(data))
    assert found is None or isinstance(found, dict)


def write_exports(data: bytes) -> None:
    """What is written of a take with any name comes back from CSV and JSON as it was."""
    provider = atheris.FuzzedDataProvider(data)
    name, notes, detail = (provider.ConsumeUnicodeNoSurrogates(40) for _ in range(3))
    figure = provider.ConsumeFloat()
    take = _take(name, notes, detail, figure)
    (row,) = json.loads(export.json_text([take]))["takes"]
    assert (row["name"], row["notes"]) == (take.row.name, take.row.notes)
    rows = list(csv.DictReader(io.StringIO(table.csv_text([take]), newline="")))
    assert table.unguarded(rows[0]["name"]) == take.row.name or table.guarded(take.row.name) == take.row.name
    assert table.guarded(take.row.notes) == rows[0]["notes"]
    export.html_text([take])


def read_rows(data: bytes) -> None:
    """A log in which somebody wrote anything at all into one cell is listed, shown and exported."""
    provider = atheris.FuzzedDataProvider(data)
    tables = {"take": "number", "channel": "take", "event": "take", "trace": "take", "session": "number"}
    table_name = provider.PickValueInList(list(tables))
    path = _written("takes.db", _log_bytes())
    with contextlib.closing(sqlite3.connect(path)) as database:
        columns = [row[1] for row in database.execute(f"PRAGMA table_info({table_name})")]
        column = provider.PickValueInList(columns)
        kinds = (
            lambda: provider.ConsumeInt(8),
            provider.ConsumeFloat,
            lambda: provider.ConsumeUnicodeNoSurrogates(30),
            lambda: provider.ConsumeBytes(30),
            lambda: None,
        )
        value = provider.PickValueInList(list(kinds))()
        database.execute("PRAGMA ignore_check_constraints = on")
        with contextlib.suppress(sqlite3.Error, OverflowError):
            database.execute(f"UPDATE {table_name} SET {column} = ?", (value,))
        database.commit()
    with store.Store(path) as log:
        log.sessions()
        for row in log.list_takes():
            take = log.take(row.number)
            for write in (export.json_text, table.csv_text, export.html_text):
                write([take])


@functools.cache
def _log_bytes() -> bytes:
    path = _folder() / "good.db"
    with store.Store(path) as log, log.writing():
        update = records.TakeUpdate(
            uid="1",
            name="Verse",
            part="bass",
            started_us=1_700_000_000_000_000,
            utc_offset_s=3600,
            input_spec="player",
            input_name="Player",
            rate_hz=48_000,
            state=records.TakeState.CLOSED,
            frames=480_000,
            lost_frames=0,
            verdict=None,
            per_channel=(records.ChannelFigures(-9.0, -16.0, -70.0, 0),),
            trace=records.LevelTrace(0.1, bytes(400)),
        )
        number = saving.save_take(log, update, None, "nobody")
        saving.save_events(log, number, 0, [records.TakeEvent("clip", 480, 1, 7, 0.0)])
        edit.set_metre(number, bars.Metre(120.0, 4))(log)
    return path.read_bytes()


def count_bars(data: bytes) -> None:
    """A place in bars and beats, whatever was said to count by."""
    provider = atheris.FuzzedDataProvider(data)
    t_s, tempo, count_in_s = (provider.ConsumeFloat() for _ in range(3))
    try:
        metre = bars.Metre(tempo, provider.ConsumeIntInRange(-2, 1000), count_in_s)
    except ValueError:
        return
    if abs(t_s) < 1e9:
        bar, beat = bars.bar_and_beat(t_s, metre)
        assert isinstance(bar, int)
        assert 1.0 <= beat <= metre.beats_per_bar + 1.0


TARGETS: dict[str, tuple[Callable[[bytes], None], tuple[bytes, ...]]] = {
    "parts": (read_parts, (_PARTS,)),
    "settings": (read_settings, (b'{"input": "player"}',)),
    "seats": (read_seats, (b'{"1": {"name": "left", "part": "bass"}}',)),
    "spec": (read_spec, (b"device:ALSA/Desk pair:1,2", b"player:drums:-6", b"file:a.wav")),
    "wav": (read_wav, (_TONE, _TONE.replace(b"RIFF\x34", b"RIFF\x58") + _CUES)),
    "parcel": (read_parcel, (b'<html><script type="application/json" id="takes">{"a": 1}</script>',)),
    "exports": (write_exports, (b"=1+1\n\0" * 10,)),
    "rows": (read_rows, (bytes(range(30)), bytes(range(60, 90)))),
    "bars": (count_bars, (bytes(range(40)),)),
}


def _take(name: str, notes: str, detail: str, figure: float) -> Any:
    figure = min(0.0, figure) if math.isfinite(figure) else math.nan
    row = records.TakeRow(
        number=1,
        name=records.storable(name),
        part="bass",
        started="2026-11-25T20:00:00+01:00",
        duration_s=30.0,
        state=records.TakeState.CLOSED,
        verdict=None,
        input_name="Player",
        rate_hz=48_000,
        lost_frames=0,
        clips=0,
        peak_dbfs=None,
        notes=records.storable(notes),
    )
    event = records.TakeEvent("verdict", 480, None, None, None, detail=records.storable(detail))
    return records.TakeDetail(row, (records.ChannelFigures(figure, figure, figure, 0),), (event,))


def _folder() -> Path:
    return Path(_scratch.name)


def _written(name: str, data: bytes) -> Path:
    file = _folder() / name
    file.write_bytes(data)
    return file


def _text(data: bytes) -> str:
    return data.decode("utf-8", errors="replace")


def run_target(name: str, seconds: float, corpus: Path) -> None:
    """Feed one target until the time is over. libFuzzer ends the process."""
    target, _ = TARGETS[name]

    def one(data: bytes) -> None:
        with contextlib.suppress(SwellmarkError):
            target(data)

    arguments = [
        f"-max_total_time={seconds:g}",
        f"-max_len={_MOST_BYTES}",
        "-timeout=20",
        "-rss_limit_mb=2048",
    ]
    kept = f"-artifact_prefix={_KEPT}/{name}-"
    atheris.Setup([sys.argv[0], *arguments, kept, str(corpus)], one)
    atheris.Fuzz()


def feed(name: str, seconds: float) -> bool:
    """Run a target in a process of its own; whether it held, with a line about it."""
    with tempfile.TemporaryDirectory(prefix="guided-") as folder:
        for number, seed in enumerate(TARGETS[name][1]):
            (Path(folder) / str(number)).write_bytes(seed)
        command = [
            sys.executable,
            __file__,
            "--target",
            name,
            "--seconds",
            f"{seconds:g}",
            "--corpus",
            folder,
        ]
        done = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False)
    said = done.stderr.splitlines()
    last = next((line for line in reversed(said) if line.startswith("#") and "cov:" in line), "")
    print(f"{name}: {'held' if done.returncode == 0 else 'BROKE'}; {' '.join(last.split()[:6])}", flush=True)
    if done.returncode:
        told = [
            line for line in (done.stdout + done.stderr).splitlines() if not line.startswith(("INFO", "WARN"))
        ]
        print("\n".join(told[:40]), flush=True)
    return done.returncode == 0


def main() -> int:
    """Run the targets one after the other."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--seconds", type=float, default=60.0)
    arguments.add_argument("--only", nargs="*", choices=list(TARGETS), default=list(TARGETS))
    arguments.add_argument("--target", choices=list(TARGETS), help=argparse.SUPPRESS)
    arguments.add_argument("--corpus", type=Path, help=argparse.SUPPRESS)
    chosen = arguments.parse_args()
    if atheris is None:
        print("atheris is not installed (python -m pip install atheris); nothing was tried.", file=sys.stderr)
        return 2
    _KEPT.mkdir(exist_ok=True)
    if chosen.target:
        run_target(chosen.target, chosen.seconds, chosen.corpus)
        return 0
    held = [feed(name, chosen.seconds) for name in chosen.only]
    return int(not all(held))


_scratch = tempfile.TemporaryDirectory(prefix="guided-")

if __name__ == "__main__":
    sys.exit(main())
