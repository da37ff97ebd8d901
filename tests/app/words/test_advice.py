import pytest

from app.coach.judgement import Reason, Verdict
from app.words.advice import advice_sentence, explanation, reason_sentence, term_explanation, verdict_name

VALUES = {
    "average_dbfs": -18.04,
    "peak_dbfs": -3.42,
    "ceiling_dbfs": -6.0,
    "expected_peak_dbfs": -0.5,
    "missing_s": 1.2,
    "noise_gap_db": 31.0,
    "least_db": 6.0,
}


@pytest.mark.parametrize("verdict", Verdict)
def test_every_verdict_has_a_name_and_an_explanation(verdict):
    assert verdict_name(verdict)
    assert explanation(verdict).endswith(".")


@pytest.mark.parametrize(
    "term", ["dbfs", "average", "peak", "headroom", "noise_floor", "crest", "gain", "low_gain"]
)
def test_every_term_is_explained_in_a_few_lines(term):
    text = term_explanation(term)
    assert 80 < len(text) < 260
    assert text.endswith(".")
    assert " -" not in text


@pytest.mark.parametrize("reason", Reason)
@pytest.mark.parametrize("change", [-4, 0, 7])
def test_every_sentence_can_be_read_at_a_glance(reason, change):
    why = reason_sentence(reason, VALUES)
    what = advice_sentence(reason, change, VALUES)
    assert why.endswith(".")
    assert "{" not in why + what
    assert "-" not in why, "the minus sign is the true one"
    assert len(what) <= 60
    assert len(why) <= 100


def test_the_sentences_carry_the_figures():
    assert advice_sentence("peaks_high", -4) == "Turn the gain down about 4 dB"
    assert advice_sentence("average_low", 11) == "Turn the gain up about 11 dB"
    assert advice_sentence("in_window", 0) == "Leave the gain as it is"
    assert reason_sentence("take_louder", VALUES).startswith("Peaks reach −3.4 dBFS.")
    assert reason_sentence("listening", {"missing_s": 1.2}) == "1 more second of playing is needed."


def test_a_clip_asks_for_another_pass():
    assert advice_sentence("clipped", -12) == "Turn the gain down about 12 dB, then play it again"
    assert "at least 6.0 dB" in reason_sentence("clipped", VALUES)
