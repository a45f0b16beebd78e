"""Straight lines through sustained values, against other solvers, the GUM's own line and chance."""

import math

import numpy as np
import pytest
import scipy

from benchlog.analysis.slopes import Slope, from_steps, with_gains, with_offset
from benchlog.core.uncertainty import t_inflation


def _random(seed, n=8, ohm=0.02, offset=0.0, u=0.003):
    rng = np.random.default_rng(seed)
    amps = rng.uniform(0.5, 12, n)
    uv = u * rng.uniform(0.5, 2, n)
    return ohm * amps + offset + rng.normal(0, uv), amps, uv


@pytest.mark.parametrize("seed", range(6))
def test_steps_equal_weighted_least_squares(seed):
    """Slope through the origin as numpy's lstsq on rows over their u."""
    v, a, u = _random(seed)

    got = from_steps(v, a, u)
    (expected,), *_ = np.linalg.lstsq((a / u)[:, None], v / u)

    assert got.ohm == pytest.approx(expected)
    assert (got.points, got.most_a) == (8, a.max())


@pytest.mark.parametrize("seed", range(6))
def test_uncertainty_of_steps_is_the_larger_of_two(seed):
    """The stated u, and the scatter, which few degrees widen: curve_fit of scipy gives both."""
    v, a, u = _random(seed)

    def line(x, ohm):
        return ohm * x

    _, known = scipy.optimize.curve_fit(line, a, v, sigma=u, absolute_sigma=True)
    _, scattered = scipy.optimize.curve_fit(line, a, v, sigma=u, absolute_sigma=False)

    expected = max(math.sqrt(known[0, 0]), t_inflation(math.sqrt(scattered[0, 0]), 7))

    assert from_steps(v, a, u).u == pytest.approx(expected, rel=1e-4)


def test_one_step_is_a_ratio():
    """0.24 V over 12 A with u 6 mV: 20 mΩ, u 0.5 mΩ."""
    assert from_steps([0.24], [12.0], [0.006]) == Slope(pytest.approx(0.02), pytest.approx(0.0005), 1, 12.0)


def test_equal_steps_narrow_as_the_root_of_their_number():
    """Nine repetitions of one step without scatter: the same slope, a third of the u."""
    one, nine = from_steps([0.24], [12.0], [0.006]), from_steps([0.24] * 9, [12.0] * 9, [0.006] * 9)

    assert nine.ohm == pytest.approx(one.ohm)
    assert nine.u == pytest.approx(one.u / 3)


def test_scatter_beyond_the_stated_u_widens():
    """Two steps that disagree by 10 mΩ know no better than Student's t for one degree of freedom."""
    got = from_steps([0.10, 0.20], [10.0, 10.0], [1e-4, 1e-4])

    assert got.ohm == pytest.approx(0.015)
    assert got.u == pytest.approx(t_inflation(0.005, 1))


@pytest.mark.parametrize("fit", [from_steps, lambda v, a, u: with_offset(v, a, u, 0.01)])
def test_slope_follows_units_and_order(fit):
    """In mV, in mA, turned round, or in another order: the same resistance."""
    v, a, u = _random(3)
    plain = fit(v, a, u)
    order = np.random.default_rng(4).permutation(8)

    turned = fit(v[order], a[order], u[order])

    assert turned.ohm == pytest.approx(plain.ohm)
    assert turned.u == pytest.approx(plain.u)
    assert fit(-v, -a, u).ohm == pytest.approx(plain.ohm)
    assert fit(-v, -a, u).most_a == plain.most_a
    assert from_steps(1000 * v, a, 1000 * u).ohm == pytest.approx(1000 * from_steps(v, a, u).ohm)
    assert from_steps(1000 * v, a, 1000 * u).u == pytest.approx(1000 * from_steps(v, a, u).u)


@pytest.mark.parametrize("amps", [[], [0.0], [0.0, 0.0]])
def test_no_current_no_slope(amps):
    """Without a step there is no resistance."""
    zeros = [0.1] * len(amps)

    assert from_steps(zeros, amps, zeros) is None
    assert with_offset(zeros, amps, zeros, 0.01) is None


@pytest.mark.parametrize("prior", [1e-4, 0.003, 0.05])
@pytest.mark.parametrize("seed", range(4))
def test_offset_is_one_more_reading(prior, seed):
    """The stated offset is a reading of 0 V at 0 A of the offset alone: numpy's lstsq with that row added."""
    v, a, u = _random(seed, offset=0.002)
    rows = np.vstack([np.column_stack([a / u, 1 / u]), [0, 1 / prior]])

    got = with_offset(v, a, u, prior)
    (ohm, _), *_ = np.linalg.lstsq(rows, np.append(v / u, 0.0))
    known = math.sqrt(np.linalg.inv(rows.T @ rows)[0, 0])

    assert got.ohm == pytest.approx(ohm)
    assert got.u >= known * (1 - 1e-9)


def test_unknown_zero_is_a_plain_regression():
    """With nothing known of the offset: scipy's linregress, its standard error widened for n - 2."""
    v, a, _ = _random(5, offset=0.5)

    got = with_offset(v, a, [1e-6] * 8, math.inf)
    line = scipy.stats.linregress(a, v)

    assert got.ohm == pytest.approx(line.slope)
    assert got.u == pytest.approx(t_inflation(line.stderr, 6))


def test_line_of_the_guide():
    """GUM H.3, thermometer corrections (readings from memory): slope 0.00218, u 0.00067, eleven points."""
    celsius = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    corrections = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]

    got = with_offset(corrections, [c - 20 for c in celsius], [1e-5] * 11, math.inf)

    assert got.ohm == pytest.approx(0.00218, abs=5e-6)
    assert got.u / t_inflation(1, 9) == pytest.approx(0.00067, abs=5e-6)


def test_known_zero_is_the_line_through_the_origin():
    """An offset of no doubt leaves the slope of the steps."""
    v, a, u = _random(6)

    assert with_offset(v, a, u, 0.0).ohm == pytest.approx(from_steps(v, a, u).ohm, rel=1e-5)


def test_one_reading_carries_the_doubt_of_the_offset_in_full():
    """0.3 V at 10 A, u 3 mV, offset 4 mV: 30 mΩ with u 0.5 mΩ; with an unknown zero nothing."""
    got = with_offset([0.3], [10.0], [0.003], 0.004)

    assert (got.ohm, got.u) == (pytest.approx(0.03), pytest.approx(0.0005))
    assert with_offset([0.3], [10.0], [0.003], math.inf) is None
    assert with_offset([0.3, 0.3], [10.0, 10.0], [0.003] * 2, math.inf) is None


def test_reading_at_no_load_lets_the_offset_cancel():
    """A common offset of 50 mV, stated as such, hardly moves the slope once the zero is read too."""
    got = with_offset([0.05, 0.35], [0.0, 10.0], [1e-3, 1e-3], 0.05)

    assert got.ohm == pytest.approx(0.03, abs=1e-4)
    assert got.u < 0.0005


@pytest.mark.parametrize("n", [2, 3, 6])
def test_uncertainties_cover_the_true_resistance(n):
    """Stated u that are true: k = 2 covers in at least 94 of 100, for steps and for drops with an offset."""
    rng = np.random.default_rng(7)
    hits = np.zeros(2)
    for _ in range(500):
        a, noise, offset = rng.uniform(0.5, 12, n), rng.normal(0, 0.003, n), rng.normal(0, 0.01)
        steps = from_steps(0.02 * a + noise, a, [0.003] * n)
        drops = with_offset(0.02 * a + noise + offset, a, [0.003] * n, 0.01)
        hits += [abs(slope.ohm - 0.02) <= 2 * slope.u for slope in (steps, drops)]

    assert (hits >= 470).all()


def test_excess_scatter_widens_a_line_with_offset():
    """Noise ten times the stated: still covered in at least 90 of 100."""
    rng = np.random.default_rng(8)
    hits = 0
    for _ in range(300):
        a = rng.uniform(0.5, 12, 5)
        slope = with_offset(0.02 * a + rng.normal(0, 0.03, 5), a, [0.003] * 5, 0.001)
        hits += abs(slope.ohm - 0.02) <= 2 * slope.u

    assert hits >= 270


def test_one_of_several_readings_under_load_is_enough():
    """0 A and 12 A: the step and the line are there, and the greatest load is 12 A."""
    assert from_steps([0.0, 0.24], [0.0, 12.0], [0.006, 0.006]).ohm == pytest.approx(0.02)
    assert with_offset([0.0, 0.24], [0.0, 12.0], [0.006, 0.006], 0.01).most_a == 12.0


def test_reading_and_offset_are_never_surer_than_a_microvolt():
    """A reading of no doubt: 1 µV over 10 A; beside an offset of no doubt √2 as much."""
    assert from_steps([0.2], [10.0], [0.0]).u == pytest.approx(1e-7)
    assert with_offset([0.2], [10.0], [0.0], 0.0).u == pytest.approx(math.sqrt(2) * 1e-7)


def test_two_readings_with_a_known_zero_scatter_by_one_degree():
    """0.1 and 0.2 V at 10 A, the zero known: 15 ± 5 mΩ by Student's t; agreeing ones keep their own 10 mV."""
    wide, near = (with_offset([0.1, 0.1 + d], [10.0, 10.0], [u, u], 1e-6) for d, u in ((0.1, 1e-4), (0.01, 0.01)))

    assert wide.ohm == pytest.approx(0.015, rel=1e-4)
    assert wide.u == pytest.approx(t_inflation(0.005, 1), rel=1e-3)
    assert near.u == pytest.approx(0.001 / math.sqrt(2), rel=1e-3)


def test_scatter_counts_once_it_exceeds_the_stated_uncertainty():
    """A chi-squared of 1.5 a degree widens, however little beyond 1 it is."""
    got = with_offset([0.1, 0.1 + 0.01 * math.sqrt(3)], [10.0, 10.0], [0.01, 0.01], 1e-6)

    assert got.u == pytest.approx(t_inflation(0.001 / math.sqrt(2) * math.sqrt(1.5), 1), rel=1e-3)


def test_gain_errors_of_both_channels_count():
    """0.3 % and 0.4 % are 0.5 % together, rectangular: 0.29 % of the slope, with the slope's own u."""
    got = with_gains(Slope(0.02, 3e-5, 3, 10.0), 0.003, 0.004)

    assert got == pytest.approx(math.hypot(3e-5, 0.02 * 0.005 / math.sqrt(3)))
    assert with_gains(Slope(0.02, 3e-5, 3, 10.0), 0.0, 0.0) == pytest.approx(3e-5)
