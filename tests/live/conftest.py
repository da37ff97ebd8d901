"""A private sound server for each test: a file that is played into it comes back out of PortAudio.

The server is PulseAudio with one null sink called ``player``; what is played into the sink is what its
monitor records, bit for bit, at the sink's own 48 kHz, two channels, float32. It lives in folders of its own,
so it neither finds nor disturbs a sound server of the person who runs the tests.

Two habits of the null sink are met here. While nobody plays it renders two seconds ahead, in which nothing
can be recorded: a silent stream keeps it awake, so that it delivers all the time as an interface does. The
start of a stream that joins may be cut by milliseconds: :meth:`SoundServer.play_samples` plays silence first.

PortAudio reads the ALSA configuration once per process, so whatever records runs in a process of its own:
:meth:`SoundServer.run` and :meth:`SoundServer.start`.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

REQUIRED = os.environ.get("SWELLMARK_REQUIRE_LIVE") == "1"
SINK = "player"
RATE_HZ = 48_000
CHANNELS = 2
_LOAD_SINK = (
    "module-null-sink",
    f"sink_name={SINK}",
    f"rate={RATE_HZ}",
    f"channels={CHANNELS}",
    "format=float32le",
)
_LIST_DEVICES = "import sounddevice as sd; print(*(d['name'] for d in sd.query_devices()), sep='\\n')"


class SoundServer:
    """One running PulseAudio, and what a test does with it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.home = folder / "home"
        self.runtime = folder / "run"
        self.home.mkdir(mode=0o700)
        self.runtime.mkdir(mode=0o700)
        # Nothing of the surrounding session: no XDG folders, no server address, no bus, no screen.
        self.environment = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("XDG_", "PULSE_", "DBUS_", "PIPEWIRE_", "ALSA_")) and name != "DISPLAY"
        } | {"HOME": str(self.home), "XDG_RUNTIME_DIR": str(self.runtime), "PYTHONWARNINGS": "error"}
        # Whoever finds the server away must not start one of its own in its place.
        client = self.home / ".config" / "pulse" / "client.conf"
        client.parent.mkdir(parents=True)
        client.write_text("autospawn = no\n")
        self._log = folder / "pulseaudio.log"
        self._server: subprocess.Popen[bytes] | None = None
        self._silence: subprocess.Popen[bytes] | None = None
        self._children: list[subprocess.Popen[str]] = []
        self.usable = False

    # The server.

    def launch(self, *, with_sink: bool = True) -> None:
        """Start the server and wait until it answers."""
        sink = ("-L", " ".join(_LOAD_SINK)) if with_sink else ()
        with self._log.open("ab") as log:
            self._server = subprocess.Popen(
                [
                    *("pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no"),
                    *("--realtime=no", "--high-priority=no", "--log-target=stderr"),
                    *(*sink, "-L", "module-native-protocol-unix"),
                ],
                env=self.environment,
                stdout=log,
                stderr=log,
            )
        self.wait_for(lambda: self._try_pactl("info"), "pulseaudio to answer")
        if with_sink:
            self._keep_awake()

    @property
    def process_id(self) -> int:
        """The server's."""
        assert self._server is not None
        return self._server.pid

    def kill(self) -> None:
        """End the server at once, as a crash would."""
        self.usable = False
        if self._server is not None:
            self._server.kill()
            self._server.wait(10)
            self._server = None
            (self.runtime / "pulse" / "native").unlink(missing_ok=True)

    def pactl(self, *arguments: str) -> str:
        """Tell the server something; what it answers."""
        done = subprocess.run(
            ["pactl", *arguments],
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=10,
            check=True,
        )
        return done.stdout

    def unload_sink(self) -> None:
        """Pull the input away, as unplugging does."""
        self.usable = False
        self.pactl("unload-module", "module-null-sink")

    def load_sink(self) -> None:
        """Plug the input in again."""
        self.pactl("load-module", *_LOAD_SINK)
        self._keep_awake()

    def _keep_awake(self) -> None:
        if self._silence is not None:
            self._silence.kill()
            self._silence.wait(10)
        with open("/dev/zero", "rb") as zeros:
            self._silence = subprocess.Popen(
                [
                    *("pacat", f"--device={SINK}", "--raw", "--format=float32le", f"--rate={RATE_HZ}"),
                    *(f"--channels={CHANNELS}", "--latency-msec=20"),
                ],
                env=self.environment,
                stdin=zeros,
                stderr=subprocess.DEVNULL,  # it complains when the sink goes
            )
        self.wait_for(lambda: self._sink_latency_us() < 30_000, "the sink to run")
        self.usable = True

    def _sink_latency_us(self) -> int:
        listing = self.pactl("list", "sinks")
        latency = re.search(r"Latency: (\d+) usec", listing)
        return int(latency[1]) if latency and "State: RUNNING" in listing else 10**9

    def recorders(self) -> int:
        """How many streams record from the server just now."""
        return len(self.pactl("list", "short", "source-outputs").splitlines())

    # Processes beside the test.

    def play_samples(self, samples: npt.NDArray[np.float32], *, wait: bool = False) -> subprocess.Popen[str]:
        """Play (frames, channels) at 48 kHz into the input, between two half seconds of silence.

        So none of them is cut when the stream begins, and all have been recorded when the player has ended.
        """
        file = self.folder / f"samples-{len(self._children)}.wav"
        silence = np.zeros((RATE_HZ // 2, samples.shape[1]), np.float32)
        soundfile.write(file, np.concatenate((silence, samples, silence)), RATE_HZ, subtype="FLOAT")
        return self.play(file, wait=wait)

    def play(self, file: Path, *, wait: bool = False) -> subprocess.Popen[str]:
        """Play a sound file into the input; begin it with silence if its first frames matter."""
        player = self._popen(["paplay", f"--device={SINK}", str(file)])
        if wait:
            player.communicate(timeout=120)
            assert player.returncode == 0
        return player

    def start(self, *arguments: str) -> subprocess.Popen[str]:
        """Start ``python ARGUMENTS`` on this server: ``start("-m", "app.cli", "watch", …)``."""
        return self._popen([sys.executable, *arguments])

    def run(self, *arguments: str, timeout_s: float = 60.0) -> subprocess.CompletedProcess[str]:
        """Run ``python ARGUMENTS`` on this server to its end."""
        return subprocess.run(
            [sys.executable, *arguments],
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=timeout_s,
            check=False,
        )

    def wait_for(self, condition: object, what: str, timeout_s: float = 15.0) -> None:
        """Wait until a function says true."""
        assert callable(condition)
        deadline_s = time.monotonic() + timeout_s
        while not condition():
            if time.monotonic() > deadline_s:
                log = self._log.read_text(errors="replace") if self._log.exists() else ""
                raise AssertionError(f"waited {timeout_s:g} s in vain for {what}\n{log}")
            time.sleep(0.02)

    def wait_for_recorder(self, count: int = 1) -> None:
        """Wait until a program has begun to record."""
        self.wait_for(lambda: self.recorders() >= count, f"{count} recording stream(s)")

    def _popen(self, command: Sequence[str]) -> subprocess.Popen[str]:
        child = subprocess.Popen(
            command, env=self.environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        self._children.append(child)
        return child

    def _try_pactl(self, *arguments: str) -> bool:
        if self._server is not None and self._server.poll() is not None:
            raise AssertionError("pulseaudio ended:\n" + self._log.read_text(errors="replace"))
        with contextlib.suppress(subprocess.SubprocessError):
            self.pactl(*arguments)
            return True
        return False

    def end_children(self) -> None:
        """End what a test has left running."""
        for child in self._children:
            if child.poll() is None:
                child.kill()
            child.communicate(timeout=10)
        self._children.clear()

    def close(self) -> None:
        """End what this server started, and the server."""
        self.end_children()
        if self._silence is not None:
            self._silence.kill()
            self._silence.wait(10)
        if self._server is not None and self._server.poll() is None:
            self._server.send_signal(signal.SIGTERM)
            try:
                self._server.wait(5)
            except subprocess.TimeoutExpired:
                self.kill()


def unavailable(reason: str) -> None:
    """Skip, or fail where the live tests are required."""
    if REQUIRED:
        pytest.fail(f"SWELLMARK_REQUIRE_LIVE=1, but {reason}")
    pytest.skip(reason)


def _launched() -> Iterator[SoundServer]:
    """Launch a server in a folder of its own; end it afterwards."""
    # Not tmp_path: a socket's path has to stay under 108 characters.
    with tempfile.TemporaryDirectory(prefix="live-") as folder:
        server = SoundServer(Path(folder))
        try:
            server.launch()
            yield server
        finally:
            server.close()


class _Servers:
    """Keeps a server that is still as it was at first for the next test: each launch takes two seconds."""

    def __init__(self) -> None:
        self._kept: Iterator[SoundServer] | None = None
        self._server: SoundServer | None = None

    def take(self) -> SoundServer:
        if self._server is None or not self._server.usable:
            self.close()
            self._kept = _launched()
            self._server = next(self._kept)
        return self._server

    def close(self) -> None:
        if self._kept is not None:
            next(self._kept, None)
        self._kept = self._server = None


@pytest.fixture(scope="session")
def _servers() -> Iterator[_Servers]:
    for tool in ("pulseaudio", "pactl", "paplay", "pacat"):
        if shutil.which(tool) is None:
            unavailable(f"{tool} is not installed (Debian: apt install pulseaudio)")
    servers = _Servers()
    try:
        listed = servers.take().run("-c", _LIST_DEVICES)
        if "pulse" not in listed.stdout.split():
            unavailable(
                "PortAudio finds no device called pulse (Debian: apt install libportaudio2 "
                "libasound2-plugins): " + (listed.stderr.strip().splitlines() or ["no error"])[-1]
            )
        yield servers
    finally:
        servers.close()


@pytest.fixture
def sound_server(_servers: _Servers) -> Iterator[SoundServer]:
    """A sound server with one silent input, alone in the world."""
    server = _servers.take()
    yield server
    server.end_children()
