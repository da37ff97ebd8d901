"""The control beside the name of the next take: it arms, counts down, remembers, and tells."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from app.engine.handsfree import HandsFreeState, Phase, Wishes
from app.window.handsfree import HandsFree, HandsFreeControl, TakeEnds
from app.window.handsfreeports import HandsFreeServices
from app.window.theme import Theme


@dataclass
class Program:
    """What is behind the control."""

    state: HandsFreeState = HandsFreeState()  # noqa: RUF009 - frozen
    keeps: bool = False
    named: list[tuple[str, str]] = field(default_factory=list)

    def wish(self, wishes):
        phase = Phase.WAITING if wishes.on_sound else Phase.OFF
        self.state = HandsFreeState(phase, wishes)

    def keep(self, on):
        self.keeps = on

    @property
    def services(self):
        return HandsFreeServices(
            state=lambda: self.state,
            wish=self.wish,
            name_next=lambda name, part: self.named.append((name, part)),
            keeps_clips=lambda: self.keeps,
            keep_clips=self.keep,
            clips_folder="/home/player/clips",
        )


class Notes(dict[str, str]):
    """Remembers."""

    def put(self, name, value):
        self[name] = value


@pytest.fixture
def memory():
    return Notes()


@pytest.fixture
def program():
    return Program()


@pytest.fixture
def make(qtbot, program, memory):
    def make():
        control = HandsFreeControl(Theme())
        qtbot.addWidget(control)
        hands = HandsFree(control, program.services, memory)
        hands.show_state("Verse", "bass")
        control.show()
        return control, hands

    return make


@pytest.fixture
def settings(qtbot):
    def settings(hands):
        row = TakeEnds(hands)
        qtbot.addWidget(row)
        qtbot.addWidget(row.clips)
        row.show()
        return row

    return settings


def choose(box, text):
    index = box.findText(text)
    assert index >= 0
    box.setCurrentIndex(index)
    box.activated.emit(index)


def test_a_press_arms_it_and_another_does_not(make, program):
    control, hands = make()
    assert program.state.wishes == Wishes(False, 8.0, None)
    control.arm_button.click()
    hands.show_state("Verse", "bass")
    assert program.state.wishes == Wishes(True, 8.0, None)
    assert control.arm_button.text() == "Waiting for first note"
    assert control.arm_button.isChecked()
    hands.toggle()
    hands.show_state("Verse", "bass")
    assert not program.state.wishes.on_sound
    assert control.arm_button.text() == "Begin with first note"
    assert program.named[-1] == ("Verse", "bass")


@pytest.mark.parametrize(
    ("phase", "quiet_left_s", "length_left_s", "text"),
    [
        (Phase.TAKING, 7.9, None, "Ends after 0:08 of quiet"),
        (Phase.QUIET, 4.2, None, "Ends in 0:05"),
        (Phase.QUIET, 4.2, 1.2, "Ends in 0:02"),
        (Phase.TAKING, None, 61.0, "Ends in 1:01"),
    ],
)
def test_the_end_is_counted_down(make, program, phase, quiet_left_s, length_left_s, text):
    control, hands = make()
    program.state = HandsFreeState(phase, Wishes(True, 8.0, 120.0), quiet_left_s, length_left_s)
    hands.show_state("", "bass")
    assert control.arm_button.text() == text


def test_what_was_chosen_is_remembered_but_not_that_it_was_armed(make, settings, program, memory):
    control, hands = make()
    control.arm_button.click()
    row = settings(hands)
    choose(row.quiet, "Never")
    choose(row.length, "5 minutes")
    assert program.state.wishes == Wishes(True, None, 300.0)
    _, hands = make()
    assert program.state.wishes == Wishes(False, None, 300.0)
    assert settings(hands).quiet.currentText() == "Never"
    assert settings(hands).length.currentText() == "5 minutes"


@pytest.mark.parametrize("text", ["no number", "nan", "7", ""])
def test_what_is_not_offered_is_not_remembered_either(make, settings, program, memory, text):
    memory["handsfree_quiet_s"] = text
    _, hands = make()
    assert program.state.wishes.quiet_s == 8.0
    assert settings(hands).quiet.currentText() == "8 seconds"


def test_what_is_recorded_is_shown_as_long_as_it_is(make, settings, program, memory):
    control, hands = make()
    assert not control._marker.isVisible()
    row = settings(hands)
    assert not row.clips.isChecked()
    row.clips.click()
    hands.show_state("", "bass")
    assert program.keeps
    assert control._marker.isVisible()
    assert "/home/player/clips" in row.clips.toolTip()
    program.keeps = False
    again, hands = make()
    hands.show_state("", "bass")
    assert program.keeps
    assert again._marker.isVisible(), "asked for once, and said so at every start"
    row = settings(hands)
    assert row.clips.isChecked()
    row.clips.click()
    hands.show_state("", "bass")
    assert not program.keeps
    assert not again._marker.isVisible()


def test_it_stays_armed_and_begins_nothing_while_somebody_is_guided(make, program):
    control, hands = make()
    control.arm_button.click()
    hands.show_state("", "bass", paused=True)
    assert not program.state.wishes.on_sound
    assert control.arm_button.isChecked()
    assert control.arm_button.text() == "Waiting for first note"
    hands.show_state("", "bass")
    assert program.state.wishes.on_sound
    control.arm_button.click()
    hands.show_state("", "bass", paused=True)
    hands.show_state("", "bass")
    assert not program.state.wishes.on_sound


def test_everything_has_a_name_for_screen_readers(make, settings):
    control, hands = make()
    row = settings(hands)
    assert all(stop.accessibleName() for stop in (*control.stops, *row.stops, row.clips))
