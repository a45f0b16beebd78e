"""The parts of a channel's noise model, each on numbers that can be worked out by hand."""

import math

import numpy as np
import pytest

from benchlog.analysis.noise import (
    LogNoise,
    NoiseModel,
    _apart,
    _fall,
    _model,
    _neighbours,
    _spread,
    _steps,
    _two_sample,
    _without_spikes,
    noise_model,
    steps_of,
)
from benchlog.core.uncertainty import t_inflation

MODEL = NoiseModel(1.0, 1.0, 1.0, (0.5, 1.0, 2.0), (1.0, 0.8, 0.5))


@pytest.mark.parametrize(
    ("window_s", "u"), [(0.2, 1.0), (0.5, 1.0), (0.5**0.5, 0.9), (1.0, 0.8), (2**0.5, 0.65), (2.0, 0.5), (8.0, 0.25)]
)
def test_mean_of_a_stretch_between_the_known_lengths(window_s: float, u: float):
    """By the logarithm of the length; beyond the longest as independent noise, below one point as one point."""
    assert MODEL.mean_u(window_s) == pytest.approx(u)


def test_difference_and_halves_follow_from_the_means():
    """Two stretches add in squares; two halves of 2 s differ by twice the root of 0.64 less 0.25."""
    rising = NoiseModel(1.0, 1.0, 1.0, (1.0, 2.0), (1.0, 1.2))

    assert MODEL.difference_u(1.0, 2.0) == pytest.approx(math.hypot(0.8, 0.5))
    assert MODEL.halves_u(2.0) == pytest.approx(2 * math.sqrt(0.64 - 0.25))
    assert rising.halves_u(2.0) == 0.0


@pytest.mark.parametrize(
    ("variances", "fall"),
    [
        ([1.0], 0.75),
        ([1.0, 0.7], 0.7),
        ([1.0, 0.8, 0.36], 0.6),
        ([100.0, 1.0, 0.8, 0.36], 0.6),
        ([1.0, 0.1], 0.5),
        ([1.0, 0.9], 0.75),
        ([0.0, 0.6], 0.75),
        ([0.5, 0.3], 0.6),
    ],
)
def test_next_fall_is_that_of_the_last_two_within_a_half_and_three_quarters(variances: list[float], fall: float):
    """One says nothing; of nothing no fall can be told."""
    assert _fall(variances) == pytest.approx(fall)


def test_variance_of_a_mean_is_half_of_all_longer_ones():
    """4 and 3 at 0.5 and 1 s, then falls of 0.75: 4.5 beyond, so 8, 6 and 4.5; degrees by Welch and Satterthwaite."""
    found = _model(0.5, [4.0, 3.0], [100.0, 50.0])

    free = [64 / (4 / 100 + 2.25 / 50 + 20.25 / 50), 36 / (2.25 / 50 + 20.25 / 50), 50.0]
    expected = [t_inflation(math.sqrt(v), int(n + 1e-9)) for v, n in zip((8.0, 6.0, 4.5), free, strict=True)]
    assert (found.sigma, found.jitter) == (pytest.approx(math.sqrt(8)), 2.0)
    assert found.windows_s == (0.5, 1.0, 2.0)
    assert found.means_u == pytest.approx(expected)
    assert found.memory_s == pytest.approx(2.0 * 4.5 / 8)


def test_small_noise_is_noise():
    """A hundredth of the variances: a tenth of the deviations, and the same memory."""
    small, great = _model(0.5, [0.04, 0.03], [100.0, 50.0]), _model(0.5, [4.0, 3.0], [100.0, 50.0])

    assert small.means_u == pytest.approx([u / 10 for u in great.means_u])
    assert small.memory_s == pytest.approx(great.memory_s)


def test_channel_without_noise_has_none():
    """Nothing scatters: every mean is sure, and the points are as good as independent."""
    assert _model(0.5, [0.0, 0.0], [100.0, 50.0]) == NoiseModel(0.0, 0.0, 0.5, (0.5, 1.0, 2.0), (0.0, 0.0, 0.0))


@pytest.mark.parametrize(
    ("differences", "resolution", "spread"),
    [
        ([], 0.0, (0.0, 0.0)),
        ([1, 1, 1, 1], 0.0, (0.0, 1.0)),
        ([0, 0, 0, 0, 5], 0.0, (math.sqrt(5), 0.0)),
        ([0, 0, 0, 0, 5], 1.0, (0.0, 0.0)),
        ([0, 0, 0, 0, 5], 1.7, (math.sqrt(5), 0.0)),
        ([0] * 20 + [1] * 9 + [50], 0.0, (math.sqrt(9 / 29), 0.0)),
        ([0] * 30 + [1, 1, 3, 3, 3, 3, 3, 3, 3, 10], 0.0, (math.sqrt(65 / 39), 0.0)),
        ([-1, 1, -1, 1, -1, 1, 0, 100], 0.0, (math.sqrt(7.75 / 7), 0.5)),
        ([-1, 1, -1, 1, -1, 1, 0, 9.2], 0.0, (math.sqrt((7.75 + 8.7**2) / 8), 0.5)),
        ([-1, 1, -1, 1, -1, 1, 0, 9.6], 0.0, (math.sqrt(7.75 / 7), 0.5)),
    ],
)
def test_spread_leaves_out_what_lies_six_deviations_off(differences: list[float], resolution: float, spread: tuple):
    """Of robust ones (1.4826 here: 8.9 from the middle), of half the resolution, or of the least that moved."""
    assert _spread(np.array(differences, dtype=float), resolution) == pytest.approx(spread)


def test_neighbouring_means_and_where_they_meet():
    """Means of two of 0, 0, 4, 4, 8, 8 differ by 4; a break between two points takes every pair across it away."""
    x = np.array([0, 0, 4, 4, 8, 8], dtype=float)
    whole, first, last = (np.zeros(5, dtype=bool) for _ in range(3))
    first[0], last[4] = True, True

    assert [each.tolist() for each in _neighbours(x, whole, 2)] == [[4, 4, 4], [2, 3, 4]]
    assert [each.tolist() for each in _neighbours(x, first, 2)] == [[4, 4], [3, 4]]
    assert [each.tolist() for each in _neighbours(x, last, 2)] == [[4, 4], [2, 3]]
    assert [each.tolist() for each in _neighbours(np.arange(40.0), np.zeros(39, dtype=bool), 16)] == [
        [16.0] * 5,
        [16, 18, 20, 22, 24],
    ]


WAVE = np.tile([0.0, 0.1, 0.1, 0.0], 10)  # differences of 0.1, 0, -0.1 and 0: robustly 0.148, six times that 0.89


@pytest.mark.parametrize(("points", "step"), [(1, 0.95), (2, 0.95), (1, 0.5)])
def test_step_is_found_where_the_level_changes(points: int, step: float):
    """0.95 after forty points is a step; 0.5 is within what it widens the spread to itself."""
    x = np.concatenate((WAVE, WAVE + step))

    found = np.flatnonzero(_steps(x, np.zeros(79, dtype=bool), points, 0.0))

    assert found.tolist() == ([39] if step > 0.9 else [])


def test_steps_need_two_means_and_a_pair_more():
    """Five points hold no two neighbouring pairs of means of two; six do. What never moves has none."""
    x = np.array([0, 0, 0, 9, 9, 9], dtype=float)

    assert not _steps(x[:5], np.zeros(4, dtype=bool), 2, 0.0).any()
    assert not _steps(np.zeros(20), np.zeros(19, dtype=bool), 2, 0.0).any()
    assert _steps(np.array([0, 0.1, 9.1, 9]), np.zeros(3, dtype=bool), 1, 0.0).tolist() == [False, True, False]
    assert not _steps(WAVE + 0.5 * np.arange(40), np.zeros(39, dtype=bool), 1, 0.0).any()
    assert not _steps(np.array([0, 0.1, 9.1]), np.zeros(2, dtype=bool), 1, 0.0).any()


@pytest.mark.parametrize(("height", "kept"), [(0.85, 40), (0.95, 39), (-0.95, 39)])
def test_spike_stands_off_both_neighbours(height: float, kept: int):
    """0.85 above its neighbours is within six robust deviations, 0.95 beyond."""
    x = WAVE.copy()
    x[20] = height
    x[19] = x[21] = 0.0

    assert len(_without_spikes(np.arange(40.0), x, 0.0)[1]) == kept


def test_step_and_ends_are_no_spikes():
    """A level that stays, the first and the last point, and a channel that never moves."""
    step, ends = np.concatenate((WAVE[:20], WAVE[20:] + 0.95, WAVE + 1.9)), WAVE.copy()
    ends[0] = ends[-1] = 9.0

    assert len(_without_spikes(np.arange(80.0), step, 0.0)[0]) == 80
    assert len(_without_spikes(np.arange(40.0), ends, 0.0)[0]) == 40
    assert len(_without_spikes(np.arange(9.0), np.zeros(9), 0.0)[0]) == 9


@pytest.mark.parametrize(("gaps", "apart"), [([4.9], 0), ([5.1], 1), ([6, 6], 2), ([6, 6, 6], 0), ([6, 6, 6, 40], 1)])
def test_points_five_usual_steps_apart_are_no_neighbours(gaps: list[float], apart: int):
    """Of a hundred steps, more than two longer ones are those between packets, and usual."""
    steps = np.ones(100)
    steps[10 : 10 + len(gaps)] = gaps

    assert _apart(np.concatenate(([0.0], np.cumsum(steps))), 1.0).sum() == apart


def naive(x: np.ndarray, step_s: float) -> tuple[list[float], list[float]]:
    """Two-sample variances by loops, from the definition."""
    variances, degrees = [], []
    for points in (1, 2, 4, 8, 16, 32):
        stride = max(points // 8, 1)
        d = np.array(
            [
                x[at + points : at + 2 * points].mean() - x[at : at + points].mean()
                for at in range(0, len(x) - 2 * points + 1, stride)
            ]
        )
        known = len(d) * stride / points
        if known < 3 or points * step_s > 40:
            break
        variance, free = float(np.mean((d - np.median(d)) ** 2)) / 2, known
        if len(variances) > 2 and known < 20:
            expected = variances[-1] * min(max((variances[-1] / variances[-3]) ** 0.5, 0.5), 0.75)
            variance, free = (known * variance + 5 * expected) / (known + 5), known + 5
        variances.append(variance)
        degrees.append(free)
    return variances, degrees


@pytest.mark.parametrize(
    ("points", "step_s", "scales"), [(100, 0.5, 5), (40, 0.5, 4), (100, 6.0, 3), (100, 4.9, 4), (100, 5.1, 3)]
)
def test_two_sample_variances_are_those_of_their_definition(points: int, step_s: float, scales: int):
    """White noise without outliers: as loops find them, up to 40 s and three degrees; few degrees lean on the fall."""
    x = np.random.default_rng(points).uniform(-1, 1, points)

    variances, degrees = _two_sample(x, np.zeros(points - 1, dtype=bool), step_s, 0.0)

    expected = naive(x, step_s)
    assert len(variances) == scales
    assert variances == pytest.approx(expected[0])
    assert degrees == pytest.approx(expected[1])


def test_resolution_counts_for_single_points_alone():
    """One reading of 8 among zeros, of a code of 1: six halves of it are 3, so 8 is an outlier for single points."""
    x = np.zeros(64)
    x[30] = 8.0

    fine, coarse = (_two_sample(x, np.zeros(63, dtype=bool), 0.5, res)[0] for res in (0.0, 1.0))

    assert coarse[0] == 0.0 < fine[0]
    assert coarse[1] == fine[1] > 0.0


def test_eight_points_make_a_model():
    """Seven do not; missing ones do not count, and points that are all apart have no neighbours."""
    x = WAVE[:8]

    assert noise_model(np.arange(7.0), x[:7]) is None
    assert noise_model(np.arange(8.0), x) is not None
    assert noise_model(np.arange(8.0), np.where(np.arange(8) == 3, np.nan, x)) is None
    assert noise_model(np.arange(8.0), x, steps_s=np.arange(8.0)) is None
    assert steps_of(np.arange(8.0), WAVE[:8] + 9 * (np.arange(8) > 3)).tolist() == [4.0]
    assert len(steps_of(np.arange(7.0), WAVE[:7] + 9 * (np.arange(7) > 3))) == 0


def test_known_step_is_no_noise():
    """A jump by 0.3 at 39.5 s, too little to be found: left out where another channel shows it, else it is noise."""
    t, x = np.arange(80.0), np.concatenate((WAVE, WAVE + 0.3))
    calm = np.delete(np.diff(x), 39)

    known, unknown = noise_model(t, x, steps_s=[39.5]), noise_model(t, x)

    assert known.jitter == pytest.approx(math.sqrt(np.mean(calm**2) / 2))
    assert unknown.jitter == pytest.approx(math.sqrt(np.mean(np.diff(x) ** 2) / 2))
    assert noise_model(t, x, steps_s=[-5.0, 1e9, 39.5]).jitter == pytest.approx(math.sqrt(np.mean(calm[1:-1] ** 2) / 2))


@pytest.mark.parametrize(("step_s", "points"), [(0.3, 1), (1.0, 1), (0.2, 2)])
def test_steps_are_looked_for_between_means_over_0_4_s(step_s: float, points: int):
    """A jump that means of so many points just show."""
    x = np.concatenate((WAVE, WAVE + 0.95))

    found = steps_of(np.arange(80) * step_s, x)

    assert found == pytest.approx(step_s * (np.flatnonzero(_steps(x, np.zeros(79, dtype=bool), points, 0.0)) + 1))
    assert len(found) == 1


@pytest.mark.parametrize(("step_s", "found"), [(0.2, [39]), (0.3, []), (1.0, [])])
def test_rise_over_two_points_is_a_step_for_means_of_two(step_s: float, found: list[int]):
    """0.7 and 0.8 are none for single points; where they are one, the model leaves it out."""
    x, t = np.concatenate((WAVE[:39], [0.8], WAVE + 1.6)), np.arange(80) * step_s

    calm = np.delete(np.diff(x), found)

    assert (steps_of(t, x) / step_s - 1).round().tolist() == found
    assert noise_model(t, x).jitter == pytest.approx(math.sqrt(np.mean((calm - np.median(calm)) ** 2) / 2))


def test_channel_without_a_stated_resolution_has_none_to_hide_in():
    """Nine of ten readings repeat: whatever moves is noise, in the model and in the steps."""
    t, x = np.arange(60.0), 0.1 * (np.arange(60) % 10 == 5)

    noise = LogNoise({"battery_v": (t, x)}, {})

    assert noise_model(t, x) == noise_model(t, x, 0.0)
    assert noise_model(t, x).jitter > 0.0
    assert steps_of(t, x).tolist() == steps_of(t, x, 0.0).tolist()
    assert noise["battery_v"] == noise_model(t, x, 0.0, steps_of(t, x, 0.0))


def test_steps_of_one_channel_are_left_out_of_all():
    """The current steps by 5 A at 40 s; the voltage's jump by 0.3 V then is no noise of the voltage."""
    t = np.arange(80.0)
    amps, volts = np.concatenate((WAVE, WAVE + 5)), np.concatenate((WAVE, WAVE + 0.3))

    noise = LogNoise({"battery_a": (t, amps), "battery_v": (t, volts), "feed_v": (t[:5], volts[:5])}, {})

    assert noise["battery_v"].jitter == noise_model(t, volts, steps_s=[40.0]).jitter
    assert noise["battery_v"] is noise["battery_v"]
    assert list(noise) == ["battery_a", "battery_v", "feed_v"]
    assert len(noise) == 3
    with pytest.raises(KeyError, match="feed_v"):
        noise["feed_v"]
