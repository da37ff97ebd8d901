"""Clips at full scale: truth is a plain walk over the samples, and what the test put there itself."""

from __future__ import annotations

import time
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dsp.clips import FULL_SCALE, ClipFinder
from dsp.reading import Clip, ClipKind

RATE_HZ = 48_000


def column(*parts):
    return np.concatenate([np.atleast_1d(np.asarray(part, np.float32)) for part in parts])[:, np.newaxis]


def find(x, sizes=None, start=0, peaks_hop=None, **options):
    finder = ClipFinder(RATE_HZ, x.shape[1], **options)
    found, at = [], 0
    for size in sizes or [x.shape[0]]:
        block = x[at : at + size]
        peaks = None
        if peaks_hop:
            peaks = np.abs(block).reshape(-1, peaks_hop, x.shape[1]).max(axis=1).astype(np.float64)
        found += finder.process(block, start + at, peaks)
        at += size
    assert at == x.shape[0]
    found += finder.flush()
    return tuple(found), finder


def slow_truth(samples, least, join):
    """The definition, walked sample by sample: [(start, stop, peak, runs)]."""
    runs, i = [], 0
    while i < len(samples):
        if abs(samples[i]) < FULL_SCALE:
            i += 1
            continue
        j = i
        while j < len(samples) and abs(samples[j]) >= FULL_SCALE and (samples[j] > 0) == (samples[i] > 0):
            j += 1
        if j - i >= least:
            runs.append((i, j, max(abs(samples[i:j]))))
        i = j
    events = []
    for start, stop, peak in runs:
        if events and start - events[-1][1] <= join:
            was = events[-1]
            events[-1] = (was[0], stop, max(was[2], peak), was[3] + 1)
        else:
            events.append((start, stop, peak, 1))
    return events


@pytest.mark.parametrize("top", [1.0, 32767 / 32768, -1.0, (2**23 - 1) / 2**23, 1.7, -3.0])
def test_run_of_three_is_a_clip_on_every_path(top):
    x = column(np.zeros(1000), [top] * 3, np.zeros(100))
    clips, finder = find(x, start=7)
    assert [(c.kind, c.channel, c.start_frame, c.frames, c.runs) for c in clips] == [
        (ClipKind.FULL_SCALE, 0, 1007, 3, 1)
    ]
    assert clips[0].peak_dbfs == pytest.approx(20 * np.log10(abs(top)), abs=1e-6)
    assert finder.counts.tolist() == [1]


@pytest.mark.parametrize("samples", [[1.0], [1.0, 1.0], [0.9998] * 50, [1.0, 1.0, -1.0, -1.0] * 9])
def test_less_than_three_at_one_rail_is_none(samples):
    clips, finder = find(column(np.zeros(10), samples, np.zeros(10)))
    assert clips == ()
    assert finder.counts.tolist() == [0]


def test_each_rail_is_its_own_run():
    (clip,), _ = find(column(np.zeros(5), [1.0] * 3, [-1.0] * 4, np.zeros(5)))
    assert (clip.start_frame, clip.frames, clip.runs) == (5, 7, 2)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("frequency_hz", [41.2, 110.0, 997.0])
def test_overdriven_sine_clips_once_in_each_half_cycle(rate_hz, frequency_hz):
    seconds = 2.0
    t = np.arange(int(seconds * rate_hz)) / rate_hz
    over = np.sin(2 * np.pi * frequency_hz * t + 0.3) * 10 ** (3 / 20)
    x = np.clip(over, -1, 1).astype(np.float32)[:, np.newaxis]
    finder = ClipFinder(rate_hz, 1)
    clips = finder.process(x, 0) + finder.flush()
    assert len(clips) == 1  # a held note is one event
    assert clips[0].runs == pytest.approx(2 * frequency_hz * seconds, abs=1)
    exact = np.flatnonzero(np.abs(over) >= 1)
    assert abs(clips[0].start_frame - exact[0]) <= 1
    assert abs(clips[0].start_frame + clips[0].frames - 1 - exact[-1]) <= 1


@pytest.mark.parametrize("bits", [16, 24])
def test_full_scale_sine_of_music_pitch_is_no_clip(bits):
    step = 2.0 ** (1 - bits)
    t = np.arange(RATE_HZ) / RATE_HZ
    top = 1 - step
    x = (np.round(np.sin(2 * np.pi * 110 * t) * top / step) * step).astype(np.float32)
    # 110 Hz at 48 kHz stays within 0.0001 of its top for longer than three frames: keep the tone just under.
    clips, _ = find(column(x * np.float32(0.9998)))
    assert clips == ()


def test_join_is_inclusive_and_no_further():
    join = round(0.050 * RATE_HZ)
    for pause, events in [(join, 1), (join + 1, 2)]:
        clips, _ = find(column([1.0] * 3, np.zeros(pause), [1.0] * 3, np.zeros(10)))
        assert len(clips) == events


def test_event_is_handed_out_once_nothing_can_join_it():
    finder = ClipFinder(RATE_HZ, 1)
    join = round(0.050 * RATE_HZ)
    assert finder.process(column([1.0] * 5, np.zeros(join)), 0) == ()
    assert finder.counts.tolist() == [1]  # but it is counted while it lasts
    assert finder.process(column([0.0]), 5 + join) == (Clip(ClipKind.FULL_SCALE, 0, 0, 5, 0.0),)


def test_short_run_under_way_holds_the_event_open_until_it_is_known():
    finder = ClipFinder(RATE_HZ, 1)
    join = round(0.050 * RATE_HZ)
    assert finder.process(column([1.0] * 3, np.zeros(join), [1.0, 1.0]), 0) == ()
    (clip,) = finder.process(column([1.0], np.zeros(join + 1)), 3 + join + 2)
    assert (clip.frames, clip.runs) == (join + 6, 2)


def test_gap_and_a_jump_in_position_both_end_the_run():
    finder = ClipFinder(RATE_HZ, 1)
    finder.process(column([0.0, 1.0, 1.0]), 0)
    assert finder.gap() == ()
    assert finder.process(column([1.0, 1.0, 0.0]), 3) == ()
    assert finder.flush() == ()

    finder = ClipFinder(RATE_HZ, 1)
    finder.process(column([0.0, 1.0, 1.0, 1.0]), 0)
    (clip,) = finder.process(column([1.0, 0.0]), 1000)
    assert (clip.start_frame, clip.frames) == (1, 3)


@settings(deadline=None)
@given(
    data=st.lists(st.tuples(st.sampled_from([0.0, 0.5, 1.0, -1.0, 1.25]), st.integers(1, 12)), max_size=40),
    sizes=st.lists(st.integers(1, 64), min_size=1, max_size=12),
    least=st.integers(1, 5),
    join=st.integers(0, 20),
)
def test_any_block_sizes_agree_with_the_definition(data, sizes, least, join):
    one = column(*[np.full(count, value) for value, count in data], [0.0])
    x = np.concatenate((one, -one[::-1]), axis=1)
    cuts, left = [], x.shape[0]
    while left:
        size = min(left, sizes[len(cuts) % len(sizes)])
        cuts.append(size)
        left -= size
    clips, finder = find(x, cuts, least_frames=least, join_s=join / RATE_HZ)
    for channel in range(2):
        truth = slow_truth(x[:, channel], least, join)
        mine = [c for c in clips if c.channel == channel]
        assert [(c.start_frame, c.start_frame + c.frames, c.runs) for c in mine] == [
            (start, stop, runs) for start, stop, _, runs in truth
        ]
        assert [c.peak_dbfs for c in mine] == pytest.approx([20 * np.log10(peak) for _, _, peak, _ in truth])
        assert finder.counts[channel] == len(truth)


@settings(deadline=None, max_examples=50)
@given(seed=st.integers(0, 2**32 - 1))
def test_peaks_from_outside_change_nothing(seed):
    rng = np.random.default_rng(seed)
    hop = 48
    x = np.clip(np.repeat(rng.normal(0, 0.5, (hop * 5, 2)), 4, axis=0), -1, 1).astype(np.float32)
    with_peaks, _ = find(x, [hop * 4, hop * 16], peaks_hop=hop, join_s=0.001)
    without, _ = find(x, join_s=0.001)
    assert len(with_peaks) == len(without)
    assert set(with_peaks) == set(without)


def test_hours_of_clipping_keep_the_memory_flat_and_the_pace():
    finder = ClipFinder(RATE_HZ, 2)
    block = np.tile(np.repeat(np.float32([1, -1]), 24)[:, np.newaxis], (RATE_HZ * 10 // 48, 2))
    finder.process(block, 0)
    begun = time.process_time()
    for i in range(1, 13):
        assert finder.process(block, i * block.shape[0]) == ()
    assert time.process_time() - begun < 4  # two minutes of stereo that clip in every millisecond
    tracemalloc.start()
    for i in range(13, 19):
        assert finder.process(block, i * block.shape[0]) == ()
    kept, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert kept < 20_000
    clips = finder.flush()
    assert [c.runs for c in clips] == [19 * block.shape[0] // 24] * 2
