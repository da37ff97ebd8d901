from dataclasses import replace

import numpy as np
import pytest

from app.coach.judgement import Target
from app.coach.parts import find_part
from app.coach.session import QUIET_S, Cue, GuidedSession, Step
from app.window.guide import found_text
from app.words.session import cue_sentence, forecast_sentence, quiet_sentence, step_name


@pytest.mark.parametrize("step", Step)
def test_every_step_has_a_name(step):
    assert step_name(step)


@pytest.mark.parametrize("cue", Cue)
@pytest.mark.parametrize("change", [-12, 0, 12])
def test_every_cue_can_be_read_while_holding_an_instrument(cue, change):
    sentence = cue_sentence(cue, gain_change_db=change, remaining_db=3.2)
    assert 0 < len(sentence) <= 65
    assert "{" not in sentence


def test_the_knob_is_followed_in_words():
    assert cue_sentence("more", gain_change_db=9, remaining_db=3.2) == "Go on: still about 3 dB up"
    assert cue_sentence("too_far", gain_change_db=9, remaining_db=-2.6) == "Too far: about 3 dB back down"
    assert cue_sentence("too_far", gain_change_db=-9, remaining_db=2.6) == "Too far: about 3 dB back up"


@pytest.mark.parametrize(
    ("chance", "high", "says"),
    [
        (0.0, 0.001, "very probably stay clear"),
        (0.005, 0.03, "Fewer than 1 in 100 takes"),
        (0.05, 0.1, "About 1 in 20 takes"),
        (0.1, 0.2, "About 1 in 10 takes"),
        (0.35, 0.5, "About 1 in 3 takes"),
        (0.5, 0.7, "every second take"),
        (0.97, 1.0, "Nearly every take"),
    ],
)
def test_a_chance_is_said_plainly(chance, high, says):
    assert says in forecast_sentence(chance, high, 240.0)
    assert "4 min" in forecast_sentence(chance, high, 240.0)


def test_the_room_is_described_with_a_true_minus_sign():
    assert "−72 dBFS" in quiet_sentence(-72.1)
    assert "helps" in quiet_sentence(-51.0)


def test_quiet_that_no_connected_input_has_is_not_called_a_quiet_room():
    """The session hears no lower than -120 dBFS; digital silence reads so."""
    hop_s = 0.01
    session = GuidedSession(find_part("voice"), Target(), hop_s)
    silence = np.full(round(2 * QUIET_S / hop_s), -np.inf)
    state = session.process(silence, silence, np.nan)
    assert state.step is Step.LOUD
    assert "No noise comes in" in quiet_sentence(state.quiet_dbfs)
    assert "quiet, at" in quiet_sentence(-119.0)
    assert "No noise comes in" in found_text(state)
    assert found_text(replace(state, progress=0.1)) == ""
