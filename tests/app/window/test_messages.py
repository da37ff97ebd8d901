from __future__ import annotations

import time
from dataclasses import replace
from typing import Any

import pytest

from app.engine.snapshot import InputState, Snapshot
from app.errors import DeviceError, LogError
from app.window.banner import Message
from app.window.messages import is_live, is_stale, messages_for
from app.words import messages as words
from app.words.faults import fault_sentence
from dsp.reading import Fault, FaultKind


def texts(snapshot: Snapshot, **more: Any) -> list[str]:
    return [message.text for message in messages_for(snapshot, snapshot.published_s, **more)]


def test_all_is_well(fakes: Any) -> None:
    assert texts(fakes.running()) == []
    assert is_live(fakes.running(), time.monotonic())


def test_what_came_back_behind_a_sound_server_is_doubted(fakes: Any) -> None:
    snapshot = fakes.running()
    back = replace(snapshot, info=replace(snapshot.info, doubt="It may be another device."))
    assert texts(back) == ["It may be another device."]
    assert "It may be another device." not in texts(replace(back, state=InputState.LOST))


def test_a_reading_older_than_a_quarter_of_a_second_is_old(fakes: Any) -> None:
    snapshot = fakes.running()
    assert not is_stale(snapshot, snapshot.published_s + 0.1)
    assert is_stale(snapshot, snapshot.published_s + 0.25)
    assert not is_live(snapshot, snapshot.published_s + 0.25)
    (message,) = messages_for(snapshot, snapshot.published_s + 0.25)
    assert message == Message(words.state_stale(), urgent=True, stays=True)


@pytest.mark.parametrize("state", [InputState.CLOSED, InputState.ENDED, InputState.FAILED])
def test_what_does_not_run_cannot_be_stale(state: InputState) -> None:
    assert not is_stale(Snapshot(state=state), 1e9)


@pytest.mark.parametrize(
    ("state", "urgent"),
    [
        (InputState.STALLED, True),
        (InputState.LOST, True),
        (InputState.ENDED, False),
        (InputState.OPENING, False),
        (InputState.CLOSED, False),
    ],
)
def test_every_state_has_its_sentence(fakes: Any, state: InputState, urgent: bool) -> None:
    snapshot = replace(fakes.running(), state=state)
    (message,) = messages_for(snapshot, snapshot.published_s)
    assert message.urgent is urgent
    assert message.stays
    assert is_live(snapshot, snapshot.published_s) is (state is InputState.ENDED)


def test_the_most_important_comes_first(fakes: Any) -> None:
    snapshot = replace(
        fakes.running(),
        problem=DeviceError("The device said no.", "code 9"),
        faults=(Fault(FaultKind.DEAD_CHANNEL, 1),),
    )
    found = messages_for(
        snapshot,
        snapshot.published_s,
        log_problem=LogError("The disk is full."),
        told=[Message("That file is no sound file.", urgent=True)],
        hint="A hint.",
    )
    assert [message.text for message in found] == [
        "The device said no.",
        "That file is no sound file.",
        "The disk is full.",
        fault_sentence("dead_channel", 2),
        "A hint.",
    ]
    assert found[0].detail == "code 9"


@pytest.mark.parametrize("kind", FaultKind)
def test_every_fault_has_a_sentence(fakes: Any, kind: FaultKind) -> None:
    snapshot = replace(fakes.running(), faults=(Fault(kind, 0, 0.01),))
    (text,) = texts(snapshot)
    assert text.endswith(".")
    assert kind.value not in text, "a key is no sentence"
