"""Events gathered for a list: nothing is dropped, nothing counted twice, nothing moved."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from app.log.grouping import LONGEST_S, grouped
from app.log.records import TakeEvent

RATE_HZ = 1000

events = st.lists(
    st.builds(
        TakeEvent,
        st.sampled_from(["clip", "gap", "verdict", "over_ceiling", "bad_samples"]),
        st.integers(0, 100_000),
        st.sampled_from([None, 1, 2]),
        st.integers(1, 300),
        st.one_of(st.none(), st.floats(-60.0, 6.0)),
    ),
    max_size=60,
).map(lambda found: sorted(found, key=lambda event: event.frame))


def clip(frame, frames=5, channel=1, **more):
    return TakeEvent("clip", frame, channel, frames, 0.0, **more)


def test_clips_close_together_are_one_line_with_a_count():
    (line,) = grouped([clip(0), clip(900), clip(1_800, 20)], RATE_HZ)
    assert (line.frame, line.frames, line.count) == (0, 1_820, 3)


def test_clips_far_apart_and_of_other_channels_are_lines_of_their_own():
    lines = grouped([clip(0), clip(10, channel=2), clip(1_006)], RATE_HZ)
    assert [(line.frame, line.channel, line.count) for line in lines] == [
        (0, 1, 1),
        (10, 2, 1),
        (1_006, 1, 1),
    ]


def test_something_else_in_between_does_not_part_them():
    lines = grouped([clip(0), TakeEvent("verdict", 3, detail="awash"), clip(10)], RATE_HZ)
    assert [(line.kind, line.count) for line in lines] == [("clip", 2), ("verdict", 1)]


def test_a_flood_is_a_line_every_half_minute():
    lines = grouped([clip(frame) for frame in range(0, 240_000, 50)], RATE_HZ)
    assert len(lines) == 8
    assert sum(line.count for line in lines) == 4_800


def test_of_bad_samples_the_numbers_are_added():
    (line,) = grouped([TakeEvent("bad_samples", 100 * i, None, 7) for i in range(20)], RATE_HZ)
    assert (line.frame, line.frames, line.count) == (0, 140, 20)


@given(events)
def test_everything_is_in_exactly_one_line(found):
    lines = grouped(found, RATE_HZ)
    assert [line.frame for line in lines] == sorted(line.frame for line in lines)
    for kind in {event.kind for event in found}:
        assert sum(e.count for e in lines if e.kind == kind) == sum(e.count for e in found if e.kind == kind)
    for event in found:
        end = event.frame + (0 if event.kind == "bad_samples" else event.frames)
        assert any(
            (line.kind, line.channel) == (event.kind, event.channel)
            and line.frame <= event.frame
            and (event.kind == "bad_samples" or end <= line.frame + line.frames)
            for line in lines
        )
    assert all(line.frames <= max(LONGEST_S * RATE_HZ, 300) for line in lines if line.kind == "clip")


@given(events)
def test_gathering_twice_changes_nothing_more_than_once(found):
    lines = grouped(found, RATE_HZ)
    assert sum(line.count for line in grouped(lines, RATE_HZ)) == sum(line.count for line in lines)
