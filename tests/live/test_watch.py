"""``swellmark watch`` on a real sound server: what is played arrives, is measured, and is in the log."""

from __future__ import annotations

import json
import signal
import subprocess
from typing import Any

import numpy as np
import pytest

pytestmark = pytest.mark.live

RATE_HZ = 48_000
DEVICE = "device:pulse:1,2"


class Watch:
    """A ``swellmark watch --json`` that runs, and what it said."""

    def __init__(self, server: Any, *arguments: str) -> None:
        self._process: subprocess.Popen[str] = server.start(
            "-m", "app.cli", "watch", "--input", DEVICE, "--json", *arguments
        )
        self.lines: list[dict[str, Any]] = []

    def wait_for(self, condition: Any) -> None:
        """Read lines until one fulfils the condition."""
        assert self._process.stdout is not None
        for text in self._process.stdout:
            self.lines.append(json.loads(text))
            if condition(self.lines[-1]):
                return
        _, errors = self._process.communicate(timeout=20)
        raise AssertionError(f"it ended after {len(self.lines)} lines: {errors}")

    def complaint(self) -> str:
        """Wait for the next line on stderr."""
        assert self._process.stderr is not None
        return self._process.stderr.readline()

    def interrupt(self) -> None:
        """Ctrl+C."""
        self._process.send_signal(signal.SIGINT)

    def result(self) -> tuple[int, str]:
        """Wait for its end; the exit status, and what was on stderr."""
        out, errors = self._process.communicate(timeout=40)
        self.lines += [json.loads(text) for text in out.splitlines()]
        return self._process.returncode, errors


def the_take(server: Any) -> dict[str, Any]:
    """The only take in the log."""
    done = server.run("-m", "app.cli", "takes", "list", "--json")
    (row,) = json.loads(done.stdout)["takes"]
    shown = server.run("-m", "app.cli", "takes", "show", str(row["take"]), "--json")
    assert shown.returncode == 0, shown.stderr
    take: dict[str, Any] = json.loads(shown.stdout)
    return take


def forget_takes(server: Any) -> None:
    for file in (server.home / ".local" / "share" / "swellmark").glob("takes*"):
        file.unlink()


def playing(seconds: float, left: float, right: float) -> np.ndarray:
    """Tones with these amplitudes, faded in, whose peaks fall on a sample."""
    t = np.arange(round(seconds * RATE_HZ))
    fade = np.minimum(1.0, t / (0.1 * RATE_HZ))
    return np.stack(
        [
            left * fade * np.sin(2 * np.pi * 500 * t / RATE_HZ),
            right * fade * np.sin(2 * np.pi * 750 * t / RATE_HZ),
        ],
        axis=1,
    ).astype(np.float32)


def with_clips(samples: np.ndarray) -> np.ndarray:
    """Full scale for 5 frames on the left at 1 s, for 9 frames on the right at 2 s."""
    samples[RATE_HZ : RATE_HZ + 5, 0] = 1.0
    samples[2 * RATE_HZ : 2 * RATE_HZ + 9, 1] = -1.0
    return samples


def highest(lines: list[dict[str, Any]], channel: int) -> float:
    heard = [line["per_channel"][channel]["peak_dbfs"] for line in lines]
    return max(peak for peak in heard if peak is not None)


def test_what_is_played_is_what_is_measured(sound_server):
    watch = Watch(sound_server)
    watch.wait_for(lambda line: True)
    sound_server.play_samples(playing(3.0, 0.5, 0.1))
    played = {"frames": 0}

    def over(line: dict[str, Any]) -> bool:
        played["frames"] += line["per_channel"][0]["peak_dbfs"] is not None
        return played["frames"] > 0 and line["per_channel"][0]["peak_dbfs"] is None

    watch.wait_for(over)
    watch.interrupt()
    status, errors = watch.result()
    assert errors == ""
    assert status in (0, 1)
    assert highest(watch.lines, 0) == pytest.approx(20 * np.log10(0.5), abs=0.1)
    assert highest(watch.lines, 1) == pytest.approx(-20.0, abs=0.1)
    last = watch.lines[-1]
    assert last["lost_frames"] == 0
    assert [channel["clips"] for channel in last["per_channel"]] == [0, 0]
    # A sine's average is its peak (AES17), and it was long enough to settle.
    averages = [line["per_channel"][1]["average_max_dbfs"] or -200.0 for line in watch.lines]
    assert max(averages) == pytest.approx(-20.0, abs=0.2)


def test_clips_are_in_the_log_with_their_places(sound_server):
    forget_takes(sound_server)
    watch = Watch(sound_server, "--take", "Second verse")
    watch.wait_for(lambda line: True)
    sound_server.play_samples(with_clips(playing(3.0, 0.25, 0.25)))
    watch.wait_for(lambda line: line["per_channel"][1]["clips"] == 1)
    watch.interrupt()
    status, errors = watch.result()
    assert errors == ""
    assert status == 1
    assert watch.lines[-1]["verdict"] == "awash"
    take = the_take(sound_server)
    assert (take["name"], take["state"], take["verdict"]) == ("Second verse", "closed", "awash")
    assert take["lost_frames"] == 0
    assert [channel["clips"] for channel in take["per_channel"]] == [1, 1]
    left, right = (event for event in take["events"] if event["kind"] == "clip")
    assert (left["channel"], left["frames"]) == (1, 5)
    assert (right["channel"], right["frames"]) == (2, 9)
    assert right["t_s"] - left["t_s"] == pytest.approx(1.0, abs=1 / RATE_HZ)


def test_an_input_pulled_away_in_mid_take(sound_server):
    forget_takes(sound_server)
    watch = Watch(sound_server, "--take", "Unplugged")
    watch.wait_for(lambda line: True)
    sound_server.play_samples(with_clips(playing(5.0, 0.25, 0.25)))
    watch.wait_for(lambda line: line["per_channel"][1]["clips"] == 1)
    sound_server.unload_sink()
    assert "stopped delivering" in watch.complaint()
    watch.interrupt()
    status, errors = watch.result()
    assert status == 1
    assert errors == ""
    take = the_take(sound_server)
    assert take["state"] == "interrupted"
    assert [channel["clips"] for channel in take["per_channel"]] == [1, 1]
    assert "input_lost" in [event["kind"] for event in take["events"]]
