"""``swellmark folder``: what it prints, and how it ends."""

from __future__ import annotations

import json
import signal
import threading


def test_what_is_there_is_measured_when_asked_for(run, sound, phrases, tmp_path):
    sound("fair.wav", phrases(-11.0))
    result = run("folder", tmp_path, "--existing", "--seconds", "4.5", "--part", "bass", "--json")
    (line,) = result.stdout.splitlines()
    document = json.loads(line)
    assert document["take"] == 1
    assert document["path"].endswith("fair.wav")
    assert document["per_channel"][0]["clips"] == []
    assert result.exit_code == (0 if document["verdict"] == "fair_water" else 1)
    assert "Watching" in result.stderr
    listed = json.loads(run("takes", "list", "--json").stdout)["takes"]
    assert [(take["name"], take["part"], take["input"]) for take in listed] == [("fair", "bass", "fair.wav")]


def test_it_ends_by_ctrl_c_and_says_what_came(start, sound, phrases, tmp_path):
    process = start("folder", tmp_path)
    watchdog = threading.Timer(60.0, process.kill)
    watchdog.start()
    try:
        for line in process.stderr:
            if b"Watching" in line:
                break
        hot = sound("hot \x1b[2J.wav", phrases(3.0))
        line = process.stdout.readline().decode()
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=30)
    finally:
        watchdog.cancel()
    assert hot.exists()
    assert "take 1, Awash, 0:08" in line
    assert "\x1b" not in line
    assert out.decode().strip() == "1 file joined the log."
    assert process.returncode == 1
    assert b"Traceback" not in err


def test_what_is_no_folder_gives_a_sentence(run, sound, phrases, tmp_path):
    path = sound("a.wav", phrases(-20.0, 1.0))
    for wrong in (path, tmp_path / "nowhere"):
        result = run("folder", wrong)
        assert result.exit_code == 2
        assert "is not a folder" in result.stderr
