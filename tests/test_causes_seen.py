"""Causes from hand-written quantities: what each parts, what it cannot, and what asks for no cause."""

from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchlog.verdict.causes.faults import FAULTS
from benchlog.verdict.causes.fit import find_causes
from benchlog.verdict.causes.parting import PARTINGS, parting
from benchlog.verdict.causes.seen import QUANTITIES, Seen
from benchlog.verdict.registry.table import CHECKS
from benchlog.verdict.result import Cause, Check

#: Every check but the circuits'.
OTHERS = tuple(spec.id for spec in CHECKS if spec.id != "slot_N_current")
SLOTS = ("slot_1_current", "slot_2_current", "slot_3_current")
#: Quantities of a good install on a logger of all five channels.
GOOD = {
    **{
        "trigger_on": 0.98,
        "trigger_duty": 1.0,
        "trigger_falls_hz": 0.0,
        "feed_falls_hz": 0.0,
        "trigger_off": 0.0,
        "trigger_before": 0.0,
        "trigger_fall_s": 0.0,
    },
    **{"feed_on": 0.98, "feed_duty": 1.0, "feed_off": 0.0, "feed_before": 0.0, "bus_on": 0.01, "openings": 0.0},
    **{"load_on": 1.0, "feed_path": 0.6, "ground_path": 0.5, "pull_in": 0.3, "drop_out": 0.3, "drop_out_own": 0.3},
    **{"drain_base": 0.5, "off_charge_a": 0.0005, "settle": 0.3, "source": 0.6, "sag": 0.6, "rest_short_v": -0.3},
    **{"crank_short_v": -1.0, "feed_lead_s": -0.01, "clip_slope": -0.9, "load_swing": 0.0},
    **{"coil_before": 0.01, "charge_over_v": -0.5, "charge_under_v": -0.7, "alternator_share": 1.1},
    **{"run_raise_v": 1.8, "run_rest_v": 1.5, "slot_1": 1.0, "slot_2": 1.02, "slot_3": 0.97},
}
DEAD_SLOTS = {"slot_1": 0.0, "slot_2": 0.0, "slot_3": 0.0, "load_on": 0.0}


def table(values: Mapping[str, float], u: float = 0.01) -> dict[str, Seen]:
    """The quantities with one uncertainty; circuits with the plan's limits."""
    return {
        name: Seen(value, u * 1e-3 if QUANTITIES.get(name) and QUANTITIES[name].asks else u, name, 0.8, 1.2)
        if name.startswith("slot_")
        else Seen(value, u * 1e-3 if QUANTITIES[name].asks else u, name)
        for name, value in values.items()
    }


def check(check_id: str, verdict: str = "fail") -> Check:
    """A judged check."""
    return Check(id=check_id, title="t", verdict=verdict, unit="V", because="b")


def causes(values: Mapping[str, float], *failed: str) -> list[Cause]:
    """The causes that these quantities and failed checks give."""
    return find_causes(table(values), [check(one) for one in failed], {})


def named(values: Mapping[str, float], *failed: str) -> set[str]:
    """Their ids."""
    return {cause.id for cause in causes(values, *failed)}


DEAD_FEED = {"feed_on": 0.0, "feed_duty": 0.0}
CASES: dict[str, tuple[dict[str, float], tuple[str, ...]]] = {
    "trigger_always_live": (
        {
            "trigger_off": 0.98,
            "feed_off": 1.0,
            "trigger_before": 0.98,
            "feed_before": 1.0,
            "drain_base": 130.0,
            "coil_off": 1.0,
            "coil_before": 1.0,
        },
        ("off_state_drain", "feed_off_voltage", "relay_drop_out"),
    ),
    "backfed_coil": (
        {"trigger_off": 0.95, "feed_off": 1.0, "drain_base": 2000.0, "load_off": 1.0},
        ("off_state_drain",),
    ),
    "welded_contact": ({"feed_off": 1.0, "feed_before": 1.0}, ("feed_off_voltage", "relay_drop_out")),
    "inverted_contact": (
        {"feed_off": 1.0, "feed_before": 1.0, **DEAD_FEED, **DEAD_SLOTS},
        ("feed_off_voltage", *SLOTS),
    ),
    "feed_resistance": ({"feed_path": 1.6}, ("feed_drop",)),
    "ground_resistance": ({"ground_path": 1.6}, ("ground_lift",)),
    "ground_open": ({"bus_on": 0.97, **DEAD_SLOTS}, SLOTS),
    "slot_dead": ({"slot_2": 0.0, "load_on": 0.67}, ("slot_2_current",)),
    "slot_overload": ({"slot_2": 1.5}, ("slot_2_current",)),
    "unswitched_device": ({"drain_base": 8.0}, ("off_state_drain",)),
    "waking_device": ({"drain_wakes": 3.0}, ("off_state_drain",)),
    "slow_to_sleep": ({"settle": 1.4}, ("settle_time",)),
    "slow_trigger_decay": ({"trigger_fall_s": 0.12, "drop_out": 2.1, "drop_out_own": 0.1}, ("relay_drop_out",)),
    "weak_coil_supply": ({"trigger_on": 0.6, "pull_in": 1.4, "openings": 2.0}, ("relay_pull_in", "relay_chatter")),
    "weak_battery": ({"source": 1.7, "sag": 1.5}, ("source_resistance", "battery_sag")),
    "no_charge": (
        {"charge_under_v": 1.5, "alternator_share": 0.0, "run_raise_v": 0.0, "run_rest_v": -0.4},
        ("charging_voltage", "charging_balance"),
    ),
    "overcharge": ({"charge_over_v": 0.4}, ("charging_voltage",)),
    "load_exceeds_charging": (
        {"charge_under_v": 1.3, "alternator_share": 0.6, "run_raise_v": 0.3, "run_rest_v": -0.1},
        ("charging_voltage", "charging_balance"),
    ),
    "trigger_dead": (
        {"trigger_on": 0.0, "trigger_duty": 0.0, **DEAD_FEED, **DEAD_SLOTS},
        SLOTS,
    ),
    "slow_relay": ({"drop_out": 1.9, "drop_out_own": 1.8}, ("relay_drop_out",)),
    "pulsed_trigger": (
        {"trigger_duty": 0.5, "trigger_falls_hz": 2.0, "feed_duty": 0.5, "openings": 80.0, "load_swing": 0.9},
        ("relay_chatter",),
    ),
    "intermittent_feed": ({"feed_duty": 0.98, "openings": 14.0}, ("relay_chatter",)),
    "charging_while_off": ({"off_charge_a": -0.4, "drain_base": -400.0}, ()),
    "clips_swapped": ({"feed_lead_s": 0.012, "clip_slope": 0.9}, ()),
}


@pytest.mark.parametrize("name", CASES)
def test_five_channels_name_one_fault(name):
    """With every quantity measured, each fault is named alone."""
    changed, failed = CASES[name]

    assert named({**GOOD, **changed}, *failed) == {name}


def test_five_channels_cannot_part_coil_and_feed():
    """Trigger up and feed dead is the coil or the feed, with one fit, and the click tells."""
    got = causes({**GOOD, **DEAD_FEED, **DEAD_SLOTS}, "relay_pull_in", *SLOTS)

    assert {cause.id for cause in got} == {"coil_open", "feed_open"}
    assert got[0].fit == got[1].fit
    assert all("listen or feel at the relay" in cause.next_test.split(";")[0] for cause in got)


@pytest.mark.parametrize(("kick_v", "name"), [(0.0, "coil_open"), (0.7, "feed_open"), (50.0, "feed_open")])
def test_the_coils_kick_tells_a_coil_from_its_feed(kick_v: float, name: str):
    """A trigger that goes below zero as it is let go had a coil's current; one that surely does not had none."""
    got = causes({**GOOD, **DEAD_FEED, **DEAD_SLOTS, "coil_kick_v": kick_v}, "relay_pull_in", *SLOTS)

    assert [cause.id for cause in got] == [name]


def test_a_lead_of_less_than_two_uncertainties_tells_only_where_something_failed():
    """Clips that are changed over: 1.7 uncertainties of lead explain openings that failed, and ask nothing alone."""
    seen = table({**GOOD, "openings": 2.0, "feed_duty": 0.87, "trigger_fall_s": 1.7})
    seen["feed_lead_s"] = Seen(0.0051, 0.003, "lead")
    del seen["clip_slope"]

    assert find_causes(seen, [check("relay_chatter")], {})[0].id == "clips_swapped"
    assert find_causes(seen, [check("relay_chatter", "not proven")], {}) == []


TWO_CHANNELS = ("drain_base", "off_charge_a", "settle", "source", "sag", "rest_short_v", "slot_1", "slot_2", "slot_3")


def two_channels(changed: Mapping[str, float]) -> dict[str, float]:
    """What a logger of the battery alone shows."""
    return {**{name: GOOD[name] for name in (*TWO_CHANNELS, "load_on", "coil_before")}, **changed}


def test_two_channels_name_all_that_kills_the_feed():
    """Circuits that draw nothing with the key on, and nothing with it off although left on: four faults, one fit."""
    got = causes(two_channels({**DEAD_SLOTS, "load_off": 0.0}), *SLOTS)

    assert {cause.id for cause in got} == {"coil_open", "feed_open", "ground_open", "trigger_dead"}
    assert len({cause.fit for cause in got}) == 1
    assert len({cause.next_test.split(";")[0] for cause in got}) == 1


def test_two_channels_cannot_exclude_a_contact_the_wrong_way_round_where_all_was_switched_off():
    """Nobody saw what the circuits draw with the key off, so the feed on 87a is as good."""
    assert "inverted_contact" in named(two_channels(DEAD_SLOTS), *SLOTS)
    assert named(two_channels({**DEAD_SLOTS, "load_off": 1.0, "drain_base": 9000.0}), *SLOTS) == {"inverted_contact"}


def test_each_channel_takes_faults_from_the_group():
    """The trigger tells its own fault, the feed the ground's; what is left stays together."""
    dead = two_channels({**DEAD_SLOTS, "load_off": 0.0})

    with_trigger = named({**dead, "trigger_on": 0.98, "trigger_duty": 1.0}, *SLOTS)
    with_feed = named({**dead, "feed_on": 0.0, "feed_off": 0.0}, *SLOTS)
    with_live_feed = named({**dead, "feed_on": 0.98, "feed_off": 0.0}, *SLOTS)

    assert with_trigger == {"coil_open", "feed_open", "ground_open"}
    assert with_feed == {"coil_open", "feed_open", "trigger_dead"}
    assert with_live_feed == {"ground_open"}


def test_two_channels_name_all_that_keeps_the_feed_live():
    """Circuits that draw the same with the key off: trigger, coil or contact; before the key-on nothing flowed."""
    live = two_channels({"load_off": 1.01, "drain_base": 9000.0})

    assert named(live, "off_state_drain") == {"backfed_coil", "welded_contact"}
    del live["coil_before"]
    assert named(live, "off_state_drain") == {"trigger_always_live", "backfed_coil", "welded_contact"}


def test_coil_alone_with_the_key_off_is_no_contact():
    """Everything switched off and the coil's own current left: what holds the coil, not a contact that stays closed."""
    coil = two_channels({"coil_off": 1.0, "drain_base": 130.0})

    assert named(coil, "off_state_drain") == {"backfed_coil"}
    assert named({**coil, "coil_before": 1.0}, "off_state_drain") == {"trigger_always_live"}


def test_circuits_that_draw_before_the_key_on_pull_the_battery_down_and_are_no_weak_battery():
    """A resting voltage below its limit follows from the load on it."""
    changed, failed = CASES["trigger_always_live"]

    assert named({**GOOD, **changed, "rest_short_v": 0.2}, *failed, "resting_voltage") == {"trigger_always_live"}


def test_pulses_on_two_channels_are_no_dead_feed():
    """Circuits without a steady step whose current swings: the trigger or the coil's supply."""
    got = named(two_channels({**DEAD_SLOTS, "load_off": 0.0, "load_swing": 0.9}), *SLOTS)

    assert got == {"pulsed_trigger", "weak_coil_supply"}


def test_one_circuit_in_the_plan_leaves_it_open_whether_circuit_or_feed_is_dead():
    """With a single circuit and two channels a dead circuit looks like a dead feed; with three it does not."""
    one = {"slot_1": 0.0, "load_on": 0.0, "load_off": 0.0}

    assert named(one, "slot_1_current") == {"slot_dead", "coil_open", "feed_open", "ground_open", "trigger_dead"}
    assert "slot_dead" not in named(two_channels({**DEAD_SLOTS, "load_off": 0.0}), *SLOTS)


def test_late_drop_out_belongs_to_trigger_or_relay_by_when_the_trigger_is_gone():
    """The relay's own time counts from where the trigger holds no coil."""
    late = {"drop_out": 2.1, "trigger_fall_s": 0.12}

    assert named({**GOOD, **late, "drop_out_own": 0.2}, "relay_drop_out") == {"slow_trigger_decay"}
    assert named({**GOOD, "drop_out": 2.1, "drop_out_own": 2.0}, "relay_drop_out") == {"slow_relay"}


def test_clips_that_are_changed_over_hide_what_the_circuits_draw():
    """Loads are told by the feed that sinks under them, so circuits that seem dead follow from the clips."""
    changed, _ = CASES["clips_swapped"]

    assert named({**GOOD, **changed, **DEAD_SLOTS}, *SLOTS) == {"clips_swapped"}


def test_share_that_is_not_known_leaves_alternator_and_load_together():
    """Where the alternator's part lies anywhere from nothing to all, both are named with one fit."""
    changed, failed = CASES["load_exceeds_charging"]
    seen = {**table({**GOOD, **changed, "run_raise_v": 0.2}), "alternator_share": Seen(0.5, 0.4, "")}

    got = find_causes(seen, [check(one) for one in failed], {})

    assert {cause.id for cause in got} == {"no_charge", "load_exceeds_charging"}
    assert got[0].fit == got[1].fit


def test_clear_disagreement_rules_a_fault_out():
    """A device fed around the relay leaves the feed dead; a feed that is live by four uncertainties is none."""
    assert named({**GOOD, "drain_base": 8.0, "feed_off": 0.4}, "off_state_drain") == set()


def test_wrong_quantity_without_a_failed_check_names_nothing():
    """Suspicion alone is not printed: every fault's quantities, all checks passed or open."""
    for name, (changed, _) in CASES.items():
        if name not in ("charging_while_off", "clips_swapped"):
            judged = [check(one, "not proven") for one in OTHERS] + [check(slot, "not seen") for slot in SLOTS]
            assert find_causes(table({**GOOD, **changed}), judged, {}) == [], name


def test_failed_check_without_a_wrong_quantity_names_nothing():
    """No fault is better than a good install there."""
    assert [one for one in (*OTHERS, *SLOTS) if named(GOOD, one)] == []


def test_current_into_the_battery_asks_beyond_two_uncertainties():
    """At one and a half it may be the zero."""
    little = {**table(GOOD), "off_charge_a": Seen(-0.015, 0.01, "")}
    more = {**table(GOOD), "off_charge_a": Seen(-0.025, 0.01, "")}

    assert find_causes(little, [], {}) == []
    assert [cause.id for cause in find_causes(more, [], {})] == ["charging_while_off"]


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_whatever_is_measured_of_a_good_install_names_nothing(data):
    """Any part of the quantities, each anywhere in its healthy range, whatever failed."""
    names = data.draw(st.sets(st.sampled_from(sorted(GOOD))))
    values = {}
    for name in names:
        quantity = QUANTITIES.get(name)
        low, high = (0.8, 1.2) if quantity is None else (quantity.low, quantity.high)
        low, high = max(low, -5.0 if low < -5 else low), min(high, 5.0)
        values[name] = data.draw(st.floats(low, high))
    failed = data.draw(st.sets(st.sampled_from([*OTHERS, *SLOTS])))

    assert named(values, *failed) == set()


#: What each channel shows: a quantity of two channels needs both.
CHANNELS = {
    "trigger": ("trigger_on", "trigger_duty", "trigger_falls_hz", "trigger_off", "trigger_before", "trigger_fall_s"),
    "feed": ("feed_on", "feed_duty", "feed_falls_hz", "feed_off", "feed_before", "openings", "feed_path"),
    "trigger feed": ("pull_in", "drop_out", "drop_out_own", "feed_lead_s", "clip_slope"),
    "ground": ("ground_path",),
    "ground feed": ("bus_on",),
    "current": (
        "drain_base",
        "off_charge_a",
        "settle",
        "source",
        "sag",
        "load_swing",
        "coil_before",
        "coil_off",
        "load_off",
    ),
    "slots": ("load_on", "slot_1", "slot_2", "slot_3"),
    "engine": ("charge_over_v", "charge_under_v", "alternator_share", "run_raise_v", "run_rest_v"),
    "": ("rest_short_v", "crank_short_v", "drain_wakes"),
}


@settings(max_examples=300, deadline=None)
@given(
    st.sets(st.sampled_from(["trigger", "feed", "ground", "current", "slots", "engine"])),
    st.sampled_from(sorted(CASES)),
    st.integers(0, 2**32 - 1),
)
def test_whatever_channels_there_are_the_true_fault_is_never_beaten(channels, name, seed):
    """With any of the channels another fault may be as good as the true one, never better."""
    changed, failed = CASES[name]
    shown = {one for needs, ones in CHANNELS.items() if set(needs.split()) <= channels for one in ones}
    noise = np.random.default_rng(seed)
    values = {
        one: value if QUANTITIES.get(one) and QUANTITIES[one].asks else value + noise.normal(0, 0.003)
        for one, value in {**GOOD, **changed}.items()
        if one in shown
    }

    got = causes(values, *failed)

    assert not got or name in [cause.id for cause in got if cause.fit == got[0].fit]


def test_every_quantity_has_its_channel_in_the_tests():
    """No quantity of a good install is left out of the channels above."""
    assert set(GOOD) <= {one for ones in CHANNELS.values() for one in ones}


def test_best_parting_test_leaves_the_fewest_together():
    """Of three faults the test that parts all three comes before one that parts two."""
    three = parting(["trigger_always_live", "backfed_coil", "welded_contact"])
    four = parting(["coil_open", "feed_open", "ground_open", "trigger_dead"])

    assert "measure at 86, then pull the relay" in three
    assert "to the fuse block's stud, to the ground bus" in four
    assert parting(["slow_relay"]) == ""


def test_parting_tests_name_known_faults_and_part_something():
    """Each test has at least two outcomes, and no outcome for a fault that does not exist."""
    ids = {fault.id for fault in FAULTS}

    assert all(set(test.ends) <= ids for test in PARTINGS)
    assert all(len(set(test.ends.values())) > 1 for test in PARTINGS)
