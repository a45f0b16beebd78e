"""Duty of a line: each limit from both sides, as shares of a supply of 10 V."""

import math

import numpy as np
import pytest

from benchlog.analysis.pulses import Duty, duty

NAN = math.nan


def of(mean, low=None, high=None, supply=10.0) -> Duty | None:
    """Of points given as shares of the supply."""
    x = 10.0 * np.array(mean, dtype=float)
    lows, highs = (x if y is None else 10.0 * np.array(np.broadcast_to(y, len(x)), dtype=float) for y in (low, high))
    return duty(x, lows, highs, np.array(np.broadcast_to(supply, len(x)), dtype=float))


def about(level: float, part: float, falls: int) -> Duty:
    """The same to within the last bits."""
    return Duty(pytest.approx(level), pytest.approx(part), falls)


@pytest.mark.parametrize(("low", "found"), [(0.31, about(0.6, 1.0, 0)), (0.29, about(0.8, 0.75, 4))])
def test_point_holds_both_states_where_it_spans_half_of_the_supply(low: float, found: Duty):
    """From 0.29 to 0.8 and not from 0.31: then its highest sample is the level, and its mean the part."""
    assert of([0.6] * 4, low, 0.8) == found


@pytest.mark.parametrize(("share", "found"), [(0.21, about(0.21, 1.0, 0)), (0.19, about(0.19, 0.0, 0))])
def test_line_is_up_above_a_fifth_of_the_supply(share: float, found: Duty):
    """However badly."""
    assert of([share] * 4) == found


@pytest.mark.parametrize(("rows", "level"), [(7, 1.0), (6, 1.0), (5, 0.1)])
def test_line_that_is_up_for_less_than_six_per_cent_has_its_usual_level(rows: int, level: float):
    """Of a hundred points."""
    assert of([1.0] * rows + [0.1] * (100 - rows)) == about(level, rows / 100, 1)


@pytest.mark.parametrize(("share", "part"), [(0.49, 0.6), (0.51, 1.0)])
def test_point_counts_as_up_above_half_of_the_level(share: float, part: float):
    """Four of ten."""
    found = of([1.0] * 6 + [share] * 4)

    assert found is not None
    assert found.part == pytest.approx(part)
    assert found.falls == (1 if part < 1 else 0)


def test_level_is_no_higher_than_a_fifth_above_the_supply():
    """Spikes to twice of it in every point."""
    assert of([0.6] * 4, 0.0, 2.0) == about(1.2, 0.5, 4)
    assert of([0.6] * 4, 0.0, 1.1) == about(1.1, 0.6 / 1.1, 4)


def test_point_is_up_for_between_none_and_all_of_it():
    """One whose mean is below nothing, and one whose mean is above the level of the others."""
    found = of([-0.1, 0.4, 0.4, 1.0], [-0.4, 0.0, 0.0, 0.2], [0.8, 0.8, 0.8, 1.2])

    assert found == about(0.8, (0.0 + 0.5 + 0.5 + 1.0) / 4, 4)


@pytest.mark.parametrize(
    ("text", "falls"), [("udu", 1), ("umd", 1), ("mu", 1), ("udmdu", 2), ("uudduud", 2), ("du", 0), ("mm", 2)]
)
def test_line_falls_between_points_or_within_one(text: str, falls: int):
    """u: up, d: down, m: both states."""
    mean = [{"u": 1.0, "d": 0.0, "m": 0.6}[c] for c in text]
    low = [{"u": 1.0, "d": 0.0, "m": 0.0}[c] for c in text]
    high = [{"u": 1.0, "d": 0.0, "m": 1.0}[c] for c in text]

    found = of(mean, low, high)

    assert found is not None
    assert found.falls == falls


@pytest.mark.parametrize(
    ("supply", "known"), [([10, 10], True), ([10, NAN], False), ([10, 0.9], False), ([10, 1.1], True)]
)
def test_point_counts_beside_a_supply_of_more_than_a_volt(supply: list[float], known: bool):
    """Two are needed."""
    assert (of([0.05, 0.05], supply=supply) is not None) is known
