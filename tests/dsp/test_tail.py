import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dsp.tail import Tail, fit_pareto, fit_tail, rate_bound, record_probability, survival


def exponential_tail(scale_db=2.0, rate=0.2, shape=0.0, blocks=1000):
    clusters = round(rate * blocks)
    return Tail(-12.0, blocks, clusters, clusters, scale_db, shape)


def test_the_record_rule_holds_for_any_law():
    rng = np.random.default_rng(7)
    draws = rng.standard_cauchy((20_000, 270))
    observed = np.mean(draws[:, 30:].max(axis=1) > draws[:, :30].max(axis=1))
    assert record_probability(30, 240) == pytest.approx(240 / 270)
    assert observed == pytest.approx(record_probability(30, 240), abs=0.01)
    assert record_probability(30, 0) == 0.0


@pytest.mark.parametrize(("blocks", "bound"), [(30, 0.095), (60, 0.049), (120, 0.025)])
def test_the_rule_of_three(blocks, bound):
    assert rate_bound(blocks) == pytest.approx(bound, abs=0.0005)
    assert rate_bound(0) == 1.0


def test_the_return_level_of_an_exponential_tail():
    # Mean excess 2 dB, one block in five over the threshold, 240 blocks: u + 2 ln 48.
    assert exponential_tail().return_level_db(240) == pytest.approx(-12.0 + 7.74, abs=0.005)


@given(
    shape=st.sampled_from([0.0, -0.3, -0.1, 0.2]),
    risk=st.floats(0.01, 0.99),
    blocks=st.integers(10, 3000),
)
def test_level_and_probability_are_inverse(shape, risk, blocks):
    tail = exponential_tail(shape=shape)
    assert tail.probability(tail.level_db(risk, blocks), blocks) == pytest.approx(risk, abs=1e-9)


@pytest.mark.parametrize("risk", [0.0, 1.0, -0.1])
def test_certainty_has_no_level(risk):
    with pytest.raises(ValueError, match="between 0 and 1"):
        exponential_tail().level_db(risk, 240)


def test_the_law_ends_where_a_negative_shape_ends():
    # Shape -0.5, scale 2 dB: nothing lies 4 dB over the threshold.
    assert survival(3.99, 2.0, -0.5) > 0.0
    assert survival(4.0, 2.0, -0.5) == 0.0
    assert survival(-20.0, 2.0, 0.2) == math.inf


@pytest.mark.parametrize("shape", [-0.3, -0.1, 0.1])
def test_probability_weighted_moments_find_the_law(shape):
    rng = np.random.default_rng(3)
    excesses = 2.0 / shape * (rng.uniform(size=40_000) ** -shape - 1.0)
    fitted_shape, scale = fit_pareto(excesses)
    assert fitted_shape == pytest.approx(shape, abs=0.03)
    assert scale == pytest.approx(2.0, abs=0.08)


def test_few_blocks_get_the_exponential_law_and_many_a_shape():
    rng = np.random.default_rng(5)
    assert fit_tail(rng.normal(-14, 3, 60)).shape == 0.0
    many = fit_tail(rng.normal(-14, 3, 2000))
    assert many.clusters >= 50
    assert many.shape < 0.0, "a normal tail is lighter than an exponential one"


def test_the_exponential_tail_is_found_and_declustered():
    rng = np.random.default_rng(11)
    excess = rng.exponential(1.5, 40_000)
    tail = fit_tail(-20.0 + excess, share=0.02)
    assert tail.scale_db == pytest.approx(1.5, abs=0.15)
    assert tail.rate == pytest.approx(0.02, rel=0.1)
    assert tail.extremal_index == pytest.approx(1.0, abs=0.1)
    # Each value three times in a row: as many clusters, though three times the blocks.
    held = fit_tail(-20.0 + np.repeat(excess, 3), share=0.02)
    assert held.extremal_index == pytest.approx(1 / 3, abs=0.05)
    assert held.rate == pytest.approx(tail.rate / 3, rel=0.15)


def test_censored_peaks_do_not_pull_the_scale_down():
    rng = np.random.default_rng(13)
    peaks = -6.0 + rng.exponential(2.0, 4000)
    clipped = np.minimum(peaks, 0.0)
    assert np.mean(clipped >= 0.0) > 0.04
    tail = fit_tail(clipped, censored_at_db=0.0)
    assert tail.uncensored < tail.clusters
    assert tail.scale_db == pytest.approx(2.0, rel=0.1)
    assert tail.shape == 0.0


def test_too_little_is_answered_with_nothing():
    assert fit_tail(np.array([-10.0, -9.0, -8.0, -7.0])) is None
    assert fit_tail(np.full(50, -8.0)) is None
    assert fit_tail(np.zeros(50), censored_at_db=0.0) is None
    assert fit_tail(np.full(50, -np.inf)) is None
