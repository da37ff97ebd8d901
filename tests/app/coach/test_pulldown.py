"""The search against trying everything, on margins that are as monotone as hearing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.coach.pulldown import MOST_DB, equal_pull_down, smallest_pull_down


class Masking:
    """Heard when the power of all files together stays under a limit in every band."""

    def __init__(self, powers, limits):
        self.powers = np.asarray(powers, float)  # (files, bands)
        self.limits = np.asarray(limits, float)

    def __call__(self, amounts):
        return float(self.at(np.asarray(amounts)))

    def at(self, amounts):
        left = 10.0 ** (-amounts / 10.0) @ self.powers
        return np.min(np.log10(self.limits) - np.log10(np.maximum(left, 1e-9)), axis=-1)

    def smallest_of_all(self, most):
        files = self.powers.shape[0]
        every = np.indices((most + 1,) * files).reshape(files, -1).T
        return int(every[self.at(every) >= 0.0].sum(axis=1).min())


def test_nothing_is_pulled_down_when_the_part_is_heard():
    assert smallest_pull_down(3, lambda amounts: 0.0) == (0, 0, 0)
    assert equal_pull_down(3, lambda amounts: 0.0) == 0


def test_one_file_goes_down_exactly_as_far_as_needed():
    assert smallest_pull_down(1, lambda amounts: float(amounts[0] - 17)) == (17,)


def test_only_the_file_in_the_way_goes_down():
    margin = Masking([[100.0, 0.0], [0.0, 0.1], [0.1, 0.5]], [1.0, 1.0])
    amounts = smallest_pull_down(3, margin)
    assert amounts[1:] == (0, 0)
    assert amounts[0] == 21, "20 dB would leave no room for the tenth that another file adds"
    assert equal_pull_down(3, margin) == 21


def test_a_file_goes_further_down_where_that_spares_the_others_more():
    """Equal amounts are 10 each; the loud one down a little more lets three others rise by far more."""
    margin = Masking([[9.7], [0.1], [0.1], [0.1]], [1.0])
    amounts = smallest_pull_down(4, margin)
    assert sum(amounts) == margin.smallest_of_all(16)
    assert amounts[1:] == (0, 0, 0)
    assert 4 * equal_pull_down(4, margin) == 40


def test_when_nothing_helps_all_go_down_as_far_as_they_may():
    assert smallest_pull_down(2, lambda amounts: -1.0) == (MOST_DB, MOST_DB)


@settings(max_examples=50, deadline=None)
@given(
    st.integers(1, 4).flatmap(
        lambda files: st.lists(
            st.lists(st.floats(0.0, 1e5), min_size=3, max_size=3), min_size=files, max_size=files
        )
    ),
    st.lists(st.floats(0.5, 10.0), min_size=3, max_size=3),
)
def test_it_makes_the_part_heard_if_anything_does_and_is_never_worse_than_equal(powers, limits):
    margin, files = Masking(powers, limits), len(powers)
    amounts, equal = smallest_pull_down(files, margin), equal_pull_down(files, margin)
    assert all(0 <= amount <= MOST_DB for amount in amounts)
    assert sum(amounts) <= files * equal
    assert margin(amounts) >= 0.0 or amounts == (MOST_DB,) * files


def test_it_finds_the_smallest_of_all_but_for_a_rare_decibel():
    rng = np.random.default_rng(11)
    excess = []
    for _ in range(150):
        files, bands = rng.integers(2, 4), rng.integers(1, 6)
        margin = Masking(10.0 ** rng.uniform(-2, 1.5, (files, bands)), 10.0 ** rng.uniform(0, 1, bands))
        amounts = smallest_pull_down(files, margin)
        excess.append(sum(amounts) - margin.smallest_of_all(max(amounts) + 4))
    assert np.mean(np.array(excess) == 0) >= 0.97
    assert max(excess) <= 1


@pytest.mark.parametrize("files", [1, 2, 5])
def test_equal_amounts_are_the_smallest_that_suffice(files):
    margin = Masking(np.full((files, 1), 7.0), [1.0])
    amount = equal_pull_down(files, margin)
    assert margin((amount,) * files) >= 0.0 > margin((amount - 1,) * files)
