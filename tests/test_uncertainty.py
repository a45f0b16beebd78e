"""Uncertainty and conformity against the guides' own examples, scipy and chance."""

import math

import numpy as np
import pytest
import scipy

from benchlog.core.uncertainty import (
    Z_PROVEN,
    Accuracy,
    block_mean,
    combine,
    conformity,
    probability_of_conforming,
    propagate,
    rectangular,
    t_inflation,
)

# JCGM 100:2008 (GUM), H.2: five sets of readings of V, I and phase at one element. The readings are from memory;
# their means, uncertainties and correlations reproduce the inputs that the guide prints.
H2_V = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
H2_A = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
H2_RAD = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])
# The inputs as printed in H.2, rounded.
H2_PRINTED = ((4.999, 0.019661, 1.04446), (0.0032, 9.5e-6, 0.00075))
H2_PRINTED_R = ((1.0, -0.36, 0.86), (-0.36, 1.0, -0.65), (0.86, -0.65, 1.0))


def _impedance(v, a, rad):
    """R, X and Z of H.2."""
    return np.array([v / a * np.cos(rad), v / a * np.sin(rad), v / a])


def _sensitivities(v, a, rad):
    """Partial derivatives of R, X and Z to V, I and phase, worked out by hand."""
    r, x, z = _impedance(v, a, rad)
    return np.array([[r / v, -r / a, -x], [x / v, -x / a, r], [z / v, -z / a, 0.0]])


def test_rectangular_and_triangular_factors():
    """Half-width 1 has u = 0.57735 if rectangular, 0.40825 if the sum of two equal halves (GUM 4.3.7 and 4.3.9)."""
    even = np.linspace(-1, 1, 20001)

    assert rectangular(1.0) == pytest.approx(0.57735, abs=5e-6)
    assert rectangular(1.0) == pytest.approx(float(np.std(even)), rel=1e-3)
    assert rectangular(0.03) == pytest.approx(0.03 * rectangular(1.0))
    assert combine(rectangular(0.5), rectangular(0.5)) == pytest.approx(0.40825, abs=5e-6)


def test_independent_parts_combine_as_in_the_guide():
    """Root sum of squares: GUM G.4.1 gives 1.03 % (from memory), H.1.4 (clause from memory) 32 nm."""
    assert combine(0.25, 0.57, 0.82) == pytest.approx(1.03, abs=0.005)
    assert combine(25, 9.7, 2.9, 16.6) == pytest.approx(31.67, abs=0.005)
    assert combine(16.6, 2.9, 9.7, 25) == combine(25, 9.7, 2.9, 16.6)
    assert combine() == 0.0


def test_raw_readings_give_the_inputs_of_h2():
    """Means, their u and their correlations are those that GUM H.2 prints."""
    rows = np.vstack([H2_V, H2_A, H2_RAD])
    r = np.corrcoef(rows)

    u = rows.std(axis=1, ddof=1) / math.sqrt(5)

    assert rows.mean(axis=1) == pytest.approx(H2_PRINTED[0], rel=3e-6)
    assert u == pytest.approx(H2_PRINTED[1], rel=0.02)
    assert r == pytest.approx(np.array(H2_PRINTED_R), abs=0.006)


def test_h2_from_raw_readings_through_propagate():
    """R 127.732(71), X 219.847(295), Z 254.260(236) ohm: GUM H.2 (from memory), and set by set as its approach 2."""
    rows = np.vstack([H2_V, H2_A, H2_RAD])
    u = rows.std(axis=1, ddof=1) / math.sqrt(5)
    set_by_set = _impedance(*rows)

    got = [propagate(row, u, np.corrcoef(rows)) for row in _sensitivities(*rows.mean(axis=1))]

    assert _impedance(*rows.mean(axis=1)) == pytest.approx([127.732, 219.847, 254.260], abs=0.001)
    assert got == pytest.approx([0.071, 0.295, 0.236], abs=6e-4)
    assert got == pytest.approx(set_by_set.std(axis=1, ddof=1) / math.sqrt(5), rel=5e-3)


def test_h2_from_printed_inputs_with_the_correlations_of_the_results():
    """From the rounded inputs of GUM H.2: u 0.0700, 0.2957, 0.2366; r(R,X) -0.591, r(R,Z) -0.491, r(X,Z) 0.993."""
    values, u = H2_PRINTED
    c = _sensitivities(*values)

    one = [propagate(row, u, H2_PRINTED_R) for row in c]
    r = [
        (propagate(c[i] + c[j], u, H2_PRINTED_R) ** 2 - one[i] ** 2 - one[j] ** 2) / (2 * one[i] * one[j])
        for i, j in ((0, 1), (0, 2), (1, 2))
    ]

    assert one == pytest.approx([0.0700, 0.2957, 0.2366], abs=6e-5)
    assert r == pytest.approx([-0.591, -0.491, 0.993], abs=6e-4)


def test_correlation_runs_from_adding_to_cancelling():
    """Inputs that move together add up, against each other cancel, independent ones go as root sum of squares."""
    together, against = np.ones((2, 2)), np.array([[1.0, -1.0], [-1.0, 1.0]])

    assert propagate([2, 1], [0.5, 1.0], together) == pytest.approx(2.0)
    assert propagate([2, 1], [0.5, 1.0], against) == pytest.approx(0.0, abs=1e-12)
    assert propagate([3, -4], [1.0, 1.0]) == pytest.approx(combine(3, 4))


@pytest.mark.parametrize("degrees", [*range(1, 21), 30, 50, 100, 1000])
def test_few_degrees_is_student_t(degrees):
    """The factor is Student's t at 95.45 % over 2 (GUM G.3 and table G.2), here from scipy."""
    t = float(scipy.stats.t.ppf((1 + 0.9545) / 2, degrees))

    assert t_inflation(1.0, degrees) == pytest.approx(t / 2, rel=0.004)
    assert t_inflation(0.3, degrees) == pytest.approx(0.3 * t_inflation(1.0, degrees))


def test_no_degree_of_freedom_means_no_knowledge():
    """One value tells nothing about its scatter."""
    assert t_inflation(0.1, 0) == math.inf
    assert block_mean(np.array([12.6])).u == math.inf
    assert block_mean(np.array([12.6])).value == 12.6


def test_level_u_covers_gain_offset_and_rounding():
    """The stated limits, drawn by chance and rounded, scatter by what level_u says."""
    accuracy, rng = Accuracy(0.01, 0.05, 0.04), np.random.default_rng(1)
    n, true = 200_000, 12.345
    read = true * (1 + rng.uniform(-0.01, 0.01, n)) + rng.uniform(-0.05, 0.05, n)
    read = np.round(read / 0.04) * 0.04

    got = accuracy.level_u(true)

    assert got == pytest.approx(math.sqrt((0.01 * true) ** 2 + 0.05**2 + 0.02**2) / math.sqrt(3))
    assert got == pytest.approx(float(read.std()), rel=0.02)
    assert accuracy.level_u(-true) == got


def test_change_u_leaves_the_offset_out_and_rounds_twice():
    """Of two readings with the same offset error only gain and two roundings remain."""
    accuracy, rng = Accuracy(0.01, 5.0, 0.04), np.random.default_rng(2)
    n = 200_000
    gain, offset, first = 1 + rng.uniform(-0.01, 0.01, n), rng.uniform(-5, 5, n), rng.uniform(3, 4, n)
    change = np.round(((first + 2.0) * gain + offset) / 0.04) - np.round((first * gain + offset) / 0.04)

    got = accuracy.change_u(2.0)

    assert got == pytest.approx(math.sqrt(0.02**2 + 2 * 0.02**2) / math.sqrt(3))
    assert got == pytest.approx(float((change * 0.04).std()), rel=0.02)
    assert accuracy.change_u(-2.0) == got


def test_block_mean_covers_the_true_mean_of_correlated_noise():
    """Noise with a memory of 20 samples: k = 2 covers in about 95 of 100 logs, the root-n rule in fewer than 60."""
    rng, runs, n, memory = np.random.default_rng(3), 800, 1600, 0.95
    noise = rng.normal(size=(runs, n + 200))
    x = np.zeros_like(noise)
    for at in range(1, n + 200):
        x[:, at] = memory * x[:, at - 1] + noise[:, at]
    logs = x[:, 200:]

    means = [block_mean(log) for log in logs]
    covered = np.mean([abs(mean.value) <= 2 * mean.u for mean in means])
    naive = np.mean(np.abs(logs.mean(axis=1)) <= 2 * logs.std(axis=1, ddof=1) / math.sqrt(n))

    # blocks of 100 samples are nearly, not wholly, independent: a little under 95 % is theirs
    assert 0.90 <= covered <= 0.98
    assert naive < 0.6


def test_block_mean_of_white_noise_is_the_root_n_rule():
    """Independent samples: u is sigma over root n, with the widening for 15 degrees of freedom on top."""
    rng = np.random.default_rng(4)

    u = [block_mean(rng.normal(5.0, 0.2, 1600)).u for _ in range(400)]

    assert np.sqrt(np.mean(np.square(u))) == pytest.approx(0.2 / 40 * t_inflation(1.0, 15), rel=0.05)


def test_block_mean_follows_scale_and_shift():
    """Both value and u scale; a shift moves the value alone."""
    x, w = np.random.default_rng(5).normal(size=500), np.random.default_rng(6).uniform(0.5, 2, 500)

    plain, changed = block_mean(x, w), block_mean(-3 * x + 7, w)

    assert changed.value == pytest.approx(-3 * plain.value + 7)
    assert changed.u == pytest.approx(3 * plain.u)


def test_block_mean_weighs_samples_by_their_seconds():
    """Two blocks of two samples by hand: (1·1 + 3·3)/4 = 2.5 and (5·1 + 9·1)/2 = 7; mean 24/6 = 4."""
    got = block_mean(np.array([1.0, 3.0, 5.0, 9.0]), np.array([1.0, 3.0, 1.0, 1.0]), blocks=2)

    assert got.value == pytest.approx(4.0)
    assert got.u == pytest.approx(t_inflation((7 - 2.5) / math.sqrt(2) / math.sqrt(2), 1))


def test_block_mean_of_fewer_samples_than_blocks_takes_each_as_a_block():
    """Five samples: the standard error of five, widened for four degrees of freedom."""
    x = np.array([1.0, 2.0, 4.0, 4.0, 5.0])

    got = block_mean(x)

    assert got.value == pytest.approx(3.2)
    assert got.u == pytest.approx(t_inflation(float(scipy.stats.sem(x)), 4))


@pytest.mark.parametrize(
    ("value", "u", "low", "high", "p"),
    [
        (-5.47, 0.05, None, -5.40, 0.9192),  # diode, upper limit
        (509.7, 8.6, 490.0, None, 0.9890),  # pressure, lower limit
        (13.6, 1.8, 12.5, 16.3, 0.6626),  # two limits
    ],
)
def test_conforming_probability_of_the_guide_examples(value, u, low, high, p):
    """JCGM 106:2012, 7.3 and 7.4 (clauses and inputs from memory), and scipy's normal distribution."""
    got = probability_of_conforming(value, u, low, high)
    below = 1.0 if high is None else scipy.stats.norm.cdf(high, value, u)
    under = 0.0 if low is None else scipy.stats.norm.cdf(low, value, u)

    assert got == pytest.approx(p, abs=6e-5)
    assert got == pytest.approx(below - under, abs=1e-12)


def test_conforming_probability_keeps_under_shift_scale_and_mirror():
    """The unit and the zero of the scale do not matter, nor which side is called low."""
    got = probability_of_conforming(13.6, 1.8, 12.5, 16.3)

    assert probability_of_conforming(13600, 1800, 12500, 16300) == pytest.approx(got)
    assert probability_of_conforming(3.6, 1.8, 2.5, 6.3) == pytest.approx(got)
    assert probability_of_conforming(-13.6, 1.8, -16.3, -12.5) == pytest.approx(got)


@pytest.mark.parametrize(("p", "z"), [(0.80, 0.842), (0.90, 1.282), (0.95, 1.645), (0.99, 2.326), (0.999, 3.090)])
def test_one_sided_guard_band_table(p, z):
    """A value z uncertainties inside one limit conforms with probability p (JCGM 106:2012, table 1)."""
    assert probability_of_conforming(10 - z * 0.2, 0.2, None, 10) == pytest.approx(p, abs=2e-4)
    assert probability_of_conforming(10 + z * 0.2, 0.2, 10, None) == pytest.approx(p, abs=2e-4)


@pytest.mark.parametrize(
    ("guard", "risk", "bound"),
    [(0.0, 0.5, 0.5), (0.83, 0.0485, 0.05), (1.0, 0.02275, 0.025), (1.5, 0.00135, 0.0016), (3.0, 9.9e-10, 1e-6)],
)
def test_guard_band_risk(guard, risk, bound):
    """At the edge of a guard band of guard·U, U = 2u, the risk of a false pass is at most ILAC-G8:2019 says."""
    u, limit = 0.1, 5.0

    got = 1 - probability_of_conforming(limit - guard * 2 * u, u, None, limit)

    assert got == pytest.approx(risk, rel=0.005)
    assert got <= bound


@pytest.mark.parametrize(
    ("guards", "verdict"),
    [(0.83, "pass"), (0.82, "not proven"), (0.0, "not proven"), (-0.82, "not proven"), (-0.83, "fail")],
)
def test_verdict_changes_at_a_guard_band_of_0_83(guards, verdict):
    """95 % is a guard band of 0.83 U on either side of the limit (ILAC-G8:2019; ISO 14253-1:2017)."""
    u = 0.1

    assert conformity(5.0 - guards * 2 * u, u, None, 5.0) == verdict
    assert conformity(5.0 + guards * 2 * u, u, 5.0, None) == verdict


def test_z_proven_is_the_quantile_that_the_verdict_turns_at():
    """The constant for planning and the verdict agree."""
    assert pytest.approx(float(scipy.stats.norm.ppf(0.95)), rel=1e-12) == Z_PROVEN
    assert conformity(-(Z_PROVEN + 1e-9), 1.0, None, 0.0) == "pass"
    assert conformity(-(Z_PROVEN - 1e-9), 1.0, None, 0.0) == "not proven"


def test_window_needs_both_sides():
    """In the middle of a window of ± 2 u a value passes (95.4 %), of ± 1.9 u it proves nothing (94.3 %)."""
    assert conformity(14.2, 0.1, 14.0, 14.4) == "pass"
    assert conformity(14.2, 0.1, 14.01, 14.39) == "not proven"
    assert conformity(14.6, 0.1, 14.0, 14.4) == "fail"
    assert conformity(13.8, 0.1, 14.0, 14.4) == "fail"


def test_sure_value_on_its_limit_passes():
    """A count without uncertainty conforms up to and including its limit."""
    assert conformity(0.0, 0.0, None, 0.0) == "pass"
    assert conformity(1.0, 0.0, None, 0.0) == "fail"
    assert conformity(2.0, 0.0, 2.0, 2.0) == "pass"
    assert conformity(1.9, 0.0, 2.0, None) == "fail"
    assert conformity(1.9, 0.0, None, None) == "pass"


@pytest.mark.parametrize("u", [18.0, 300.0, math.inf])
@pytest.mark.parametrize("value", [3.5, 4.3])
def test_vague_value_cannot_fail_a_window(value, u):
    """A value so vague that it may lie on either side of a window proves nothing, however little fits inside."""
    assert conformity(value, u, 2.8, 4.2) == "not proven"
    assert probability_of_conforming(value, u, 2.8, 4.2) < 0.05


@pytest.mark.parametrize(("value", "verdict"), [(1.27, "not proven"), (1.30, "fail")])
def test_failure_of_a_narrow_window_must_be_likely_on_one_side(value, verdict):
    """A window of ± 0.01 u conforms with under 5 %; a failure is proven once 90 % lie on one side (z = 1.282)."""
    assert probability_of_conforming(value, 1.0, -0.01, 0.01) < 0.05
    assert conformity(value, 1.0, -0.01, 0.01) == verdict
    assert conformity(-value, 1.0, -0.01, 0.01) == verdict


def test_value_that_the_log_cannot_tell_proves_nothing_against_one_limit():
    """An infinite uncertainty leaves a one-sided limit open."""
    assert conformity(100.0, math.inf, None, 5.0) == "not proven"
    assert conformity(0.0, math.inf, 5.0, None) == "not proven"
