"""Duty: the level of a line while it is up, and the part of the time that it is, on hand-written points."""

import numpy as np
import pytest

from benchlog.analysis.pulses import duty

SUPPLY = np.full(100, 12.5)


def points(mean: np.ndarray, low: np.ndarray | None = None, high: np.ndarray | None = None):
    """Level and part of a line with these points, V."""
    return duty(mean, mean if low is None else low, mean if high is None else high, SUPPLY[: len(mean)])


def test_steady_line_is_up_all_the_time():
    """A line at 12.1 of 12.5 V stands at 97 % for the whole stretch."""
    got = points(np.full(100, 12.1))

    assert (got.level, got.part) == pytest.approx((0.968, 1.0))
    assert got.falls == 0


def test_pulses_faster_than_the_points_show_in_each_of_them():
    """Points that hold both states give the level by their highest samples and the part by their means."""
    got = points(np.full(100, 0.4 * 12.2), np.zeros(100), np.full(100, 12.2))

    assert (got.level, got.part) == pytest.approx((0.976, 0.4))


def test_pulses_slower_than_the_points_show_as_points_of_either_state():
    """Up for 6 of 10 points each time."""
    got = points(np.tile(np.r_[np.full(6, 12.2), np.zeros(4)], 10))

    assert (got.level, got.part) == pytest.approx((0.976, 0.6))
    assert got.falls == 10


def test_weak_line_is_low_and_up_all_the_time():
    """A coil's line at 7 V is not pulsed, whether the supply stands at 12 V or is charged in half of the points."""
    supply = np.r_[np.full(50, 12.0), np.full(50, 14.4)]
    volts = np.r_[np.full(50, 7.0), np.full(50, 9.4)]

    got = duty(volts, volts, volts, supply)

    assert got.part == 1.0
    assert got.level == pytest.approx(0.62, abs=0.04)


def test_lamp_test_pulses_leave_a_dead_line_dead():
    """A pulse of 2 ms every half second is hardly any time, and the level stays that of the dead line."""
    mean, high = np.zeros(100), np.zeros(100)
    mean[::5], high[::5] = 0.02 * 12.0, 12.0

    got = points(mean, np.zeros(100), high)

    assert got.level == pytest.approx(0.0)
    assert got.part < 0.01


def test_one_dip_of_a_joint_hardly_counts():
    """40 ms of ten seconds."""
    mean, low = np.full(100, 12.2), np.full(100, 12.2)
    mean[50], low[50] = 0.6 * 12.2, 0.0

    got = points(mean, low)

    assert got.part == pytest.approx(0.996)
    assert got.level == pytest.approx(0.976)


def test_missing_points_do_not_count():
    """Two valid points are needed; the rest may be missing."""
    mean = np.full(100, np.nan)
    mean[3] = 12.2
    assert points(mean) is None

    mean[7] = 12.2
    assert points(mean).part == 1.0
