"""The key by the battery alone: its current, and its voltage, from both sides of each threshold."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.key_state import _disturbed, _drawing, _held_by_voltage

NAN = math.nan


def parts(*levels: tuple[int, float]) -> np.ndarray:
    """So many points of each."""
    return np.concatenate([np.full(rows, level) for rows, level in levels])


@pytest.mark.parametrize(
    ("amps", "up"),
    [
        (((10, 0.1), (10, 0.65), (10, 0.1)), (10, 20)),
        (((10, 0.1), (10, 0.55), (10, 0.1)), None),
        (((10, 0.1), (10, -0.65), (10, 0.1)), (10, 20)),
        (((30, 0.7),), (0, 30)),
        (((30, 0.45),), None),
        (((10, 0.45), (20, 0.96)), (10, 30)),
        (((10, 0.0), (10, 4.0), (5, 0.31), (5, 0.0)), (10, 25)),
        (((10, 0.0), (10, 4.0), (5, 0.29), (5, 0.0)), (10, 20)),
        (((10, 0.0), (1, 4.0), (19, 0.0)), (10, 11)),
        (((10, 0.0), (10, 4.0), (5, NAN), (5, 0.0)), (10, 25)),
        (((5, NAN), (5, 0.0), (10, 4.0)), (10, 20)),
        (((30, NAN),), None),
    ],
)
def test_key_is_on_while_the_battery_gives_half_an_ampere_more(amps: tuple, up: tuple[int, int] | None):
    """Than its least, in either direction; off again below 0.3 A more; what was not read stays as it was."""
    x = parts(*amps)
    expected = np.zeros(len(x), dtype=bool)
    if up:
        expected[slice(*up)] = True

    assert _drawing(points(1.0, {"battery_a": x})).tolist() == expected.tolist()


def test_draw_lasts_a_second_and_may_exceed_the_range():
    """0.9 s are no key-on, 1.1 s are; what is over range is drawn, where nothing else is known too."""
    x = np.zeros(100)
    brief, longer = (np.where((np.arange(100) >= 50) & (np.arange(100) < 50 + rows), 4.0, 0.0) for rows in (9, 11))
    over = np.where((np.arange(100) >= 50) & (np.arange(100) < 70), 3, 0)

    assert not _drawing(points(0.1, {"battery_a": brief})).any()
    assert _drawing(points(0.1, {"battery_a": longer})).sum() == 11
    clipped = points(0.1, {"battery_a": np.where(over > 0, NAN, x)}, over={"battery_a": over})
    assert np.flatnonzero(_drawing(clipped)).tolist() == list(range(50, 70))


@pytest.mark.parametrize(
    ("volts", "until"),
    [
        (((20, 14.0), (10, 12.8)), 20),
        (((20, 14.0), (10, 13.75)), 30),
        (((20, 14.0), (10, 13.65)), 20),
        (((20, 13.25), (10, 12.8)), 20),
        (((20, 13.15), (10, 12.8)), 10),
        (((10, 14.0), (10, 13.6), (10, 12.8)), 10),
        (((9, 14.0), (11, 13.6), (10, 12.8)), 10),
        (((8, 14.0), (12, 13.6), (10, 12.8)), 20),
        (((15, 14.0), (3, NAN), (12, 14.0)), 15),
        (((20, 14.0), (5, 13.6), (5, 14.0)), 20),
        (((9, 13.6), (1, 13.2), (20, 13.6)), 30),
    ],
)
def test_charged_battery_keeps_the_key_on_until_it_falls(volts: tuple, until: int):
    """Above 13.2 V and within 0.3 V of its highest since 2 s before the current died away at 10 s."""
    up = parts((10, 1), (20, 0)) > 0

    held = _held_by_voltage(up, points(1.0, {"battery_v": parts(*volts)}))

    assert held.tolist() == [True] * until + [False] * (30 - until)


def test_battery_charged_from_the_beginning_shows_no_key():
    """Nothing was drawn before; nor without a voltage."""
    off = np.zeros(10, dtype=bool)

    assert not _held_by_voltage(off, points(1.0, {"battery_v": np.full(10, 14.0)})).any()
    assert not _held_by_voltage(off, points(1.0, {"battery_a": np.zeros(10)})).any()


@pytest.mark.parametrize(
    ("volts", "swing_v", "found"),
    [
        (((10, 12.8), (10, 12.6), (10, 12.8)), 0.0, (10, 21)),
        (((10, 12.8), (10, 12.66), (10, 12.8)), 0.0, None),
        (((10, 12.8), (20, 12.6)), 0.0, (10, 11)),
        (((30, 12.8),), 0.16, (5, 6)),
        (((30, 12.8),), 0.14, None),
        (((5, NAN), (25, 12.8)), 0.0, None),
    ],
)
def test_voltage_alone_shows_the_key_from_its_first_move_to_its_last(volts: tuple, swing_v: float, found):
    """By more than 0.15 V from point to point, or within one."""
    x = parts(*volts)
    swing = np.where(np.arange(30) == 5, swing_v, 0.0)
    expected = np.zeros(30, dtype=bool)
    if found:
        expected[slice(*found)] = True

    assert _disturbed(points(1.0, {"battery_v": x}, high={"battery_v": x + swing})).tolist() == expected.tolist()
