"""Slopes, intervals and probabilities against other people's code, and against simulated seasons with a known truth."""

import warnings

import numpy as np
import pytest
import scipy
import season_table

from benchlog.season import trend


def series(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Uneven days and readings, rounded so that many are alike."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(6, 60))
    x = np.sort(rng.uniform(0, 400, n))
    return x, np.round(rng.normal(0, 1, n) + rng.normal(0, 0.004) * x, int(rng.integers(0, 4)))


@pytest.mark.parametrize("seed", range(40))
def test_slope_and_interval_are_those_of_scipy(seed):
    """Theil-Sen and Sen's interval, ties or none, as ``scipy.stats.theilslopes`` gives them."""
    x, y = series(seed)

    own, theirs = trend.theil_sen(x, y), scipy.stats.theilslopes(y, x)

    assert own.slope == pytest.approx(theirs.slope, abs=1e-12)
    assert (own.low, own.high) == pytest.approx((theirs.low_slope, theirs.high_slope), abs=1e-12)


@pytest.mark.parametrize("seed", range(40))
def test_probability_is_that_of_pymannkendall(seed):
    """The Mann-Kendall test as pymannkendall's original test gives it, ties or none."""
    import pymannkendall  # it loads scipy.stats, which every process that only lists the tests would wait for

    x, y = series(seed)

    own, theirs = trend.theil_sen(x, y), pymannkendall.original_test(y)

    assert own.p == pytest.approx(theirs.p, abs=1e-12)
    assert trend.kendall_variance(x, y) == pytest.approx(theirs.var_s)


@pytest.mark.parametrize("seed", range(10))
def test_order_is_that_of_kendalls_tau(seed):
    """S is tau-b times its denominator: its sign and its probability agree with ``scipy.stats.kendalltau``."""
    rng = np.random.default_rng(seed)
    x, y = np.arange(200.0), np.round(rng.normal(0, 1, 200) + 0.003 * np.arange(200), 1)

    own, theirs = trend.theil_sen(x, y), scipy.stats.kendalltau(x, y, method="asymptotic")

    # theirs has no continuity correction: one in S
    assert own.p == pytest.approx(theirs.pvalue, abs=2e-3)


def test_one_wild_reading_does_not_bend_the_slope():
    """Readings 1, 3, 5, 7, 100 has the slope 2 and the intercept 1 (worked by hand, and by two libraries)."""
    found = trend.theil_sen(np.arange(5.0), np.array([1.0, 3, 5, 7, 100]))

    assert (found.slope, found.intercept) == (2.0, 1.0)


def test_slope_moves_with_its_units():
    """Twice the values have twice the slope, a shift changes nothing, and time backward turns the sign."""
    x, y = series(3)
    once = trend.theil_sen(x, y)

    assert trend.theil_sen(x, 2 * y + 7).slope == pytest.approx(2 * once.slope)
    assert trend.theil_sen(x, 2 * y + 7).p == pytest.approx(once.p)
    assert trend.theil_sen(-x, y).slope == pytest.approx(-once.slope)


def test_readings_all_alike_have_no_trend():
    """A logger that shows the same figure every time proves nothing."""
    found = trend.theil_sen(np.arange(12.0), np.full(12, 12.6))

    assert (found.slope, found.low, found.high, found.p) == (0.0, 0.0, 0.0, 1.0)


def test_probability_without_spread_is_one():
    """Where chance has no room, nothing is proven."""
    assert trend.probability(5.0, 0.0) == 1.0


def test_thousands_of_readings_are_medians_of_stretches():
    """10,000 readings become 1,000 at most, with the same slope; a wild one in each stretch does not matter."""
    rng = np.random.default_rng(5)
    x = np.sort(rng.uniform(0, 365, 10_000))
    y = 24 + 0.02 * x + rng.normal(0, 0.5, len(x))
    y[::97] += 50

    day, columns = trend.thinned(x, y[:, None])

    assert len(day) == trend.MOST_READINGS
    assert trend.theil_sen(day, columns[:, 0]).slope == pytest.approx(0.02, rel=0.03)


def test_thinning_keeps_unknown_temperatures_unknown():
    """A stretch without any temperature has none afterwards, and nobody is warned."""
    columns = np.column_stack([np.ones(5000), np.where(np.arange(5000) < 2500, np.nan, 20.0)])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        _, kept = trend.thinned(np.arange(5000.0), columns)

    assert np.isnan(kept[0, 1])
    assert kept[-1, 1] == 20.0


def test_few_readings_are_kept_as_they_are():
    """Up to the bound nothing is thinned."""
    x, y = series(1)

    assert trend.thinned(x, y[:, None])[0] is x


def test_partial_slope_is_that_of_a_whole_fit():
    """Without scatter the slope beside temperature is exact, whatever the temperature does."""
    x = np.linspace(0, 1, 30)
    warm = 10 * np.sin(5 * x)[:, None]

    slope, own, residual = trend.partial_slope(x, 24 + 8 * x - 0.25 * warm[:, 0], warm)

    assert slope.slope == pytest.approx(8, abs=1e-6)
    assert own == pytest.approx([-0.25], abs=1e-8)
    assert np.abs(residual).max() < 1e-6


def test_a_column_that_runs_with_time_leaves_the_trend_open():
    """Where temperature rose as the battery aged, the two cannot be told apart: the interval says so."""
    rng = np.random.default_rng(8)
    x = np.linspace(0, 0.5, 20)
    y = 24 + 8 * x + rng.normal(0, 0.3, 20)
    along = (20 * x + rng.normal(0, 0.2, 20))[:, None]
    apart = rng.normal(0, 4, (20, 1))

    together, _, _ = trend.partial_slope(x, y, along)
    told, _, _ = trend.partial_slope(x, y, apart)

    assert together.high - together.low > 5 * (told.high - told.low)


def test_huber_is_least_squares_without_wild_readings():
    """With even residuals it is ordinary least squares, and a wild reading moves it little."""
    rng = np.random.default_rng(2)
    x = np.column_stack([np.ones(40), np.arange(40.0)])
    y = 3 + 0.5 * x[:, 1] + rng.uniform(-0.1, 0.1, 40)
    wild = y.copy()
    wild[35] += 100

    assert trend.huber(x, y) == pytest.approx(np.linalg.lstsq(x, y)[0], abs=0.02)
    assert trend.huber(x, wild)[1] == pytest.approx(0.5, abs=0.01)


def test_neighbours_that_are_alike_widen():
    """(1 + r) / (1 - r): about 3 at r = 0.5; readings in random order count as independent, about 1."""
    rng = np.random.default_rng(4)
    noise = rng.normal(size=4000)
    alike = np.zeros(4000)
    for k in range(1, 4000):
        alike[k] = 0.5 * alike[k - 1] + noise[k]

    assert trend.autocorrelation_inflation(alike) == pytest.approx(3.0, rel=0.15)
    assert trend.autocorrelation_inflation(noise) == pytest.approx(1.0, abs=0.08)
    assert trend.autocorrelation_inflation(np.array([1.0, -1, 1, -1, 1, -1, 1, -1, 1, -1])) == 1.0


@pytest.mark.parametrize("noted", [True, False])
@pytest.mark.parametrize(("n", "days"), [(12, 150.0), (40, 365.0)])
def test_intervals_cover_and_seasons_without_a_trend_stay_quiet(noted, n, days):
    """A year's swing of temperature, noted or not, is no ageing: 5 % false alarms, 95 % covered (240 seasons)."""
    row = season_table.trends("", 240, n, days, noted=noted, seed=11)

    # three standard deviations of 240 draws at 5 % are 4.2 %
    assert row.alarms <= 0.05 + 0.042
    assert row.covers >= 0.95 - 0.042


def test_whole_seasons_stay_quiet():
    """Five quantities without a trend: some trend is called proven in at most 5 % of seasons (60 seasons)."""
    row = season_table.quiet("", 60, noted=True, seed=13)

    # three standard deviations of 60 draws at 5 %
    assert row.alarms <= 0.05 + 0.084


def test_ageing_is_seen_and_covered():
    """A battery that ages as in a bad year is seen in most seasons, and its slope lies in the interval."""
    row = season_table.trends("", 160, 40, 365.0, noted=True, ageing=1.0, seed=12)

    # one quantity in four, the charging voltage, does not age
    assert row.alarms > 0.70
    assert row.covers >= 0.95 - 0.052


def test_medians_of_stretches_are_those_of_numpy():
    """All stretches at once give what ``np.nanmedian`` gives for each: odd and even counts, gaps in time and values."""
    rng = np.random.default_rng(6)
    time = np.sort(np.r_[rng.uniform(0, 100, 700), rng.uniform(200, 300, 500)])
    columns = np.column_stack([rng.normal(size=1200), np.where(rng.uniform(size=1200) < 0.4, np.nan, 20.0)])
    edges = np.linspace(time[0], time[-1], 51)
    place = np.clip(np.searchsorted(edges, time, side="right") - 1, 0, 49)

    day, kept = trend.thinned(time, columns, 50)

    wanted = [np.nanmedian(np.column_stack([time, columns])[place == k], axis=0) for k in np.unique(place)]
    assert np.column_stack([day, kept]) == pytest.approx(np.array(wanted))
