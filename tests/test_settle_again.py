"""The search for the settling, repeated on means: small currents in noise, and where the repeated search ends."""

import numpy as np
import pytest

from benchlog.analysis.coarse import coarse
from benchlog.analysis.settling import settle
from benchlog.core.trace import Trace
from benchlog.log.overview import OverviewBuilder


def settled(amps: np.ndarray, step_s: float = 0.1):
    """Where a key-off span of these readings settled."""
    t = np.arange(len(amps)) * step_s
    builder = OverviewBuilder(["battery_a"])
    builder.add(Trace(t, {"battery_a": amps}, {}))
    return settle(coarse(builder.finish(), t[0], t[-1], step_s), "battery_a", 0.0)


def readings(extra_a: float, until_s: float, sigma_a: float = 0.002, lasts_s: float = 300.0, seed: int = 1):
    """A base of 0.5 mA, a current beside it until then, and white noise, ten a second."""
    t = np.arange(0.0, lasts_s, 0.1)
    rng = np.random.default_rng(seed)
    return 0.0005 + np.where(t < until_s, extra_a, 0.0) + rng.normal(0.0, sigma_a, len(t))


@pytest.mark.parametrize(("extra_a", "width_s"), [(0.008, 0.4), (0.0032, 1.6), (0.0017, 6.4)])
def test_current_below_the_noise_of_single_points_is_found_in_means(extra_a: float, width_s: float):
    """Noise of 2 mA hides 8 mA in single points (five times 2 mA), not in means of 4, 16 or 64 of them."""
    got = settled(readings(extra_a, 100.0))

    assert got.from_s == pytest.approx(100.0, abs=width_s + 0.05)
    assert got.width_s == pytest.approx(width_s, rel=0.01)
    assert got.latest_s >= 100.0


def test_current_below_the_noise_of_all_means_is_not_found():
    """0.6 mA lie within five times 2 mA over the root of 64."""
    assert settled(readings(0.0006, 100.0)).from_s == 0.0


def test_no_mean_is_taken_where_few_would_be_left():
    """A span of 9 s has 22 means of 4 points, fewer than twice 12: the search is not repeated."""
    assert settled(readings(0.008, 3.0, lasts_s=9.0)).from_s == 0.0
    assert settled(readings(0.008, 3.0, lasts_s=10.0)).from_s == pytest.approx(3.0, abs=0.45)
