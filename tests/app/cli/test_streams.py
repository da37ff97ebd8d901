"""Commands as processes of their own: signals, pipes that close, and terminals that know few signs."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import struct
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest


def output_of(process, timeout_s=40.0):
    out, errors = process.communicate(timeout=timeout_s)
    return process.returncode, out, errors


def the_take(start):
    status, out, _ = output_of(start("takes", "show", "1", "--json"))
    assert status == 0
    return json.loads(out)


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_ends_a_watch_cleanly(start, number):
    process = start("watch", "--input", "player:bass", "--take", "Until now")
    assert b"Listening to" in process.stdout.readline()
    process.send_signal(number)
    process.send_signal(number)  # somebody is in a hurry
    status, out, errors = output_of(process)
    assert status in (0, 1)
    assert errors == b""
    assert out.decode().splitlines()[-1] == "Take 1 is in the log: no clips."
    assert the_take(start)["state"] == "closed"


def test_a_reader_that_leaves_ends_a_watch_quietly(start):
    process = start("watch", "--input", "player:bass", "--json", "--take", "Read once")
    json.loads(process.stdout.readline())
    process.stdout.close()
    process.wait(20)
    assert process.stderr.read() == b""
    assert process.returncode in (0, 1)
    assert the_take(start)["state"] == "closed"


def test_a_reader_that_leaves_ends_a_check_quietly(start, sound, phrases):
    path = sound("fair.wav", phrases(-15.0, seconds=1.0))
    for arguments in (["check", "--json", path], ["check", path]):
        read, write = os.pipe()
        os.close(read)
        process = start(*arguments, stdout=write)
        os.close(write)
        status, _, errors = output_of(process)
        assert (status, errors) == (141, b"")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no /dev/full")
def test_a_full_disk_behind_stdout_is_one_line(start, sound, phrases):
    with open("/dev/full", "wb") as full:
        status, _, errors = output_of(start("check", sound("fair.wav", phrases(-15.0, 1.0)), stdout=full))
    assert status == 2
    assert errors.decode().splitlines() == ["swellmark: No space left on device"]


PLAIN = {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"}


@pytest.mark.parametrize(
    "env",
    [PLAIN, {"PYTHONIOENCODING": "cp1252"}],
    ids=["C", "cp1252"],
)
def test_terminals_that_know_few_signs(start, sound, phrases, env, tmp_path):
    path = sound("fair.wav", phrases(-15.0, 4.0)).rename(tmp_path / "Übung.wav")
    processes = [
        start("check", path, env=env),
        start("check", "--json", path, env=env),
        start("watch", "--unpaced", "--input", f"file:{path}", env=env),
        start("check", f"{path}.gone", env=env),
    ]
    text, document, watched, gone = (output_of(process) for process in processes)
    encoding = env.get("PYTHONIOENCODING", "ascii")
    assert "-15." in text[1].decode(encoding)  # the minus sign is not lost
    assert os.fsencode(json.loads(document[1].decode(encoding))["files"][0]["path"]) == os.fsencode(path)
    assert "highest peak -15.0" in watched[1].decode(encoding)
    assert "?15" not in (text[1] + watched[1]).decode(encoding)
    assert gone[0] == 2
    assert gone[2].count(b"\n") == 1
    assert all(b"Traceback" not in result[2] for result in (text, document, watched, gone))


@pytest.fixture
def tiny_disk(home):
    """A disk of two megabytes where the log is; needs the right to mount one."""
    folder = home / ".local" / "share" / "swellmark"
    folder.mkdir(parents=True)
    mounted = (
        subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=2m,mode=700", "tmpfs", folder],
            capture_output=True,
            check=False,
        )
        if os.path.exists("/bin/mount")
        else None
    )
    if mounted is None or mounted.returncode != 0:
        pytest.skip("only root may mount a tiny disk")
    yield folder
    subprocess.run(["umount", "-l", folder], check=True)


def test_a_full_disk_costs_neither_the_metering_nor_what_is_logged(start, sound, phrases, tiny_disk):
    samples = phrases(-15.0, seconds=1.5)
    samples[24_000:24_008] = 1.0
    path = sound("clipped.wav", samples)
    status, _, errors = output_of(start("watch", "--unpaced", "--input", f"file:{path}", "--take", "Before"))
    assert (status, errors) == (1, b"")
    before = the_take(start)
    with contextlib.suppress(OSError), open(tiny_disk / "filler", "wb", buffering=0) as filler:
        while True:
            filler.write(bytes(4096))
    noisy = np.tile(samples, (2, 1))
    process = start("watch", "--json", "--input", f"file:{sound('long.wav', noisy)}", "--take", "After")
    status, out, errors = output_of(process)
    lines = out.splitlines()
    assert json.loads(lines[-1])["t_s"] == pytest.approx(3.0)  # it went on to the end
    assert json.loads(lines[-1])["per_channel"][0]["clips"] == 2
    assert status == 2
    at_once, at_the_end = errors.decode().splitlines()
    assert "kept in memory" in at_once
    assert "could not be written to its end" in at_the_end
    (tiny_disk / "filler").unlink()
    assert the_take(start) == before


@pytest.mark.skipif(not os.path.exists("/proc/self/stat"), reason="no list of processes to look into")
@pytest.mark.parametrize("options", [[], ["--json"]])
def test_an_interrupt_ends_a_check_at_once_and_says_what_was_measured(
    start, sound, phrases, tmp_path, options
):
    first = sound("fair.wav", phrases(-15.0, seconds=1.0))
    # Hours of silence that take no room on the disk, twice: long enough for processes aside.
    endless = []
    for name in ("one.au", "two.au"):
        path = tmp_path / name
        with path.open("wb") as file:
            file.write(struct.pack(">4sIIIII", b".snd", 24, 2_000_000_000, 3, 48_000, 2))
            file.truncate(2_000_000_024)
        endless.append(path)
    out = tmp_path / "out"
    with out.open("wb") as stdout:
        process = start("check", *options, first, *endless, stdout=stdout, start_new_session=True)
        children = until(lambda: children_of(process.pid), 20.0)
        assert len(children) >= 1
        # While processes still import, and while they measure.
        assert options or until(out.read_text, 20.0)
        os.killpg(process.pid, signal.SIGINT)  # as a terminal does it
        _, errors = process.communicate(timeout=10)
    assert process.returncode == 130
    (line,) = errors.decode().splitlines()
    assert line.startswith("swellmark: stopped; ")
    if options:
        assert json.loads(out.read_text())["stopped"] is True
    else:
        assert out.read_text().splitlines()[-1].startswith("1 file measured, none needs attention")
    assert until(lambda: not any(os.path.exists(f"/proc/{child}") for child in children), 5.0)


def children_of(pid):
    return [
        int(stat.parent.name)
        for stat in Path("/proc").glob("[0-9]*/stat")
        if (fields := read_or_nothing(stat).rpartition(")")[2].split()) and int(fields[1]) == pid
    ]


def read_or_nothing(path):
    try:
        return path.read_text()
    except OSError:  # it has ended meanwhile
        return ""


def until(holds, seconds):
    """Wait for a condition; returns what it came to."""
    ends = time.monotonic() + seconds
    while not (came := holds()) and time.monotonic() < ends:
        time.sleep(0.01)
    return came
