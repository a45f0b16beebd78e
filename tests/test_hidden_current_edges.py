"""What may have ended unseen after the settling: on points 1 s apart without noise."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.noise import NoiseModel
from benchlog.analysis.settling import Settled, hidden_a
from benchlog.core.uncertainty import Z_PROVEN

ROLE = "battery_a"


def levels(*levels: tuple[int, float]) -> np.ndarray:
    """So many points of each."""
    return np.concatenate([np.full(rows, level) for rows, level in levels])


STEADY = NoiseModel(0.006, 0.006, 1.0, (1.0, 1000.0), (0.001, 0.001))


ZERO = Settled(0.0, 40.0, 1.0, 0.0, ())


@pytest.mark.parametrize(
    ("x", "later_s", "resolution", "hidden"),
    [
        (levels((10, 0.005), (30, 0.0)), 10.0, 0.0, 0.005),
        (levels((18, 0.005), (22, 0.0)), 10.0, 0.0, 0.005),
        (levels((25, 0.005), (15, 0.0)), 10.0, 0.0, 0.005),
        (levels((10, 0.0), (30, 0.005)), 10.0, 0.0, 0.0),
        (levels((3, 0.005), (37, 0.0)), 2.5, 0.0, 0.005),
        (levels((3, 0.005), (37, 0.0)), 1.5, 0.0, math.inf),
        (levels((37, 0.005), (3, 0.0)), 36.5, 0.0, 0.005),
        (levels((37, 0.005), (3, 0.0)), 37.5, 0.0, math.inf),
        (levels((3, 0.005), (3, 0.0)), 2.5, 0.0, 0.005),
        (levels((3, 0.005), (2, 0.0)), 2.5, 0.0, math.inf),
    ],
)
def test_hidden_current_is_the_greatest_fall_of_the_mean_and_its_doubt(
    x, later_s: float, resolution: float, hidden: float
):
    """At the time, and a quarter and half of the rest after it; three points on either side at least."""
    got = hidden_a(points(1.0, {ROLE: x}), ROLE, ZERO, later_s, STEADY, resolution)

    assert got == pytest.approx(hidden + Z_PROVEN * 0.001 * math.sqrt(2))


@pytest.mark.parametrize(("resolution", "rounding"), [(0.011, 0.0), (0.013, math.sqrt(2) * 0.0065 / math.sqrt(3))])
def test_rounding_hides_what_noise_does_not_carry(resolution: float, rounding: float):
    """Noise of 6 mA crosses half a code of 5.5 mA, and not one of 6.5 mA."""
    got = hidden_a(points(1.0, {ROLE: np.zeros(40)}), ROLE, ZERO, 10.0, STEADY, resolution)

    assert got == pytest.approx(Z_PROVEN * math.hypot(0.001 * math.sqrt(2), rounding))


def test_wakeups_and_what_was_before_hide_nothing():
    """1 A until 4 s and for 3 s later: before the settling, and in a wake-up."""
    x = levels((5, 1.0), (2, 0.0), (3, 1.0), (30, 0.0))
    found = Settled(5.0, 40.0, 1.0, 0.0, ((7.0, 9.0),))

    got = hidden_a(points(1.0, {ROLE: x}), ROLE, found, 12.0, STEADY, 0.0)

    assert got == pytest.approx(Z_PROVEN * 0.001 * math.sqrt(2))
