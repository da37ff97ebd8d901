"""Hearing a place of a take, through the output that is part of the package."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from app.inputs.outputs import FakeOutput
from app.inputs.playback import Headphones
from app.window.cliplistening import ClipListening
from app.window.errands import Errands
from app.window.takecard import TakeCard
from app.window.theme import Theme


class Scene:
    """The card of a take with two clips, the second of which has its sound kept."""

    def __init__(self, qtbot: Any, fakes: Any, sound: Path) -> None:
        self.told: list[Exception] = []
        self.errands = Errands()
        self.card = TakeCard(Theme())
        qtbot.addWidget(self.card)
        self.headphones = Headphones(lambda _name: FakeOutput())
        self.listening = ClipListening(
            self.card,
            lambda _take, event: sound if event.frame > 48_000 * 5 else None,
            self.headphones,
            self.errands,
            self.told.append,
        )
        self.card.show_take(fakes.take(clips_s=(2.0, 8.0)))
        self.card.show()

    def settle(self) -> None:
        assert self.errands.wait(30.0)
        self.errands.collect()


@pytest.fixture
def scene(qtbot: Any, fakes: Any, tmp_path: Path) -> Iterator[Scene]:
    sound = tmp_path / "clip.flac"
    soundfile.write(sound, np.zeros(48_000), 48_000)
    scene = Scene(qtbot, fakes, sound)
    yield scene
    scene.listening.hush()
    scene.settle()
    scene.headphones.stop()


def test_a_place_without_sound_offers_none(scene: Scene) -> None:
    scene.card.events.setCurrentRow(0)
    assert not scene.card.play_button.isVisible()
    scene.listening.toggle()
    assert not scene.listening.playing


def test_a_place_with_sound_is_played_and_stopped(scene: Scene) -> None:
    scene.card.events.setCurrentRow(1)
    assert scene.card.play_button.isVisible()
    assert scene.card.play_button.accessibleName() == "Play this place"
    scene.card.play_button.click()
    scene.settle()
    assert scene.listening.playing
    assert scene.headphones.current is not None
    assert scene.card.play_button.accessibleName() == "Stop"
    scene.card.play_button.click()
    assert not scene.listening.playing
    assert not scene.headphones.current.playing
    assert scene.card.play_button.accessibleName() == "Play this place"
    scene.settle()
    assert scene.told == []


def test_what_cannot_be_played_is_told(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_path: Path) -> None:
        raise OSError("no output")

    monkeypatch.setattr(scene.headphones, "play", refuse)
    scene.card.events.setCurrentRow(1)
    scene.listening.toggle()
    scene.settle()
    assert [str(error) for error in scene.told] == ["no output"]
    assert not scene.listening.playing
