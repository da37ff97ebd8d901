"""Everything that can happen to an input, done to a private sound server while a take runs.

    python tests/bench/faults.py [--times 100] [--only replug ...]

The program under trial is the engine with its coach and its log, as the window has them, with a take running;
what the engine's snapshot says is written down fifty times a second. Each line tells what was done, what the
program said, how long it took to be back by itself after the input was there again, and whether the take's
gaps add up to the time that was missed. Exit status 1 when it did not come back within two seconds, or a take
does not say what it missed. Needs Debian's pulseaudio, libportaudio2 and libasound2-plugins.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import numpy as np
from stage import RATE_HZ, SoundServer, Stage

_back_s = 2.0
"""Later than this is too late."""
_GAP_TOLERANCE_S = 0.5
"""What a return may add or hide: the sound server fills its buffers anew."""


def program(folder: Path) -> int:
    """Listen with a take running until SIGTERM; a JSON line for each change, and the take at the end."""
    from app.cli.options import live_coach
    from app.coach.parts import shipped_parts
    from app.engine.loop import Engine
    from app.inputs.spec import open_spec
    from app.log.keeper import TakeKeeper
    from app.log.store import Store
    from app.log.writer import LogWriter

    stop: list[int] = []
    signal.signal(signal.SIGTERM, lambda *_: stop.append(1))
    log = LogWriter(folder / "takes.db")
    keeper = TakeKeeper(log)
    engine = Engine(live_coach(shipped_parts()["other"]), [keeper], [keeper.input_gone])
    engine.open(open_spec("device:pulse:1,2"))
    state, began_s = "", 0.0
    while not stop:
        snapshot = engine.snapshot
        if snapshot.state != state:
            state = snapshot.state
            problem = snapshot.problem.sentence if snapshot.problem else ""
            tell(state=state, at_s=time.monotonic(), lost_frames=snapshot.lost_frames, problem=problem)
            if state == "running" and not began_s:
                keeper.begin("a take")
                began_s = time.monotonic()
        time.sleep(0.02)
    info = engine.snapshot.info
    took_s = time.monotonic() - began_s
    keeper.end()
    ended = engine.stop() and log.close()
    with Store(folder / "takes.db") as store:
        take = store.take(1)
    tell(
        ended=ended,
        took_s=took_s,
        spec=info.spec if info else "",
        duration_s=take.row.duration_s,
        lost_frames=take.row.lost_frames,
        events=[str(event.kind) for event in take.events],
        gap_frames=sum(event.frames or 0 for event in take.events if event.kind == "gap"),
        threads=[thread.name for thread in threading.enumerate()],
    )
    return 0


def tell(**what: object) -> None:
    """Say it to the bench."""
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


class Trial:
    """A program on a stage of its own, and what it has said."""

    def __init__(self, stage: Stage, folder: Path, device: Device) -> None:
        self.server, self.device = stage.server, device
        self.said: list[dict[str, Any]] = []
        self.process = stage.start(
            __file__, "--program", str(folder), stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said.append(json.loads(line))

    def wait_for(self, *states: str, after: int = 0, limit_s: float = 15.0) -> dict[str, Any]:
        """Wait until it says one of these states, beyond the first ``after`` things that it said."""
        deadline_s = time.monotonic() + limit_s
        while time.monotonic() < deadline_s:
            for line in self.said[after:]:
                if line.get("state") in states:
                    return line
            time.sleep(0.005)
        raise AssertionError(f"no {states} within {limit_s} s: {self.said[after:]}")

    @property
    def state(self) -> str:
        """The last one that it said."""
        return next((line["state"] for line in reversed(self.said) if "state" in line), "")

    def states(self, after: int = 0) -> str:
        """What it said, shortly."""
        return " → ".join(line["state"] for line in self.said[after:] if "state" in line) or "no change"

    def end(self) -> dict[str, Any]:
        """Have it end; the take."""
        self.process.terminate()
        self.process.wait(20)
        deadline_s = time.monotonic() + 5.0
        while "took_s" not in (self.said or [{}])[-1] and time.monotonic() < deadline_s:
            time.sleep(0.01)
        return self.said[-1]


class Device:
    """An input that delivers by the clock from the moment it is plugged in, as an interface does.

    The server reads it from a pipe. Its own null sink would render two seconds ahead at first, in which
    nothing can be recorded.
    """

    def __init__(self, server: SoundServer, name: str = "tone") -> None:
        self._server, self._name = server, name
        self._pipe = server.folder / name
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._module = ""

    def plug(self, rate_hz: int = RATE_HZ) -> None:
        """Plug it in."""
        self._pipe.unlink(missing_ok=True)  # a server that was killed leaves it behind
        self._module = self._server.pactl(
            *("load-module", "module-pipe-source", f"source_name={self._name}", f"file={self._pipe}"),
            *(f"rate={rate_hz}", "channels=2", "format=float32le"),
        ).strip()
        self._stop.clear()
        self._thread = threading.Thread(target=self._deliver, args=(rate_hz,), daemon=True)
        self._thread.start()

    def pull(self) -> None:
        """Pull it out."""
        self._server.pactl("unload-module", self._module)
        self.silence()

    def silence(self) -> None:
        """Stop delivering: the server has gone."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(5)

    def suspend(self, *, suspended: bool) -> None:
        """Have the server not listen to it."""
        self._server.pactl("suspend-source", self._name, str(int(suspended)))

    def _deliver(self, rate_hz: int) -> None:
        block = np.full((rate_hz // 100, 2), 0.1, np.float32).tobytes()
        pipe = os.open(self._pipe, os.O_WRONLY | os.O_NONBLOCK)
        next_s = time.monotonic()
        while not self._stop.is_set():
            with suppress(BlockingIOError):  # nobody takes it: it is lost, as in an interface
                try:
                    os.write(pipe, block)
                except BrokenPipeError:
                    break
            next_s += 0.01
            self._stop.wait(max(0.0, next_s - time.monotonic()))
        os.close(pipe)


@contextmanager
def trial() -> Iterator[Trial]:
    """Run a program on a server of its own, with its take begun."""
    with tempfile.TemporaryDirectory(prefix="faults-") as folder:
        stage = Stage(Path(folder), plays=False)
        try:
            device = Device(stage.server)
            device.plug()
            stage.server.unload_sink()
            running = Trial(stage, Path(folder), device)
            running.wait_for("running", limit_s=30.0)
            time.sleep(1.0)
            yield running
        finally:
            device.silence()
            stage.close()


def is_told(take: dict[str, Any]) -> bool:
    """Whether the take is as long as the clock says, and its gaps are in it."""
    in_step = abs(take["duration_s"] - take["took_s"]) < _GAP_TOLERANCE_S
    return bool(in_step and take["gap_frames"] == take["lost_frames"] and take["ended"])


def told(take: dict[str, Any]) -> str:
    """Print the take against the clock."""
    missed_s = take["lost_frames"] / RATE_HZ
    return (
        f"take of {take['duration_s']:.2f} s by {take['took_s']:.2f} s of the clock, {missed_s:.2f} s missed"
    )


def replug(times: int) -> bool:
    """Unplugged and plugged in again."""
    with trial() as running:
        device, back_s, gone_s = running.device, [], []
        for number in range(times):
            after, at_s = len(running.said), time.monotonic()
            device.pull()
            gone_s.append(running.wait_for("lost", "stalled", after=after)["at_s"] - at_s)
            time.sleep(0.1 * (number % 8))  # in step with nothing
            after = len(running.said)
            there_s = time.monotonic()
            device.plug()
            back_s.append(running.wait_for("running", after=after)["at_s"] - there_s)
        time.sleep(1.0)
        take = running.end()
    print(f"replug: {times} times; noticed after {spread(gone_s)} s, back after {spread(back_s)} s")
    print(f"  {told(take)}; still {take['spec']}; {take['events'].count('input_lost')} losses in the take")
    return is_told(take) and max(back_s) < _back_s and take["spec"] == "device:ALSA/pulse:1,2"


def server_killed(times: int) -> bool:
    """The sound server is killed and started again."""
    times = max(1, times // 20)
    with trial() as running:
        server, device, back_s = running.server, running.device, []
        for _ in range(times):
            after = len(running.said)
            server.kill()
            device.silence()
            running.wait_for("lost", "stalled", after=after)
            after = len(running.said)
            server.launch(with_sink=False)
            there_s = time.monotonic()
            device.plug()
            back_s.append(running.wait_for("running", after=after)["at_s"] - there_s)
        time.sleep(1.0)
        take = running.end()
    print(f"sound server killed: {times} times; back after {spread(back_s)} s; {told(take)}")
    return is_told(take) and max(back_s) < _back_s


def stranger(times: int) -> bool:
    """The server is killed, and killed again behind a strange device that has not delivered yet."""
    times = max(1, times // 10)
    with trial() as running:
        server, back_s = running.server, []
        for number in range(times):
            for rate_hz in (44_100, 96_000, 16_000)[: 1 + number % 3]:
                server.kill()
                running.device.silence()
                server.launch(with_sink=False)
                name = "tone" if number % 2 else "stranger"
                server.pactl(
                    *("load-module", "module-null-sink", f"sink_name={name}", f"rate={rate_hz}", "channels=1")
                )
                time.sleep(0.1 * ((number * 7) % 12))  # it delivers after two seconds
            after = len(running.said)
            server.kill()
            server.launch(with_sink=False)
            running.device.plug()
            there_s = time.monotonic()
            while running.state != "running" or len(running.said) == after:
                if time.monotonic() - there_s > 15.0:
                    raise AssertionError(f"it did not come back: {running.said[-3:]}")
                time.sleep(0.005)
            back_s.append(time.monotonic() - there_s)
            time.sleep(0.5)
        take = running.end()
    print(f"another device in the place of the killed one: {times} times; back after {spread(back_s)} s")
    print(f"  {told(take)}; still {take['spec']}")
    return is_told(take) and max(back_s) < _back_s and take["spec"] == "device:ALSA/pulse:1,2"


def default_changed(times: int) -> bool:
    """Another device becomes the system's default while this one records."""
    with trial() as running:
        other = Device(running.server, "other")
        other.plug()
        after = len(running.said)
        for source in ("other", "tone", "other"):
            running.server.pactl("set-default-source", source)
            time.sleep(2.0)
        states = running.states(after)
        take = running.end()
        other.silence()
    print(f"default device changed 3 times: {states}; {told(take)}")
    return is_told(take)


def rate_changed(times: int) -> bool:
    """The device comes back at another rate; the server converts, so the stream may go on."""
    with trial() as running:
        after = len(running.said)
        running.device.pull()
        running.wait_for("lost", "stalled", after=after)
        after = len(running.said)
        running.device.plug(44_100)
        running.wait_for("running", "failed", after=after)
        time.sleep(2.0)
        states = running.states(after)
        take = running.end()
    print(f"back at 44.1 kHz behind the server: {states}; {told(take)}")
    return is_told(take)


def never_delivers(times: int) -> bool:
    """The device can be opened, and nothing ever comes."""
    with trial() as running:
        after = len(running.said)
        running.device.suspend(suspended=True)
        running.wait_for("lost", "stalled", after=after)
        time.sleep(8.0)
        states = running.states(after)
        after = len(running.said)
        running.device.suspend(suspended=False)
        there_s = time.monotonic()
        back_s = running.wait_for("running", after=after)["at_s"] - there_s
        time.sleep(1.0)
        take = running.end()
    print(f"opens but never delivers, for 8 s: {states}; back after {back_s:.2f} s; {told(take)}")
    return is_told(take)


def asleep(times: int) -> bool:
    """Server and program are stopped together, as a machine that sleeps stops them, and woken."""
    with trial() as running:
        after = len(running.said)
        processes = (running.process.pid, running.server.process_id)
        for each in processes:
            os.kill(each, signal.SIGSTOP)
        time.sleep(20.0)
        for each in processes:
            os.kill(each, signal.SIGCONT)
        time.sleep(4.0)
        states = running.states(after)
        take = running.end()
    print(f"asleep for 20 s: {states}; {told(take)}")
    return is_told(take)


def opener() -> int:
    """Open the input for each line that is read, ``PID DELAY_S``, and kill that process meanwhile.

    The kill comes ``DELAY_S`` after ``Pa_StartStream`` was called. A JSON line tells what came of it.
    """
    from app.errors import InputError
    from app.inputs import capture, portaudio
    from app.inputs.device import DeviceSource
    from app.inputs.spec import parse_spec

    start, free = capture._Stream.start, portaudio.free_orphaned_wait
    aimed, freed = [0, 0.0], [0]

    def kill() -> None:
        until_s = time.perf_counter() + aimed[1]
        while time.perf_counter() < until_s:
            pass
        os.kill(int(aimed[0]), signal.SIGKILL)

    def start_and_kill(stream: Any) -> None:
        if aimed[0]:
            threading.Thread(target=kill).start()
        start(stream)

    def count(thread: int) -> bool:
        done = free(thread)
        freed[0] += done
        return done

    capture._Stream.start = start_and_kill  # type: ignore[method-assign]
    portaudio.free_orphaned_wait = count  # type: ignore[assignment]
    source = DeviceSource(parse_spec("device:pulse:1,2"))
    for line in sys.stdin:
        aimed[:] = int(line.split()[0]), float(line.split()[1])
        freed[0], began_s, said, frames = 0, time.monotonic(), "", 0
        try:
            source.start()
            until_s = time.monotonic() + (0.0 if aimed[0] else 5.0)
            while not frames and time.monotonic() < until_s:
                frames = source.read(480, 0.1).samples.shape[0]
        except InputError as error:
            said = type(error).__name__
        opened_s = time.monotonic() - began_s
        source.close()
        tell(
            opened_s=opened_s,
            took_s=time.monotonic() - began_s,
            freed=freed[0],
            said=said,
            heard=frames > 0,
        )
    return 0


def starting(times: int) -> bool:
    """The server is killed while PortAudio starts the stream, ever a little later; then it opens again."""
    with tempfile.TemporaryDirectory(prefix="faults-") as folder:
        stage = Stage(Path(folder), plays=False)
        opening = stage.start(
            *(__file__, "--opener"),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        assert opening.stdin is not None
        assert opening.stdout is not None
        answers = []
        try:
            for number in range(times + 1):
                if number:
                    stage.server.kill()
                    stage.server.launch()
                victim = stage.server.process_id if number < times else 0  # the last one is left alone
                print(victim, 0.000_5 * (number % 24), file=opening.stdin, flush=True)
                answers.append(json.loads(opening.stdout.readline()))
        finally:
            stage.close()
    silent = sum(answer["said"] == "SilentSystemError" for answer in answers)
    freed = sum(answer["freed"] > 0 for answer in answers)
    print(f"sound server killed while the stream starts: {times} times; answered after", end=" ")
    print(f"{spread([answer['took_s'] for answer in answers])} s; {freed} waits for a thread that had ended")
    print(f"  were ended, {silent} openings were given up; then heard again: {answers[-1]['heard']}")
    return not silent and bool(answers[-1]["heard"])


def refused(times: int) -> bool:
    """The sound server does not let this user in: one line, exit status 2."""
    with tempfile.TemporaryDirectory(prefix="faults-") as folder:
        stage = Stage(Path(folder), plays=False)
        try:
            environment = {**stage.environment, "PULSE_SERVER": "unix:/proc/1/forbidden"}
            done = subprocess.run(
                [sys.executable, "-m", "app.cli", "watch", "--input", "device:pulse", "--seconds", "1"],
                env=environment,
                capture_output=True,
                text=True,
                timeout=60,
                check=False,
            )
        finally:
            stage.close()
    lines = done.stderr.strip().splitlines()
    print(f"refused: exit status {done.returncode}, says: {' / '.join(lines)}")
    return done.returncode == 2 and len(lines) == 1 and "Traceback" not in done.stderr


TRIALS: dict[str, Callable[[int], bool]] = {
    "replug": replug,
    "server": server_killed,
    "stranger": stranger,
    "default": default_changed,
    "rate": rate_changed,
    "silent": never_delivers,
    "asleep": asleep,
    "starting": starting,
    "refused": refused,
}


def spread(values: list[float]) -> str:
    """Median and highest."""
    return f"{statistics.median(values):.2f} (at most {max(values):.2f})"


def main() -> int:
    """Run, print, judge."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--times", type=int, default=100)
    arguments.add_argument("--only", nargs="*", choices=list(TRIALS), default=list(TRIALS))
    arguments.add_argument("--back-s", type=float, default=2.0, help="later than this is too late")
    arguments.add_argument("--program", type=Path, help=argparse.SUPPRESS)
    arguments.add_argument("--opener", action="store_true", help=argparse.SUPPRESS)
    chosen = arguments.parse_args()
    global _back_s  # noqa: PLW0603 - one limit for all trials
    _back_s = chosen.back_s
    if chosen.program:
        return program(chosen.program)
    if chosen.opener:
        return opener()
    failed = [name for name in chosen.only if not TRIALS[name](chosen.times)]
    print("all as it should be" if not failed else "NOT as it should be: " + ", ".join(failed))
    return int(bool(failed))


if __name__ == "__main__":
    sys.exit(main())
