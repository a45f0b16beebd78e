"""Cranks at the edges: a battery that goes to nothing, and a feed that is late; on dips written by hand."""

import numpy as np
import pytest
from test_engine_checks import found, lost


def test_battery_that_goes_to_nothing_is_lower_than_half_a_volt():
    """In the first of two cranks, or in the second."""
    cranks = ((10.0, 11.0), (14.0, 15.0))

    def levels(first, second):
        def volts(t, x):
            return np.where((t >= 10) & (t < 11), first, np.where((t >= 14) & (t < 15), second, x))

        return volts

    for pair in ((0.0, 0.5), (0.5, 0.0)):
        low, _ = found(volts=levels(*pair), cranks=cranks, limits={})
        assert low.value == pytest.approx(0.0, abs=1e-6)


def test_what_any_crank_hides_leaves_the_lowest_open():
    """The lowest is the first, samples of the second are over range; and the other way round."""
    cranks = ((10.0, 11.0), (14.0, 15.0))

    def volts(t, x):
        return np.where((t >= 14) & (t < 15), 11.0, x)

    late, _ = found(volts=volts, cranks=cranks, over=lambda t: (t > 14.4) & (t < 14.4035))
    assert (late.value, late.disqualified) == (pytest.approx(10.0), None)
    assert late.one_sided == "3 samples of battery_v were over range while cranking"
    own, _ = found(volts=volts, cranks=cranks, over=lambda t: (t > 10.4) & (t < 10.4035))
    assert own.disqualified == "3 samples of battery_v were over range while cranking"


def test_slow_channel_of_either_voltage_can_miss_a_loss():
    """The widest of both."""
    gap = found(
        feed=lambda t, x: np.where((t > 10.4) & (t < 10.42), np.nan, x),
    )[1]

    assert gap.one_sided == "samples 20 ms apart can miss a short loss"


@pytest.mark.parametrize(("dead_s", "live"), [(0.24, True), (0.26, False)])
def test_feed_was_live_where_it_was_for_most_of_the_half_second_before(dead_s, live):
    """Until 20 ms before the crank: 0.48 s."""
    loss = found(feed=lost((9.98 - dead_s, 9.98)))[1]

    assert (getattr(loss, "why", None) is None) is live


@pytest.mark.parametrize(("from_s", "live"), [(6.9, False), (8.1, True), (8.3, False)])
def test_feed_that_was_not_read_in_the_half_second_was_live_three_seconds_before(from_s, live):
    """Nothing is read from 9.4 s to the crank: it came up at 8.1 s of 7 to 9.4 s, or went down before."""

    def feed(t, x):
        up = t >= from_s if from_s > 7 else t < from_s
        return np.where((t > 9.4) & (t < 10.0005), np.nan, np.where((t < 10) & ~up, 0.0, x))

    assert (getattr(found(feed=feed)[1], "why", None) is None) is live


def test_lowest_of_slow_samples_is_known_as_well_as_its_channel():
    """20 ms apart."""
    assert found(step_s=0.02)[0].u == pytest.approx(0.0, abs=1e-6)
