"""Pulses too fast to be followed, and circuits that draw with the key off: each limit from both sides."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.flutter import (
    Flutter,
    _passes,
    _swing,
    calm_swing,
    find_flutter,
    samples_a_pulse,
    smoothed,
)
from benchlog.analysis.fuse_walk import Pull, _level, draw_of, missing_wakeups, started_up_s
from benchlog.core.spread import SIGMA_PER_MAD
from benchlog.core.uncertainty import combine, rectangular, t_inflation

NAN = math.nan


def fluttering(amps: float = 4.0, period: int = 4, calm_a: float = 0.0, rows: int = 400) -> np.ndarray:
    """Rows of 10 ms, pulsed from 1 to 3 s, beside a swing of its own throughout."""
    at = np.arange(rows)
    inside = (at >= 100) & (at < 300)
    return np.where(inside & (at % period < period / 2), amps, 0.0) + np.where(at % 2, calm_a, 0.0)


def found(x, sample_s: float = 0.01, calm_a: float = math.inf) -> list[Flutter]:
    """Of single samples."""
    return find_flutter(points(0.01, {"battery_a": x}), "battery_a", sample_s, calm_a)


def test_flutter_reaches_a_window_beyond_what_shows_it():
    """Windows of 0.8 s: the second to the fourth swing, so from the first to the last."""
    assert found(fluttering()) == [Flutter(0.0, pytest.approx(3.99), pytest.approx(4.0))]
    longer = found(fluttering(rows=1200))
    assert [(each.from_s, each.to_s) for each in longer] == [(0.0, pytest.approx(3.99))]


@pytest.mark.parametrize(
    ("amps", "period", "sample_s", "flutters"),
    [
        *((0.26, 4, 0.01, True), (0.24, 4, 0.01, False)),
        *((4.0, 16, 0.01, True), (4.0, 20, 0.01, False)),
        *((4.0, 40, 0.1, True), (4.0, 60, 0.1, False)),
    ],
)
def test_flutter_swings_by_a_quarter_ampere_faster_than_is_followed(amps, period: int, sample_s: float, flutters: bool):
    """0.2 s a pulse, or five and a half samples."""
    assert bool(found(fluttering(amps, period, rows=1200), sample_s)) is flutters


@pytest.mark.parametrize(("calm_a", "flutters"), [(0.26, True), (0.29, False)])
def test_flutter_swings_four_times_as_far_as_the_calmest(calm_a: float, flutters: bool):
    """1.1 A beside what is there all the time."""
    assert bool(found(fluttering(1.1 - calm_a, calm_a=calm_a, rows=1200))) is flutters


def test_flutter_throughout_needs_to_know_the_noise():
    """From elsewhere."""
    x = np.tile([0.0, 0.0, 4.0, 4.0], 100)

    assert found(x) == []
    assert [each.swing_a for each in found(x, calm_a=0.1)] == [4.0]
    assert found(x[:19], calm_a=0.1) == []


def test_one_window_is_no_flutter():
    """0.3 s of it."""
    x = fluttering()
    x[130:] = 0.0

    assert found(x) == []


def test_calm_is_how_far_twenty_points_swing():
    """Between 8 % of the lowest and 92 % of the highest samples."""
    x = np.arange(26.0)
    table = points(0.01, {"battery_a": x})

    assert calm_swing(table, "battery_a") == pytest.approx(21.0)
    assert calm_swing(points(0.01, {"battery_a": x[:20]}), "battery_a") < math.inf
    assert calm_swing(points(0.01, {"battery_a": x[:19]}), "battery_a") == math.inf


def passes(low: list[float], mean: list[float], high: list[float]) -> float:
    """Of one row, with two points of 0 and 10 that set its range."""
    ends = [0.0] * 4, [10.0] * 4
    row = [np.array([*ends[0], *x, *ends[1]])[None] for x in (low, mean, high)]
    return float(_passes(*row)[0])


@pytest.mark.parametrize(
    ("low", "mean", "high", "count"),
    [
        ([0, 10, 0, 10], [0, 10, 0, 10], [0, 10, 0, 10], 3),
        ([0, 0, 0, 0], [6, 6, 6, 6], [10, 10, 10, 10], 4),
        ([2.4] * 4, [4, 6, 4, 6], [7.6] * 4, 4),
        ([2.6] * 4, [4, 6, 4, 6], [7.6] * 4, 3),
        ([2.4] * 4, [4, 6, 4, 6], [7.4] * 4, 3),
        ([0, 0, 10, 0], [0, 6, 10, 0], [0, 10, 10, 0], 3),
        ([0, 0, 10, 0], [0, 4, 10, 0], [0, 10, 10, 0], 3),
    ],
)
def test_passes_are_points_with_both_and_changes_between_others(low, mean, high, count: int):
    """Beyond a quarter of the swing on either side of its middle."""
    assert passes(low, mean, high) == count


def test_swing_is_of_each_row():
    """Of a table."""
    assert _swing(np.zeros((2, 30)), np.vstack([np.full(30, 2.0), np.full(30, 3.0)])).tolist() == [2.0, 3.0]


@pytest.mark.parametrize(
    ("period", "rows", "samples"),
    [
        (8.0, 256, 8.0),
        (9.0, 256, math.inf),
        (8.06, 256, math.inf),
        (8.1, 256, math.inf),
        (2.0, 256, 2.0),
    ],
)
def test_samples_keep_step_with_pulses_of_up_to_eight(period: float, rows: int, samples: float):
    """Unless their places move by two pulses over the stretch; a slow pulse has as many as it has."""
    x = np.where(np.sin(2 * np.pi * (np.arange(rows) / period) + 0.1) > 0, 4.0, 0.0)

    assert samples_a_pulse(x) == pytest.approx(samples, rel=0.05)


def test_few_samples_may_be_any_pulse_and_a_steady_current_has_none():
    """31 are too few, 32 are enough."""
    assert samples_a_pulse(np.tile([0.0, 4.0], 16)[:31]) == 2.0
    assert samples_a_pulse(np.full(32, 4.0)) == math.inf
    assert samples_a_pulse(np.append(np.full(31, 4.0), NAN)) == 2.0
    assert Flutter(0, 1, 4, 5.9).doubtful
    assert not Flutter(0, 1, 4, 6.0).doubtful
    assert not Flutter(0, 1, 4).doubtful


@pytest.mark.parametrize(("step_s", "wide"), [(0.01, 50), (0.05, 24)])
def test_flutter_is_averaged_over_half_a_second(step_s: float, wide: int):
    """By a raised cosine of 24 points at least: a reading of 1 among zeros shows it; missing ones stay so."""
    x = np.zeros(200)
    x[100] = 1.0
    table = points(step_s, {"battery_a": x, "battery_v": np.where(np.arange(200) == 150, NAN, 12.0)})

    even = smoothed(table, [Flutter(20 * step_s, 180 * step_s, 4.0)])

    weights = np.hanning(wide + 2)[1:-1]
    assert even.mean["battery_a"].max() == pytest.approx(weights.max() / weights.sum())
    assert np.count_nonzero(even.mean["battery_a"]) == wide
    assert np.isnan(even.mean["battery_v"]).nonzero()[0].tolist() == [150]
    assert np.nanmax(np.abs(even.mean["battery_v"] - 12.0)) < 1e-9
    assert smoothed(table, []) is table


def test_what_is_outside_a_flutter_stays():
    """And a window longer than the stretch averages all of it."""
    x = np.tile([0.0, 4.0], 20)

    part = smoothed(points(0.01, {"battery_a": x}), [Flutter(0.1, 0.2, 4.0)]).mean["battery_a"]

    assert part[:10].tolist() == x[:10].tolist()
    assert part[21:].tolist() == x[21:].tolist()
    assert part[10:21] == pytest.approx(2.0, abs=0.2)


@pytest.mark.parametrize(
    ("begins", "seen_s", "out_s", "came", "missing"),
    [
        ([0, 100, 200, 300], 400, 151, 0, True),
        ([0, 100, 200, 300], 400, 149, 0, False),
        ([0, 100, 200, 300], 400, 999, 1, False),
        ([0, 100, 200, 300], 0, 999, 0, False),
        ([0], 400, 9999, 0, False),
        ([0, 100, 200, 319], 400, 151, 0, True),
        ([0, 100, 200, 321], 400, 299, 0, False),
        ([0, 100, 200, 321], 400, 301, 0, True),
        ([0, 100, 200, 400], 400, 151, 0, True),
        ([0, 100, 200, 300, 330], 500, 151, 0, False),
        ([0, 100], 400, 599, 0, False),
        ([0, 100], 400, 601, 0, True),
        ([5, 5], 400, 599, 0, False),
    ],
)
def test_wakeups_are_missing_after_one_and_a_half_intervals_or_three_of_them(
    begins, seen_s, out_s, came, missing: bool
):
    """Regular to a fifth, from three on; others, by how often they came, three."""
    assert missing_wakeups([(b, b + 1.0) for b in begins], seen_s, out_s, came) is missing


def level(x, from_s: float = 0.0, to_s: float = 99.0, over=None):
    """Of points a second apart."""
    table = points(1.0, {"battery_a": x}, over=None if over is None else {"battery_a": over})
    return _level(table, "battery_a", from_s, to_s)


def test_level_is_the_mean_of_the_middle_half():
    """A wake-up does not count, nor what is missing or over range; four points are needed."""
    got = level([1.0, 2, 3, 9, 2, 3, 1, 2])

    assert got.value == pytest.approx((2 + 2 + 2 + 3) / 4)
    assert got.middle_s == 3.5
    assert level([1.0, 2, NAN, 3, 4]).value == 2.5
    assert level([1.0, 2, 3, 4], over=[0, 0, 0, 1]) is None
    assert level([1.0, 2, 3]) is None


def test_level_is_in_doubt_by_how_its_parts_lie_apart():
    """Four points in two parts of 1 and 3: their range over the root of two; of four parts the robust spread."""
    two, four = level([1.0, 1, 3, 3]), level([1.0, 1, 2, 2, 4, 4, 9, 9])

    assert two.u == pytest.approx(t_inflation(2 / math.sqrt(2), 1))
    assert four.u == pytest.approx(t_inflation(SIGMA_PER_MAD * 1.5 / math.sqrt(4), 3))
    assert two.rise_per_s == pytest.approx(2 / 1.5)
    assert level([1.0] * 40).u == 0.0


PULL = Pull(1, 100.0, 160.0)


def drawn(out_a=0.003, again_a: float | None = 0.005, before=0.005, pull=PULL, before_from_s: float = 0.0):
    """A fuse out from 100 to 160 s of a log in points of a second; its hand is 2 s off at either end."""
    t = np.arange(300.0)
    x = np.where((t >= 102) & (t <= 158), out_a, np.where(t < 130, before, 0.0 if again_a is None else again_a))
    x[(t > 98) & (t < 102) | (t > 158) & (t < 162)] = 9.0
    after = None if again_a is None else (170.0, 290.0)
    return draw_of(points(1.0, {"battery_a": x}), "battery_a", pull, before_from_s, after)


def test_draw_is_what_a_fuse_takes_off():
    """5 mA before and after, 3 mA without it: 2 mA; with 7 mA after, 5.9 mA were to be seen in the middle."""
    assert drawn().amps == pytest.approx(0.002)
    assert drawn().type_a_u == pytest.approx(0.0, abs=1e-12)

    share = (130 - 69) / (200 - 69)
    drift = drawn(again_a=0.007)
    assert drift.amps == pytest.approx(0.005 + share * 0.002 - 0.003)
    assert drift.type_a_u == pytest.approx(rectangular(0.001))


def test_draw_without_an_after_is_in_doubt_by_the_trend_before():
    """A slope of 10 µA a second over the minute before, until the middle of the pull."""
    before = 0.005 + 1e-5 * np.arange(300.0)

    found = drawn(again_a=None, before=before)

    level_before = 0.005 + 1e-5 * 69
    own = t_inflation(SIGMA_PER_MAD * 2 * 1e-5 * 59 / 8 / math.sqrt(8), 7)
    assert found.amps == pytest.approx(level_before - 0.003)
    assert found.type_a_u == pytest.approx(combine(own, rectangular(1e-5 * 61)), rel=0.05)


def test_draw_needs_both_levels():
    """A fuse that did not come back, one before which nothing may be used, and one out for next to no time."""
    assert drawn(pull=Pull(1, 100.0, None)) is None
    assert drawn(before_from_s=97.0) is None
    assert drawn(before_from_s=90.0) is not None
    assert drawn(pull=Pull(1, 100.0, 103.0)) is None
    assert PULL.ends_s(500.0) == 160.0
    assert Pull(1, 100.0, None).ends_s(500.0) == 500.0


def started(x, in_s: float = 10.0, until_s: float = 500.0) -> float:
    """In points of a second."""
    return started_up_s(points(1.0, {"battery_a": x}), "battery_a", in_s, until_s)


def parts(*levels: tuple[int, float]) -> np.ndarray:
    """So many points of each."""
    return np.concatenate([np.full(rows, value) for rows, value in levels])


@pytest.mark.parametrize(
    ("x", "until_s", "started_s"),
    [
        (parts((30, 1.0), (100, 0.01)), 129.0, 30.0),
        (parts((11, 1.0), (100, 0.01)), 110.0, 12.0),
        (parts((30, 1.0), (3, 0.01), (10, 1.0), (100, 0.01)), 142.0, 30.0),
        (parts((30, 1.0), (2, 0.01), (10, 1.0), (100, 0.01)), 141.0, 42.0),
        (parts((30, 1.0), (10, 0.0115), (100, 0.01)), 139.0, 40.0),
        (parts((30, 1.0), (10, 0.0105), (100, 0.01)), 139.0, 30.0),
        (parts((400, 1.0), (600, 0.01)), 999.0, 310.0),
        (parts((12, 1.0), (1, 0.01)), 12.0, 12.0),
        (parts((14, 1.0)), 13.0, 12.0),
    ],
)
def test_device_has_started_up_once_its_current_stays(x, until_s: float, started_s: float):
    """For 2 s within a tenth of its later level, 2 s after the fuse at the earliest and 300 s at the latest."""
    assert started(x, until_s=until_s) == started_s
