import pytest

from app.coach.balance import BalanceReason
from app.words.balance import (
    advice_sentence,
    care_sentences,
    in_the_way,
    pitch_range,
    reason_sentence,
    too_short,
)

VALUES = {
    "gap_lu": 11.97,
    "heard_before_pct": 5.6,
    "heard_after_pct": 96.5,
    "wanted_pct": 90.0,
    "needed_db": 13.0,
    "least_db": 10.0,
    "most_db": 40.0,
}


@pytest.mark.parametrize("reason", BalanceReason)
@pytest.mark.parametrize("gap_lu", [-3.2, 12.0, float("nan")])
def test_every_reason_is_one_or_two_sentences(reason, gap_lu):
    text = reason_sentence(reason, VALUES | {"gap_lu": gap_lu})
    assert text.endswith(".")
    assert "{" not in text
    assert "-" not in text
    assert len(text) < 200


def test_the_sentences_carry_the_figures():
    text = reason_sentence("hidden", VALUES)
    assert "stands 12.0 LU above the part" in text
    assert "in 6 % of its playing time now and in 96 % then" in text
    assert "3.2 LU below" in reason_sentence("hidden", VALUES | {"gap_lu": -3.2})
    assert advice_sentence((13,)) == "Pull the backing down 13 dB."
    assert advice_sentence((4, 4)) == "Pull the backing down 4 dB."
    assert "13 dB in all" in advice_sentence((13, 0))
    assert advice_sentence((0, 0)) == "Leave the backing where it is."
    assert in_the_way(0.304, 1500, 5000) == "30 %, most at 1.5 to 5 kHz"
    assert pitch_range(400, 1500) == "400 Hz to 1.5 kHz"
    assert pitch_range(20, 120) == "20 to 120 Hz"
    assert "1.5 s" in too_short("a.wav", 1.5, 3.0)


def test_care_comes_first_and_the_gain_stays():
    first, second, *rest = care_sentences(True)
    assert first.startswith("Turn the headphones down")
    assert "leave the gain" in second
    everything = " ".join((first, second, *rest))
    for said in ("small steps", "Rest your ears", "local rules", "professional"):
        assert said in everything
    assert len(care_sentences(False)) == 1
