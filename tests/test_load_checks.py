"""The battery under load steps: sag and source resistance, on stretches and logs written by hand."""

import math
from dataclasses import replace

import pytest
from hand_bench import AMPS, EXACT, VOLTS, HandLog, bench, plan, story, times

from benchlog.analysis.plateaus import Plateau, Sustained
from benchlog.core.uncertainty import combine, propagate
from benchlog.examine.load_checks import Loads, battery_steps, examine_battery_load

ROOT2, ROOT3 = math.sqrt(2), math.sqrt(3)
NONE = "no load step with the key on and the engine off; switch the loads on one by one before starting the engine"


def stretch(at_s, volts, amps, u=0.0, closing=None, opening=None, u_a=0.0, lasts_s=10.0) -> Plateau:
    """Ten seconds of the battery; ``closing`` and ``opening`` are its voltage at either end, if another."""

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
