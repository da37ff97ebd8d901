"""The part through one sink, the backing through another: advice, level, rise and silence."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

pytestmark = pytest.mark.live

RATE_HZ = 48_000
BALANCER = str(Path(__file__).with_name("balancer.py"))
RAW = ("--raw", "--format=float32le", f"--rate={RATE_HZ}", "--channels=2", "--latency-msec=20")


def noise(seconds, rms_dbfs, low_hz, high_hz, seed):
    frames = round(seconds * RATE_HZ)
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(size=frames))
    frequencies = np.fft.rfftfreq(frames, 1 / RATE_HZ)
    spectrum[(frequencies < low_hz) | (frequencies >= high_hz)] = 0.0
    wave = np.fft.irfft(spectrum, frames)
    wave *= 10 ** (rms_dbfs / 20) / np.sqrt(2 * np.mean(wave**2))
    return np.repeat(wave[:, np.newaxis], 2, axis=1).astype(np.float32)


class Phones:
    """A second sink; whatever is played into it is kept, and the microphone can be put into it."""

    def __init__(self, server: Any) -> None:
        self._server = server
        server.usable = False  # another default sink: no other test shall have this server
        server.pactl(
            *("load-module", "module-null-sink", "sink_name=phones", f"rate={RATE_HZ}", "channels=2"),
            "format=float32le",
        )
        server.pactl("set-default-sink", "phones")
        server.pactl("set-default-source", "player.monitor")
        self._blocks: list[np.ndarray] = []
        self._from = subprocess.Popen(
            ["parec", "--device=phones.monitor", *RAW], env=server.environment, stdout=subprocess.PIPE
        )
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while data := self._from.stdout.read(8 * 480):
            self._blocks.append(np.frombuffer(data[: len(data) // 8 * 8], np.float32)[::2])

    @property
    def heard(self) -> np.ndarray:
        """What was played, from its first sound on."""
        left = np.concatenate([np.zeros(1, np.float32), *self._blocks])
        return left[int(np.argmax(left != 0.0)) :]

    def levels_dbfs(self) -> np.ndarray:
        """(tenths of a second,) of that."""
        tenth = RATE_HZ // 10
        heard = self.heard  # it grows meanwhile
        blocks = heard[: heard.size // tenth * tenth].reshape(-1, tenth)
        return 10 * np.log10(2 * np.mean(np.square(blocks, dtype=np.float64), axis=1) + 1e-12)

    def close(self) -> None:
        self._from.kill()
        self._from.wait(10)
        self._thread.join(10)
        self._from.stdout.close()


@pytest.fixture
def phones(sound_server):
    phones = Phones(sound_server)
    yield phones
    phones.close()


class Balancer:
    """The other process: one line asked, one answered."""

    def __init__(self, server: Any, backing: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, BALANCER, str(backing)],
            env=server.environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def ask(self, line: str) -> dict[str, Any]:
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()
        answer = self._process.stdout.readline()
        assert answer, self._process.communicate(timeout=10)[1]
        return json.loads(answer)

    def close(self) -> None:
        self._process.kill()
        self._process.communicate(timeout=10)


@pytest.fixture
def balancer(sound_server, phones, tmp_path):
    backing = tmp_path / "song.wav"
    soundfile.write(backing, np.clip(noise(30, -9, 100, 12_000, 1), -0.9, 0.9), RATE_HZ, "PCM_24")
    balancer = Balancer(sound_server, backing)
    yield balancer
    balancer.close()


def test_a_part_is_heard_and_the_backing_played_at_the_advised_level(sound_server, phones, balancer):
    ask = balancer.ask
    ready = ask("ready")
    assert "pulse" in ready["outputs"]
    assert ready["latency_s"] > 0.0
    assert ask("advise")["reason"] == "nothing_played"
    part = noise(7, -24, 300, 3000, 2)
    players = [sound_server.play_samples(part)]

    def is_heard() -> bool:
        # A busy machine may lose some, or be late: it is played again until enough has come.
        if players[-1].poll() is not None:
            players.append(sound_server.play_samples(part))
        return ask("advise")["playing_s"] > 3.0

    sound_server.wait_for(is_heard, "the part", timeout_s=60.0)
    players[-1].communicate(timeout=60)
    advice = ask("advise")
    assert advice["reason"] == "hidden"
    amount = advice["pull_down_db"]
    assert 10 <= amount <= 24

    assert ask(f"play {amount}")["latency_s"] > 0.0
    sound_server.wait_for(
        lambda: np.count_nonzero(phones.levels_dbfs() > -100.0) > 45,
        "four seconds of the backing",
        timeout_s=60.0,
    )
    assert ask("stop")["took_s"] < 30.0, "it hangs"
    sound_server.wait_for(lambda: not phones.heard[-RATE_HZ:].any(), "a second of silence", timeout_s=60.0)
    levels = phones.levels_dbfs()
    assert np.count_nonzero(levels > -100.0) < 280, "it was stopped: it would have been heard for 300 tenths"
    levels = levels[levels > -100.0]  # a sink that slept begins with silence that it rendered ahead
    assert np.median(levels[22:42]) == pytest.approx(-9.3 - amount, abs=0.7)
    assert levels.max() < -8.0 - amount, "never louder"
    assert levels[0] < -9.0 - amount - 15.0, "it begins far lower"
    assert ask("end")["ended"]
