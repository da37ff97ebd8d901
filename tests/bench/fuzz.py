"""Bad input of every kind: each is measured, or refused in one line; nothing crashes, hangs or eats memory.

    python tests/bench/fuzz.py [--examples 2000] [--only wav flac ...] [--together] [--seed 1]

Valid small files are mutated by hypothesis: bits flipped, sizes and counts overwritten with the values at
which programs trip, parts cut out, doubled, put elsewhere, cut off. Then the command that reads them is run
as a user would run it. Each kind has a process of its own with a limit on its memory, so that a crash of a
C library is caught as well; the input that did it is kept and named. ``--together`` runs all in one process.
Exit status 1 for a traceback, a fault of ours in one line, an exit status that means nothing, more than one
line of complaint, a case of more than 20 seconds, or memory that grew by more than 400 MB.
"""

from __future__ import annotations

import argparse
import contextlib
import faulthandler
import io
import json
import logging
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import soundfile
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from app.cli.terminal import stderr_of_our_own

SLOW_S = 20.0
MOST_GROWTH_MB = 400.0
_LIMIT_BYTES = 4 * 1024**3
_ENDLESS_S = 3.0
"""Commands that would go on get a Ctrl-C by then."""
SOUNDS = {
    "wav": ("WAV", "PCM_24"),
    "float": ("WAV", "FLOAT"),
    "adpcm": ("WAV", "IMA_ADPCM"),
    "rf64": ("RF64", "PCM_16"),
    "aiff": ("AIFF", "PCM_16"),
    "flac": ("FLAC", "PCM_16"),
    "ogg": ("OGG", "VORBIS"),
    "mp3": ("MP3", "MPEG_LAYER_III"),
}
_WORDS = (
    *("check", "takes", "balance", "watch", "list", "show", "export", "--json", "--part", "--to", "--input"),
    *("--seconds", "--take", "--take-seconds", "--backing", "--write", "--help", "--", "-", "1", "-1", "0"),
    *("nan", "inf", "1e999", "99999999999999999999", "drums", "banjo", "player", "player:drums:99"),
    *("file:take.wav", "file:", "device:", "device:x:0", "take.wav", "nowhere.wav", ".", "..", "a.csv"),
)
_NASTY = (0, 1, 2, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)

PARTS_TOML = """
[banjo]
name = "Banjo"
rules = "peaks"
crest_db = 14.0
growth_db = 2.0
growth_sd_db = 1.5
hints = ["Damp the head a little."]
"""


# Mutations.


@dataclass(frozen=True)
class Edit:
    """One change of some bytes."""

    what: str
    at: float
    """0 to 1: where, as a share of the length."""
    size: int
    value: int

    def apply(self, data: bytes) -> bytes:
        """Return the changed bytes."""
        at = min(len(data), int(self.at * (len(data) + 1)))
        end = min(len(data), at + self.size)
        match self.what:
            case "flip" if at < len(data):
                return data[:at] + bytes((data[at] ^ (1 << self.value % 8),)) + data[at + 1 :]
            case "little" | "big":
                width = (1, 2, 4, 8)[self.size % 4]
                number = _NASTY[self.value % len(_NASTY)] % (1 << 8 * width)
                return data[:at] + number.to_bytes(width, self.what) + data[at + width :]  # type: ignore[arg-type]
            case "cut":
                return data[:at] + data[end:]
            case "double":
                return data[:end] + data[at:end] * (1 + self.value % 8) + data[end:]
            case "move":
                target = self.value % (len(data) + 1)
                return (rest := data[:at] + data[end:])[:target] + data[at:end] + rest[target:]
            case "noise":
                return data[:at] + np.random.default_rng(self.value).bytes(self.size) + data[end:]
            case "end":
                return data[:at]
        return data


def edits(header: int, length: int) -> st.SearchStrategy[list[Edit]]:
    """Changes that meet the header, where a file makes its claims, as often as all the rest."""
    share = min(1.0, header / max(1, length))
    place = st.floats(0.0, 1.0) | st.floats(0.0, share) | st.floats(0.0, share)
    kinds = st.sampled_from(("flip", "flip", "little", "big", "cut", "double", "move", "noise", "end"))
    edit = st.builds(Edit, kinds, place, st.integers(0, 64), st.integers(0, 2**16))
    return st.lists(edit, min_size=1, max_size=6)


def mutated(data: bytes, header: int = 128) -> st.SearchStrategy[bytes]:
    """Valid bytes, changed in a few places."""

    def apply(changes: list[Edit]) -> bytes:
        changed = data
        for each in changes:
            changed = each.apply(changed)
        return changed

    return edits(header, len(data)).map(apply)


# Running, and judging.


@dataclass
class Outcome:
    """What came of many cases."""

    statuses: Counter[str] = field(default_factory=Counter)
    slowest_s: float = 0.0


class _Faults(logging.Handler):
    """Notices what the command line reports as a fault of its own, although it does so in one line."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.seen: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        error = record.exc_info[1] if record.exc_info else None
        self.seen.append(f"{record.name}: {record.getMessage()}: {error!r}")


FAULTS = _Faults()


def command(*arguments: str) -> tuple[int, str, str]:
    """Run ``swellmark`` in this process: exit status, stdout, stderr."""
    from app.cli.main import main

    streams = [io.TextIOWrapper(io.BytesIO(), encoding="utf-8", errors="backslashreplace") for _ in range(2)]
    status: object = 0
    with contextlib.redirect_stdout(streams[0]), contextlib.redirect_stderr(streams[1]):
        try:
            main(list(arguments))
        except SystemExit as end:
            status = end.code
    texts = []
    for stream in streams:
        stream.flush()
        texts.append(stream.buffer.getvalue().decode("utf-8", "replace"))  # type: ignore[attr-defined]
    return (status if isinstance(status, int) else 1), texts[0], texts[1]


def judged(*arguments: str, may_stop: bool = False) -> str:
    """Run a command, and see that it measured or refused."""
    FAULTS.seen.clear()
    status, said, complained = command(*arguments)
    assert not FAULTS.seen, f"{arguments}: {FAULTS.seen}"
    assert "Traceback" not in said + complained, f"{arguments}: {said}{complained}"
    assert status in ((0, 1, 2, 130) if may_stop else (0, 1, 2)), f"{arguments}: status {status}"
    lines = [line for line in complained.splitlines() if line.strip()]
    if status == 2 and "Usage" not in complained:
        # One for each file that was asked for.
        assert 1 <= len(lines) <= max(1, len(arguments) - 1), f"{arguments}: {complained!r}"
        assert all(line.startswith("swellmark: ") for line in lines), f"{arguments}: {complained!r}"
    if status in (0, 1) and "--json" in arguments and "--help" not in arguments and said.strip():
        for line in said.splitlines() if "watch" in arguments else [said]:
            json.loads(line, parse_constant=_no_constant)
    return "refused" if status == 2 else "read"


def _no_constant(name: str) -> None:
    raise AssertionError(f"{name} in JSON")


def fuzz(strategy: st.SearchStrategy[Any], case: Callable[[Any], str], chosen: argparse.Namespace) -> Outcome:
    """Try many, and count what came of them."""
    outcome = Outcome()

    @seed(chosen.seed)
    @settings(
        max_examples=chosen.examples,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        phases=(Phase.generate, Phase.shrink),
    )
    @given(strategy)
    def run(value: Any) -> None:
        faulthandler.dump_traceback_later(SLOW_S, exit=True, file=sys.stderr)
        began_s = time.monotonic()
        outcome.statuses[case(value)] += 1
        outcome.slowest_s = max(outcome.slowest_s, time.monotonic() - began_s)

    run()
    faulthandler.cancel_dump_traceback_later()
    return outcome


# The kinds.


def tone() -> np.ndarray[Any, Any]:
    """A tenth of a second of two tones."""
    t = np.arange(4_410) / 44_100
    return np.stack((0.3 * np.sin(2 * np.pi * 440 * t), 0.2 * np.sin(2 * np.pi * 220 * t)), axis=1)


def sound(kind: str) -> Callable[[argparse.Namespace], Outcome]:
    """Sound files of a format."""

    def run(chosen: argparse.Namespace) -> Outcome:
        container, coding = SOUNDS[kind]
        path = Path(f"case.{container.lower()}")
        soundfile.write(path, tone(), 44_100, format=container, subtype=coding)
        data = path.read_bytes()

        def case(changed: bytes) -> str:
            path.write_bytes(changed)
            return judged("check", str(path), "--json")

        return fuzz(mutated(data), case, chosen)

    return run


def parts(chosen: argparse.Namespace) -> Outcome:
    """The user's own part profiles."""
    from app import settings as own

    file = own.own_parts_file()
    soundfile.write("take.wav", tone(), 44_100)

    def case(changed: bytes) -> str:
        file.write_bytes(changed)
        return judged("check", "take.wav", "--part", "banjo", "--json")

    valid = PARTS_TOML.encode()
    try:
        return fuzz(mutated(valid, len(valid)) | st.binary(max_size=200), case, chosen)
    finally:
        file.unlink(missing_ok=True)


def settings_file(chosen: argparse.Namespace) -> Outcome:
    """The settings."""
    from app.settings import Memory

    path = Path("settings.json")
    valid = json.dumps({"theme": "night", "input": "player", "text_percent": "100"}, indent=1).encode()

    def case(changed: bytes) -> str:
        path.write_bytes(changed)
        memory = Memory(path)
        known = [memory.get(name) for name in ("theme", "input", "text_percent", "\ud800")]
        assert all(value is None or isinstance(value, str) for value in known)
        memory.put("theme", "day")
        assert Memory(path).get("theme") == "day"
        return "read" if any(known) else "refused"

    return fuzz(mutated(valid, len(valid)) | st.binary(max_size=200), case, chosen)


def database(chosen: argparse.Namespace) -> Outcome:
    """The take log."""
    from app.log.writer import LogWriter
    from app.settings import data_folder

    status, _, complained = command("watch", "--input", "player", "--take", "A take", "--seconds", "1")
    assert status in (0, 1), complained
    log = LogWriter()  # which takes the journal in
    log.close()
    folder, name = log.path.parent, log.path.name
    data = log.path.read_bytes()
    rng = np.random.default_rng(chosen.seed)

    def case(changed: bytes) -> str:
        shutil.rmtree(folder)
        (data_folder() / name).write_bytes(changed)
        arguments = (
            ("takes", "list", "--json"),
            ("takes", "show", "1", "--json"),
            ("takes", "export", "1", "--to", "out.html"),
            ("takes", "export", "1", "--to", "out.csv"),
        )
        status = {judged(*each) for each in arguments}
        for out in Path().glob("out.*"):
            out.unlink()
        if rng.random() < 0.1:  # the writer sets a damaged one aside
            log = LogWriter()
            log.close()
            judged("takes", "list", "--json")
        return "read" if status == {"read"} else "refused"

    try:
        return fuzz(mutated(data, 4096), case, chosen)
    finally:
        shutil.rmtree(folder)


def commands(chosen: argparse.Namespace) -> Outcome:
    """Command lines."""
    soundfile.write("take.wav", tone(), 44_100)
    words = st.sampled_from(_WORDS)
    anything = st.text(st.characters(exclude_characters="\0", exclude_categories=()), max_size=12)
    first = st.sampled_from(("check", "takes", "balance", "watch", "completion", "chekc"))
    lines = st.tuples(first, st.lists(words | words | words | anything, max_size=7))

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    def case(line: tuple[str, list[str]]) -> str:
        signal.setitimer(signal.ITIMER_REAL, _ENDLESS_S)
        try:
            return judged(line[0], *line[1], may_stop=True)
        except KeyboardInterrupt:
            return "stopped"
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)

    before = signal.signal(signal.SIGALRM, stop)
    try:
        return fuzz(lines, case, chosen)
    finally:
        signal.signal(signal.SIGALRM, before)


KINDS: dict[str, Callable[[argparse.Namespace], Outcome]] = {
    **{kind: sound(kind) for kind in SOUNDS},
    "parts": parts,
    "settings": settings_file,
    "database": database,
    "commands": commands,
}


# The bench.


def run_kinds(kinds: list[str], chosen: argparse.Namespace) -> None:
    """Run in this process, in a folder of its own."""
    logging.getLogger("app").addHandler(FAULTS)
    logging.getLogger("app").propagate = False
    with tempfile.TemporaryDirectory(prefix="fuzz-") as folder:
        inside = Path(folder) / "inside"  # so that ".." is nobody else's
        inside.mkdir()
        os.chdir(inside)
        for name in ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
            os.environ[name] = folder
        for kind in kinds:
            command("check", "nowhere.wav")  # imports what it needs
            before_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            outcome = KINDS[kind](chosen)
            growth_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 - before_mb
            counts = ", ".join(f"{count} {what}" for what, count in sorted(outcome.statuses.items()))
            print(
                f"{kind:9}: {counts}; slowest {outcome.slowest_s:.2f} s; memory +{growth_mb:.0f} MB",
                flush=True,
            )
            assert growth_mb < MOST_GROWTH_MB, f"{kind} took {growth_mb:.0f} MB"
        os.chdir("/")


def main() -> int:
    """Run, print, judge."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--examples", type=int, default=2000)
    arguments.add_argument("--only", nargs="*", choices=list(KINDS), default=list(KINDS))
    arguments.add_argument("--together", action="store_true")
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    chosen = arguments.parse_args()
    if chosen.together or chosen.inside:
        if chosen.inside:
            resource.setrlimit(resource.RLIMIT_AS, (_LIMIT_BYTES, _LIMIT_BYTES))
        with stderr_of_our_own():  # decoders say a lot about such files
            faulthandler.enable()
            run_kinds(chosen.only, chosen)
            faulthandler.disable()
        return 0
    failed = []
    for kind in chosen.only:
        more = ["--examples", str(chosen.examples), "--seed", str(chosen.seed)]
        done = subprocess.run([sys.executable, __file__, "--inside", "--only", kind, *more], check=False)
        if done.returncode:
            failed.append(f"{kind} ({done.returncode})")
    print("all read or refused" if not failed else "FAILED: " + ", ".join(failed))
    return int(bool(failed))


if __name__ == "__main__":
    sys.exit(main())
