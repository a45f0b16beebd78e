"""What an examination is told of channels, bridged stretches and noise, on a bench by hand."""

import math

import numpy as np
import pytest
from hand_bench import VOLTS, HandLog, bench, plan, story, times

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.noise import NoiseModel
from benchlog.analysis.true_step import TrueSteps
from benchlog.core.uncertainty import Accuracy, block_mean
from benchlog.examine.context import KeyTurn, accuracy_of
from benchlog.logger.model import logger_from_mapping

#: Bridged from 15 to 35 s and from 55 to 75 s: five seconds to both sides of what was marked.
BRIDGES = (Bridge(20.0, 30.0), Bridge(60.0, 70.0))


def a_bench(**more):
    """A battery's voltage and current, every 0.1 s for 100 s."""
    log = HandLog(times(100.0, 0.1), {"battery_v": 12.5, "battery_a": 1.0})
    return bench(log, story(((0.0, 100.0),)), plan(), **more)


def test_key_event_is_known_as_well_as_its_turn():
    """Where the log begins or ends instead, exactly."""
    told = story(turns=(KeyTurn(20.0, 0.5, True), KeyTurn(30.0, 0.25, False)))

    assert [told.half_width_s(at) for at in (20.0, 30.0, 40.0)] == [0.5, 0.25, 0.0]


def test_channels_are_there_together_or_not():
    """Both, one of two, none."""
    one = a_bench()

    assert one.has("battery_v", "battery_a")
    assert not one.has("battery_v", "feed_v")
    assert not one.has("feed_v")


def test_slowest_of_the_channels_tells_how_fast_the_logger_sees():
    """Those that it does not log are not waited for, and none is faster than its rows."""
    one = a_bench(steps=TrueSteps({"battery_v": 0.4, "battery_a": 0.05, "feed_v": 2.0}))

    assert one.true_step_s("battery_v") == 0.4
    assert one.true_step_s("battery_a", "battery_v") == 0.4
    assert one.true_step_s("battery_a") == pytest.approx(0.1)
    assert a_bench(steps=TrueSteps({"battery_v": 0.4})).true_step_s("battery_a") == pytest.approx(0.1)
    assert one.true_step_s("feed_v") == pytest.approx(0.1)


def test_reason_names_the_bridges_that_touch_a_stretch():
    """One of two, both, none."""
    one = a_bench(bridged=BRIDGES)

    assert one.bridged_in((34.0, 54.0)) == (
        "; the shunt was bridged from 20.0 s to 30.0 s, so no current was measured there"
    )
    assert one.bridged_in((0.0, 14.0), (36.0, 56.0)).startswith("; the shunt was bridged from 60.0 s to 70.0 s,")
    assert "30.0 s and from 60.0 s" in one.bridged_in((0.0, 100.0))
    assert one.bridged_in((36.0, 54.0), (76.0, 100.0)) == ""


def test_stretch_is_cut_where_its_current_begins_or_ceases_to_count():
    """At what of the bridges lies inside of it."""
    one = a_bench(bridged=BRIDGES)

    assert one.cut(0.0, 100.0) == [(0.0, 15.0), (15.0, 35.0), (35.0, 55.0), (55.0, 75.0), (75.0, 100.0)]
    assert one.cut(20.0, 60.0) == [(20.0, 35.0), (35.0, 55.0), (55.0, 60.0)]
    assert one.cut(15.0, 35.0) == [(15.0, 35.0)]
    assert one.measured(0.0, 100.0) == [(0.0, 15.0), (35.0, 55.0), (75.0, 100.0)]
    assert one.measured(20.0, 60.0) == [(35.0, 55.0)]
    assert one.measured(16.0, 34.0) == []
    # the middle tells, not the ends' difference
    assert one.measured(75.0, 90.0) == [(75.0, 90.0)]
    assert one.measured(5.0, 14.0) == [(5.0, 14.0)]


def test_lift_is_not_known_while_the_batterys_shunt_in_the_return_is_bridged():
    """A shunt elsewhere lifts nothing that the bridge would hide."""

    def known(role, from_s, to_s):
        return a_bench(bridged=BRIDGES, low_side_ohm={role: 0.001}).lift_known(from_s, to_s)

    assert not known("battery_a", 20.0, 25.0)
    assert known("battery_a", 36.0, 54.0)
    assert known("feed_a", 20.0, 25.0)
    assert a_bench(bridged=BRIDGES).lift_known(20.0, 25.0)


def test_mean_of_a_short_stretch_is_no_better_than_the_logs_noise_allows():
    """Up to the longest window that the noise is known over; without a model the stretch alone tells."""
    quiet = 12.5 + np.random.default_rng(1).normal(0, 0.001, 100)
    model = NoiseModel(0.1, 0.1, 0.4, (0.1, 10.05), (0.1, 0.08))
    one = a_bench(noise={"battery_v": model})

    assert one.mean_of("battery_v", quiet, 0.1).u == pytest.approx(model.mean_u(10.0))
    assert one.mean_of("battery_v", quiet, 0.1).value == pytest.approx(float(np.mean(quiet)))
    longer = one.mean_of("battery_v", quiet, 0.101)
    assert longer == block_mean(quiet, blocks=24, memory=0.4 / 0.101)
    assert longer.u < 0.001
    assert a_bench().mean_of("battery_v", quiet, 0.1) == block_mean(quiet, blocks=24, memory=1.0)
    rough = 12.5 + np.random.default_rng(1).normal(0, 5.0, 100)
    assert one.mean_of("battery_v", rough, 0.1) == block_mean(rough, blocks=24, memory=4.0)


def test_channels_smallest_step_is_nothing_where_it_is_not_stated():
    """And the stated one elsewhere."""
    one = a_bench(accuracy={"battery_v": VOLTS, "battery_a": None})

    assert [one.resolution(role) for role in ("battery_v", "battery_a", "feed_v")] == [VOLTS.resolution, 0.0, 0.0]


def logger(**channel):
    """The accuracy, and the shunts, of one channel of a logger file."""
    whole = {"column": "A", "role": "battery_a", "unit": "A", **channel}
    tables = {"logger": {"name": "by hand"}, "time": {"column": "t", "unit": "s"}, "channel": [whole]}
    return accuracy_of(logger_from_mapping(tables))


def test_accuracy_is_stated_by_gain_and_offset_together():
    """A resolution is nothing where it is not given, and an error of nothing is stated as well."""
    assert logger(gain_error_pct=1.0, offset_error=0.02, resolution=0.01)[0] == {
        "battery_a": Accuracy(pytest.approx(0.01), 0.02, 0.01)
    }
    assert logger(gain_error_pct=0.0, offset_error=0.0)[0] == {"battery_a": Accuracy(0.0, 0.0, 0.0)}
    assert logger(gain_error_pct=1.0)[0] == {"battery_a": None}
    assert logger(offset_error=0.02)[0] == {"battery_a": None}


def test_shunt_in_the_return_lifts_the_bus_by_its_milliohms():
    """Of a current's channel; none where none is given."""
    assert logger(low_side_mohm=0.75)[1] == {"battery_a": pytest.approx(0.00075)}
    assert logger()[1] == {}
    assert math.isclose(logger(low_side_mohm=100.0)[1]["battery_a"], 0.1)
