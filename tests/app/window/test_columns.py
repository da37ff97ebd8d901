from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from app.window.columns import Columns, column_of, columns_of, first_hop_of, reduce_columns

widths = st.floats(0.3, 12.0)


def reduce_all(average: np.ndarray, first_hop: int, width: float, first: int, last: int) -> Columns:
    peak = average + 6
    return reduce_columns(
        average,
        peak,
        peak > 0,
        first_hop=first_hop,
        hops_per_column=width,
        first_column=first,
        last_column=last,
    )


@given(st.integers(0, 100_000), widths)
def test_a_hop_lies_in_the_column_that_covers_it(hop: int, width: float) -> None:
    column = column_of(hop, width)
    assert first_hop_of(column, width) <= hop
    assert first_hop_of(column + 1, width) > hop
    assert columns_of(np.array([hop]), width).tolist() == [column]


@settings(deadline=None)
@given(st.integers(0, 5000), st.integers(40, 400), widths, st.integers(0, 2**32 - 1))
def test_columns_do_not_depend_on_how_much_is_looked_at(
    first_hop: int, hops: int, width: float, seed: int
) -> None:
    average = np.random.default_rng(seed).uniform(-80, 0, hops).astype(np.float32)
    last = column_of(first_hop + hops - 1, width) - 1
    whole = reduce_all(average, first_hop, width, 0, last)
    # Only the newest two columns, from hops that begin a little before them.
    begin = max(0, first_hop_of(last - 1, width) - 2 - first_hop)
    part = reduce_all(average[begin:], first_hop + begin, width, last - 1, last)
    assert part.first + len(part) - 1 == last == whole.first + len(whole) - 1
    for name in ("low_dbfs", "high_dbfs", "peak_dbfs", "clipped", "missing"):
        np.testing.assert_array_equal(getattr(part, name), getattr(whole, name)[-len(part) :])


@settings(deadline=None)
@given(st.integers(30, 300), st.floats(1.0, 12.0), st.integers(0, 2**32 - 1))
def test_columns_hold_the_extremes_of_their_hops(hops: int, width: float, seed: int) -> None:
    average = np.random.default_rng(seed).uniform(-80, 0, hops).astype(np.float32)
    columns = reduce_all(average, 0, width, 0, 10_000)
    for number in range(len(columns)):
        begin = first_hop_of(columns.first + number, width)
        end = min(hops, first_hop_of(columns.first + number + 1, width))
        joined = average[max(0, begin - 1) : end]  # the line comes from the last hop before
        assert columns.low_dbfs[number] == joined.min()
        assert columns.high_dbfs[number] == joined.max()
        assert columns.peak_dbfs[number] == average[begin:end].max() + 6


def test_missing_hops_make_a_missing_column() -> None:
    average = np.full(40, -20, np.float32)
    average[17] = np.nan
    columns = reduce_all(average, 0, 4.0, 0, 9)
    assert np.flatnonzero(columns.missing).tolist() == [4]
    assert np.isnan(columns.low_dbfs[4])
    assert np.isfinite(columns.low_dbfs[5])


def test_nothing_there_gives_no_columns() -> None:
    assert len(reduce_all(np.empty(0, np.float32), 0, 4.0, 0, 9)) == 0
    assert len(reduce_all(np.full(4, -20, np.float32), 100, 4.0, 0, 9)) == 0
