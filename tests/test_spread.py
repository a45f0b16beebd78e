"""How far values scatter, by medians."""

import numpy as np
import pytest
import scipy

from benchlog.core.spread import MEDIAN_U, SIGMA_PER_MAD, robust_noise, robust_sigma, robust_spread


def test_spread_of_normal_noise_is_its_standard_deviation():
    """Spread, and noise from first and second differences, agree with the sigma that made 40,000 values."""
    x = np.random.default_rng(1).normal(5.0, 0.2, 40_000)

    # the median absolute deviation of n values has a standard error of 1.17 sigma over the root of n
    assert robust_spread(x) == pytest.approx(0.2, rel=0.025)
    assert robust_noise(x) == pytest.approx(0.2, rel=0.025)
    assert robust_noise(x, order=2) == pytest.approx(0.2, rel=0.035)


def test_spread_agrees_with_scipy():
    """Scipy's median_abs_deviation, scaled for the normal law, is the outside reference."""
    x = np.random.default_rng(2).normal(0.0, 3.0, 501)

    assert robust_spread(x) == pytest.approx(float(scipy.stats.median_abs_deviation(x, scale="normal")), rel=1e-12)
    assert pytest.approx(1 / float(scipy.stats.norm.ppf(0.75)), rel=1e-12) == SIGMA_PER_MAD


def test_outliers_and_slopes_do_not_count():
    """One value in ten far away, or a steady slope, leaves the noise nearly as it was."""
    x = np.random.default_rng(3).normal(0.0, 1.0, 2000)
    wild = x.copy()
    wild[::10] += 1000.0

    assert robust_spread(wild) < 1.3
    assert robust_noise(x + 0.01 * np.arange(2000)) == pytest.approx(robust_noise(x), rel=0.01)
    assert robust_noise(x + 5.0 * np.arange(2000), order=2) == pytest.approx(robust_noise(x, order=2), rel=1e-6)


def test_sigma_follows_the_scale():
    """Ten times the deviations are ten times the sigma; their sign does not matter."""
    d = np.array([-1.0, 2.0, -3.0, 0.5])

    assert robust_sigma(10 * d) == pytest.approx(10 * robust_sigma(d))
    assert robust_sigma(-d) == robust_sigma(d)


def test_median_scatters_more_than_the_mean():
    """Medians of 99 normal values scatter ``MEDIAN_U`` times as much as their means, within 3 %."""
    x = np.random.default_rng(4).normal(0.0, 1.0, (20_000, 99))

    assert float(np.std(np.median(x, axis=1)) / np.std(x.mean(axis=1))) == pytest.approx(MEDIAN_U, rel=0.03)
