"""Which take is technically the safest: each point of the rule, its order, and what is not known."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.coach.judgement import Verdict
from app.log.compare import Ground, LeftOut, compare, counterpart, loud_average_dbfs, standing
from app.log.comparelisting import figure_rows, flaws, sentences
from app.log.document import comparison_document
from app.log.records import (
    SILENT_CDB,
    ChannelFigures,
    LevelTrace,
    TakeDetail,
    TakeEvent,
    TakeRow,
    TakeState,
)


def take(
    number=1,
    *,
    clips=0,
    possible=0,
    lost=0,
    peak=-8.0,
    average=-16.0,
    state=TakeState.CLOSED,
    part="bass",
    **changes,
):
    row = TakeRow(
        number=number,
        name="Verse",
        part=part,
        started="2026-03-01T20:15:00.000+01:00",
        duration_s=60.0,
        state=state,
        verdict=Verdict.FAIR_WATER,
        input_name="Interface",
        rate_hz=48_000,
        lost_frames=lost,
        clips=clips,
        peak_dbfs=peak,
        session=1,
    )
    events = [TakeEvent("clip", 48_000 * (i + 1), 1, 7, 0.0) for i in range(clips)]
    events += [TakeEvent("possible_clip", 48_000 * (i + 1), 1, 7, -2.0) for i in range(possible)]
    points = np.array([[round(average * 100), round((peak or -90.0) * 100)]] * 600, "<i2")
    return TakeDetail(
        replace(row, **changes),
        (ChannelFigures(peak, average, -70.0, clips), ChannelFigures(-math.inf)),
        tuple(events),
        LevelTrace(0.1, points.tobytes()),
    )


@pytest.mark.parametrize(
    ("worse", "ground"),
    [
        ({"clips": 1, "peak": 0.0}, Ground.CLIPS),
        ({"lost": 1}, Ground.MISSING),
        ({"state": TakeState.INTERRUPTED}, Ground.MISSING),
        ({"possible": 1}, Ground.POSSIBLE_CLIPS),
        ({"peak": -5.9}, Ground.CEILING),
        ({"average": -23.0}, Ground.WINDOW),
        ({"average": -9.0}, Ground.WINDOW),
    ],
)
def test_each_point_of_the_rule(worse, ground):
    for safe, other in ((1, 2), (2, 1)):
        found = compare([take(safe), take(other, **worse)])
        assert found.safest.number == safe
        assert found.ground is ground
        assert found.next_best.number == other


def test_each_point_comes_before_the_next():
    worse = [{"clips": 1}, {"lost": 480}, {"possible": 1}, {"peak": -3.0}, {"average": -30.0}]
    grounds = [Ground.CLIPS, Ground.MISSING, Ground.POSSIBLE_CLIPS, Ground.CEILING]
    for place, ground in enumerate(grounds):
        everything_after = {key: value for more in worse[place + 1 :] for key, value in more.items()}
        found = compare([take(1, **worse[place]), take(2, **everything_after)])
        assert (found.safest.number, found.ground) == (2, ground)


def test_alike_takes_are_a_matter_for_the_ear():
    found = compare([take(1), take(2, average=-15.0), take(3, clips=1)])
    assert found.safest is None
    assert found.ground is Ground.ALIKE
    assert [each.number for each in found.alike] == [2, 1]
    assert "2, 1" in sentences(found)[0]
    assert "ear" in sentences(found)[0]


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"state": TakeState.OPEN}, LeftOut.RUNS),
        ({"peak": -math.inf}, LeftOut.SILENT),
        ({"peak": None, "peak_dbfs": None}, LeftOut.UNKNOWN),
    ],
)
def test_what_cannot_be_judged_is_left_out_and_said(changes, why):
    odd = take(2, **changes) if changes.get("peak", 0) != -math.inf else silent(2)
    found = compare([take(1), odd])
    assert found.safest is None
    assert found.ground is Ground.TOO_FEW
    assert found.standings[1].left_out is why
    assert "not judged" in sentences(found)[-1]
    assert json.dumps(comparison_document(found, sentences(found)), allow_nan=False)


def silent(number):
    row = replace(take(number).row, peak_dbfs=-math.inf)
    points = np.full((600, 2), SILENT_CDB, "<i2").tobytes()
    return TakeDetail(row, (ChannelFigures(-math.inf),), (), LevelTrace(0.1, points))


def test_levels_that_were_not_kept_decide_nothing():
    without = replace(take(2), trace=LevelTrace())
    assert standing(without).off_window_db is None
    assert compare([take(1, average=-30.0), without]).ground is Ground.ALIKE
    assert compare([take(1, clips=1), without]).safest.number == 2


def test_the_safest_of_bad_takes_is_called_no_good_one():
    found = compare([take(1, clips=2, peak=0.0), take(2, clips=5, peak=0.0)])
    assert found.safest.number == 1
    said = sentences(found)
    assert "clips 2, take 2 has 5" in said[0]
    assert "none of these takes is clean" in said[1]
    assert flaws(found.safest) == [Ground.CLIPS, Ground.CEILING]


def test_drums_are_held_against_the_ceiling():
    found = compare([take(1, part="drums", peak=-20.0, average=-16.0), take(2, part="drums", peak=-7.0)])
    assert (found.safest.number, found.ground) == (2, Ground.WINDOW)


def test_a_part_of_somebody_s_own_is_judged_like_any_other():
    assert compare([take(1, part="theremin"), take(2, part="theremin", average=-30.0)]).safest.number == 1


def test_the_same_take_twice_is_one():
    assert compare([take(1), take(1)]).ground is Ground.TOO_FEW


def test_the_loud_average_passes_over_the_rests():
    levels = [-1600] * 100 + [-6000] * 300 + [SILENT_CDB] * 50
    trace = LevelTrace(0.1, np.array([levels, levels], "<i2").T.tobytes())
    assert loud_average_dbfs(trace) == -16.0
    assert loud_average_dbfs(LevelTrace()) is None


takes = st.builds(
    take,
    clips=st.integers(0, 2),
    possible=st.integers(0, 1),
    lost=st.sampled_from([0, 0, 480]),
    peak=st.floats(-20.0, 0.0),
    average=st.floats(-30.0, -8.0),
)


@settings(max_examples=30)
@given(st.lists(takes, min_size=2, max_size=4))
def test_the_order_of_asking_changes_nothing(found):
    found = [replace(each, row=replace(each.row, number=i)) for i, each in enumerate(found, 1)]
    answers = {
        (answer.ground, answer.safest and answer.safest.number, tuple(each.number for each in answer.alike))
        for answer in map(compare, permutations(found))
    }
    assert len(answers) == 1


@settings(max_examples=50)
@given(takes, takes)
def test_what_is_said_to_decide_does(one, other):
    found = compare([one, replace(other, row=replace(other.row, number=2))])
    if found.safest is None:
        return
    first, second = found.safest, found.next_best
    assert {
        Ground.CLIPS: first.clips < second.clips,
        Ground.MISSING: first.lost_s < second.lost_s,
        Ground.POSSIBLE_CLIPS: first.possible_clips < second.possible_clips,
        Ground.CEILING: first.over_db < second.over_db,
        Ground.WINDOW: first.off_window_db < second.off_window_db,
    }[found.ground]


def test_every_figure_has_a_text_for_every_take():
    found = compare([take(1), take(2, lost=480), take(3, state=TakeState.INTERRUPTED)])
    rows = figure_rows(found)
    assert all(len(texts) == 3 and all(texts) for _, texts in rows)
    assert dict(rows)["Missing"] == ["nothing", "0.010 s", "its end"]


def test_the_counterpart_in_an_earlier_session():
    this = take(9, session=4).row
    rows = [
        take(8, session=4).row,  # the same evening
        take(7, session=3, part="voice").row,
        take(6, session=3, name="Bridge").row,
        take(5, session=3).row,
        take(4, session=2, kept=True).row,
        take(3, session=2).row,
    ]
    assert counterpart(this, rows).number == 4
    assert counterpart(this, [row for row in rows if row.number != 4]).number == 5
    assert counterpart(replace(this, name="Coda"), rows[2:4]).number == 6
    assert counterpart(this, rows[:2]) is None
    assert counterpart(rows[-1], rows) is None
