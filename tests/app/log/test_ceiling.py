"""Peaks over the ceiling, noted once for what belongs together."""

from __future__ import annotations

import pytest

from app.log.ceiling import CeilingWatch

HOP, RATE_HZ = 480, 48_000


def run(peaks_dbfs, *, clips=(), ceiling_dbfs=-6.0):
    """One channel, hop by hop, to the end."""
    watch = CeilingWatch(1, RATE_HZ, HOP, ceiling_dbfs)
    events = []
    for i, peak in enumerate(peaks_dbfs):
        if i in clips:
            watch.note_clip(0, i * HOP + 100)
        events += watch.add(i * HOP, [peak])
    events += watch.finish()
    return [(event.frame // HOP, event.frames // HOP, event.peak_dbfs) for event in events]


def test_a_peak_on_the_ceiling_is_not_over_it():
    assert run([-20.0, -6.0, -20.0]) == []


def test_one_peak_is_one_event_with_its_place_and_height():
    assert run([-20.0] * 5 + [-5.9] + [-20.0] * 100) == [(5, 1, -5.9)]


def test_peaks_close_together_are_one_event_as_high_as_the_highest():
    assert run([-5.0] + [-20.0] * 40 + [-3.0] + [-20.0] * 40 + [-4.0]) == [(0, 83, -3.0)]


def test_peaks_far_apart_are_two():
    assert run([-5.0] + [-20.0] * 201 + [-3.0]) == [(0, 1, -5.0), (202, 1, -3.0)]


def test_a_clip_speaks_for_itself():
    assert run([-5.0, 0.0, -5.0] + [-20.0] * 60 + [-4.0], clips=[1]) == [(63, 1, -4.0)]


def test_peaks_around_a_clip_are_noted_still():
    assert run([-5.0] + [-20.0] * 20 + [0.0] + [-20.0] * 20 + [-4.0], clips=[21]) == [(0, 43, -4.0)]


def test_a_loud_passage_is_one_event_that_counts_its_peaks():
    watch = CeilingWatch(1, RATE_HZ, HOP, -6.0)
    notes = ([-4.0] * 20 + [-30.0] * 80) * 12
    events = [event for i, peak in enumerate(notes) for event in watch.add(i * HOP, [peak])]
    (event,) = [*events, *watch.finish()]
    assert event.count == 12
    assert (event.frame, event.frames) == (0, (11 * 100 + 20) * HOP)
    assert event.over_db == 2.0


def test_what_goes_on_for_long_becomes_several_events():
    assert run([-3.0] * 7_000) == [(0, 3000, -3.0), (3000, 3000, -3.0), (6000, 1000, -3.0)]
    passages = run(([-3.0] * 10 + [-30.0] * 90) * 70)
    assert [(first, length) for first, length, _ in passages] == [(0, 2910), (3000, 2910), (6000, 910)]


def test_an_event_is_reported_as_soon_as_it_is_over():
    watch = CeilingWatch(2, RATE_HZ, HOP, -6.0)
    watch.add(0, [-3.0, -20.0])
    reported = [i for i in range(1, 300) if watch.add(i * HOP, [-20.0, -20.0])]
    assert reported == [202]
    assert watch.finish() == []


def test_what_is_under_way_can_be_seen_before_it_is_over():
    watch = CeilingWatch(1, RATE_HZ, HOP, -6.0)
    assert watch.under_way() == []
    watch.add(0, [-3.0])
    (event,) = watch.under_way()
    assert (event.frame, event.count, event.peak_dbfs) == (0, 1, -3.0)
    for i in range(1, 50):
        watch.add(i * HOP, [-20.0])
    watch.add(50 * HOP, [-2.0])
    assert sum(event.count for event in watch.under_way()) == 2
    watch.note_clip(0, 50 * HOP + 10)
    assert sum(event.count for event in watch.under_way()) == 1
    watch.finish()
    assert watch.under_way() == []


@pytest.mark.parametrize("channel", [0, 1])
def test_channels_are_told_apart(channel):
    watch = CeilingWatch(2, RATE_HZ, HOP, -6.0)
    peaks = [-20.0, -20.0]
    peaks[channel] = -1.0
    watch.add(0, peaks)
    (event,) = watch.finish()
    assert event.channel == channel + 1


def test_each_channel_has_its_ceiling():
    watch = CeilingWatch(2, RATE_HZ, HOP, [-6.0, -12.0])
    events = [event for hop in range(3) for event in watch.add(hop * HOP, (-8.0, -8.0))] + watch.finish()
    assert [(event.channel, event.over_db) for event in events] == [(2, 4.0)]
