"""An input that was pulled out comes back by itself, and says what it missed."""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from typing import ClassVar

import numpy as np
import pytest

from app.errors import DeviceError, InputError, SilentSystemError
from app.inputs.fake import FakeSource
from app.inputs.returning import ReturningSource


class Clock:
    def __init__(self) -> None:
        self.now_s = 50.0

    def __call__(self) -> float:
        return self.now_s


def endless(channels: int = 1):
    number = 0
    while True:
        yield np.full((480, channels), number, np.float32)
        number += 1


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def fake() -> FakeSource:
    return FakeSource(endless())


def test_it_passes_on_what_its_source_gives(fake, clock):
    fake.drop_at_frame(480, 480)
    source = ReturningSource(fake, clock=clock)
    source.start()
    assert source.info == fake.info
    first, second = source.read(480, 0.0), source.read(480, 0.0)
    assert (first.samples[0, 0], second.samples[0, 0], second.lost_frames) == (0, 2, 480)
    assert source.stats() == fake.stats()
    source.close()


def test_back_again_it_says_how_much_time_went_by(fake, clock):
    source = ReturningSource(fake, clock=clock)
    source.start()
    source.read(480, 0.0)
    fake.unplug()
    assert not source.read(480, 0.0).active
    clock.now_s += 1.0
    assert not source.read(480, 0.0).active, "it is still away"
    clock.now_s += 9.0
    fake.replug()
    block = source.read(480, 0.0)
    assert block.active
    assert block.samples.shape[0] == 480
    assert block.lost_frames + 480 == 10 * 48_000
    assert source.read(480, 0.0).lost_frames == 0
    stats = source.stats()
    assert (stats.lost_frames, stats.estimated_lost_frames, stats.gaps) == (479_520, 479_520, 1)


def test_a_hundred_times(fake, clock):
    source = ReturningSource(fake, clock=clock)
    source.start()
    frames = 0
    began_s = clock.now_s
    for _ in range(100):
        fake.unplug()
        assert not source.read(480, 0.0).active
        fake.replug()
        clock.now_s += 2.0
        block = source.read(480, 0.0)
        frames += block.lost_frames + block.samples.shape[0]
    assert frames == round((clock.now_s - began_s) * 48_000)
    assert source.stats().gaps == 100


def test_it_is_tried_again_only_now_and_then(clock):
    tries = []

    class Absent(FakeSource):
        def start(self) -> None:
            tries.append(clock.now_s)
            super().start()

    fake = Absent(endless())
    source = ReturningSource(fake, clock=clock, retry_s=0.5)
    source.start()
    fake.unplug()
    for _ in range(100):
        source.read(480, 0.0)
        clock.now_s += 0.1
    assert 18 <= len(tries) - 1 <= 20


def test_while_it_is_away_a_read_takes_its_time(fake):
    source = ReturningSource(fake)
    source.start()
    fake.unplug()
    source.read(480, 0.0)
    began = time.monotonic()
    source.read(480, 0.05)
    assert time.monotonic() - began > 0.04


def test_the_first_start_must_succeed(fake):
    fake.unplug()
    with pytest.raises(DeviceError, match="unplugged"):
        ReturningSource(fake).start()


class Changing(FakeSource):
    """Can come back as something else."""

    changes: ClassVar[dict[str, object]] = {}

    @property
    def info(self):
        return replace(super().info, **self.changes)


def back_with(clock, **changes):
    """A source whose device went away and is there again, changed, when it is read next; and the device."""
    fake = Changing(endless())
    source = ReturningSource(fake, clock=clock)
    source.start()
    fake.unplug()
    source.read(480, 0.0)
    fake.replug()
    fake.changes = changes
    clock.now_s += 1.0
    return source, fake


def test_another_rate_cannot_go_on_as_the_same_stream(clock):
    source, _ = back_with(clock, rate_hz=44_100)
    with pytest.raises(InputError, match=r"came back at 44\.1 kHz instead of 48 kHz"):
        source.read(480, 0.0)


def test_what_is_to_be_known_of_the_device_that_is_back_is_told(clock):
    source, fake = back_with(clock, doubt="It may be another one.")
    assert source.read(480, 0.0).active
    assert source.info == replace(fake.info, doubt="It may be another one.")


def test_closed_while_it_is_opened_again_it_stays_closed(clock):
    opening, go_on = threading.Event(), threading.Event()

    class Slow(FakeSource):
        slow = False

        def start(self) -> None:
            if self.slow:
                opening.set()
                go_on.wait(5)
            super().start()

    fake = Slow(endless())
    source = ReturningSource(fake, clock=clock)
    source.start()
    fake.unplug()
    source.read(480, 0.0)
    fake.replug()
    fake.slow = True
    clock.now_s += 1.0
    reader = threading.Thread(target=source.read, args=(480, 0.0))
    reader.start()
    assert opening.wait(5)
    source.close()
    go_on.set()
    reader.join()
    assert not fake.read(480, 0.0).active
    assert not source.read(480, 0.0).active


def test_info_before_the_start_is_a_mistake(fake):
    with pytest.raises(RuntimeError, match="start"):
        _ = ReturningSource(fake).info


def test_what_happened_is_told_once_when_it_is_closed(fake, clock):
    told = []
    source = ReturningSource(fake, clock=clock, on_close=lambda info, stats: told.append((info, stats)))
    source.close()
    assert told == []
    source.start()
    got = source.read(480, 0.1).samples.shape[0]
    source.close()
    source.close()
    ((info, stats),) = told
    assert info == source.info
    assert stats.delivered_frames == got > 0


def test_a_sound_system_that_never_answers_ends_the_waiting(fake, clock, monkeypatch):
    source = ReturningSource(fake, clock=clock)
    source.start()
    source.read(480, 0.0)
    fake.unplug()
    source.read(480, 0.0)

    def hang() -> None:
        clock.now_s += 3.0
        raise SilentSystemError("no answer")

    monkeypatch.setattr(fake, "start", hang)
    clock.now_s += 0.5
    for _ in range(2):
        assert not source.read(480, 0.0).active
        clock.now_s += 0.5
    clock.now_s += 1.0
    with pytest.raises(SilentSystemError, match="no answer"):
        source.read(480, 0.0)
    source.close()


def test_a_sound_system_that_is_slow_now_and_then_is_waited_for(fake, clock, monkeypatch):
    source = ReturningSource(fake, clock=clock)
    source.start()
    source.read(480, 0.0)
    fake.unplug()
    source.read(480, 0.0)
    answers = [SilentSystemError("no answer"), DeviceError("not there")] * 10

    def start() -> None:
        clock.now_s += 3.0
        raise answers.pop()

    monkeypatch.setattr(fake, "start", start)
    while answers:
        clock.now_s += 0.5
        assert not source.read(480, 0.0).active
    source.close()
