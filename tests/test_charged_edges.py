"""A run that no crank began: charge at a charger's voltage, from both sides of each threshold."""

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.running import find_charged, into_battery


def parts(*levels: tuple[int, float]) -> np.ndarray:
    """So many points of each."""
    return np.concatenate([np.full(rows, level) for rows, level in levels])


def full(value: float) -> np.ndarray:
    """A minute of it."""
    return np.full(121, value)


@pytest.mark.parametrize(
    ("volts", "amps", "span"),
    [
        (((121, 13.3),), ((121, -1.0),), (0.0, 60.0)),
        (((121, 13.1),), ((121, -1.0),), None),
        (((121, 13.3),), ((121, -0.2),), None),
        (((121, 13.3),), ((20, 1.0), (40, -1.0), (61, 1.0)), (10.0, 29.5)),
        (((121, 13.3),), ((20, 1.0), (11, -1.0), (90, 1.0)), (10.0, 15.0)),
        (((121, 13.3),), ((20, 1.0), (10, -1.0), (91, 1.0)), None),
        (((121, 13.3),), ((20, -1.0), (20, 1.0), (81, -1.0)), (0.0, 60.0)),
    ],
)
def test_run_without_a_crank_shows_by_charge_at_a_chargers_voltage(volts: tuple, amps: tuple, span):
    """0.3 A into a battery at 13.2 V for 5 s, from the first such stretch to the last."""
    table = points(0.5, {"battery_v": parts(*volts), "battery_a": parts(*amps)})

    got = find_charged(table, 0.0, 60.0, 0.01)

    assert ((got.from_s, got.to_s, got.how) if got else None) == ((*span, "share") if span else None)


@pytest.mark.parametrize(
    ("from_s", "calm", "dark"),
    [
        (0.0, 20, ((0.0, 10.0),)),
        (4.5, 20, ((4.5, 10.0),)),
        (5.5, 40, ()),
        (0.0, 11, ((0.0, 5.5),)),
        (0.0, 10, ()),
        (0.0, 0, ()),
    ],
)
def test_engine_of_a_log_that_begins_with_the_key_on_may_have_idled_before_it_charged(from_s, calm, dark):
    """For more than 5 s, and with less than 5 s of log before the key-on, which may be a crank's."""
    table = points(0.5, {"battery_v": full(13.5), "battery_a": parts((calm, 1.0), (121 - calm, -1.0))})

    assert find_charged(table, from_s, 60.0, 0.01).dark == dark


def test_run_without_a_crank_needs_both_channels():
    """And two points."""
    table = points(0.5, {"battery_v": full(14.0), "battery_a": full(-5.0)})

    assert find_charged(points(0.5, {"battery_a": full(-5.0)}), 0.0, 60.0, 0.01) is None
    assert find_charged(points(0.5, {"battery_v": full(14.0)}), 0.0, 60.0, 0.01) is None
    assert find_charged(table, 0.0, 0.4, 0.01) is None
    assert into_battery(table, 0.01).all()
