"""From samples to the log: the real engine, keeper and writer, and an input whose faults are known."""

from __future__ import annotations

import time

import numpy as np
import pytest

from app.coach.verdict import Coach
from app.engine.loop import Engine
from app.engine.snapshot import InputState
from app.inputs.fake import FakeSource
from app.log import schema, writer
from app.log.keeper import TakeKeeper
from app.log.records import TakeState
from app.log.store import Store
from app.log.writer import LogWriter

RATE_HZ = 48_000


def tone(seconds, clips=()):
    """A tone at -12 dBFS with runs at full scale: (frame, frames) each."""
    t_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    samples = (0.25 * np.sin(2 * np.pi * 220 * t_s)).astype(np.float32)
    for frame, frames in clips:
        samples[frame : frame + frames] = 1.0
    return samples


@pytest.fixture
def listen(path):
    """Log a whole input as one take."""

    def run(source, *, until=lambda engine, keeper: engine.snapshot.state is InputState.ENDED):
        log = LogWriter(path)
        keeper = TakeKeeper(log)
        engine = Engine(Coach, [keeper], [keeper.input_gone])
        keeper.begin("Second verse", "bass")
        engine.open(source)
        deadline = time.monotonic() + 10.0
        while not until(engine, keeper):
            assert time.monotonic() < deadline
            time.sleep(0.002)
        keeper.close()
        assert engine.stop()
        assert engine.snapshot.problem is None
        assert log.close()
        with Store(path) as store:
            return store.take(1)

    return run


def found(take, kind):
    return [(event.frame, event.frames) for event in take.events if event.kind == kind]


def test_clips_are_placed_to_the_frame_and_the_length_is_the_files(listen):
    clips = [(10_000, 5), (100_003, 40), (143_990, 10)]
    take = listen(FakeSource(tone(3.0, clips)))
    assert found(take, "clip") == clips
    assert take.row.state is TakeState.CLOSED
    assert take.row.duration_s == 3.0
    assert take.row.clips == take.per_channel[0].clips == 3
    assert take.row.verdict == "awash"
    assert take.per_channel[0].peak_dbfs == 0.0


def test_lost_frames_are_counted_and_placed_and_clips_behind_them_are_where_they_were(listen):
    source = FakeSource(tone(3.0, [(120_000, 5)]))
    source.drop_at_frame(50_000, 4_800)
    take = listen(source)
    assert found(take, "gap") == [(50_000, 4_800)]
    assert found(take, "clip") == [(120_000, 5)]
    assert take.row.lost_frames == 4_800
    assert take.row.duration_s == 3.0


def test_an_input_that_is_unplugged_in_a_take(listen):
    source = FakeSource(tone(3.0), paced=True)
    source.unplug_at_frame(24_000)
    take = listen(source, until=lambda engine, keeper: engine.snapshot.state is InputState.LOST)
    assert len(found(take, "input_lost")) == 1
    assert take.row.duration_s == pytest.approx(0.5, abs=0.011)


def test_a_take_that_is_ended_by_quitting(listen):
    source = FakeSource(tone(60.0), paced=True)
    take = listen(source, until=lambda engine, keeper: keeper.current.duration_s > 0.2)
    assert take.row.state is TakeState.CLOSED
    assert 0.2 < take.row.duration_s < 10.0


def test_a_full_disk_ends_neither_the_metering_nor_the_take(path, monkeypatch):
    connect, full = schema.connect, [True]

    def limited(path, *, busy_s):
        connection = connect(path, busy_s=busy_s)
        if full:
            (pages,) = connection.execute("PRAGMA page_count").fetchone()
            connection.execute(f"PRAGMA max_page_count = {pages}")
        return connection

    monkeypatch.setattr(schema, "connect", limited)
    monkeypatch.setattr(writer, "RETRY_EVERY_S", 0.05)
    clips = [(4_800 * i, 5) for i in range(1, 400)]
    source = FakeSource(tone(60.0, clips), paced=True)
    log = LogWriter(path)
    keeper = TakeKeeper(log)
    engine = Engine(Coach, [keeper], [keeper.input_gone])
    keeper.begin("Second verse", "bass")
    engine.open(source)

    def wait_until(condition):
        deadline = time.monotonic() + 30.0
        while not condition():
            assert time.monotonic() < deadline
            time.sleep(0.01)

    wait_until(lambda: log.problem is not None)
    assert "is full" in log.problem.sentence
    before, heard = engine.snapshot, keeper.current
    wait_until(lambda: engine.snapshot.t_s > before.t_s + 1.0)
    assert engine.snapshot.problem is None
    assert engine.snapshot.average_dbfs[0] == pytest.approx(-12.0, abs=0.5)
    assert keeper.current.clips > heard.clips
    full.clear()
    wait_until(lambda: log.problem is None)
    keeper.close()
    assert engine.stop()
    assert log.close()
    with Store(path) as store:
        take = store.take(1)
    assert take.row.state is TakeState.CLOSED
    assert found(take, "clip") == clips[: take.row.clips]
    assert take.row.clips > heard.clips
