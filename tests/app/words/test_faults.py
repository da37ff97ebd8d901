"""Every fault has one sentence that says what to look at."""

from __future__ import annotations

import pytest

from app.words.faults import fault_sentence
from dsp.reading import FaultKind


@pytest.mark.parametrize("kind", list(FaultKind))
@pytest.mark.parametrize("channel", [None, 1, 2])
@pytest.mark.parametrize("value", [None, 12.0, -0.02])
def test_one_sentence_without_gaps(kind, channel, value):
    sentence = fault_sentence(kind.value, channel, value)
    assert sentence.endswith(".")
    assert sentence.count(". ") == 0
    assert sentence[0].isupper()
    assert "look" in sentence or "switch off" in sentence or "record" in sentence
    assert "{" not in sentence
    assert "None" not in sentence


def test_numbers_and_channels_are_in_the_sentence():
    assert "Channel 2 lies 63 dB" in fault_sentence("dead_channel", 2, -63.2)
    assert "Channels 1 and 2" in fault_sentence("inverted_channels", 2, -0.97)
    assert "16 bits" in fault_sentence("low_resolution", None, 16.0)
    assert "\N{MINUS SIGN}2.00 %" in fault_sentence("dc_offset", 1, -0.02)
    assert "9 dB" in fault_sentence("pumping", 1, 9.2)


def test_an_unknown_kind_is_refused():
    with pytest.raises(KeyError, match="no_such_fault"):
        fault_sentence("no_such_fault")
