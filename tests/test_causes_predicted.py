"""What each fault predicts, from both sides of every edge: one fault at a time, on figures written by hand."""

import math
from collections.abc import Iterator

import pytest

from benchlog.verdict.causes import fit
from benchlog.verdict.causes.faults import FAULTS, by_id
from benchlog.verdict.causes.fit import find_causes
from benchlog.verdict.causes.seen import QUANTITIES, SLOT, Seen
from benchlog.verdict.result import Check

INF = math.inf
#: Fault -> quantity -> (least, most) that agrees with it; ``slot_N`` with healthy currents of 0.8 to 1.2.
AGREES: dict[str, dict[str, tuple[float, float]]] = {
    "trigger_always_live": {
        **{"trigger_off": (0.5, 1.1), "feed_off": (0.6, 1.1), "trigger_before": (0.5, 1.1), "feed_before": (0.6, 1.1)},
        **{"load_off": (0.45, INF), "load_before": (0.2, INF), "coil_off": (0.7, 1.5), "coil_before": (0.7, 1.5)},
        **{"line_off": (1.0, INF), "line_before": (1.0, INF), "coil_held": (0.7, INF)},
    },
    "backfed_coil": {
        **{"trigger_off": (0.5, 1.1), "feed_off": (0.6, 1.1), "trigger_before": (-0.1, 0.2)},
        **{"feed_before": (-0.1, 0.2), "load_off": (0.45, INF), "load_before": (-0.08, 0.12), "coil_off": (0.7, 1.5)},
        **{"coil_before": (-INF, 0.5), "line_off": (1.0, INF), "coil_held": (0.7, INF)},
    },
    "welded_contact": {
        **{"trigger_off": (-0.1, 0.2), "feed_off": (0.6, 1.1), "feed_on": (0.6, 1.1), "load_off": (0.45, 1.4)},
        **{"coil_off": (-INF, 0.5), "coil_before": (-INF, 0.5), "trigger_before": (-0.1, 0.2)},
        "coil_held": (-INF, 0.5),
    },
    "inverted_contact": {
        **{"trigger_off": (-0.1, 0.2), "feed_off": (0.6, 1.1), "trigger_on": (0.6, 1.1), "feed_on": (-0.1, 0.2)},
        **{"load_off": (0.45, 1.4), "coil_off": (-INF, 0.5), "coil_before": (-INF, 0.5), "slot_1": (-0.08, 0.12)},
        **{"trigger_before": (-0.1, 0.2), "feed_before": (0.6, 1.1), "coil_held": (-INF, 0.5), "keyed_a": (-INF, 15.0)},
    },
    "coil_open": {
        **{"trigger_on": (0.6, 1.1), "feed_on": (-0.1, 0.2), "feed_off": (-0.1, 0.2), "load_on": (-0.08, 0.12)},
        **{"slot_1": (-0.08, 0.12), "coil_kick_v": (-INF, 0.2)},
    },
    "feed_open": {
        **{"trigger_on": (0.6, 1.1), "feed_on": (-0.1, 0.2), "feed_off": (-0.1, 0.2), "load_on": (-0.08, 0.12)},
        **{"slot_1": (-0.08, 0.12), "coil_kick_v": (0.3, INF)},
    },
    "feed_resistance": {"feed_path": (1.0, INF), "feed_on": (0.3, 1.1)},
    "ground_resistance": {"ground_path": (1.0, INF), "bus_on": (-0.05, 0.4)},
    "ground_open": {"feed_on": (0.6, 1.1), "bus_on": (0.4, 1.1), "load_on": (-0.08, 0.12), "slot_1": (-0.08, 0.12)},
    "slot_dead": {"feed_on": (0.6, 1.1), "bus_on": (-0.05, 0.3), "slot_1": (-0.08, 0.12)},
    "slot_overload": {"slot_1": (1.2, INF)},
    "unswitched_device": {
        "drain_base": (1.0, INF),
        "feed_off": (-0.1, 0.2),
        "load_off": (-INF, 0.35),
        "before_off": (0.5, 2.0),
    },
    "waking_device": {"drain_wakes": (1.0, INF), "feed_off": (-0.1, 0.2)},
    "slow_to_sleep": {"settle": (1.0, INF), "feed_off": (-0.1, 0.2), "load_off": (-INF, 0.35)},
    "slow_trigger_decay": {
        "trigger_fall_s": (0.02, INF),
        "trigger_off": (-0.1, 0.2),
        "drop_out": (1.0, INF),
        "drop_out_own": (-INF, 1.0),
    },
    "weak_coil_supply": {
        **{"trigger_on": (0.2, 0.8), "load_swing": (0.25, INF), "openings": (1.0, INF), "trigger_duty": (0.96, 1.1)}
    },
    "weak_battery": {"source": (1.0, INF), "rest_short_v": (0.0, INF), "sag": (1.0, INF), "crank_short_v": (0.0, INF)},
    "no_charge": {
        **{"alternator_share": (-0.3, 0.06), "run_raise_v": (-1.5, 0.2), "run_rest_v": (-2.0, 0.1)},
        **{"charge_under_v": (0.0, INF), "run_charged": (-INF, 0.02)},
    },
    "overcharge": {"charge_over_v": (0.0, INF)},
    "load_exceeds_charging": {"alternator_share": (0.1, 0.97), "run_rest_v": (-2.0, 0.25)},
    "trigger_dead": {
        **{"trigger_on": (-0.1, 0.2), "trigger_duty": (-0.1, 0.06), "feed_on": (-0.1, 0.2), "feed_off": (-0.1, 0.2)},
        **{"load_on": (-0.08, 0.12), "slot_1": (-0.08, 0.12)},
    },
    "slow_relay": {
        **{"trigger_on": (0.8, 1.1), "trigger_fall_s": (-INF, 0.03), "drop_out": (1.0, INF), "pull_in": (1.0, INF)},
        "drop_out_own": (1.0, INF),
    },
    "pulsed_trigger": {
        **{"trigger_duty": (0.06, 0.95), "trigger_falls_hz": (0.3, INF), "load_swing": (0.25, INF)},
        "openings": (1.0, INF),
    },
    "intermittent_feed": {"openings": (1.0, INF), "trigger_on": (0.8, 1.1), "trigger_duty": (0.96, 1.1)},
    "charging_while_off": {"off_charge_a": (-INF, 0.0)},
    "clips_swapped": {"feed_lead_s": (0.0, 0.5), "clip_slope": (0.2, 1.1)},
}  # fmt: skip
#: A circuit's limits over its planned current.
LOW, HIGH = 0.8, 1.2


def soft_of(name: str) -> float:
    """How far outside is still no contradiction."""
    return QUANTITIES.get(name, SLOT).softness


def healthy_of(name: str) -> tuple[float, float]:
    """The figures of a good install."""
    return (LOW, HIGH) if name == "slot_1" else (QUANTITIES[name].low, QUANTITIES[name].high)


def typical(low: float, high: float) -> float:
    """A figure that agrees and that no good install shows, if there is any."""
    if math.isinf(low):
        return high - 1.0
    return low + 1.0 if math.isinf(high) else (low + high) / 2


def edges() -> Iterator[tuple[str, str, float, float]]:
    """Fault, quantity, the figure at an edge, and one softness beyond it: where what lies beyond is no good install."""
    for fault, quantities in AGREES.items():
        for name, (low, high) in quantities.items():
            least, most = healthy_of(name)
            if not math.isinf(low) and low != most:
                yield fault, name, low, low - soft_of(name)
            if not math.isinf(high) and high != least:
                yield fault, name, high, high + soft_of(name)


def fit_of(monkeypatch: pytest.MonkeyPatch, fault: str, **changed: float) -> float | None:
    """The fault's fit where there is no other, with its typical figures but these; None where it is not named."""
    monkeypatch.setattr(fit, "FAULTS", (by_id(fault),))
    values = {name: typical(*interval) for name, interval in AGREES[fault].items()} | changed
    seen = {
        name: Seen(value, 0.0, name, *((LOW, HIGH) if name == "slot_1" else (None, None)))
        for name, value in values.items()
    }
    failed = by_id(fault).explains[0].replace("N", "1")
    causes = find_causes(seen, [Check(id=failed, title="t", verdict="fail", unit="V", because="b")], {})
    return causes[0].fit if causes else None


def test_every_fault_has_its_edges_here():
    """None is left out."""
    assert set(AGREES) == {fault.id for fault in FAULTS}


@pytest.mark.parametrize("fault", AGREES)
def test_every_edge_of_what_a_fault_predicts(fault: str, monkeypatch: pytest.MonkeyPatch):
    """At an edge nothing disagrees; a softness beyond it half a point does, which leaves e to the -1/16 of the fit."""
    assert fit_of(monkeypatch, fault) == 1.0
    for of, name, at, beyond in edges():
        if of == fault:
            assert (name, fit_of(monkeypatch, fault, **{name: at})) == (name, 1.0)
            assert (name, fit_of(monkeypatch, fault, **{name: beyond})) == (
                name,
                pytest.approx(math.exp(-1 / 16), abs=6e-4),
            )


#: Fault, the quantity that alone tells of it, and an edge of a good install beyond which it is named.
ALONE = {
    "feed_resistance": ("feed_path", 1.0),
    "ground_resistance": ("ground_path", 1.0),
    "unswitched_device": ("drain_base", 1.0),
    "waking_device": ("drain_wakes", 1.0),
    "slow_to_sleep": ("settle", 1.0),
    "slow_trigger_decay": ("trigger_fall_s", 0.02),
    "weak_battery": ("source", 1.0),
    "overcharge": ("charge_over_v", 0.0),
    "no_charge": ("charge_under_v", 0.0),
    "slow_relay": ("pull_in", 1.0),
    "clips_swapped": ("feed_lead_s", 0.0),
}


@pytest.mark.parametrize("fault", ALONE)
def test_fault_that_one_figure_tells_is_named_from_1_6_softnesses_over_the_limit(
    fault: str, monkeypatch: pytest.MonkeyPatch
):
    """Half of 1.5 squared is 1.1 and too little, half of 1.6 squared 1.3."""
    name, limit = ALONE[fault]
    monkeypatch.setitem(AGREES, fault, {name: AGREES[fault][name]})

    assert fit_of(monkeypatch, fault, **{name: limit + 1.5 * soft_of(name)}) is None
    assert fit_of(monkeypatch, fault, **{name: limit + 1.6 * soft_of(name)}) is not None


@pytest.mark.parametrize("name", ["source", "sag", "rest_short_v", "crank_short_v"])
def test_each_sign_of_a_weak_battery_is_enough(name: str, monkeypatch: pytest.MonkeyPatch):
    """One of four figures out of its limit, all others unknown."""
    monkeypatch.setitem(AGREES, "weak_battery", {name: AGREES["weak_battery"][name]})

    assert fit_of(monkeypatch, "weak_battery", **{name: QUANTITIES[name].high + 0.02}) == 1.0


def test_overload_begins_where_the_plan_ends(monkeypatch: pytest.MonkeyPatch):
    """A fuse that bears 0.9 of the planned current makes 0.95 of it too much; without a limit of the plan none is."""
    monkeypatch.setattr(fit, "FAULTS", (by_id("slot_overload"),))
    failed = [Check(id="slot_1_current", title="t", verdict="fail", unit="A", because="b")]

    assert [cause.fit for cause in find_causes({"slot_1": Seen(0.95, 0.0, "", 0.7, 0.9)}, failed, {})] == [1.0]
    assert find_causes({"slot_1": Seen(0.89, 0.0, "", 0.7, 0.9)}, failed, {}) == []
    assert find_causes({"slot_1": Seen(1.5, 0.0, "")}, failed, {}) == []


def test_what_one_fault_may_move_by_chance_costs_two_points(monkeypatch: pytest.MonkeyPatch):
    """A weak battery that moves a circuit's current must gain 1.2 beyond 2: 0.024 too much says 2.9, 0.026 3.4."""
    monkeypatch.setattr(fit, "FAULTS", (by_id("weak_battery"),))
    failed = [Check(id="source_resistance", title="t", verdict="fail", unit="mΩ", because="b")]

    def evidence(over: float) -> list[str]:
        seen = {"source": Seen(1.5, 0.0, "source"), "slot_1": Seen(HIGH + over, 0.0, "slot", LOW, HIGH)}
        return find_causes(seen, failed, {})[0].evidence

    assert evidence(0.024) == ["source"]
    assert sorted(evidence(0.026)) == ["slot", "source"]


@pytest.mark.parametrize("name", ["keyed_a", "before_off", "coil_held", "coil_kick_v", "run_charged"])
def test_figures_that_no_good_install_bounds(name: str):
    """Whatever they read, they speak against no good install."""
    assert [Seen(value, 0.0, "").healthy(name) for value in (-1e6, 1e6)] == [(-INF, INF)] * 2


@pytest.mark.parametrize(("share", "expected"), [(0.97, 1.0), (0.99, 0.939)])
def test_alternator_that_carries_all_is_not_overloaded(share: float, expected: float, monkeypatch: pytest.MonkeyPatch):
    """From 97 % of the load on it is as a good one's, and a softness of 2 % beyond that speaks against the fault."""
    assert fit_of(monkeypatch, "load_exceeds_charging", alternator_share=share) == expected


def test_trigger_that_is_too_low_for_a_weak_supply_speaks_against_it(monkeypatch: pytest.MonkeyPatch):
    """At 1.6 softnesses below 0.2 of the battery: half of 1.6 squared against, whatever else the coil shows."""
    low = 0.2 - 1.6 * soft_of("trigger_on")

    assert fit_of(monkeypatch, "weak_coil_supply", trigger_on=low) == pytest.approx(math.exp(-1.28 / 8), abs=6e-4)
