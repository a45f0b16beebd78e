"""Pulses too fast to be followed: which windows, rows and samples tell of them, each limit from both sides."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.flutter import (
    Flutter,
    _passes,
    _swing,
    _swings,
    find_flutter,
    samples_a_pulse,
    smoothed,
)
from benchlog.core.trace import Array

NAN = math.nan


def found(x: Array, step_s: float, sample_s: float, calm_a: float = 0.01) -> list[Flutter]:
    """Of rows so far apart."""
    return find_flutter(points(step_s, {"battery_a": x}), "battery_a", sample_s, calm_a)


@pytest.mark.parametrize(("rows", "flutters"), [(20, True), (19, False)])
def test_twenty_rows_may_flutter(rows: int, flutters: bool):
    """Two windows of ten; nineteen rows are too few."""
    assert bool(found(np.resize([0.0, 4.0], rows), 0.08, 0.08)) is flutters


def test_window_is_ten_rows_where_rows_are_slow():
    """0.1 s apart: from 3 to 6 s, and one window of a second to either side."""
    x = np.where((np.arange(100) >= 30) & (np.arange(100) < 60), np.resize([0.0, 4.0], 100), 0.0)

    (flutter,) = found(x, 0.1, 0.1)

    assert (flutter.from_s, flutter.to_s) == pytest.approx((2.0, 6.9))
    assert flutter.swing_a == pytest.approx(4.0)


@pytest.mark.parametrize(("rows", "flutters"), [(42, True), (38, False)])
def test_last_window_counts_from_half_of_it_on(rows: int, flutters: bool):
    """One whole window before it flutters too."""
    at = np.arange(160 + rows)

    assert bool(found(np.where((at >= 80) & (at % 4 < 2), 4.0, 0.0), 0.01, 0.01)) is flutters


def test_stretch_of_one_window_does_not_flutter():
    """However it swings; nor does one shorter than a half."""
    x = np.resize([0.0, 0.0, 4.0, 4.0], 120)

    assert found(x, 0.01, 0.01) == []
    assert found(x[:30], 0.01, 0.01) == []
    assert len(found(np.resize(x, 121), 0.01, 0.01)) == 1


def test_calm_is_a_twentieth_of_the_windows():
    """Two of 21 at 0.5 A: four times that is less than 4 A."""
    at = np.arange(21 * 80)
    x = np.where(at < 160, np.resize([0.0, 0.5], len(at)), np.where(at % 4 < 2, 4.0, 0.0))

    (flutter,) = found(x, 0.01, 0.01, math.inf)

    assert flutter.from_s == pytest.approx(0.8)


@pytest.mark.parametrize("rows", [160, 190, 240, 251])
def test_windows_swing_and_pass_as_each_of_them_by_itself(rows: int):
    """Of 80 rows, the last one shorter; missing rows are left out, and fewer than six say nothing."""
    rng = np.random.default_rng(rows)
    mean = rng.normal(0, 1, rows)
    mean[80:155] = mean[170:175] = NAN
    if rows == 240:
        mean[155] = NAN  # six are left, then five
        mean[80:154] = NAN
    low, high = mean - rng.uniform(0, 2, rows), mean + rng.uniform(0, 2, rows)
    edges = np.arange(0, rows, 80)

    swing, passes = _swings(low, mean, high, edges, 80)

    for number, at in enumerate(edges):
        part = slice(at, at + 80)
        good = np.isfinite(mean[part])
        row = [x[part][good][None] for x in (low, mean, high)]
        few = good.sum() < 6
        assert swing[number] == (0.0 if few else _swing(row[0], row[2])[0])
        assert passes[number] == (0.0 if few else _passes(*row)[0])


@pytest.mark.parametrize(("known", "tells"), [(6, True), (5, False)])
def test_window_of_six_rows_tells(known: int, tells: bool):
    """Five do not."""
    x = np.resize([0.0, 4.0], 160)
    x[80 + known :] = NAN

    swing, passes = _swings(x, x, x, np.array([0, 80]), 80)

    assert bool(swing[1] > 0.0) is tells
    assert bool(passes[1] > 0.0) is tells


def test_range_of_the_passes_leaves_out_a_twelfth_at_either_end():
    """Of 26 rows one far out at the top and three at the bottom's level: its middle is 5, and 5.5 lies above it."""
    x = np.resize([5.5, 10.0], 26)
    x[[3, 9, 15]] = 0.0
    far = x.copy()
    far[20] = 100.0

    assert _passes(x[None], x[None], x[None])[0] == 6.0
    assert _passes(far[None], far[None], far[None])[0] == 6.0


def test_rows_with_both_states_are_passes_wherever_the_current_lies():
    """Ten rows that hold 100 and 104 A."""
    low, high = np.full((1, 10), 100.0), np.full((1, 10), 104.0)

    assert _passes(low, (low + high) / 2, high)[0] == 10.0


def test_pulse_of_more_than_half_the_stretch_has_its_samples():
    """One and a half pulses of 170 samples."""
    x = np.where(np.sin(2 * np.pi * np.arange(256) / 170 + 0.1) > 0, 4.0, 0.0)

    assert 140 < samples_a_pulse(x) < 230


def test_few_samples_far_off_do_not_move_the_middle_of_a_pulse():
    """Of 51 two at the top count nowhere; three at the bottom do, and hide the pulses."""
    pulses = np.resize([0.0, 4.0, 4.0], 51)
    high, low = pulses.copy(), pulses.copy()
    high[[10, 27]] = 900.0
    low[[9, 12, 15]] = -5.0

    assert samples_a_pulse(pulses) == pytest.approx(3.0, rel=0.05)
    assert samples_a_pulse(high) == pytest.approx(3.0, rel=0.05)
    assert samples_a_pulse(low) > 5.0


def test_state_of_a_sample_turns_half_way():
    """Between 0 and 4 A what reads 1.7 A is low."""
    pulses = np.resize([1.7, 4.0, 4.0], 51)
    pulses[[10, 20, 34]] = 0.0

    assert samples_a_pulse(pulses) == pytest.approx(3.0, rel=0.05)


@pytest.mark.parametrize(("rows", "wide"), [(10, 50), (11, 51), (60, 50), (60, 51)])
def test_average_is_weighed_around_each_row(rows: int, wide: int):
    """By a raised cosine in its middle, also where that is longer than the stretch; what is missing weighs nothing."""
    x = np.random.default_rng(rows).normal(0, 1, rows)
    x[4] = NAN
    weights = np.hanning(wide + 2)[1:-1]

    got = smoothed(points(0.01, {"battery_a": x}), [Flutter(0.0, 1.0, 4.0)], wide * 0.01).mean["battery_a"]

    for at in range(rows):
        pairs = [(n, (wide - 1) // 2 + at - n) for n in range(rows)]
        kept = [(x[n], weights[k]) for n, k in pairs if n != 4 and 0 <= k < wide]
        expected = sum(a * b for a, b in kept) / sum(b for _, b in kept)
        assert got[at] == pytest.approx(NAN if at == 4 else expected, nan_ok=True)
