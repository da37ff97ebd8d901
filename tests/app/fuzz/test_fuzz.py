"""A short run of ``tests/bench/fuzz.py``, and the cases that it found."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from app.log.store import Store
from app.log.writer import LogWriter

BENCH = Path(__file__).parents[2] / "bench" / "fuzz.py"


@pytest.mark.skipif(sys.platform == "win32", reason="limits the memory of a process as POSIX does")
def test_bad_input_of_every_kind_is_read_or_refused_in_one_line():
    pytest.importorskip("hypothesis")
    kinds = ("wav", "aiff", "flac", "ogg", "mp3", "parts", "settings", "database", "commands")
    done = subprocess.run(
        [sys.executable, str(BENCH), "--together", "--examples", "8", "--only", *kinds],
        capture_output=True,
        text=True,
        timeout=110,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert [line.split()[0].rstrip(":") for line in done.stdout.splitlines()] == list(kinds)


def test_a_log_whose_schema_quotes_no_text(tmp_path):
    """SQLite quotes the broken schema in its complaint, which Python then cannot decode."""
    path = tmp_path / "takes.db"
    log = LogWriter(path)
    assert log.close()
    data = bytearray(path.read_bytes())
    at = data.index(b"NULL")
    data[at] ^= 0x80
    path.write_bytes(data)
    with Store(path) as store:
        assert store.count() == 0
        assert "damaged" in store.notice
    assert list(tmp_path.glob("takes-damaged-*.db"))
