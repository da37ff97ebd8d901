"""Channels with names and parts of their own, on a real engine."""

from __future__ import annotations

import itertools
import json
import time

import numpy as np
import pytest

from app.cli.channeldesk import ChannelDesk
from app.cli.options import the_parts
from app.cli.takedesk import TakeDesk
from app.coach.judgement import Reason, Target
from app.coach.makers import Parts, live_coach
from app.coach.parts import shipped_parts
from app.engine.loop import Engine
from app.errors import UsageError
from app.inputs.fake import FakeSource
from app.log.keeper import TakeKeeper
from app.window.channelports import ChannelSeat
from dsp.reading import Reading


class Memory(dict):
    def put(self, name, value):
        self[name] = value


class NoLog:
    revision = 0

    def submit(self, update):
        pass

    def number(self, uid):
        return None


@pytest.fixture
def engine():
    engine = Engine(live_coach(shipped_parts()["other"]))
    yield engine
    assert engine.stop()


@pytest.fixture
def desk(engine):
    takes = TakeDesk(TakeKeeper(NoLog()), engine, shipped_parts(), Target())
    return ChannelDesk(engine, takes, Memory())


def names(engine, wanted):
    """Wait until the channels are called so; what they are called in the end."""
    deadline = time.monotonic() + 20.0
    called = None
    while called != wanted and time.monotonic() < deadline:
        info = engine.snapshot.info
        called = info.channel_names if info is not None else None
        time.sleep(0.005)
    return called


def silence(channels):
    return FakeSource(itertools.repeat(np.zeros((480, channels), np.float32)), paced=True)


def test_names_stand_in_for_numbers_and_come_back_with_the_input(engine, desk):
    engine.open(silence(3))
    desk.opened("device:interface")
    desk.seat_channel(1, ChannelSeat("  Lead voice ", "voice"))
    plain = ("Channel 1", "Channel 2", "Channel 3")
    mixed = ("Channel 1", "Lead voice", "Channel 3")
    assert names(engine, mixed) == mixed
    engine.open(silence(3))
    desk.opened("device:other")
    assert names(engine, plain) == plain
    engine.open(silence(3))
    desk.opened("device:interface")
    assert names(engine, mixed) == mixed
    assert desk.seat(1) == ChannelSeat("Lead voice", "voice")
    desk.seat_channel(1, ChannelSeat())
    assert names(engine, plain) == plain


def test_the_player_is_one_input_wherever_its_knob_stands(engine, desk):
    engine.open(silence(4))
    desk.opened("player:drums:-6")
    desk.seat_channel(0, ChannelSeat("Bass drum"))
    desk.opened("player:drums:3")
    assert desk.seat(0).name == "Bass drum"


@pytest.mark.parametrize(
    "rubbish", ["", "no json", "[]", '{"0": {"name": "x"}}', '{"1": "x"}', '{"1": {"name": 3, "part": null}}']
)
def test_what_makes_no_sense_was_never_said(engine, rubbish):
    takes = TakeDesk(TakeKeeper(NoLog()), engine, shipped_parts(), Target())
    desk = ChannelDesk(engine, takes, Memory({"channels of device:x": rubbish}))
    engine.open(silence(2))
    desk.opened("device:x")
    assert desk.seat(0) == ChannelSeat()
    assert names(engine, ("Channel 1", "Channel 2")) == ("Channel 1", "Channel 2")


def test_a_part_of_another_version_counts_as_none(engine):
    memory = Memory({"channels of device:x": json.dumps({"2": {"name": "", "part": "theremin"}})})
    takes = TakeDesk(TakeKeeper(NoLog()), engine, shipped_parts(), Target())
    engine.open(silence(2))
    ChannelDesk(engine, takes, memory).opened("device:x")
    assert engine.wait(5.0)
    assert engine.snapshot.problem is None


@pytest.mark.parametrize("channels", [1, 2, 8, 32])
def test_each_channel_is_judged_by_its_own_part(channels):
    """Playing of narrow crest: drums are judged by its peaks, a bass by its average."""
    parts = shipped_parts()
    drums = dict.fromkeys(range(0, channels, 2), parts["drums"])
    coach = live_coach(Parts(parts["bass"], drums))(channels, 48_000, 480)
    average = np.full((1000, channels), -20.0)
    unknown = np.full(channels, np.nan)
    gaps = np.full(1000, np.nan)
    reading = Reading(
        48_000, 0, 480_000, 480, average, average, gaps, gaps, average.max(axis=0), unknown,
        np.full(channels, -80.0), unknown,
    )  # fmt: skip
    reasons = [judgement.reason for judgement in coach.process(reading).channels]
    assert reasons == [
        Reason.PEAKS_LOW if channel % 2 == 0 else Reason.AVERAGE_LOW for channel in range(channels)
    ]


def test_parts_of_the_command_line():
    parts = the_parts(["bass", "2=voice", "3=drums, 4=keys"])
    assert [parts.of(channel).key for channel in range(5)] == ["bass", "voice", "drums", "keys", "bass"]
    assert the_parts([]).of(0).key == "other"
    with pytest.raises(UsageError, match="'0' is no channel"):
        the_parts(["0=voice"])
    with pytest.raises(UsageError, match="theremin"):
        the_parts(["1=theremin"])


def test_a_channel_may_have_a_ceiling_of_its_own_that_comes_back(engine, desk):
    engine.open(silence(2))
    desk.opened("device:interface")
    desk.seat_channel(1, ChannelSeat("Room", "", -12.0))
    takes = desk._takes
    assert takes.target_of(0) == Target()
    assert takes.target_of(1) == Target(-24.0, -26.0, -18.0, -12.0)
    desk.opened("device:other")
    assert takes.target_of(1) == Target()
    desk.opened("device:interface")
    assert desk.seat(1) == ChannelSeat("Room", "", -12.0)
    assert takes.target_of(1).ceiling_dbfs == -12.0
    desk.seat_channel(1, ChannelSeat("Room"))
    assert takes.target_of(1) == Target()


@pytest.mark.parametrize("written", ["12", 12, -99, True, None, [], "NaN"])
def test_a_remembered_ceiling_that_makes_no_sense_is_none(engine, desk, written):
    desk._memory.put(
        "channels of device:interface", json.dumps({"1": {"name": "A", "peaks_under_dbfs": written}})
    )
    desk.opened("device:interface")
    assert desk.seat(0) == ChannelSeat("A")
