"""Slopes, variances and robust fits of a season by hand: few numbers, each worked out on paper or by counting."""

import math
from itertools import permutations
from statistics import NormalDist

import numpy as np
import pytest

from benchlog.season.trend import (
    Z,
    autocorrelation_inflation,
    huber,
    kendall_variance,
    partial_slope,
    probability,
    theil_sen,
    thinned,
)

#: Eight moments, and two patterns that are orthogonal to a level, to the time and to each other (worked by hand).
TIME = np.arange(8.0)
OTHER = np.array([1.0, 1, -1, -1, -1, -1, 1, 1])
SCATTER = np.array([1.1, -1.3, -0.7, 0.9, -0.9, 0.7, 1.3, -1.1])


def s_of(x: tuple[float, ...], y: tuple[float, ...]) -> int:
    """Kendall's S: rising pairs less falling ones."""
    pairs = [(i, j) for j in range(len(x)) for i in range(j)]
    return sum(int(np.sign((x[j] - x[i]) * (y[j] - y[i]))) for i, j in pairs)


@pytest.mark.parametrize(
    ("x", "y"),
    [
        ((0, 1), (0, 1)),
        ((0, 1, 2), (0, 1, 1)),
        ((0, 1, 2, 3), (1, 2, 3, 4)),
        ((0, 0, 1, 2), (1, 1, 2, 3)),
        ((0, 0, 0, 1, 2), (1, 1, 1, 2, 2)),
        ((0, 0, 0, 0, 1, 1), (1, 1, 1, 2, 2, 3)),
    ],
)
def test_variance_is_that_of_every_order(x: tuple[float, ...], y: tuple[float, ...]):
    """Kendall's variance of S is the mean of S² over all orders of the readings, ties in either or both."""
    every = [s_of(x, order) ** 2 for order in permutations(y)]

    assert kendall_variance(np.array(x, float), np.array(y, float)) == pytest.approx(float(np.mean(every)))


def test_readings_all_alike_leave_no_variance():
    """Where y never moves, S is 0 in every order."""
    assert kendall_variance(np.arange(7.0), np.full(7, 12.6)) == 0.0


@pytest.mark.parametrize("s", [3.0, -3.0])
def test_probability_has_the_continuity_correction(s: float):
    """S of 3 with a spread of 2 lies (3 - 1) / 2 = 1 standard deviation out, to either side; S of 0 proves nothing."""
    assert probability(s, 2.0) == pytest.approx(2 * (1 - NormalDist().cdf(1.0)))
    assert probability(0.0, 2.0) == 1.0
    assert probability(0.5, 0.1) == 1.0
    assert probability(s, 1.0) == pytest.approx(2 * (1 - NormalDist().cdf(2.0)))
    assert probability(s, 0.0) == 1.0


def test_readings_of_one_moment_have_no_slope():
    """Of three readings, two of them at once, only the two pairs apart in time count: slopes 2 and 1, median 1.5."""
    found = theil_sen(np.array([0.0, 0, 1]), np.array([0.0, 1, 2]))

    assert (found.slope, found.n) == (1.5, 3)
    assert found.intercept == 1.0


def test_interval_widens_with_the_variance():
    """Ten pairs with slopes of their own: Sen's ranks by hand, for a variance of S as it is and for larger ones."""
    x, y = np.arange(5.0), np.array([0.0, 1, 4, 9, 16])
    slopes = sorted((y[j] - y[i]) / (x[j] - x[i]) for j in range(5) for i in range(j))
    assert len(slopes) == 10
    # S has a variance of 5 * 4 * 15 / 18 = 16.67
    for factor in (0.1, 0.5, 1.0, 1.4):
        reach = Z * math.sqrt(5 * 4 * 15 / 18 * factor)
        found = theil_sen(x, y, factor)
        assert found.low == slopes[max(round((10 - reach) / 2) - 1, 0)]
        assert found.high == slopes[min(round((10 + reach) / 2), 9)]
    far = theil_sen(x, y, 1e6)
    assert (far.low, far.high) == (slopes[0], slopes[-1]) == (1.0, 7.0)


def test_an_interval_wider_than_all_slopes_ends_at_the_last_ones():
    """Three readings, three slopes: ranks below the first and beyond the last are those."""
    found = theil_sen(np.array([0.0, 1, 2]), np.array([0.0, 1, 3]), 9.0)

    assert (found.low, found.slope, found.high) == (1.0, 1.5, 2.0)


def test_stretches_end_before_their_edge():
    """Two stretches of 0 to 4: the edge at 2 belongs to the second, the last reading too; medians 0.5 and 3."""
    day, columns = thinned(np.arange(5.0), np.array([[1.0], [3], [5], [9], [7]]), 2)

    assert day.tolist() == [0.5, 3.0]
    assert columns[:, 0].tolist() == [2.0, 7.0]


def test_stretches_divide_all_the_time_there_is():
    """0 to 10 in two: the edge lies at 5, wherever the readings between lie."""
    day, _ = thinned(np.array([0.0, 4, 5, 6, 10]), np.zeros((5, 0)), 2)

    assert day.tolist() == [2.0, 6.0]


def test_stretch_whose_values_are_unknown_stays_unknown():
    """Temperatures known in the middle stretch alone: the first and the last have none."""
    _, columns = thinned(np.arange(6.0), np.array([[np.nan], [np.nan], [8], [np.nan], [np.nan], [np.nan]]), 3)

    assert np.isnan(columns[:, 0]).tolist() == [True, False, True]
    assert columns[1, 0] == 8.0


def test_stretch_without_a_reading_leaves_no_point():
    """Readings at 0, 1 and 9 to 10 in five stretches of 2 days: three of them are empty."""
    day, columns = thinned(np.array([0.0, 1, 9, 9.5, 10, 10]), np.arange(12.0).reshape(6, 2), 5)

    assert day.tolist() == [0.5, 9.75]
    assert columns.tolist() == [[1.0, 2.0], [7.0, 8.0]]


def test_as_many_readings_as_may_be_are_kept():
    """Five of five are as they were, six are not; 1,000 where nothing else is said."""
    five, six = np.arange(5.0), np.arange(6.0)
    thousand, one_more = np.arange(1000.0), np.arange(1001.0)

    assert thinned(thousand, thousand[:, None])[0] is thousand
    assert len(thinned(one_more, one_more[:, None])[0]) == 1000

    assert thinned(five, five[:, None], 5)[0] is five
    assert len(thinned(six, six[:, None], 5)[0]) == 5


@pytest.mark.parametrize(("n", "fitted", "factor"), [(7, 0, 1.0), (8, 0, 15.0), (8, 1, 19.0), (20, 0, 19.0)])
def test_rising_residuals_are_as_alike_as_can_be(n: int, fitted: int, factor: float):
    """Eight in a row: 26.25 / 42 + 2 / 8 = 0.875, (1 + 0.875) / (1 - 0.875) = 15; never more than 19, from 8 on."""
    assert autocorrelation_inflation(np.arange(float(n)) ** 3, fitted) == pytest.approx(factor)


def test_likeness_is_that_of_ranks():
    """2 before 1, 4 before 3 and so on: 5.25 fewer of 42 for each of some neighbours, counted out here."""
    order = np.array([1.0, 0, 3, 2, 5, 4, 7, 6])
    centred = order - 3.5
    r = sum(a * b for a, b in zip(centred[1:], centred[:-1], strict=True)) / 42 + 2 / 8

    assert autocorrelation_inflation(order) == pytest.approx((1 + r) / (1 - r))
    assert 1.0 < (1 + r) / (1 - r) < 15


def test_partial_slope_is_freed_of_the_other_column():
    """The series 5 + 2 t + 3 o + scatter, all orthogonal: slope about 2, the other's 3, the scatter left."""
    found, own, residual = partial_slope(TIME, 5 + 2 * TIME + 3 * OTHER + 0.01 * SCATTER, OTHER[:, None])

    assert own == pytest.approx([3.0])
    assert found.slope == pytest.approx(2.0, abs=0.005)
    assert residual + found.intercept - 5 == pytest.approx((2 - found.slope) * TIME + 0.01 * SCATTER, abs=1e-9)
    assert np.median(residual) == pytest.approx(0.0, abs=1e-12)


def test_partial_interval_is_as_wide_as_the_columns_leave():
    """Seven over six degrees of freedom for a column, times the likeness of neighbours with one more fitted."""
    y = 5 + 2 * TIME + 3 * OTHER + 0.01 * SCATTER
    found, _, _ = partial_slope(TIME, y, OTHER[:, None])
    factor = 7 / 6 * autocorrelation_inflation(SCATTER, 1)
    wanted = theil_sen(TIME, 2 * TIME + 0.01 * SCATTER, factor)

    assert (found.low, found.high, found.p) == pytest.approx((wanted.low, wanted.high, wanted.p))
    narrow = theil_sen(TIME, 2 * TIME + 0.01 * SCATTER, factor * 6 / 7)
    assert wanted.p != pytest.approx(narrow.p)


def test_a_column_along_with_time_is_taken_out_of_time():
    """Where the other column is half the time and half a pattern, only what time has beyond it tells the slope."""
    along = TIME - TIME.mean() + 2 * OTHER
    y = 1.0 + 4 * TIME + 0.5 * along
    found, own, residual = partial_slope(TIME, y, along[:, None])

    assert own == pytest.approx([0.5])
    assert (found.slope, found.low, found.high) == pytest.approx((4.0, 4.0, 4.0))
    assert found.intercept == pytest.approx(1.0)
    assert np.abs(residual).max() < 1e-9


def test_what_a_column_leaves_of_time_tells_the_interval():
    """Time on the column: 42 / (42 + 4 * 8) of it; the rest tells the slope, whose scatter is alike from one to two."""
    along = TIME - TIME.mean() + 2 * OTHER
    left = TIME - TIME.mean() - 42 / 74 * along
    scatter = 0.01 * np.array([-7.0, 5, 7, 3, -3, -7, -5, 7])  # Legendre's third polynomial, orthogonal to all three
    got, _, _ = partial_slope(TIME, 1.0 + 4 * TIME + 0.5 * along + scatter, along[:, None])
    alike = autocorrelation_inflation(scatter, 1)
    wanted = theil_sen(left, 4 * left + scatter, 7 / 6 * alike)

    assert alike > 1.5
    assert (got.slope, got.low, got.high, got.p) == pytest.approx((wanted.slope, wanted.low, wanted.high, wanted.p))
    assert wanted.high - wanted.low > 0.01


def test_slope_without_other_columns_is_theil_sens():
    """Nothing beside time: the readings as they are, wild ones too."""
    y = np.array([1.0, 3, 5, 7, 100])

    found, own, residual = partial_slope(np.arange(5.0), y, np.zeros((5, 0)))

    assert found == theil_sen(np.arange(5.0), y)
    assert own.size == 0
    assert residual.tolist() == [0.0, 0, 0, 0, 91]


def test_robust_mean_of_five_by_hand():
    """-1, 1, -1, 1 and 100: Huber's reach is 1.345 * 1.4826 * 2 = 3.988, so the middle m solves 4 m = 3.988."""
    got = huber(np.ones((5, 1)), np.array([-1.0, 1, -1, 1, 100]))

    assert got == pytest.approx([1.345 / NormalDist().inv_cdf(0.75) * 2 / 4], abs=1e-4)


def test_robust_fit_does_not_mind_the_size_of_a_column():
    """A column a million times as large has a coefficient a million times as small; one of zeros has none."""
    columns = np.column_stack([np.ones(8), 1e6 * TIME, np.zeros(8)])

    assert huber(columns, 5 + 2 * TIME + 0.1 * SCATTER) == pytest.approx([5.0, 2e-6, 0.0])


def test_readings_all_alike_are_their_own_mean():
    """Without any scatter the fit is the readings' own value; nothing is weighed away."""
    assert huber(np.ones((4, 1)), np.full(4, 2.0)) == pytest.approx([2.0])
    assert huber(np.ones((5, 1)), np.array([2.0, 2, 2, 2, 12])) == pytest.approx([4.0])
