"""The hop grid: nothing is lost, nothing is reordered, whatever the sizes of the blocks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dsp.hops import HopBuffer, before_each, hop_frames, planar, windows


def counting(frames, channels=2):
    """Every sample is different, so that a misplaced one shows."""
    return np.arange(frames * channels, dtype=np.float32).reshape(frames, channels)


@pytest.mark.parametrize(
    ("rate_hz", "frames"),
    [(8000, 80), (11025, 110), (22050, 220), (44100, 441), (48000, 480), (88200, 882), (192000, 1920)],
)
def test_a_hop_is_ten_milliseconds(rate_hz, frames):
    assert hop_frames(rate_hz) == frames


@pytest.mark.parametrize("rate", [0, -48000, 48])
def test_a_rate_in_kilohertz_is_refused(rate):
    with pytest.raises(ValueError, match="Hz, not kHz"):
        hop_frames(rate)


@given(st.lists(st.integers(0, 25), max_size=30), st.integers(1, 7), st.integers(1, 3))
def test_blocks_of_any_size_come_out_as_the_same_hops(sizes, per_hop, channels):
    stream = counting(sum(sizes), channels)
    buffer = HopBuffer(per_hop, channels)
    out, start = [], 0
    for size in sizes:
        hops = buffer.push(stream[start : start + size])
        start += size
        assert hops.shape[0] % per_hop == 0
        assert buffer.pending_frames < per_hop
        out.append(hops)
    whole = sum(sizes) // per_hop * per_hop
    np.testing.assert_array_equal(np.concatenate([stream[:0], *out]), stream[:whole])
    assert buffer.pending_frames == sum(sizes) - whole


def test_what_waits_survives_the_reuse_of_the_block():
    block = counting(5)
    buffer = HopBuffer(4, 2)
    buffer.push(block)
    block[:] = -1.0
    np.testing.assert_array_equal(buffer.take_padded()[0], counting(5)[4])


def test_the_last_hop_is_filled_up_with_silence_once():
    buffer = HopBuffer(4, 2)
    buffer.push(counting(6))
    last = buffer.take_padded()
    assert last.shape == (4, 2)
    assert last.dtype == np.float32
    np.testing.assert_array_equal(last[:2], counting(6)[4:])
    assert not last[2:].any()
    assert buffer.pending_frames == 0
    assert buffer.take_padded().shape == (0, 2)


@pytest.mark.parametrize("lay_out", [np.ascontiguousarray, np.asfortranarray])
def test_planar_sets_the_channels_apart(lay_out):
    stream = counting(12)
    apart = planar(lay_out(stream), 4)
    assert apart.shape == (2, 3, 4)
    assert apart.flags.c_contiguous
    np.testing.assert_array_equal(apart[1, 2], stream[8:, 1])


def test_planar_copies_nothing_that_lies_right_already():
    stream = np.asfortranarray(counting(12))
    assert np.shares_memory(planar(stream, 4), stream)


@pytest.mark.parametrize("frames", [0, 3, 5])
def test_planar_refuses_what_is_not_whole_hops(frames):
    with pytest.raises(ValueError, match="whole hops of 4"):
        planar(counting(frames), 4)


def test_before_each_continues_the_stream():
    stream = counting(20)
    apart = planar(stream[4:], 4)
    history = np.ascontiguousarray(stream[1:4].T)
    before = before_each(apart, history)
    assert before.shape == (2, 4, 3)
    for hop in range(4):
        np.testing.assert_array_equal(before[:, hop], stream[1 + 4 * hop : 4 + 4 * hop].T)


def test_what_waits_keeps_its_layout():
    """Stages work channel by channel; a copy that interleaves the channels again would slow them down."""
    buffer = HopBuffer(10, 3)
    for _ in range(3):
        hops = buffer.push(np.asfortranarray(counting(4, 3)))
    assert hops.shape == (10, 3)
    assert hops.strides[0] == hops.itemsize


def test_the_remainder_can_be_taken_as_it_is():
    buffer = HopBuffer(10, 2)
    assert buffer.take().shape == (0, 2)
    buffer.push(counting(13))
    np.testing.assert_array_equal(buffer.take(), counting(13)[10:])
    assert buffer.pending_frames == 0


def test_slices_of_channels_in_one_piece_are_not_copied():
    hops = np.asfortranarray(counting(12, 2))[4:]
    apart = planar(hops, 4)
    assert np.shares_memory(apart, hops)
    np.testing.assert_array_equal(apart[1].ravel(), hops[:, 1])


@pytest.mark.parametrize("step", [1, 3])
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_windows_are_those_that_numpy_cuts(step: int, dtype: type[np.floating]) -> None:
    lines = np.random.default_rng(5).normal(size=(3, 20)).astype(dtype)
    cut = windows(lines, 6, step)
    np.testing.assert_array_equal(cut, np.lib.stride_tricks.sliding_window_view(lines, 6, axis=1)[:, ::step])
    assert cut.dtype == dtype
    assert np.shares_memory(cut, lines)
    assert not cut.flags.writeable


@pytest.mark.parametrize("lines", [np.zeros((3, 40))[:, ::2], np.zeros((3, 5))])
def test_windows_out_of_other_peoples_memory_are_refused(lines: np.ndarray) -> None:
    with pytest.raises(ValueError, match="windows of 6"):
        windows(lines, 6)
