"""The end of a channel's range, from arrays: saturated signals against honest ones that stand at their extreme."""

import numpy as np
import pytest

from benchlog.analysis.clipping import clipped_at
from benchlog.core.trace import Trace


def _trace(role, x, code, rows_s=0.01):
    x = np.round(np.asarray(x) / code) * code
    return Trace(np.arange(len(x)) * rows_s, {role: x}, {})


def _highest(trace, role):
    return clipped_at([trace], role, float(np.nanmax(trace.values[role])), "highest")


def _pulses(n, base, height, every=200, lasts=20):
    """``base`` with pulses on it, in rows."""
    return base + np.where(np.arange(n) % every < lasts, height, 0.0)


@pytest.mark.parametrize("lasts", [1, 3, 20])
def test_wake_ups_beyond_the_fine_range_are_clipped(lasts):
    """Wake-ups of 40 mA on a range that ends at 5 mA, one row long or twenty, on a base with noise."""
    rng = np.random.default_rng(1)
    true = _pulses(4000, 0.0008, 0.040, lasts=lasts) * (1 + rng.normal(0, 0.02, 4000)) + rng.normal(0, 3e-5, 4000)

    assert _highest(_trace("drain_a", np.minimum(true, 0.005), 1e-5), "drain_a")


def test_wake_ups_within_the_range_are_not():
    """The same wake-ups where the range holds them: the noise goes on at their top."""
    rng = np.random.default_rng(1)
    true = _pulses(4000, 0.0008, 0.004) + rng.normal(0, 3e-5, 4000)

    assert not _highest(_trace("drain_a", true, 1e-5), "drain_a")


def test_lowest_figure_is_looked_at_the_same_way():
    """A charging current beyond -10 A on a range of 10 A."""
    rng = np.random.default_rng(2)
    true = -_pulses(4000, 4.0, 9.0) + rng.normal(0, 0.05, 4000)
    clipped = _trace("battery_a", np.maximum(true, -10.0), 0.01)

    assert clipped_at([clipped], "battery_a", -10.0, "lowest")
    assert not clipped_at([clipped], "battery_a", float(clipped.values["battery_a"].max()), "highest")


def test_regulated_voltage_at_one_code_is_not_clipped():
    """14.40 V for a minute at 10 mV, reached in a creep from a noisy 12.6 V."""
    rng = np.random.default_rng(3)
    before = 12.6 + rng.normal(0, 0.03, 1000)
    rise = 14.4 - 1.8 * np.exp(-np.arange(1500) / 200)

    assert not _highest(_trace("battery_v", np.r_[before, rise, np.full(4500, 14.4)], 0.01), "battery_v")


def test_regulated_voltage_that_dithers_is_not_clipped():
    """Now and then one code lower: it is measured, not cut off."""
    rng = np.random.default_rng(3)
    level = np.where(rng.random(5000) < 0.2, 14.39, 14.40)

    assert not _highest(_trace("battery_v", np.r_[12.6 + rng.normal(0, 0.03, 1000), level], 0.01), "battery_v")


def test_voltage_that_ends_below_the_charging_voltage_is_clipped():
    """A divider that ends at 13.2 V: the noise of the readings below it vanishes."""
    rng = np.random.default_rng(4)
    true = np.r_[12.6 + rng.normal(0, 0.03, 1000), 14.3 + rng.normal(0, 0.03, 1000), 12.7 + rng.normal(0, 0.03, 500)]

    assert _highest(_trace("battery_v", np.minimum(true, 13.2), 0.005), "battery_v")


@pytest.mark.parametrize("noise", [0.0, 0.002])
def test_load_on_a_coarse_quiet_channel_is_not_clipped(noise):
    """On and off at 0.1 A: it stands still at both, so its top says nothing."""
    rng = np.random.default_rng(5)
    true = _pulses(4000, 0.0, 3.5) + rng.normal(0, noise, 4000)

    assert not _highest(_trace("slot1_a", true, 0.1), "slot1_a")


def test_steady_load_with_noise_is_not_clipped():
    """A noisy load meets its highest figure now and then, and lies just below it often."""
    rng = np.random.default_rng(6)

    assert not _highest(_trace("feed_a", _pulses(4000, 0.0, 8.0) + rng.normal(0, 0.02, 4000), 0.01), "feed_a")


def test_single_inrush_is_not_clipped():
    """One peak is the highest figure once."""
    rng = np.random.default_rng(7)
    x = 5.0 + rng.normal(0, 0.05, 3000)
    x[1500:1510] += np.linspace(20, 0, 10)

    assert not _highest(_trace("battery_a", x, 0.01), "battery_a")


def test_course_without_noise_may_be_flat_at_its_top():
    """Smooth rises and falls that no resolution rounds, with a steady state between: nothing is cut off."""
    t = np.arange(4000)
    x = 5.0 + 3.0 * (1 - np.exp(-np.maximum(t - 500, 0) / 20.0)) * (t < 3000)

    assert not _highest(Trace(t * 0.01, {"feed_a": np.round(x, 12)}, {}), "feed_a")
