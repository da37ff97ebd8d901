"""``swellmark watch`` on an input with faults: what is lost is said, placed and logged."""

from __future__ import annotations

import importlib
import threading

import numpy as np
import pytest

from app.cli.limited import Limited
from app.inputs.fake import FakeSource
from app.inputs.returning import ReturningSource
from app.inputs.source import Block, SourceInfo

RATE_HZ = 48_000
module = importlib.import_module("app.cli.watch")


@pytest.fixture
def watch(run, monkeypatch, strict_json):
    """Watch this source; the exit status, the lines, and what was on stderr."""

    def watch(source, *arguments):
        monkeypatch.setattr(module, "open_spec", lambda spec, *, paced: source)
        result = run("watch", "--json", *arguments)
        return result.exit_code, [strict_json(line) for line in result.stdout.splitlines()], result.stderr

    return watch


def test_lost_frames_are_told_counted_and_placed(watch, run, phrases, strict_json):
    source = FakeSource(phrases(-15.0, seconds=3.0))
    source.drop_at_frame(RATE_HZ, RATE_HZ // 2)
    _, lines, errors = watch(source, "--take", "With a hole")
    assert errors == "swellmark: 24000 frames were lost (0.50 s): what they held was not seen.\n"
    places = [line["t_s"] for line in lines]
    assert places == sorted(set(places))
    assert not [t_s for t_s in places if 1.0 < t_s <= 1.5]
    assert places[-1] == 3.0
    assert {line["lost_frames"] for line in lines if line["t_s"] <= 1.0} == {0}
    assert {line["lost_frames"] for line in lines if line["t_s"] > 1.5} == {24_000}
    take = strict_json(run("takes", "show", "1", "--json").stdout)
    assert take["lost_frames"] == 24_000
    (gap,) = [event for event in take["events"] if event["kind"] == "gap"]
    assert (gap["t_s"], gap["frames"]) == (1.0, 24_000)


AWAY = (
    "swellmark: Input 1 has stopped delivering sound. Check its plug and its switches: "
    "the watch goes on when it is back, and Ctrl+C ends it."
)


def test_an_input_that_stays_away_ends_it_when_the_time_is_up(watch, run, phrases, strict_json, monkeypatch):
    monkeypatch.setattr(module, "_GRACE_S", 0.1)
    samples = phrases(-15.0, seconds=3.0)
    samples[24_000:24_008] = 1.0
    source = FakeSource(samples, paced=True, name="Input 1")
    source.unplug_at_frame(RATE_HZ)
    status, lines, errors = watch(source, "--take", "Unplugged", "--seconds", "1.2")
    assert status == 1
    assert errors == AWAY + "\n"
    assert lines[-1]["t_s"] <= 1.0
    take = strict_json(run("takes", "show", "1", "--json").stdout)
    assert take["state"] == "interrupted"
    assert [event["kind"] for event in take["events"] if event["kind"] in ("clip", "input_lost")] == [
        *("clip", "input_lost"),
    ]


def test_an_input_that_never_delivered_is_no_success(watch, monkeypatch):
    monkeypatch.setattr(module, "_GRACE_S", 0.1)
    source = FakeSource(np.zeros((RATE_HZ, 1), np.float32), paced=True, name="Input 1")
    source.unplug_at_frame(0)
    status, lines, errors = watch(source, "--seconds", "0.3")
    assert (status, lines, errors) == (2, [], AWAY + "\n")


def test_an_input_that_is_plugged_in_again_goes_on_in_the_same_take(watch, run, phrases, strict_json):
    fake = FakeSource(phrases(-15.0, seconds=2.0), paced=True, name="Input 1")
    fake.unplug_at_frame(RATE_HZ // 2)
    source = ReturningSource(fake, retry_s=0.05)
    wake = threading.Timer(0.8, fake.replug)
    wake.start()
    try:
        status, lines, errors = watch(source, "--take", "Plugged in again")
    finally:
        wake.cancel()
    assert status in (0, 1)
    assert AWAY in errors
    assert "swellmark: Input 1 delivers sound again." in errors
    assert lines[-1]["t_s"] >= 2.0
    take = strict_json(run("takes", "show", "1", "--json").stdout)
    assert take["state"] == "closed"
    kinds = [event["kind"] for event in take["events"]]
    assert {"input_lost", "input_back", "gap"} <= set(kinds)
    assert take["lost_frames"] > 0


def test_an_input_that_stalls_and_comes_back_goes_on(watch, run, phrases, strict_json):
    source = FakeSource(phrases(-15.0, seconds=2.0), paced=True, name="Input 1")
    source.stall_at_frame(RATE_HZ // 2)
    wake = threading.Timer(1.5, source.resume)
    wake.start()
    try:
        status, lines, errors = watch(source, "--take", "Stalled")
    finally:
        wake.cancel()
    assert status in (0, 1)
    silent, back = (line for line in errors.splitlines() if "deliver" in line)
    assert silent == AWAY
    assert back == "swellmark: Input 1 delivers sound again."
    assert lines[-1]["t_s"] >= 1.0
    assert strict_json(run("takes", "show", "1", "--json").stdout)["state"] == "closed"


def test_figures_do_not_depend_on_the_size_of_blocks(watch, phrases):
    samples = phrases(-15.0, seconds=1.3)
    ways = [watch(FakeSource(samples, block_frames=sizes))[1] for sizes in ((), (1, 7, 4096), (33,))]
    for other in ways[1:]:
        assert [line["per_channel"][0]["peak_dbfs"] for line in other] == [
            line["per_channel"][0]["peak_dbfs"] for line in ways[0]
        ]
        assert [line["per_channel"][0]["average_max_dbfs"] for line in other] == [
            line["per_channel"][0]["average_max_dbfs"] for line in ways[0]
        ]


class Losing:
    """Delivers 100 frames a block, each after 50 that were lost."""

    info = SourceInfo("fake", "Losing", RATE_HZ, 1, live=True)

    def __init__(self) -> None:
        self.asked: list[int] = []

    def start(self) -> None:
        pass

    def read(self, max_frames: int, timeout_s: float) -> Block:
        self.asked.append(max_frames)
        return Block(np.zeros((min(100, max_frames), 1), np.float32), lost_frames=50)


def test_a_limit_counts_what_was_lost_and_ends_to_the_frame():
    source = Losing()
    limited = Limited(source, 400 / RATE_HZ)
    limited.start()
    blocks = [limited.read(480, 0.0)]
    while not blocks[-1].ended:
        blocks.append(limited.read(480, 0.0))
    assert sum(block.lost_frames + block.samples.shape[0] for block in blocks) >= 400
    assert source.asked == [400, 250, 100]
    assert limited.read(480, 0.0).samples.shape == (0, 1)
    assert limited.read(480, 0.0).ended
