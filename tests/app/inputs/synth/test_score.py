"""The form of the evening."""

from __future__ import annotations

from itertools import islice, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.inputs.synth.score import FIRST_QUIET_S, Desk, Kind, evening, luck

_SEEDS = st.integers(0, 2**32)


@given(_SEEDS)
@settings(max_examples=25)
def test_sections_follow_each_other_without_gap_or_overlap(seed: int) -> None:
    for now, then in pairwise(islice(evening(seed), 200)):
        assert then.index == now.index + 1
        assert then.start_s == pytest.approx(now.start_s + now.seconds)


@given(_SEEDS)
@settings(max_examples=25)
def test_every_verse_and_chorus_lies_between_quiet_stretches(seed: int) -> None:
    sections = list(islice(evening(seed), 80))
    assert sections[0].kind is Kind.REST
    assert sections[0].seconds == FIRST_QUIET_S >= 3.0
    for now, then in pairwise(sections):
        assert (now.kind is Kind.REST) != (then.kind is Kind.REST)
    assert min(section.seconds for section in sections if section.kind is Kind.REST) >= 3.0
    assert max(section.seconds for section in sections) < 25.0


@given(_SEEDS)
@settings(max_examples=25)
def test_the_chorus_is_louder_than_any_verse(seed: int) -> None:
    sections = list(islice(evening(seed), 80))
    verses = [section.effort_db for section in sections if section.kind is Kind.VERSE]
    choruses = [section.effort_db for section in sections if section.kind is Kind.CHORUS]
    assert max(verses) + 3.0 < min(choruses)
    assert max(choruses) <= 0.0


def test_bars_fill_their_section() -> None:
    for section in islice(evening(7), 40):
        if section.chords:
            assert section.bar_start_s(len(section.chords)) == pytest.approx(
                section.start_s + section.seconds
            )


def test_the_same_seed_is_the_same_evening_and_another_is_not() -> None:
    assert list(islice(evening(5), 30)) == list(islice(evening(5), 30))
    assert list(islice(evening(5), 30)) != list(islice(evening(6), 30))


def test_no_round_repeats_another() -> None:
    choruses = [section for section in islice(evening(1), 200) if section.kind is Kind.CHORUS]
    assert len({(section.effort_db, section.beat_s) for section in choruses}) == len(choruses)


def test_every_desk_draws_its_own_luck() -> None:
    draws = [luck(1, desk, 3).random() for desk in Desk]
    assert len(set(draws)) == len(draws)
    assert luck(1, Desk.BASS, 3).random() == luck(1, Desk.BASS, 3).random()
