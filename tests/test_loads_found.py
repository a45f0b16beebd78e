"""The steady loads of a log, and a channel that is reversed: on logs written by hand."""

import numpy as np
import pytest
from test_load_checks import a_bench

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.cranking import Crank
from benchlog.analysis.running import Running
from benchlog.core.errors import BadLog
from benchlog.examine.load_checks import Loads, find_loads


@pytest.mark.parametrize(
    ("ohm", "amps", "u", "refused"),
    [
        *((0.0025, 1.1, 0.0, True), (0.0025, 0.9, 0.0, False)),
        (0.0015, 1.1, 0.0, False),
        *((0.03, 2.0, 0.0005, True), (0.03, 2.0, 0.03, False)),
        (-0.03, 2.0, 0.0, False),
    ],
)
def test_voltage_that_rises_with_the_load_is_a_reversed_channel(ohm, amps, u, refused):
    """By 2 mΩ and three uncertainties, on a step of an ampere and more."""

    def values(t):
        on = t > 30
        noise = u * np.random.default_rng(3).normal(0, 1, len(t)) * 20
        return {"battery_v": 12.5 + ohm * amps * on + noise, "battery_a": amps * on}

    if refused:
        with pytest.raises(BadLog, match=r"rise together over 1 load step\(s\), so the current channel is reversed"):
            find_loads(a_bench(values=values))
    else:
        find_loads(a_bench(values=values))


def steps(t, *at):
    """2 A more at each time."""
    return np.sum([2.0 * (t >= one) for one in at], axis=0)


def of_battery(one: Loads) -> list[list[float]]:
    """Its currents, by key-on."""
    return [[round(p.readings["battery_a"].value, 3) for p in group] for group in one.engine_off]


def test_loads_are_taken_from_three_seconds_before_the_key_on_to_the_engines_start():
    """Steps at 5, 8, 20, 30 and 45 s, of a key on from 10 to 50 s and a crank at 40 s."""

    def values(t):
        amps = steps(t, 5, 8, 20, 30, 45)
        return {"battery_v": 12.6 - 0.03 * amps, "battery_a": amps}

    assert of_battery(find_loads(a_bench(values=values))) == [[2.0, 4.0, 6.0, 8.0, 10.0]]
    for told in ({"cranks": (Crank(40.0, 41.0, 12.5, 1.0),)}, {"running": (Running(40.0, 50.0, "mark", 12.5, 1.0),)}):
        one = find_loads(a_bench(values=values, **told))
        assert of_battery(one) == [[2.0, 4.0, 6.0, 8.0]]
        assert one.engine_off[0][-1].to_s == pytest.approx(39.65, abs=0.051)
        assert one.engine_off[0][0].from_s == pytest.approx(7.0)
    elsewhere = {"cranks": (Crank(5.0, 6.0, 12.5, 1.0), Crank(55.0, 56.0, 12.5, 1.0))}
    assert of_battery(find_loads(a_bench(values=values, **elsewhere))) == [[2.0, 4.0, 6.0, 8.0, 10.0]]
    assert find_loads(a_bench(values=values)).feed == ()


def test_engine_that_starts_with_the_key_leaves_no_loads():
    """The crank begins 0.2 s after the key-on."""
    told = {"cranks": (Crank(10.2, 11.0, 12.5, 1.0),)}

    assert find_loads(a_bench(**told)).engine_off == ()


@pytest.mark.parametrize(("volts", "amps", "left_out"), [(13.3, -0.4, True), (13.1, -0.4, False), (13.3, -0.2, False)])
def test_battery_that_is_charged_shows_no_load(volts, amps, left_out):
    """Above 13.2 V with more than 0.3 A into it the engine runs, though no crank was seen."""

    def values(t):
        return {"battery_v": np.where(t < 20, 12.6, volts), "battery_a": np.where(t < 20, 3.0, amps)}

    assert (len(find_loads(a_bench(values=values)).engine_off[0]) == 1) is left_out


def test_bridge_parts_a_key_on():
    """Between 20 and 30 s, 5 s of a hand on either side, there is no current of the battery's."""

    def values(t):
        amps = steps(t, 12, 40)
        return {"battery_v": 12.6 - 0.03 * amps, "battery_a": np.where((t >= 15) & (t <= 35), np.nan, amps)}

    one = find_loads(a_bench(values=values, bridged=(Bridge(20.0, 30.0),)))
    assert of_battery(one) == [[0.0, 2.0], [2.0, 4.0]]


def of_feed(one: Loads) -> list[list[float]]:
    """Its currents, by key-on."""
    return [[round(p.readings["feed_a"].value, 3) for p in group] for group in one.feed]


def test_feeds_loads_are_taken_over_the_whole_key_on_but_for_the_cranks():
    """Steps at 20, 30 and 45 s beside a crank from 40 to 41 s, which counts from 0.3 s before to 1 s after."""

    def values(t):
        amps = steps(t, 20, 30, 45)
        return {"feed_a": np.where((t > 39.72) & (t < 41.97), 30.0, amps), "feed_v": 12.5}

    told = {"cranks": (Crank(40.0, 41.0, 12.5, 1.0), Crank(55.0, 56.0, 12.5, 1.0))}
    one = find_loads(a_bench(values=values, **told))
    assert of_feed(one) == [[0.0, 2.0, 4.0, 4.0, 6.0]]
    assert one.engine_off == ()
    assert [p.from_s for p in one.feed[0]][3] == pytest.approx(42.0)
    late = {"cranks": (Crank(49.5, 50.0, 12.5, 1.0),)}
    assert of_feed(find_loads(a_bench(values=values, **late)))[0][-1] == 6.0


def test_bridge_parts_the_feeds_stretch_only_where_it_hides_the_buses_lift():
    """With a shunt of the battery's in the ground's way the drop of it is not known while it is bridged."""

    def values(t):
        return {"feed_a": steps(t, 20), "battery_a": 0.0 * t, "feed_v": 12.5}

    how = {"values": values, "bridged": (Bridge(40.0, 42.0),)}
    whole = find_loads(a_bench(**how)).feed[0]
    parted = find_loads(a_bench(**how, low_side={"battery_a": 0.001})).feed[0]
    assert [round(p.to_s) for p in whole] == [20, 50]
    assert [round(p.to_s) for p in parted] == [20, 35, 47, 50]
