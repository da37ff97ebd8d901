"""FakeSource does exactly what its script says."""

from __future__ import annotations

import threading
import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.errors import DeviceError
from app.inputs.fake import FakeSource


def counter(frames: int, channels: int = 1) -> np.ndarray:
    """Every sample tells its own frame (exact in float32 up to 2**24)."""
    return np.repeat(np.arange(frames, dtype=np.float32)[:, np.newaxis], channels, axis=1)


def read_all(source: FakeSource, max_frames: int) -> list:
    blocks = []
    while not blocks or not blocks[-1].ended:
        blocks.append(source.read(max_frames, 0.0))
    return blocks


def placed(blocks: list) -> list[tuple[int, int]]:
    """Rebuild where each gap lies: (frame of the first sample after it, frames lost)."""
    gaps, frame = [], 0
    for block in blocks:
        frame += block.lost_frames
        if block.lost_frames:
            gaps.append((frame, block.lost_frames))
        if block.samples.shape[0]:
            assert block.samples[0, 0] == frame
        frame += block.samples.shape[0]
    return gaps


def test_without_a_script_everything_arrives():
    source = FakeSource(counter(1_000, 2))
    source.start()
    got = np.concatenate([block.samples for block in read_all(source, 300)])
    np.testing.assert_array_equal(got, counter(1_000, 2))
    assert source.stats().lost_frames == 0
    assert source.stats().largest_block_frames == 300


@given(
    at=st.lists(st.integers(0, 199), min_size=1, max_size=5, unique=True),
    lost=st.integers(1, 40),
    max_frames=st.integers(1, 256),
    sizes=st.lists(st.integers(1, 64), max_size=4),
)
def test_every_dropped_frame_is_counted_and_placed(at, lost, max_frames, sizes):
    source = FakeSource(counter(300), block_frames=sizes)
    for frame in at:
        source.drop_at_frame(frame, lost)
    source.start()
    blocks = read_all(source, max_frames)
    placed(blocks)
    seen = {int(value) for block in blocks for value in block.samples[:, 0]}
    missing = 300 - len(seen)
    assert sum(block.lost_frames for block in blocks) == missing == source.stats().lost_frames
    for frame in at:
        assert not seen & set(range(frame, min(300, frame + lost)))


def test_odd_block_sizes():
    source = FakeSource(counter(100), block_frames=(7, 1, 33))
    source.start()
    sizes = [block.samples.shape[0] for block in read_all(source, 480)]
    assert sizes == [7, 1, 33, 7, 1, 33, 7, 1, 10]


def test_samples_that_are_no_numbers_leave_the_given_array_alone():
    given_samples = counter(100)
    source = FakeSource(given_samples)
    source.fill_at_frame(10, 3)
    source.fill_at_frame(50, 1, float("inf"))
    source.start()
    got = np.concatenate([block.samples for block in read_all(source, 64)])[:, 0]
    assert np.flatnonzero(np.isnan(got)).tolist() == [10, 11, 12]
    assert np.flatnonzero(np.isinf(got)).tolist() == [50]
    np.testing.assert_array_equal(given_samples, counter(100))


def test_stall_is_silent_and_resume_goes_on_where_it_was():
    source = FakeSource(counter(100))
    source.stall_at_frame(40)
    source.start()
    assert source.read(100, 0.0).samples.shape[0] == 40
    empty = source.read(100, 0.0)
    assert (empty.samples.shape, empty.active, empty.ended) == ((0, 1), True, False)
    source.resume()
    assert source.read(100, 0.0).samples[0, 0] == 40


def test_unplug_and_replug():
    source = FakeSource(counter(100))
    source.unplug_at_frame(40)
    source.start()
    assert source.read(100, 0.0).samples.shape[0] == 40
    assert not source.read(100, 0.0).active
    with pytest.raises(DeviceError, match="unplugged"):
        source.start()
    source.replug()
    assert not source.read(100, 0.0).active, "it stays gone until it is opened again"
    source.start()
    assert source.read(100, 0.0).samples[0, 0] == 40


def test_paced_by_a_clock_of_our_own():
    now_s = [0.0]
    source = FakeSource(counter(48_000), paced=True, clock=lambda: now_s[0])
    source.start()
    assert source.read(480, 0.0).samples.shape[0] == 0
    now_s[0] = 0.005
    assert source.read(480, 0.0).samples.shape[0] == 240
    now_s[0] = 0.5
    assert source.read(48_000, 0.0).samples.shape[0] == 24_000 - 240


def test_generators_may_be_endless():
    def blocks():
        while True:
            yield np.ones((441, 3), np.float32)

    source = FakeSource(blocks())
    source.start()
    assert source.info.channels == 3
    assert sum(source.read(1_000, 0.0).samples.shape[0] for _ in range(10)) == 10_000


def test_close_from_another_thread_wakes_the_reader():
    source = FakeSource(counter(48_000), paced=True)
    source.start()
    timer = threading.Timer(0.05, source.close)
    timer.start()
    began = time.monotonic()
    assert not source.read(48_000, 30.0).active
    assert time.monotonic() - began < 5
    timer.join()


def test_wrong_arguments_are_named():
    with pytest.raises(ValueError, match="samples is empty"):
        FakeSource([])
    with pytest.raises(ValueError, match="block_frames"):
        FakeSource(counter(1), block_frames=(0,))
    source = FakeSource(counter(100))
    source.start()
    source.read(50, 0.0)
    with pytest.raises(ValueError, match="has gone by"):
        source.drop_at_frame(10, 1)
