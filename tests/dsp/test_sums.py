"""Sums over hops against sums over everything."""

import numpy as np
import pytest

from dsp.sums import hop_mean_squares, hop_means


@pytest.mark.parametrize("order", ["C", "F"])
def test_hops_are_summed_channel_by_channel(order):
    samples = np.random.default_rng(3).standard_normal((4 * 441, 3)).astype(np.float32)
    samples[:, 1] += 0.25
    squares = hop_mean_squares(np.array(samples, order=order), 441)
    means = hop_means(np.array(samples, order=order), 441)
    exact = samples.astype(np.float64).reshape(4, 441, 3)
    np.testing.assert_allclose(squares, (exact**2).mean(axis=1), rtol=2e-6)
    np.testing.assert_allclose(means, exact.mean(axis=1), atol=2e-7)
