"""The chart's ring: the newest rows, whatever the sizes in which they came."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from app.engine.history import History


def _rows(first: int, count: int) -> np.ndarray:
    return np.arange(first, first + count, dtype=np.float64)[:, None] * np.array([1.0, -1.0])


@given(sizes=st.lists(st.integers(1, 350), max_size=30))
def test_view_shows_the_newest_rows_in_order(sizes):
    history = History(2, hop_s=0.01, span_s=1.0)
    total = 0
    for size in sizes:
        history.append(_rows(total, size), _rows(total, size) + 0.5)
        total += size
    view = history.view()
    expected = _rows(max(0, total - 100), min(total, 100))
    assert view.newest_hop == total - 1
    np.testing.assert_array_equal(view.average_dbfs, expected)
    np.testing.assert_array_equal(view.peak_dbfs, expected + 0.5)


@given(before=st.integers(0, 250), gap=st.integers(0, 400), after=st.integers(0, 120))
def test_a_gap_is_unknown_and_keeps_its_length(before, gap, after):
    history = History(1, hop_s=0.01, span_s=1.0)
    history.append(np.zeros((before, 1)), np.zeros((before, 1)))
    history.append_gap(gap)
    history.append(np.ones((after, 1)), np.ones((after, 1)))
    view = history.view()
    everything = np.concatenate([np.zeros(before), np.full(gap, np.nan), np.ones(after)])[-100:]
    assert view.newest_hop == before + gap + after - 1
    np.testing.assert_array_equal(view.average_dbfs[:, 0], everything)


def test_views_are_not_copies():
    history = History(2, hop_s=0.01, span_s=1.0)
    history.append(_rows(0, 250), _rows(0, 250))
    assert history.view().average_dbfs.base is not None
    assert np.shares_memory(history.view().average_dbfs, history.view().average_dbfs)


@given(total=st.integers(1, 400), hop=st.integers(0, 420))
def test_a_clip_marks_its_own_hop_or_none(total, hop):
    history = History(2, hop_s=0.01, span_s=1.0)
    history.append(_rows(0, total), _rows(0, total))
    history.mark_clip(hop, 1)
    view = history.view()
    first_shown = total - view.clipped.shape[0]
    marked = [(first_shown + row, column) for row, column in np.argwhere(view.clipped).tolist()]
    assert marked == ([(hop, 1)] if first_shown <= hop < total else [])


def test_a_mark_goes_when_its_row_is_written_again():
    history = History(1, hop_s=0.01, span_s=1.0)
    history.append(np.zeros((200, 1)), np.zeros((200, 1)))
    history.mark_clip(199, 0)
    history.append(np.zeros((200, 1)), np.zeros((200, 1)))
    assert not history.view().clipped.any()
