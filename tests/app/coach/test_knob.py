import numpy as np
import pytest

from app.coach.knob import KnobWatch

RNG = np.random.default_rng(4)


def quiet(level, seconds=3.0):
    return level + RNG.normal(0, 0.2, round(seconds * 10))


def playing(level, seconds=6.0):
    return level + 4 * np.sin(np.arange(round(seconds * 10)) * 0.7) + RNG.normal(0, 1.0, round(seconds * 10))


def moves(*passages):
    watch = KnobWatch()
    found = [watch.process(float(tick)) for tick in np.concatenate(passages)]
    return [move for move in found if move is not None]


@pytest.mark.parametrize("turn", [-15, -6, 6, 20])
def test_noise_and_playing_that_shift_together_are_a_moved_knob(turn):
    found = moves(quiet(-75), playing(-30), quiet(-75 + turn), playing(-30 + turn))
    assert found == [pytest.approx(turn, abs=2.5)]


def test_noise_of_the_converter_need_not_follow_all_the_way_down():
    assert moves(quiet(-70), playing(-20), quiet(-78), playing(-35)) == [pytest.approx(-15, abs=2.5)]


def test_a_player_who_plays_louder_moves_no_knob():
    assert moves(quiet(-75), playing(-30), quiet(-75), playing(-20), quiet(-75), playing(-38)) == []


def test_a_fan_moves_no_knob():
    assert moves(quiet(-75), playing(-30), quiet(-60), playing(-30)) == []


def test_nothing_is_said_before_both_were_heard_again():
    assert moves(quiet(-75), playing(-30), quiet(-60)) == []
    assert moves(playing(-30, 10)) == []


def test_steady_strumming_at_a_lower_gain_is_not_taken_for_quiet():
    watch = KnobWatch()
    for tick in np.concatenate((quiet(-65), playing(-10), np.full(100, -27.5), playing(-27))):
        watch.process(float(tick))
    assert watch.quiet_dbfs == pytest.approx(-65, abs=0.5)
    assert watch.playing_threshold_dbfs < -40


def test_two_moves_are_two():
    found = moves(quiet(-75), playing(-40), quiet(-65), playing(-30), quiet(-75), playing(-40))
    assert found == [pytest.approx(10, abs=2.5), pytest.approx(-10, abs=2.5)]


@pytest.mark.parametrize("turn", [-12, -6, 6, 15])
def test_a_knob_turned_under_the_playing_is_noticed_at_the_next_pause(turn):
    played = np.concatenate((playing(-30, 8), playing(-30 + turn, 8)))
    assert moves(quiet(-75), played, quiet(-75 + turn)) == [pytest.approx(turn, abs=2.5)]
    assert moves(quiet(-75), played, quiet(-75)) == [], "the noise says that it was the player"


def test_a_fan_that_starts_under_lively_playing_moves_no_knob():
    lively = np.concatenate([playing(level, 4) for level in (-30, -24, -32, -26, -31)])
    assert moves(quiet(-75), lively, quiet(-70), lively) == []
