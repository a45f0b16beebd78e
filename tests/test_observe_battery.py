"""What findings say of the battery as quantities: over limits, at rest, and with the engine running."""

import math

import numpy as np
import pytest
from hand_bench import HandLog, bench, limit, measured, plan, story, times

from benchlog.analysis.cranking import Crank
from benchlog.analysis.drain import Drain
from benchlog.analysis.measurement import NotEvaluated
from benchlog.analysis.running import Running
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.observe_battery import off_state, ratios, running
from benchlog.examine.wakes import fails_by_wakes

NAN = float("nan")
PATHS = (
    ("feed_path", "feed_drop", "V", "lost in the feed"),
    ("ground_path", "ground_lift", "V", "lost in the return"),
    ("settle", "settle_time", "s", "until the drain settled"),
    ("source", "source_resistance", "mΩ", "to the battery's posts"),
    ("sag", "battery_sag", "V", "lost in the battery under the planned load"),
)


@pytest.mark.parametrize(("name", "check_id", "unit", "what"), PATHS)
def test_finding_is_told_over_its_limit(name, check_id, unit, what):
    """0.3 ± 0.02 of at most 0.4."""
    seen = ratios({check_id: measured(0.3, 0.02)}, {check_id: limit(None, 0.4)})

    assert list(seen) == [name]
    assert (seen[name].value, seen[name].u) == (pytest.approx(0.75), pytest.approx(0.05))
    assert seen[name].text == f"0.3 {unit} {what}, at most 0.4 {unit} planned"


@pytest.mark.parametrize(
    ("found", "allowed", "told"),
    [
        (NotEvaluated("no"), limit(None, 0.4), False),
        (measured(None), limit(None, 0.4), False),
        (measured(0.3), None, False),
        (measured(0.3), limit(None, None), False),
        (measured(0.3, disqualified="doubt"), limit(None, 0.4), False),
        (measured(0.3, one_sided="short"), limit(None, 0.4), False),
        (measured(0.5, one_sided="short"), limit(None, 0.4), True),
    ],
)
def test_finding_that_bounds_nothing_is_not_told(found, allowed, told):
    """One-sided ones are where they exceed their limit."""
    assert bool(ratios({"feed_drop": found}, {"feed_drop": allowed} if allowed else {})) is told


@pytest.mark.parametrize("u", [None, math.inf])
def test_finding_of_unknown_doubt_counts_as_it_is(u):
    """Without an accuracy, or where the log cannot tell."""
    assert ratios({"feed_drop": measured(0.3, u)}, {"feed_drop": limit(None, 0.4)})["feed_path"].u == 0.0


@pytest.mark.parametrize(
    ("name", "check_id", "what"),
    [("rest_short_v", "resting_voltage", "at rest"), ("crank_short_v", "crank_minimum", "while cranking")],
)
def test_voltages_are_told_by_what_they_lack(name, check_id, what):
    """12.3 of at least 12.6 V."""
    seen = ratios({check_id: measured(12.3, 0.02)}, {check_id: limit(12.6, None)})

    assert list(seen) == [name]
    assert (seen[name].value, seen[name].u) == (pytest.approx(0.3), 0.02)
    assert seen[name].text == f"12.30 V {what}, at least 12.60 V planned"
    assert ratios({check_id: measured(12.3, None)}, {check_id: limit(12.6, None)})[name].u == 0.0
    for lacks in (limit(None, None), None):
        assert ratios({check_id: measured(12.3)}, {check_id: lacks} if lacks else {}) == {}
    assert ratios({check_id: measured(None)}, {check_id: limit(12.6, None)}) == {}
    assert ratios({check_id: NotEvaluated("no")}, {check_id: limit(12.6, None)}) == {}
    assert ratios({check_id: measured(12.3, disqualified="doubt")}, {check_id: limit(12.6, None)}) == {}
    assert ratios({check_id: measured(12.7, one_sided="slow")}, {check_id: limit(12.6, None)}) == {}
    assert ratios({check_id: measured(12.3, one_sided="slow")}, {check_id: limit(12.6, None)})
    assert ratios({check_id: measured(12.7)}, {check_id: limit(12.6, None)})[name].value == pytest.approx(-0.1)


def drained(mean_a=0.005, base_a=None, wakeups=0, type_a_u=0.0002, u=0.001) -> Drain:
    """Over five minutes."""
    return Drain(mean_a, type_a_u, u, mean_a if base_a is None else base_a, wakeups, 300.0, 0, 0.01)


MA10 = {"off_state_drain": limit(None, 10.0)}


def test_drain_is_told_over_its_limit():
    """5 ± 1 mA of 10 mA, out of the battery."""
    seen = off_state(drained(), {}, MA10)

    assert list(seen) == ["off_charge_a", "drain_base"]
    assert (seen["drain_base"].value, seen["drain_base"].u) == (pytest.approx(0.5), pytest.approx(0.1))
    assert seen["drain_base"].text == "5 mA between wake-ups, 10 mA allowed"
    assert (seen["off_charge_a"].value, seen["off_charge_a"].u) == (0.005, 0.001)
    assert seen["off_charge_a"].text == "5 mA out of the battery with the key off"
    assert off_state(drained(-0.005), {}, MA10)["off_charge_a"].text == "5 mA into the battery with the key off"
    assert off_state(None, {}, MA10) == {}
    for limits in ({}, {"off_state_drain": limit(None, None)}):
        assert list(off_state(drained(), {}, limits)) == ["off_charge_a"]


def test_drain_of_no_stated_accuracy_has_a_zero_within_20_milliamperes():
    """Or within its scatter; its base has the scatter alone."""
    seen = off_state(drained(u=None), {}, MA10)

    assert (seen["off_charge_a"].u, seen["drain_base"].u) == (0.02, pytest.approx(0.02))
    assert off_state(drained(u=None, type_a_u=0.03), {}, MA10)["off_charge_a"].u == 0.03


@pytest.mark.parametrize(("base_ma", "share"), [(5.0, 0.5), (11.0, 1.0), (14.0, 1.1), (-2.0, -0.2)])
def test_unknown_zero_accuses_nobody_from_its_edge(base_ma, share):
    """± 3 mA: what lies above the limit by no more than that is on it."""
    finding = measured(base_ma, 2.0, offset_limit=3.0)
    seen = off_state(drained(base_ma / 1000, u=0.002), {"off_state_drain": finding}, MA10)["drain_base"]

    assert seen.value == pytest.approx(share)
    assert seen.u == pytest.approx(math.sqrt(0.002**2 - 0.003**2 / 3) / 0.01)
    certain = off_state(drained(u=0.001), {"off_state_drain": measured(5.0, 1.0, offset_limit=3.0)}, MA10)
    assert certain["drain_base"].u == 0.0
    assert off_state(drained(), {"off_state_drain": measured(5.0, 1.0, offset_limit=0.0)}, MA10)["drain_base"].u == 0.1


@pytest.mark.parametrize(
    ("base_ma", "waking_ma", "share"),
    [(5.0, 2.1, 0.42), (5.0, 1.9, None), (9.0, 2.1, 1.05), (12.0, 2.1, 1.05), (7.0, 2.1, 0.7)],
)
def test_wake_ups_are_told_over_what_the_limit_leaves_them(base_ma, waking_ma, share):
    """From a fifth of the limit on; a fifth of it is left at the least."""
    one = drained((base_ma + waking_ma) / 1000, base_ma / 1000, 4)
    seen = off_state(one, {}, MA10).get("drain_wakes")

    assert (None if seen is None else pytest.approx(seen.value)) == share
    if seen is not None:
        assert seen.u == pytest.approx(0.02 / seen.value * share / max(1 - base_ma / 10, 0.2))
        assert seen.text == f"4 wake-ups add 2.1 mA to {base_ma:.3g} mA between them"
    assert "drain_wakes" not in off_state(drained(0.007, 0.005, 0), {}, MA10)


@pytest.mark.parametrize(("waking_ma", "fails"), [(12.0, True), (10.3, True), (10.1, False)])
def test_wake_ups_alone_fail_beyond_their_doubled_doubt(waking_ma, fails):
    """± 50 µA by scatter, twice, one-sided: 0.17 mA beyond 10 mA."""
    one = drained(0.004 + waking_ma / 1000, 0.004, 5, 0.00005)
    channel = Accuracy(0.0, 0.005, 0.0)

    assert bool(fails_by_wakes(one, channel, 0.010)) is fails
    assert fails_by_wakes(one, None, 0.010) is None
    assert fails_by_wakes(one, channel, None) is None
    assert fails_by_wakes(drained(0.016, 0.004, 0, 0.00005), channel, 0.010) is None


def test_doubt_of_wake_ups_is_of_gain_and_rounding_as_well():
    """12 ± 0.7 mA: 1 % of 12 mA, 1 mA steps, 50 µA of scatter."""
    one = drained(0.016, 0.004, 5, 0.00005)
    text = fails_by_wakes(one, Accuracy(0.01, 0.005, 0.001), 0.010)

    u = math.sqrt(0.05**2 + 0.12**2 / 3 + 0.5**2 / 3)
    assert (
        text == f"5 wake-ups alone draw 12 ± {2 * u:.2g} mA on average, more than the 10 mA allowed, "
        "whatever flows between them"
    )


@pytest.mark.parametrize(("base_ma", "told"), [(-5.05, True), (-5.2, False)])
def test_wake_ups_on_less_than_the_offset_allows_prove_nothing(base_ma, told):
    """− 5 mA and two scatters of 50 µA."""
    one = drained((base_ma + 12) / 1000, base_ma / 1000, 5, 0.00005)

    assert bool(fails_by_wakes(one, Accuracy(0.0, 0.005, 0.0), 0.010)) is told


def a_bench(volts=14.2, amps=-3.0, before_a=5.0, marks=(), told=(), runs=None):
    """An engine that runs from 20 to 58 s, at 20 samples a second."""
    t = times(70.0, 0.05)

    def whole(x, still):
        return x(t) if callable(x) else np.where((t >= 20) & (t < 58), x, still)

    log = HandLog(t, {"battery_v": whole(volts, 12.4), "battery_a": whole(amps, 5.0)}, marks)
    run = Running(20.0, 58.0, "mark", 12.4, before_a)
    ran = story(((10.0, 60.0),), ((0.0, 10.0), (60.0, 70.0)), running=(run,) if runs is None else runs, **dict(told))
    return bench(log, ran, plan(8.0))


CHARGED = {"charging_voltage": measured(14.2, 0.03), "charging_balance": measured(3.0, 0.1)}
WINDOW = {"charging_voltage": limit(13.5, 14.8)}


def test_run_is_told_against_its_window_the_key_on_and_the_load():
    """14.2 V between 13.5 and 14.8 V, 1.8 V more than before; 3 A into the battery, 5 A out of it before the crank."""
    seen = running(a_bench(), {**CHARGED, "resting_voltage": measured(12.7, 0.01)}, WINDOW)

    figures = {name: (round(one.value, 6), round(one.u, 6)) for name, one in seen.items()}
    assert figures == {
        "charge_over_v": (-0.6, 0.03),
        "charge_under_v": (-0.7, 0.03),
        "run_raise_v": (1.8, 0.02),
        "run_rest_v": (1.5, 0.02),
        "alternator_share": (1.6, 0.03),
    }
    assert [one.text for one in seen.values()] == [
        "14.20 V with the engine running, at most 14.80 V planned",
        "14.20 V with the engine running, at least 13.50 V planned",
        "+1.80 V against the key on with the engine off",
        "+1.50 V against the rested battery",
        "3.0 A into the battery with the engine running",
    ]


def test_run_that_drains_the_battery_is_told_by_what_it_leaves():
    """2 A out of it of 5 A: the alternator carries three fifths; of unknown doubt 50 mA."""
    found = {"charging_voltage": measured(12.4, None), "charging_balance": measured(-2.0, None)}
    seen = running(a_bench(amps=2.0), found, WINDOW)["alternator_share"]

    assert (seen.value, seen.u) == (pytest.approx(0.6), pytest.approx(0.05 / 5 + 0.01))
    assert seen.text == "2.0 A out of the battery with the engine running, 5.0 A before the crank"


@pytest.mark.parametrize(
    ("findings", "limits", "lacks"),
    [
        ({}, WINDOW, {"charge_over_v", "charge_under_v", "run_raise_v", "alternator_share"}),
        ({"charging_voltage": measured(None)}, WINDOW, {"charge_over_v", "run_raise_v"}),
        (CHARGED, {}, {"charge_over_v", "charge_under_v"}),
        (CHARGED, {"charging_voltage": limit(None, 14.8)}, {"charge_under_v"}),
        (CHARGED, {"charging_voltage": limit(13.5, None)}, {"charge_over_v"}),
        ({**CHARGED, "charging_balance": measured(None)}, WINDOW, {"alternator_share"}),
        ({**CHARGED, "resting_voltage": measured(None)}, WINDOW, {"run_rest_v"}),
    ],
)
def test_quantity_of_a_run_without_its_finding_or_limit_is_not_told(findings, limits, lacks):
    """Each lacks one."""
    seen = running(a_bench(), findings, limits)

    whole = {"charge_over_v", "charge_under_v", "run_raise_v", "alternator_share"}
    assert lacks.isdisjoint(seen)
    assert (
        whole - lacks <= set(seen) or "charging_voltage" not in findings or findings["charging_voltage"].value is None
    )
    assert running(a_bench(runs=()), CHARGED, WINDOW) == {}


@pytest.mark.parametrize(("before_a", "told"), [(1.01, True), (0.99, False)])
def test_alternator_has_no_share_of_less_than_an_ampere(before_a, told):
    """That flowed before the crank."""
    assert ("alternator_share" in running(a_bench(before_a=before_a), CHARGED, WINDOW)) is told


def test_levels_before_a_marked_run_are_those_of_its_crank():
    """It may end a second after the mark."""
    unknown = (Running(20.0, 58.0, "mark", NAN, NAN),)

    def raised(*cranks):
        seen = running(a_bench(runs=unknown, told={"cranks": cranks}), CHARGED, WINDOW)
        return seen["run_raise_v"].value if "run_raise_v" in seen else None

    assert raised(Crank(20.9, 22.0, 12.0, 5.0)) == pytest.approx(2.2)
    assert raised(Crank(21.1, 22.0, 12.0, 5.0)) is None
    assert raised(Crank(15.0, 16.0, 12.1, 5.0), Crank(18.0, 19.0, 12.0, 5.0)) == pytest.approx(2.2)
    assert raised() is None


@pytest.mark.parametrize(("off_s", "into_a"), [(24.1, 8.0), (23.6, 3.0), (60.0, 3.0), (15.0, 3.0)])
def test_share_counts_while_all_circuits_are_on(off_s, into_a):
    """8 A into the battery until 30 s: a circuit is marked off at so many seconds; ten points are needed."""

    def amps(t):
        return np.where((t >= 20) & (t < 30), -8.0, np.where((t >= 30) & (t < 58), -3.0, 5.0))

    marks = [(off_s, "slot 1 off"), (45.0, "slot 2 off")] if 20 < off_s < 58 else [(off_s, "slot 1 off")]
    seen = running(a_bench(amps=amps, marks=marks), CHARGED, WINDOW)["alternator_share"]
    assert seen.value == pytest.approx(1 + into_a / 5)


def test_run_of_two_states_is_told_by_how_long_it_charged():
    """18 of 36 s; its share is none of the alternator's."""

    def amps(t):
        return np.where((t >= 20) & (t < 40), 5.0, np.where((t >= 40) & (t < 58), -3.0, 5.0))

    seen = running(a_bench(amps=amps), CHARGED, WINDOW)
    assert "alternator_share" not in seen
    assert (seen["run_charged"].value, seen["run_charged"].u) == (pytest.approx(0.5, abs=0.01), 0.01)
    assert seen["run_charged"].text == "the battery was charged for 18 s of the engine's run, and not for 18 s"
