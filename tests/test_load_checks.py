"""The battery under load steps: sag, source resistance and a reversed channel, on stretches and logs written by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hand_bench import AMPS, EXACT, VOLTS, HandLog, bench, plan, story, times

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.cranking import Crank
from benchlog.analysis.plateaus import Plateau, Sustained
from benchlog.analysis.running import Running
from benchlog.core.errors import BadLog
from benchlog.core.uncertainty import combine, propagate
from benchlog.examine.load_checks import Loads, battery_steps, examine_battery_load, find_loads

ROOT2, ROOT3 = math.sqrt(2), math.sqrt(3)
NONE = "no load step with the key on and the engine off; switch the loads on one by one before starting the engine"


def stretch(at_s, volts, amps, u=0.0, closing=None, opening=None, u_a=0.0, lasts_s=10.0) -> Plateau:
    """Ten seconds of the battery; ``closing`` and ``opening`` are its voltage at either end, as in its middle if none."""

    def read(v):
        return {"battery_v": Sustained(v, u), "battery_a": Sustained(amps, u_a)}

    ends = (read(volts if one is None else one) for one in (opening, closing))
    return Plateau(at_s, at_s + lasts_s, at_s + min(2.0, lasts_s / 2), read(volts), *ends)


def a_bench(planned=(8.0,), accuracy=EXACT, values=None, end_s=60.0, bridged=(), low_side=None, **told):
    """A bench; the stretches are given, so that its log matters to ``find_loads`` alone."""
    told = {"on": ((10.0, 50.0),), "off": ((0.0, 10.0), (50.0, end_s)), **told}
    t = times(end_s, 0.05)
    log = HandLog(t, values(t) if values else {"battery_v": 12.5, "battery_a": 0.0})
    known = accuracy if isinstance(accuracy, dict) else dict.fromkeys(log.overview.bands, accuracy)
    return bench(log, story(**told), plan(*planned), accuracy=known, bridged=bridged, low_side_ohm=low_side or {})


def loads(*stretches: Plateau) -> Loads:
    """One key-on of these."""
    return Loads((stretches,), ())


def found(*stretches, first_on=(), **how):
    """Sag and resistance."""
    both = examine_battery_load(a_bench(**how), loads(*stretches), first_on)
    return both["battery_sag"], both["source_resistance"]


def test_source_resistance_is_the_fall_an_ampere_over_the_steps():
    """30 mΩ from steps of 4 and 6 A; 0.3 and 0.48 V scaled to 8 A."""
    sag, ohm = found(stretch(10, 12.6, 1.0), stretch(20, 12.48, 5.0), stretch(30, 12.3, 11.0))

    assert ohm.value == pytest.approx(30.0)
    assert ohm.u == pytest.approx(1e-6 / math.hypot(4, 6) * 1000)
    assert (ohm.from_s, ohm.to_s, ohm.story) == (10, 40, "from 2 load steps of up to 6.0 A")
    assert sag.value == pytest.approx(0.24)
    assert (sag.from_s, sag.to_s) == (12.0, 40.0)
    assert sag.story == "0.30 V measured at 10.0 A more, scaled to the planned 8.0 A"
    assert found(stretch(10, 12.6, 1.0), stretch(20, 12.48, 5.0))[1].story == "from 1 load step of up to 4.0 A"


def test_source_resistance_carries_gains_and_rounding():
    """Of both channels; none where one states no accuracy."""
    volts, amps = replace(VOLTS, resolution=0.01), replace(AMPS, resolution=0.1)
    steps = stretch(10, 12.6, 1.0, 0.002, u_a=0.03), stretch(20, 12.48, 5.0, 0.002, u_a=0.03)
    _, ohm = found(*steps, accuracy={"battery_v": volts, "battery_a": amps})

    by_amps = 0.03 * math.hypot(ROOT2 * 0.03, ROOT2 * 0.05 / ROOT3)
    of_step = combine(ROOT2 * 0.002, ROOT2 * 0.005 / ROOT3, by_amps) / 4
    assert ohm.u == pytest.approx(1000 * combine(of_step, 0.03 * math.hypot(0.002, 0.01) / ROOT3), rel=1e-4)
    for lacks in ("battery_v", "battery_a"):
        assert found(*steps, accuracy={"battery_v": volts, "battery_a": amps, lacks: None})[1].u is None
        assert found(*steps, accuracy={"battery_v": volts, "battery_a": amps, lacks: None})[0].u is None


def test_quick_answer_counts_and_the_slow_one_is_its_doubt():
    """0.12 V at once, 0.16 V by the middle of the next stretch, at 4 A: 30 mΩ, ± 10 mΩ at the most."""
    _, ohm = found(stretch(10, 12.6, 1.0), stretch(20, 12.44, 5.0, opening=12.48))

    assert ohm.value == pytest.approx(30.0)
    assert ohm.u == pytest.approx(10.0 / ROOT3, rel=1e-3)


def test_stretch_too_short_for_its_ends_counts_with_its_middle():
    """Nothing read soon after it began, or just before it ended."""
    before, after = stretch(10, 12.6, 1.0, closing=12.5), stretch(20, 12.48, 5.0, opening=12.5)

    for pair in ((replace(before, closing={}), after), (before, replace(after, opening={}))):
        assert found(*pair)[1].value == pytest.approx(30.0)
    assert found(before, after)[1].value == pytest.approx(-0.1 / 3.7 * 1.1 / 4 * 1000)


def test_drift_before_a_step_is_no_answer_to_it():
    """The voltage fell by 37 mV over the 3.7 s from the stretch's middle to its end: 11 mV more over the step."""
    before, after = stretch(10, 12.637, 1.0, closing=12.6), stretch(20, 12.48, 5.0)
    _, ohm = found(before, after)

    assert ohm.value == pytest.approx((0.12 - 0.011) / 4 * 1000)
    slow = (12.637 - 12.48) / 4
    drift_u = 0.011 / 3
    assert ohm.u == pytest.approx(1000 * combine(drift_u / 4, (slow - (0.12 - 0.011) / 4) / ROOT3), rel=1e-3)


def test_drift_within_its_noise_is_only_a_doubt():
    """2 mV over 3.7 s beside noise of 1 mV."""
    before, after = stretch(10, 12.602, 1.0, 0.001, closing=12.6), stretch(20, 12.48, 5.0, 0.001)
    _, ohm = found(before, after)

    unsure = ROOT2 * 0.001 / 3.7 * 1.1
    drift = 0.002 / 3.7 * 1.1
    assert ohm.value == pytest.approx(30.0)
    slow = 0.122 / 4 - 0.03
    assert ohm.u == pytest.approx(1000 * combine(ROOT2 * 0.001 / 4, min(drift, unsure) / 4, slow / ROOT3), rel=1e-3)


def test_drift_of_a_short_stretch_is_not_looked_at():
    """0.5 s from its middle to its end are too little, 0.7 s are enough."""

    def at(lasts_s):
        before = stretch(20 - lasts_s, 12.637, 1.0, closing=12.6, lasts_s=lasts_s)
        return found(before, stretch(20, 12.48, 5.0))[1]

    assert at(3.2).value == pytest.approx(30.0)
    slow = (12.637 - 12.48) / 4 * 1000 - 30.0
    assert at(3.2).u == pytest.approx(slow / ROOT3, rel=1e-3)
    assert at(4.2).value < 29.0


@pytest.mark.parametrize(("amps", "told"), [(0.49, False), (0.51, True)])
def test_steps_below_half_an_ampere_tell_nothing(amps, told):
    """Nor does a log without a step."""
    both = found(stretch(10, 12.6, 1.0), stretch(20, 12.6 - 0.03 * amps, 1.0 + amps), planned=(0.5,))

    assert [getattr(one, "why", None) for one in both] == ([None, None] if told else [NONE, NONE])
    assert found(stretch(10, 12.6, 1.0))[1].why == NONE


@pytest.mark.parametrize("missing", ["battery_v", "battery_a"])
def test_battery_checks_need_both_channels(missing):
    """The one that lacks is named."""
    values = {"battery_v": 12.5, "battery_a": 0.0}
    del values[missing]
    both = examine_battery_load(a_bench(values=lambda _: values), loads())

    assert {one.why for one in both.values()} == {f"{missing} is not logged"}


def test_sag_counts_from_the_least_load_before_the_greatest():
    """1 A amid 3 and 6 A, of stretches before the 11 A; what is less afterwards does not count."""
    stretches = (
        *(stretch(10, 12.5, 3.0), stretch(20, 12.6, 1.0), stretch(30, 12.4, 6.0)),
        *(stretch(40, 12.2, 11.0), stretch(50, 12.7, 0.0)),
    )
    sag, _ = found(*stretches)

    assert sag.value == pytest.approx(0.4 * 8 / 10)
    assert sag.from_s == 22.0


def test_sag_counts_from_the_stretch_before_the_first_circuit_where_that_is_known():
    """It ends up to 1.5 s before the circuit's step; not from the calm before the key-on."""
    stretches = (stretch(10, 12.7, 0.1), stretch(20, 12.6, 1.0), stretch(31.4, 12.3, 11.0))

    assert found(*stretches, first_on=(31.4,))[0].from_s == 22.0
    assert found(*stretches, first_on=(31.4, 70.0))[0].from_s == 22.0
    assert found(*stretches, first_on=(31.6,))[0].from_s == 12.0
    assert found(*stretches, first_on=(30.0,))[0].from_s == 22.0
    assert found(*stretches, first_on=(29.0,))[0].from_s == 12.0
    assert found(*stretches)[0].from_s == 12.0


def test_sags_doubt_is_of_all_four_readings():
    """Both voltages and both currents, their changes' gain, rounding and drift."""
    before = stretch(10, 12.6, 1.0, 0.002, u_a=0.02)
    after = stretch(20, 12.3, 11.0, 0.003, u_a=0.04)
    sag, _ = found(before, after, accuracy={"battery_v": VOLTS, "battery_a": AMPS})

    u_v = combine(0.002, 0.003, VOLTS.change_u(0.3))
    u_i = combine(0.02, 0.04, AMPS.change_u(10.0))
    assert sag.u == pytest.approx(propagate((0.8, 0.024), (u_v, u_i)))


def test_sag_counts_from_just_before_the_load():
    """The voltage had risen to 12.65 V at the stretch's end; without that its middle counts."""
    before = stretch(10, 12.6, 1.0, closing=12.65)

    assert found(before, stretch(20, 12.3, 11.0))[0].value == pytest.approx(0.35 * 0.8)
    assert found(replace(before, closing={}), stretch(20, 12.3, 11.0))[0].value == pytest.approx(0.3 * 0.8)


def test_sag_needs_a_planned_load_and_a_tenth_of_it():
    """Of 8 A at least 0.8 A must come on."""

    def sag(amps, planned=(8.0,)):
        return found(stretch(10, 12.6, 1.0), stretch(20, 12.6 - 0.03 * amps, 1.0 + amps), planned=planned)[0]

    assert sag(0.81).value == pytest.approx(0.24)
    assert sag(0.79).why == "no load came on with the engine off; switch the loads on before starting the engine"
    assert sag(5.0, ()).why == "the plan names no circuit, so there is no planned load to scale to"


def test_only_stretches_with_a_voltage_make_steps_and_sags():
    """One without it is passed over."""
    blind = replace(stretch(20, 0.0, 20.0), readings={"battery_a": Sustained(20.0, 0.0)})
    stretches = (stretch(10, 12.6, 1.0), blind, stretch(30, 12.3, 11.0))

    assert battery_steps(loads(*stretches)) == []
    assert len(battery_steps(loads(stretches[0], stretches[2]))) == 1
    assert found(stretches[0], stretches[2], blind)[0].value == pytest.approx(0.24)


@pytest.mark.parametrize(
    ("ohm", "amps", "u", "refused"),
    [
        (0.0025, 1.1, 0.0, True),
        (0.0025, 0.9, 0.0, False),
        (0.0015, 1.1, 0.0, False),
        (0.03, 2.0, 0.0005, True),
        (0.03, 2.0, 0.03, False),
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
