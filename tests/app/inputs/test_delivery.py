"""The clock finds what a driver lost: simulated drivers whose losses are known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.inputs.delivery import SETTLE_S, UNFLAGGED_S, DeliveryClock, Gap

RATE_HZ = 48_000.0


class Driver:
    """Delivers blocks as time passes, some of them late, and is looked at every few milliseconds."""

    def __init__(
        self, block_frames: int = 480, *, drift: float = 0.0, jitter_s: float = 0.0, seed: int = 440
    ) -> None:
        self.clock = DeliveryClock(RATE_HZ)
        self.block_frames = block_frames
        self.block_s = block_frames / RATE_HZ / (1 + drift)
        self.jitter_s = jitter_s
        self.random = np.random.default_rng(seed)
        self.t_s = 1000.0
        self.due_s = self.t_s
        self.delivered = self.overflows = 0
        self.late_until_s = 0.0
        self.gaps: list[Gap] = []
        self.barriers: list[int | None] = []

    def run(self, seconds: float, look_every_s: float = 0.005) -> None:
        end_s = self.t_s + seconds
        while self.t_s < end_s:
            self.t_s += look_every_s
            held_back = self.t_s < self.late_until_s
            while not held_back and self.due_s + self.random.uniform(0, self.jitter_s) <= self.t_s:
                self.delivered += self.block_frames
                self.due_s += self.block_s
            gap = self.clock.observe(self.t_s, self.delivered, self.overflows)
            self.barriers.append(self.clock.barrier)
            if gap:
                self.gaps.append(gap)

    def lose(self, frames: int, *, flagged: bool) -> None:
        """Frames that passed and were never delivered."""
        self.due_s += frames / RATE_HZ
        self.overflows += flagged

    def be_late(self, seconds: float) -> None:
        self.late_until_s = self.t_s + seconds


@pytest.mark.parametrize("drift", [-500e-6, 0.0, 500e-6])
@pytest.mark.parametrize("jitter_s", [0.0, 0.005, 0.02])
def test_a_steady_driver_loses_nothing_in_two_minutes(drift, jitter_s):
    driver = Driver(drift=drift, jitter_s=jitter_s)
    driver.run(120)
    assert driver.gaps == []


@settings(max_examples=60, deadline=None)
@given(
    frames=st.integers(500, 200_000),
    block=st.sampled_from([64, 256, 480, 1024]),
    flagged=st.booleans(),
    after_s=st.floats(1.0, 4.0),
)
def test_a_loss_is_sized_and_placed(frames, block, flagged, after_s):
    if not flagged and frames < UNFLAGGED_S * RATE_HZ + 2 * 480 + block:
        frames += int(UNFLAGGED_S * RATE_HZ) + 2 * 480 + block
    driver = Driver(block)
    driver.run(after_s)
    before = driver.delivered
    driver.lose(frames, flagged=flagged)
    driver.run(frames / RATE_HZ + 1.0)
    assert len(driver.gaps) == 1
    gap = driver.gaps[0]
    # The looking is 5 ms apart, so that many frames of uncertainty are the test's own.
    assert gap.frames == pytest.approx(frames, abs=RATE_HZ * 0.005 + block)
    assert gap.position == pytest.approx(before, abs=RATE_HZ * 0.005 + block)
    assert gap.flagged == flagged


def test_a_late_delivery_is_no_loss():
    driver = Driver()
    driver.run(2)
    for late_s in (0.03, 0.1, 0.3, 2.0):
        driver.be_late(late_s)
        driver.run(late_s + 2)
    assert driver.gaps == []
    assert driver.barriers[-1] is None


def test_nothing_from_behind_the_place_is_let_out_before_it_is_known():
    driver = Driver()
    driver.run(2)
    before = driver.delivered
    driver.lose(20_000, flagged=True)
    driver.run(20_000 / RATE_HZ + SETTLE_S / 2)
    assert driver.clock.barrier == before
    driver.run(1)
    assert driver.clock.barrier is None
    assert driver.gaps[0].position == before


def test_a_flag_counts_even_where_the_clock_sees_nothing():
    driver = Driver()
    driver.run(2)
    driver.lose(0, flagged=True)
    driver.run(1)
    assert [gap.frames for gap in driver.gaps] == [pytest.approx(1, abs=1)]
    assert driver.gaps[0].frames >= 1


def test_several_losses_in_a_row():
    driver = Driver()
    driver.run(2)
    for _ in range(5):
        driver.lose(9_600, flagged=False)
        driver.run(2)
    assert [gap.frames for gap in driver.gaps] == [pytest.approx(9_600, abs=500)] * 5


def test_flags_of_the_first_blocks_are_no_gaps():
    driver = Driver()
    driver.overflows = 3
    driver.run(2)
    assert driver.gaps == []


def test_a_machine_that_slept_lost_what_passed():
    """The clock jumps by an hour, the driver goes on where it was."""
    driver = Driver()
    driver.run(2)
    driver.t_s += 3600
    driver.due_s += 3600
    driver.run(2)
    assert sum(gap.frames for gap in driver.gaps) == pytest.approx(3600 * RATE_HZ, rel=1e-5)


@pytest.mark.parametrize("after_s", [0.0, 0.01, 0.03])
@pytest.mark.parametrize("seed", range(5))
def test_seldom_looks_cost_the_place_and_not_the_size(seed, after_s):
    """Twenty looks a second while all is well, as many as ever once something seems to be missing."""
    driver = Driver(jitter_s=0.005, seed=seed)
    driver.run(3.0, look_every_s=0.05)
    while driver.due_s < driver.t_s + after_s:  # they come before the loss, and nobody looks
        driver.delivered += driver.block_frames
        driver.due_s += driver.block_s
    at, lost = driver.delivered, 4800 + 500 * seed
    driver.lose(lost, flagged=False)
    for _ in range(60):
        driver.run(0.001, look_every_s=0.05 if driver.clock.barrier is None else 0.01)
    (gap,) = driver.gaps
    assert -0.05 * RATE_HZ <= gap.position - at <= 0
    assert gap.frames == pytest.approx(lost, abs=0.010 * RATE_HZ)
