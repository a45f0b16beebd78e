"""What the observers make of findings, traces and steps: hand-written, one kind of mistake each."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from test_causes_seen import GOOD, check, table, two_channels

from benchlog.analysis.coarse import coarse
from benchlog.analysis.cranking import Crank
from benchlog.analysis.drain import Drain
from benchlog.analysis.fed import KEPT_SHARE, fed_a
from benchlog.analysis.key_state import Turn
from benchlog.analysis.load_steps import LoadStep
from benchlog.analysis.measurement import Measured
from benchlog.analysis.slots import come_together, match_slots
from benchlog.core.trace import Mark, Trace
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.observe_battery import _with_all_on, off_state, ratios
from benchlog.examine.observe_loads import _let_go
from benchlog.examine.slot_dead import in_pulses
from benchlog.examine.timeline import _without_dips
from benchlog.examine.wakes import fails_by_wakes
from benchlog.log.overview import OverviewBuilder
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.causes.fit import find_causes
from benchlog.verdict.causes.seen import Seen

NAN = float("nan")


def named(values, *failed: str) -> set[str]:
    """The causes of these quantities and failed checks."""
    return {cause.id for cause in find_causes(table(values), [check(one) for one in failed], {})}


def most(value: float) -> PlannedLimit:
    """A limit from above."""
    return PlannedLimit(None, value, "given", "limits")


def test_bikes_own_load_before_the_test_does_not_tilt_the_loads_scale():
    """4 A of the bike come on half way; the circuits then draw 9 A, and not 20 % more."""
    t = np.arange(0, 60, 0.05)
    circuits = np.where(t > 35, 4.0, 0) + np.where(t > 42, 5.0, 0)
    amps = np.where(t > 30, 4.0, 0.0) + circuits
    values = {"battery_a": amps, "battery_v": np.full(len(t), 12.5), "feed_v": 12.47 - 0.02 * circuits}
    builder = OverviewBuilder(list(values))
    builder.add(Trace(t, values, {}))

    got = fed_a(coarse(builder.finish(), 0, 60, 0.5), 0.0, 60.0)

    assert got[-1] == pytest.approx(KEPT_SHARE * 9.0, rel=0.02)


def stub_of(amps: np.ndarray, marks: dict[str, float]) -> SimpleNamespace:
    """A log's current at 10 Hz with marks, and a plan of two circuits."""
    t = np.arange(len(amps)) / 10
    builder = OverviewBuilder(["battery_a"])
    builder.add(Trace(t, {"battery_a": amps}, {}))
    planned = [SimpleNamespace(slot=1, planned_a=3.5), SimpleNamespace(slot=2, planned_a=1.0)]
    return SimpleNamespace(
        overview=builder.finish(),
        log=SimpleNamespace(marks=[Mark(at, text) for text, at in marks.items()]),
        plan=SimpleNamespace(circuit=planned),
    )


def test_circuit_that_is_switched_on_amid_pulses_shows_in_their_height():
    """3.5 A that come and go, and 4.5 A from the mark on: the second circuit is no dead one; without more it is."""
    t = np.arange(0, 30, 0.1)
    pulses = ((t * 1.43) % 1 < 0.57) * (t > 10)
    marks = {"slot 1 on": 10.0, "slot 2 on": 20.0}

    assert in_pulses(stub_of(5 + pulses * np.where(t > 20, 4.5, 3.5), marks), 2, 20.0, "battery_a")
    assert not in_pulses(stub_of(5 + pulses * 3.5, marks), 2, 20.0, "battery_a")
    assert not in_pulses(stub_of(5 + (t > 10) * 3.5, marks), 2, 20.0, "battery_a")


def steps_of(*amps: float) -> list[LoadStep]:
    """Steps of the fuse block's own, one every 10 s."""
    return [LoadStep(10.0 * n, a, 0.03, 10.0 * n - 5, 10.0 * n + 5, "block") for n, a in enumerate(amps, 1)]


def test_as_many_steps_as_circuits_come_one_by_one():
    """9.7 and 6.0 A for circuits of 4.3 and 6.0 A: an overload; 9.7 A alone may be both."""
    planned = {1: 4.3, 2: 6.0}

    for amps, together in (((9.7, 6.0), set()), ((9.7,), {1, 2})):
        steps = steps_of(*amps)
        assert set(come_together(steps, planned, [], match_slots(steps, planned, []))) == together


@pytest.mark.parametrize(("interval", "share"), [((26.0, 34.0), 1.3), ((6.0, 14.0), 0.7)])
def test_interval_beyond_a_limit_counts_with_its_near_end(interval, share):
    """A settling that lies anywhere between 26 and 34 s is surely 26 s, though its half-width is wide."""
    settled = Measured(sum(interval) / 2, 8.0 / math.sqrt(12), 0, 60, interval=interval)

    seen = ratios({"settle_time": settled}, {"settle_time": most(20.0)})["settle"]

    assert (seen.value, seen.u) == (pytest.approx(share), 0.0)


def test_interval_across_a_limit_counts_as_it_was_measured():
    """Between 16 and 24 s nothing is sure of 20 s."""
    settled = Measured(20.5, 2.3, 0, 60, interval=(16.0, 25.0))

    seen = ratios({"settle_time": settled}, {"settle_time": most(20.0)})["settle"]

    assert (seen.value, seen.u) == (pytest.approx(20.5 / 20), pytest.approx(2.3 / 20))


def test_drain_within_an_unknown_zero_accuses_no_device():
    """21 mA read through a zero that may be off by 23 mA: beside a late settling nothing else is named."""
    read = Drain(0.0216, 0.0005, 0.0134, 0.0216, 0, 30.0, 0, 0.01)
    finding = Measured(21.6, 13.4, 40, 70, offset_limit=23.0)

    seen = off_state(read, {"off_state_drain": finding}, {"off_state_drain": most(0.7)})

    late = {**table(GOOD), "settle": Seen(1.9, 0.02, "38 s"), **seen}
    assert {cause.id for cause in find_causes(late, [check("settle_time")], {})} == {"slow_to_sleep"}


def wakes(base_a: float, waking_a: float) -> Drain:
    """Six wake-ups in half a minute, watched through a channel of 5 mA offset."""
    return Drain(base_a + waking_a, 0.0009, 0.003, base_a, 6, 28.0, 0, 0.01)


def test_wake_ups_fail_a_drain_wherever_its_zero_lies():
    """6.9 mA of wake-ups on a base that reads −2.9 mA are more than 2.1 mA; 4 mA are not surely."""
    channel = Accuracy(gain_rel=0.001, offset=0.005, resolution=0.0001)

    assert fails_by_wakes(wakes(-0.0029, 0.0069), channel, 0.0021)
    assert fails_by_wakes(wakes(-0.0029, 0.0040), channel, 0.0021) is None
    assert fails_by_wakes(wakes(-0.0029, 0.0069), None, 0.0021) is None


def test_wake_ups_on_a_charge_prove_nothing():
    """A base 50 mA below zero is a charger's: what is drawn amid it is not known."""
    channel = Accuracy(gain_rel=0.001, offset=0.005, resolution=0.0001)

    assert fails_by_wakes(wakes(-0.050, 0.0069), channel, 0.0021) is None


def test_key_that_is_turned_into_a_crank_is_on():
    """A rise amid a crank with the key off before is the key; a dip and its return amid a crank are the starter's."""
    crank = [Crank(22.0, 38.0, NAN, NAN)]
    on = (Turn(22.0, 0.1, "on", "trigger_v"), 0.01)
    dip, back, off = ((Turn(at, 0.1, to, "trigger_v"), 0.01) for at, to in ((30.0, "off"), (31.0, "on"), (91.0, "off")))

    assert _without_dips([on, dip, back, off], False, crank) == [on, off]


def test_drop_out_is_the_triggers_where_the_contact_opens_before_it_is_gone():
    """1.9 times the limit under a trigger that falls for 33 ms: the relay itself was in time."""
    late = {**GOOD, "trigger_fall_s": 0.033, "drop_out": 1.9}

    assert named({**late, "drop_out_own": -0.4}, "relay_drop_out") == {"slow_trigger_decay"}
    assert named({**GOOD, "drop_out": 1.9, "drop_out_own": 1.8}, "relay_drop_out") == {"slow_relay"}


def test_alternator_that_charges_in_part_of_the_run_gives_something():
    """Nothing at idle and 14.5 V above it: more load than it gives there, and no dead alternator."""
    idle = {"charge_under_v": 1.9, "run_raise_v": -0.02, "run_rest_v": -0.45}
    values = {name: value for name, value in GOOD.items() if name != "alternator_share"} | idle
    failed = ("charging_voltage", "charging_balance")

    assert "no_charge" in named(values, *failed)
    assert named({**values, "run_charged": 0.46}, *failed) == {"load_exceeds_charging"}


def test_alternator_that_gives_three_hundredths_gives_nothing():
    """The share that a sagging load leaves is no alternator's."""
    values = {**GOOD, "alternator_share": 0.03, "charge_under_v": 1.8, "run_raise_v": -0.07, "run_rest_v": -0.55}

    assert named(values, "charging_voltage", "charging_balance") == {"no_charge"}


@pytest.mark.parametrize(("held", "name"), [(-0.3, "welded_contact"), (3.4, "backfed_coil")])
def test_what_flows_beyond_the_circuits_parts_coil_from_contact(held: float, name: str):
    """On two channels: the circuits alone are the contact's, with the coil's current beside them the coil's."""
    values = two_channels({"load_off": 1.0, "drain_base": 4000.0, "coil_held": held})

    assert named(values, "off_state_drain", "settle_time") == {name}


def test_what_only_hints_show_is_no_proof():
    """A stuck contact without trigger and feed in the log stands at even odds at most."""
    values = two_channels({"load_off": 1.0, "drain_base": 4000.0, "coil_held": -0.3})
    (cause,) = find_causes(table(values), [check("off_state_drain")], {})

    assert cause.fit <= 0.5


def test_trigger_that_sinks_in_the_feeds_place_asks_by_itself():
    """No check failed and nothing moves first that the samples show: the clips are changed over all the same."""
    swapped = {**GOOD, "clip_slope": 0.93, "feed_lead_s": 0.0}

    assert {cause.id for cause in find_causes(table(swapped), [], {})} == {"clips_swapped"}
    assert find_causes(table({**swapped, "feed_lead_s": -0.012}), [], {}) == []


def test_bike_that_draws_too_much_of_itself_has_no_feed_on_87a():
    """23.8 A with the key on are no bike's own, so the circuits are on then: the contact is no 87a."""
    values = two_channels({"load_off": 1.0, "drain_base": 4000.0, "coil_before": 0.0})
    failed = ("off_state_drain", "settle_time")
    quiet = {name: value for name, value in values.items() if not name.startswith("slot_") and name != "load_on"}

    assert "inverted_contact" in named({**quiet, "keyed_a": 5.0}, *failed)
    assert "inverted_contact" not in named({**quiet, "keyed_a": 23.8}, *failed)


def test_coil_that_is_let_go_after_one_key_off_is_not_held():
    """35 mA after the first key-off, 11 A with the circuits after the second: a coil of 167 mA was never held."""
    t = np.arange(0, 60, 0.1)
    amps = np.where((t > 20) & (t < 26), 0.035, np.where(t < 10, 0.0, 11.0))
    builder = OverviewBuilder(["battery_a"])
    builder.add(Trace(t, {"battery_a": amps}, {}))
    story = SimpleNamespace(off=((0.0, 10.0), (20.0, 26.0), (45.0, 60.0)))
    bench = SimpleNamespace(overview=builder.finish(), story=story, log=SimpleNamespace(start_s=0.0))
    channel = Accuracy(gain_rel=0.01, offset=0.02, resolution=0.005)

    seen = _let_go(bench, 0.167, channel)

    assert seen.value == pytest.approx(0.035 / 0.167, rel=0.01)
    story.off = ((0.0, 10.0), (45.0, 60.0))
    assert _let_go(bench, 0.167, channel) is None


def test_alternators_share_is_taken_while_the_circuits_are_on():
    """The circuits are marked off in the last fifth of the run: what they no longer draw is nobody's share."""
    start = np.arange(0, 40, 0.2)
    points = SimpleNamespace(start_s=start, end_s=start + 0.2, amps=np.where(start < 32, 15.6, 5.0))
    bench = SimpleNamespace(
        story=SimpleNamespace(running=[SimpleNamespace(from_s=0.0, to_s=40.0)]),
        log=SimpleNamespace(marks=[Mark(32.0, "slot 1 off"), Mark(36.0, "slot 2 off")]),
    )

    assert _with_all_on(bench, points, -13.5) == pytest.approx(-15.6)
    bench.log.marks = []
    assert _with_all_on(bench, points, -13.5) == -13.5
