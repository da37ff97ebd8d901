from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from app.window.clock import StreamClock


def test_bursts_come_out_evenly() -> None:
    clock, steps, shown = StreamClock(), [], None
    for frame in range(300):
        now_s = 10.0 + frame / 60
        newest = 6 * int(frame / 60 / 0.06)  # a driver that delivers 60 ms at a time
        position = clock.follow(newest, 0.01, now_s)
        assert position <= newest
        if shown is not None and frame > 60:
            steps.append(position - shown)
        shown = position
    assert max(steps) <= 4, "a burst of six hops must not be shown as one jump"
    assert sum(steps) >= 0.95 * len(steps) / 60 / 0.01


def test_steady_delivery_is_shown_within_a_hop_or_two() -> None:
    clock = StreamClock()
    lags = []
    for frame in range(300):
        newest = int(frame / 60 / 0.01)
        lags.append(newest - clock.follow(newest, 0.01, 5.0 + frame / 60))
    assert max(lags[60:]) <= 2


def test_a_stall_stops_it_and_a_jump_is_followed() -> None:
    clock = StreamClock()
    for frame in range(60):
        clock.follow(frame, 0.01, frame / 60)
    assert {clock.follow(59, 0.01, 2.0 + frame / 60) for frame in range(60)} == {59}
    assert clock.follow(5000, 0.01, 4.0) == 5000
    assert clock.follow(3, 0.01, 4.1) == 3, "another input begins anew"


@given(st.lists(st.tuples(st.integers(0, 10_000), st.floats(0, 2)), min_size=1, max_size=40))
def test_never_ahead_of_what_has_arrived(moves: list[tuple[int, float]]) -> None:
    clock, now_s = StreamClock(), 0.0
    for newest, passed_s in moves:
        now_s += passed_s
        assert clock.follow(newest, 0.01, now_s) <= newest


def test_nothing_yet() -> None:
    assert StreamClock().follow(-1, 0.01, 1.0) == -1
