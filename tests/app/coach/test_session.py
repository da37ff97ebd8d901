"""The guided session against a player of numbers: a level, a noise, a knob."""

from dataclasses import replace

import numpy as np
import pytest

from app.coach.judgement import Reason, Target, Verdict
from app.coach.parts import find_part
from app.coach.session import Cue, GuidedSession, Step
from dsp.reading import Clip, ClipKind

PART = replace(find_part("other"), growth_db=2.0)
TARGET = Target()
CLIP = Clip(ClipKind.FULL_SCALE, 0, 0, 5, 0.0)


class Player:
    """Plays into a session, hop by hop."""

    def __init__(self, session, gain_db=0.0, playing_dbfs=-20.0, noise_dbfs=-65.0, crest_db=12.0, seed=1):
        self.session = session
        self.gain_db = gain_db
        self.playing_dbfs = playing_dbfs
        self.noise_dbfs = noise_dbfs
        self.crest_db = crest_db
        self.rng = np.random.default_rng(seed)
        self.state = None
        self.cues = []

    def _hear(self, averages, crest_db, until):
        peaks = averages + crest_db - self.rng.exponential(1.0, averages.size)
        for start in range(0, averages.size, 10):
            average, peak = averages[start : start + 10], peaks[start : start + 10]
            clips = [CLIP] if peak.max() >= 0.0 else []
            self.state = self.session.process(average, np.minimum(peak, 0.0), np.nan, clips)
            if not self.cues or self.cues[-1] is not self.state.cue:
                self.cues.append(self.state.cue)
            if until is not None and self.state.step is not until:
                break
        return self.state

    def rest(self, seconds, until=None):
        noise = self.noise_dbfs + self.gain_db
        return self._hear(noise + self.rng.normal(0, 0.3, round(seconds * 100)), 8.0, until)

    def play(self, seconds, level_db=0.0, until=None):
        hops = round(seconds * 100)
        wander = np.interp(
            np.arange(hops),
            np.arange(0, hops + 60, 60),
            self.rng.normal(0, 1.5, hops // 60 + 2)[: len(np.arange(0, hops + 60, 60))],
        )
        return self._hear(self.playing_dbfs + self.gain_db + level_db + wander, self.crest_db, until)


def session():
    return GuidedSession(PART, TARGET, 0.01)


def begun(**player):
    player = Player(session(), **player)
    assert player.rest(10, until=Step.QUIET).step is Step.LOUD
    return player


def test_quiet_waits_until_nobody_plays():
    player = Player(session())
    assert player.play(6).cue is Cue.SOMEBODY_PLAYS
    assert player.state.step is Step.QUIET
    state = player.rest(6, until=Step.QUIET)
    assert (state.step, state.cue) == (Step.LOUD, Cue.PLAY_LOUDEST)
    assert state.quiet_dbfs == pytest.approx(-65.0, abs=0.3)


def test_noise_alone_does_not_count_as_playing():
    player = begun()
    assert player.rest(30).cue is Cue.PLAY_LOUDEST
    assert player.state.progress == 0.0


def test_too_little_playing_gives_no_advice():
    player = begun()
    state = player.play(22)
    assert (state.step, state.cue) == (Step.LOUD, Cue.KEEP_PLAYING)
    assert 0.5 < state.progress < 1.0


def test_few_loud_seconds_are_not_full_effort():
    player = begun(gain_db=-15)
    player.play(20, level_db=-15)
    player.play(2.5)
    player.play(18, level_db=-15)
    assert (player.state.step, player.state.cue) == (Step.LOUD, Cue.PLAY_LOUDER)


def test_a_player_who_still_gets_louder_is_heard_out():
    player = begun(gain_db=-15)
    for step in range(41):
        player.play(1, level_db=-20.0 + 0.75 * step)
    assert (player.state.step, player.state.cue) == (Step.LOUD, Cue.STILL_RISING)


@pytest.mark.parametrize("gain_db", [-25, -12, 7])
def test_one_turn_and_the_check_agrees(gain_db):
    player = begun(gain_db=gain_db, playing_dbfs=-22.0, crest_db=9.0, noise_dbfs=-62.0)
    state = player.play(50, until=Step.LOUD)
    assert state.step is Step.TURN
    assert np.sign(state.gain_change_db) == -np.sign(gain_db)
    assert state.opinion.verdict is (Verdict.LOW_WATER if gain_db < 0 else Verdict.HIGH_WATER)
    player.gain_db += state.gain_change_db + 1.0
    state = player.rest(6, until=Step.TURN)
    assert (state.step, state.cue) == (Step.CHECK, Cue.PLAY_AGAIN)
    state = player.play(15, until=Step.CHECK)
    assert (state.step, state.cue, state.moves) == (Step.DONE, Cue.DONE, 1)
    assert state.forecast.clip_probability < 0.1


def test_nothing_to_turn_is_done_at_once():
    player = begun(playing_dbfs=-21.0, crest_db=2.5)
    assert player.play(50, until=Step.LOUD).step is Step.DONE
    assert player.state.moves == 0


@pytest.mark.parametrize("playing", [False, True])
def test_the_knob_is_followed_while_it_turns(playing):
    player = begun(gain_db=-20, playing_dbfs=-22.0, crest_db=9.0)
    asked = player.play(50, until=Step.LOUD).gain_change_db
    player.cues.clear()
    for _ in range(asked + 4):
        player.gain_db += 1.0
        player.play(1.2) if playing else player.rest(1.2)
        if player.state.cue is Cue.THERE:
            break
    assert [cue for cue in player.cues if cue is not Cue.TURN] == [Cue.MORE, Cue.THERE]
    assert player.gain_db == pytest.approx(-20 + asked, abs=3.0)


def test_noise_is_followed_within_half_a_second_and_without_flipping():
    player = begun(gain_db=-20, playing_dbfs=-22.0, crest_db=9.0)
    asked = player.play(50, until=Step.LOUD).gain_change_db
    player.rest(1.0)
    player.cues.clear()
    for turned in np.linspace(0.0, asked - 4.0, 30):
        player.gain_db = -20 + turned
        player.rest(0.1)
    state = player.rest(0.4)
    assert state.remaining_db == pytest.approx(4.0, abs=1.0)
    player.gain_db = -20 + asked
    assert player.rest(0.5).cue is Cue.THERE
    assert [cue for cue in player.cues if cue is not Cue.TURN] == [Cue.MORE, Cue.THERE]
    assert player.rest(3, until=Step.TURN).step is Step.CHECK


def test_what_is_left_stands_still_while_nobody_turns():
    player = begun(gain_db=-20, playing_dbfs=-22.0, crest_db=9.0)
    player.play(50, until=Step.LOUD)
    player.gain_db += 6
    player.rest(2)
    left = set()
    for _ in range(50):
        left.add(player.rest(0.1).remaining_db)
    assert len(left) == 1


def test_noise_that_no_knob_moves_is_not_followed():
    """Under -90 dBFS the converter's own noise takes part: turning by it would go too far."""
    player = begun(gain_db=-20, playing_dbfs=-22.0, crest_db=9.0, noise_dbfs=-80.0)
    asked = player.play(50, until=Step.LOUD).gain_change_db
    assert not player.state.follows_noise
    player.gain_db += asked
    assert player.rest(4).cue is Cue.TURN
    player.play(3)
    assert player.state.cue in (Cue.MORE, Cue.THERE)


def test_a_soft_passage_is_not_taken_for_a_knob_turned_back():
    player = begun(gain_db=-20, playing_dbfs=-22.0, crest_db=9.0)
    asked = player.play(50, until=Step.LOUD).gain_change_db
    player.gain_db += asked - 4
    player.rest(2)
    left = player.state.remaining_db
    assert player.play(4, level_db=-8.0).remaining_db == left


def test_a_chord_that_dies_away_is_not_taken_for_a_turn():
    player = begun(gain_db=5, playing_dbfs=-20.0, crest_db=9.0)
    asked = player.play(50, until=Step.LOUD).gain_change_db
    assert asked <= -8
    player._hear(np.linspace(-15.0, -40.0, 800), 6.0, None)
    assert (player.state.step, player.state.cue) == (Step.TURN, Cue.TURN)


def asked_small(noise_dbfs, seed):
    """A session that stands at a turn of two or three decibels."""
    for gain_db in np.arange(-9.0, -2.0, 0.5):
        player = begun(
            gain_db=gain_db, playing_dbfs=-22.0, crest_db=9.0, noise_dbfs=noise_dbfs - gain_db, seed=seed
        )
        if player.play(60, until=Step.LOUD).gain_change_db in (2, 3):
            player.cues.clear()
            return player
    raise AssertionError("no such turn was asked for")


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("noise_dbfs", [-95.0, -62.0])
def test_there_is_not_said_of_a_small_turn_that_nobody_made(noise_dbfs, seed):
    player = asked_small(noise_dbfs, seed)
    assert player.state.step is Step.TURN
    assert not player.state.follows_playing
    player.play(7.0)
    assert player.cues == [Cue.TURN]


def test_a_small_turn_is_seen_in_the_noise():
    player = asked_small(-62.0, seed=1)
    player.rest(2)
    assert player.cues == [Cue.TURN]
    player.gain_db += player.state.gain_change_db
    player.rest(3, until=Step.TURN)
    assert Cue.THERE in player.cues
    assert player.state.step is Step.CHECK


@pytest.mark.parametrize("turned", [True, False])
def test_a_small_turn_that_nothing_can_show_is_checked_instead(turned):
    player = asked_small(-95.0, seed=1)
    player.gain_db += player.state.gain_change_db * turned
    player.play(10, until=Step.TURN)
    assert Cue.THERE not in player.cues
    assert player.state.step is Step.CHECK
    state = player.play(20, until=Step.CHECK)
    assert (state.cue, state.moves) == (Cue.DONE, 1), "three decibels from the middle is right as well"


@pytest.mark.parametrize("seed", range(8))
def test_no_turn_of_one_decibel_is_asked_for(seed):
    for start_db in np.arange(-9.0, -2.0, 0.5):
        player = begun(gain_db=start_db, playing_dbfs=-22.0, crest_db=9.0, seed=seed)
        state = player.play(60, until=Step.LOUD)
        assert abs(state.gain_change_db) != 1
        if state.step is Step.DONE:
            assert state.opinion.verdict is Verdict.FAIR_WATER


def test_turning_too_far_is_said():
    player = begun(gain_db=-20, playing_dbfs=-22.0)
    player.gain_db += player.play(50, until=Step.LOUD).gain_change_db + 6
    state = player.rest(3)
    assert (state.step, state.cue) == (Step.TURN, Cue.TOO_FAR)
    assert state.remaining_db == pytest.approx(-6.0, abs=1.0)


def test_clipping_asks_for_a_full_pass_afterwards():
    player = begun(gain_db=14, playing_dbfs=-20.0)
    state = player.play(50, until=Step.LOUD)
    assert (state.step, state.opinion.reason) == (Step.TURN, Reason.CLIPPED)
    player.gain_db += state.gain_change_db
    player.rest(6, until=Step.TURN)
    assert player.play(15).step is Step.CHECK
    assert player.play(35, until=Step.CHECK).step is Step.DONE


def test_a_check_that_is_played_a_little_softer_asks_for_no_second_turn():
    player = begun(gain_db=-20, playing_dbfs=-22.0, crest_db=9.0)
    player.gain_db += player.play(50, until=Step.LOUD).gain_change_db
    player.rest(6, until=Step.TURN)
    state = player.play(20, level_db=-4.0, until=Step.CHECK)
    assert (state.step, state.moves) == (Step.DONE, 1)


def test_a_check_far_under_the_expected_level_asks_again():
    player = begun(gain_db=-30, playing_dbfs=-22.0, crest_db=9.0)
    asked = player.play(50, until=Step.LOUD).gain_change_db
    player.session.skip()
    player.gain_db += asked - 14
    assert player.play(12).cue is Cue.PLAY_LOUDER
    state = player.play(10, until=Step.CHECK)
    assert (state.step, state.moves) == (Step.TURN, 2)
    assert state.gain_change_db == pytest.approx(14, abs=4)


def test_a_check_that_nobody_played_ends_without_a_verdict():
    player = begun(gain_db=-20, playing_dbfs=-22.0)
    player.play(50, until=Step.LOUD)
    player.session.skip()
    asked = player.state.gain_change_db
    state = player.session.skip()
    assert (state.step, state.cue) == (Step.DONE, Cue.UNCHECKED)
    assert state.gain_change_db == asked


def test_every_step_can_be_skipped_and_restarted():
    guided = session()
    assert guided.skip().step is Step.LOUD
    assert guided.skip().step is Step.LOUD, "nothing heard, so there is nothing to advise"
    player = Player(guided, gain_db=-20)
    player.play(4)
    assert guided.skip().step is Step.TURN
    assert guided.skip().step is Step.CHECK
    guided.restart()
    assert player.rest(0.1).step is Step.QUIET
    assert player.state.gain_change_db == 0
