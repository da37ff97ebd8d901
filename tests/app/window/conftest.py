"""Fakes for everything outside the window, and a check that no test leaves a thread or a timer behind."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from types import SimpleNamespace

import numpy as np
import pytest
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.coach.judgement import CoachReport, Judgement, Reason, Target, Verdict
from app.coach.parts import shipped_parts
from app.coach.session import Cue, GuidedSession, SessionState, Step
from app.engine.history import History
from app.engine.snapshot import InputState, Snapshot
from app.errors import InputError, SwellmarkError
from app.inputs.source import SourceInfo
from app.log.records import LevelTrace, TakeDetail, TakeEvent, TakeRow, TakeState
from app.window.crash import CrashReports
from app.window.main import MainWindow
from app.window.services import InputChoice, PartChoice, Services

PATIENCE_MS = 30_000
"""How long a test waits for what must come: a loaded machine is slow, and nobody waits when all is well."""


class PatientBot(QtBot):
    """Waits long enough on every machine."""

    def waitUntil(self, callback: Callable[[], object], *, timeout: int = PATIENCE_MS) -> None:
        """Wait until the callback is true."""
        super().waitUntil(callback, timeout=timeout)


class FakeSource:
    """An input with a gain knob, as the built-in player has one."""

    def __init__(self, spec: str) -> None:
        self.spec = spec
        self.gain_db = 0.0


class FakeEngine:
    """Shows what a test puts into it."""

    def __init__(self) -> None:
        self.snapshot = Snapshot()
        self.history = History(1, 0.01)
        self.opened: list[FakeSource] = []
        self.resets = 0
        self.stopped = False
        self.session_for: int | None = None
        self.skips = 0
        self.seen = True
        self.looks: tuple[float, float] | None = None

    def set_seen(self, seen: bool) -> None:
        self.seen = seen

    def look_at(self, next_s: float, every_s: float) -> None:
        self.looks = (next_s, every_s)

    def open(self, source: FakeSource) -> None:
        self.opened.append(source)

    def close_input(self) -> None:
        self.snapshot = Snapshot()

    def reset(self) -> None:
        self.resets += 1

    def begin_session(self, make_session: Callable[[float], GuidedSession], channel: int = 0) -> None:
        make_session(0.01)
        self.session_for = channel
        state = SessionState(Step.QUIET, Cue.BE_QUIET, 0.0)
        self.snapshot = replace(self.snapshot, session=state, session_channel=channel)

    def skip_step(self) -> None:
        self.skips += 1

    def end_session(self) -> None:
        self.session_for = None
        self.snapshot = replace(self.snapshot, session=None)

    def stop(self) -> bool:
        self.stopped = True
        return True

    def play(self, hops: int, average_dbfs: float = -18.0) -> None:
        """Add hops to the history of every channel."""
        channels = len(self.snapshot.average_dbfs) or 1
        self.history.append(
            np.full((hops, channels), average_dbfs), np.full((hops, channels), average_dbfs + 8.0)
        )

    def refresh(self) -> None:
        """Publish the same state as new."""
        self.snapshot = replace(self.snapshot, published_s=time.monotonic())


@dataclass(frozen=True)
class FakeTake:
    name: str
    part: str
    number: int | None = 1
    started: str = ""
    duration_s: float = 12.0
    clips: int = 0
    peak_dbfs: float | None = None
    lost_frames: int = 0
    verdict: Verdict | None = None


class FakeKeeper:
    def __init__(self) -> None:
        self.current: FakeTake | None = None
        self.revision = 0
        self.begun: list[tuple[str, str]] = []
        self.ended = 0
        self.closed = False

    def begin(self, name: str = "", part: str = "") -> None:
        self.begun.append((name, part))
        self.current = FakeTake(name, part)

    def end(self) -> None:
        self.ended += 1
        self.current = None

    def close(self) -> None:
        if self.current is not None:
            self.end()
        self.closed = True


class FakeMemory(dict[str, str]):
    def put(self, name: str, value: str) -> None:
        self[name] = value


class World:
    """Everything that a window talks to, for a test to look at and to change."""

    def __init__(self) -> None:
        self.engine = FakeEngine()
        self.keeper = FakeKeeper()
        self.memory = FakeMemory()
        self.takes: list[TakeDetail] = []
        self.choices = [
            InputChoice("device:interface", "Interface, inputs 1 and 2"),
            InputChoice("player:bass", "Built-in player: bass"),
        ]
        self.log_closed = False
        self.log_problem: SwellmarkError | None = None
        self.parts: list[str] = []
        self.session_parts: list[str] = []
        self.first_input: str | None = None

    def open_input(self, spec: str) -> FakeSource:
        if "missing" in spec:
            raise InputError("There is no input called “missing”.", "looked everywhere")
        return FakeSource(spec)

    def make_session(self, part: str, channel: int) -> Callable[[float], GuidedSession]:
        self.session_parts.append(part)
        return lambda hop_s: GuidedSession(shipped_parts()[part], Target(), hop_s)

    def close_log(self) -> None:
        assert self.keeper.closed, "the take must have been handed over before the log closes"
        self.log_closed = True

    def log(self, detail: TakeDetail) -> None:
        """Put a take into the log, and say so: the window may have read the list before."""
        self.takes.insert(0, detail)
        self.keeper.revision += 1

    def services(self) -> Services:
        return Services(
            engine=self.engine,
            keeper=self.keeper,
            settings=self.memory,
            open_input=self.open_input,
            list_inputs=lambda: list(self.choices),
            list_takes=lambda: [detail.row for detail in self.takes],
            read_take=lambda number: next(d for d in self.takes if d.row.number == number),
            close_log=self.close_log,
            make_session=self.make_session,
            part_of_input=lambda spec: "bass" if spec == "player:bass" else None,
            parts=[PartChoice("voice", "Voice"), PartChoice("bass", "Bass guitar")],
            choose_part=self.parts.append,
            log_problem=lambda: self.log_problem,
            first_input=self.first_input,
            default_part="voice",
        )


def judgement(verdict: Verdict = Verdict.FAIR_WATER, change_db: int = 0) -> Judgement:
    """A judgement with the figures that its sentences need."""
    reason = {
        Verdict.SLACK: Reason.NOTHING_HEARD,
        Verdict.LOW_WATER: Reason.AVERAGE_LOW,
        Verdict.FAIR_WATER: Reason.IN_WINDOW,
        Verdict.HIGH_WATER: Reason.TAKE_LOUDER,
        Verdict.AWASH: Reason.CLIPPED,
    }[verdict]
    values = {"average_dbfs": -18.2, "peak_dbfs": -7.1, "ceiling_dbfs": -6.0, "least_db": 6.0}
    return Judgement(verdict, change_db, reason, values)


def running(
    *verdicts: Verdict, average_dbfs: Sequence[float] | None = None, clips: Sequence[int] | None = None
) -> Snapshot:
    """A fresh snapshot of a running input, a channel for each verdict."""
    count = len(verdicts) or 1
    verdicts = verdicts or (Verdict.FAIR_WATER,)
    judgements = [judgement(verdict) for verdict in verdicts]
    worst = max(range(count), key=lambda channel: judgements[channel].verdict.urgency)
    return Snapshot(
        state=InputState.RUNNING,
        info=SourceInfo("player:bass:0", "Built-in player: bass", 48_000, count, live=True),
        published_s=time.monotonic(),
        average_dbfs=tuple(average_dbfs or [-18.2] * count),
        peak_hold_dbfs=(-7.1,) * count,
        noise_floor_dbfs=(-62.3,) * count,
        clips=tuple(clips or [0] * count),
        coach=CoachReport(judgements, worst),
    )


def take(
    number: int = 1,
    *,
    clips_s: Sequence[float] = (),
    state: TakeState = TakeState.CLOSED,
    verdict: Verdict = Verdict.FAIR_WATER,
    name: str = "Second verse",
) -> TakeDetail:
    """A take of 200 s at 48 kHz with clips at these places."""
    row = TakeRow(
        number=number,
        name=name,
        part="voice",
        started="2026-03-01T20:15:00.000+01:00",
        duration_s=200.0,
        state=state,
        verdict=verdict,
        input_name="Interface",
        rate_hz=48_000,
        lost_frames=0,
        clips=len(clips_s),
        peak_dbfs=0.0 if clips_s else -7.1,
    )
    events = tuple(TakeEvent("clip", round(t_s * 48_000), 1, 7, 0.0, "full_scale") for t_s in clips_s)
    points = np.array([[-1800, -900]] * 400, "<i2").tobytes()
    return TakeDetail(row, (), events, LevelTrace(0.5, points))


@pytest.fixture(scope="session")
def fakes() -> SimpleNamespace:
    """What makes judgements, snapshots and takes for a test."""
    return SimpleNamespace(judgement=judgement, running=running, take=take)


@pytest.fixture
def qtbot(qapp: QApplication, request: pytest.FixtureRequest) -> PatientBot:
    return PatientBot(request)


@pytest.fixture
def world() -> World:
    return World()


@pytest.fixture
def window(qtbot: object, world: World) -> Iterator[MainWindow]:
    """A window on fakes; what broke in a slot fails the test through pytest-qt."""
    with_window = MainWindow(world.services())
    qtbot.addWidget(with_window)  # type: ignore[attr-defined]
    with_window.show()
    yield with_window
    with_window.shut_down()


@pytest.fixture
def guarded_window(qtbot: object, world: World) -> Iterator[tuple[MainWindow, CrashReports]]:
    """A window whose faults are caught as they are in the program."""
    with CrashReports() as crashes:
        with_window = MainWindow(world.services(), crashes)
        qtbot.addWidget(with_window)  # type: ignore[attr-defined]
        with_window.show()
        yield with_window, crashes
        with_window.shut_down()


@pytest.fixture(autouse=True)
def no_leaks(qapp: QApplication) -> Iterator[None]:
    """Fail a test that leaves a thread running or a timer of a window ticking."""
    before = set(threading.enumerate())
    yield
    deadline = time.monotonic() + 3.0
    while (left := set(threading.enumerate()) - before) and time.monotonic() < deadline:
        for thread in left:
            thread.join(0.1)
    assert not left, f"threads left running: {left}"
    ticking = [
        timer
        for widget in qapp.topLevelWidgets()
        for timer in widget.findChildren(QTimer)
        if timer.isActive() and isinstance(widget, MainWindow)
    ]
    assert not ticking, "timers left ticking"
