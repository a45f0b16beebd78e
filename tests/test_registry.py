"""What each kind of check is to judging, remedies and causes: which is which, felt where it counts."""

import json
import math
from contextlib import nullcontext
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from benchlog.analysis.measurement import Measured, UncertaintyParts
from benchlog.core.trace import Band, Overview, Trace
from benchlog.core.uncertainty import Z_PROVEN
from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Plan, plan_from_mapping
from benchlog.verdict.agreeing import judged_of
from benchlog.verdict.causes import fit
from benchlog.verdict.causes.fault import Fault
from benchlog.verdict.causes.fit import find_causes
from benchlog.verdict.causes.seen import Seen
from benchlog.verdict.checks import judge, overall, score
from benchlog.verdict.evidence import LogEvidence, Span
from benchlog.verdict.registry.key_off import NO_BEFORE, lacks_before
from benchlog.verdict.registry.table import (
    CHECKS,
    check_of,
    checks_of,
    find_check,
    is_fuse_check,
    is_of,
    limits_of,
    not_planned,
    planned_value_of,
)
from benchlog.verdict.remedies import what_would_prove
from benchlog.verdict.result import Cause, Check, Result
from benchlog.verdict.schemas import schema_of, schema_text

MAX = PlannedLimit(None, 1.0, "given", "k")
DRAINS, BY_SAMPLES = {"off_state_drain", "added_drain"}, {"relay_pull_in", "relay_drop_out"}


def plan(**tables: Any) -> Plan:
    """A plan of these tables."""
    given = {"install": {"bike": "Elder"}, "battery": {"chemistry": "agm", "capacity_ah": 11.2}}
    return plan_from_mapping({**given, **tables})


def test_checks_whose_time_is_that_with_the_key_off():
    """More of it is asked for with the key off; for a relay's times a rate is asked for."""
    parts = UncertaintyParts(0.15, 600.0, 0.0, 0.06, 0.0)
    asked = {}
    for kind in CHECKS:
        if kind.id != "feed_in_crank":
            found = Measured(1.0 - Z_PROVEN * 0.1, parts.u, 0.0, 1.0, parts=parts)
            asked[kind.id] = what_would_prove(kind, found, MAX)

    with_key_off = {name for name, text in asked.items() if "more with the key off would prove it" in text}
    assert with_key_off == {*DRAINS, "feed_off_voltage", "resting_voltage"}
    assert {name for name, text in asked.items() if "samples a second" in text} == BY_SAMPLES


def test_only_of_drains_the_longest_watch_decides():
    """A night that is less sure comes before ten minutes that are surer; elsewhere the surer figure counts."""
    night, short = Measured(0.5, 0.05, 0.0, 1.0, watched_s=28800.0), Measured(0.5, 0.01, 0.0, 1.0, watched_s=600.0)
    measured = [kind for kind in CHECKS if kind.id != "feed_in_crank"]  # half a second of loss is one in either
    longest = {kind.id for kind in measured if judged_of(kind, [("a", night), ("b", short)], MAX)[0] == "a"}

    assert longest == DRAINS


def test_checks_that_no_fault_explains_while_they_are_open(monkeypatch: pytest.MonkeyPatch):
    """A drain without a log from before and a feed that nobody cranked are no trace of a fault."""
    every = tuple(kind.id for kind in CHECKS)
    wide = Fault("wide", "t", "s", {"feed_path": (1.0, math.inf)}, every, ("look",))
    monkeypatch.setattr(fit, "FAULTS", (wide,))
    ids = [kind.id.replace("N", "1") for kind in CHECKS]
    checks = [
        Check(id=name, title="t", verdict="fail" if name == "feed_drop" else "not seen", unit="V", because="b")
        for name in ids
    ]

    (found,) = find_causes({"feed_path": Seen(2.0, 0.0, "")}, checks, {})

    assert set(ids) - set(found.explains) == {"added_drain", "feed_in_crank"}


def test_what_a_plan_says_of_the_feed_while_cranking():
    """No loss to hold, some loss to drop, any is no check; each in its words."""
    limits = {wanted: limits_of(plan(limits={"feed_in_crank": wanted})) for wanted in ("hold", "drop", "any")}
    words = check_of("feed_in_crank").kind.limit_words
    assert words is not None
    assert words.plan is not None

    hold, drop = limits["hold"]["feed_in_crank"], limits["drop"]["feed_in_crank"]
    assert (hold.min, hold.max, drop.min, drop.max) == (None, 0.0, 0.0, None)
    assert "feed_in_crank" not in limits["any"]
    assert [words.plan(each) for each in (hold, drop)] == ["no loss", "a loss is seen"]
    assert [words.sentence(each) for each in (hold, drop)] == [
        "the plan, which allows no loss",
        "the plan, in which the feed drops",
    ]


def test_a_relay_may_not_chatter_once():
    """None is allowed where the plan has a relay; without one nothing is planned."""
    limit = limits_of(plan(relay={}))["relay_chatter"]

    assert (limit.min, limit.max) == (None, 0.0)
    assert "relay_chatter" in not_planned(plan())
    kind = check_of("relay_chatter").kind
    clauses = [kind.clause(Measured(value, 0.0, 0.0, 1.0), f"{value:g}") for value in (0.0, 1.0, 2.0)]
    assert clauses == [
        "the contact did not open or re-close out of turn",
        "the contact opened or re-closed out of turn once",
        "the contact opened or re-closed out of turn 2 times",
    ]
    other = check_of("feed_drop").kind
    assert [other.clause(Measured(value, 0.0, 0.0, 1.0), "x") for value in (0.0, 1.0)] == [other.found.format("x")] * 2
    cranked = check_of("feed_in_crank").kind
    assert "no loss" in cranked.clause(Measured(0.0, 0.0, 0.0, 1.0), "0 s")
    assert "lost for 1 s" in cranked.clause(Measured(1.0, 0.0, 0.0, 1.0), "1 s")


def test_a_fuse_at_its_wires_limit_passes_and_is_sure():
    """30 A before 4 mm2; a little more is open, as tables differ, and much more a fire risk."""
    ends = {
        fuse_a: next(
            (each.verdict, each.because)
            for each in judge(plan(feed={"fuse_a": fuse_a, "conductor": "4 mm2"}), [("a", {})])
            if each.id == "feed_fuse"
        )
        for fuse_a in (30, 31, 60)
    }

    assert [verdict for verdict, _ in ends.values()] == ["pass", "not proven", "fail"]
    assert ends[60][1].startswith("Fire risk, the feed: a 60 A fuse")
    assert "Fire risk" not in ends[31][1]


def test_each_circuit_has_its_checks_in_the_order_of_slots():
    """By slot, with the device; the planned current is the planned value, and its limits follow from it."""
    two = plan(
        circuit=[
            {"slot": 7, "device": "horn", "planned_a": 3.0, "fuse_a": 60, "conductor": "1 mm2"},
            {"slot": 2, "device": "lamp", "planned_a": 1.0},
        ],
        feed={"drop_max_v": 0.3, "conductor": "4 mm2", "length_m": 1.0},
    )
    slots = [(each.id, each.title) for each in checks_of(two) if each.id.startswith("slot")]

    assert slots == [
        ("slot_2_fuse", "Slot 2 fuse (lamp)"),
        ("slot_7_fuse", "Slot 7 fuse (horn)"),
        ("slot_2_current", "Slot 2 current (lamp)"),
        ("slot_7_current", "Slot 7 current (horn)"),
    ]
    assert {name: value for name, value in planned_value_of(two).items() if "slot" in name} == {
        "slot_2_current": 1.0,
        "slot_7_current": 3.0,
    }
    assert limits_of(two)["slot_7_fuse"].max == pytest.approx(10.0)
    assert (limits_of(two)["feed_drop"].max, limits_of(two)["feed_drop"].origin) == (0.3, "given")
    assert limits_of(plan(circuit=two.model_dump()["circuit"], feed={"conductor": "4 mm2", "length_m": 1.0}))[
        "feed_drop"
    ].origin == "derived"  # fmt: skip
    assert "slot_2_fuse" in not_planned(two)


def test_a_window_with_one_side_stays_open_on_the_other():
    """The least, the most, or both, with the keys that give them."""
    low, high = {"charging_min_v": 13.5}, {"charging_max_v": 14.8}
    found = [limits_of(plan(limits=given))["charging_voltage"] for given in (low, high, low | high)]

    assert [(each.min, each.max) for each in found] == [(13.5, None), (None, 14.8), (13.5, 14.8)]
    assert found[2].how == "limits.charging_min_v and limits.charging_max_v"
    assert "charging_voltage" in not_planned(plan())


def test_a_results_id_names_its_check():
    """Its kind, its slot and its titles; an id of another version is none."""
    fuse, drop = check_of("slot_12_fuse"), check_of("feed_drop")

    assert (fuse.kind.id, fuse.slot, fuse.title, fuse.short) == ("slot_N_fuse", 12, "Slot 12 fuse", "Slot 12")
    assert (drop.slot, drop.title, drop.short) == (None, drop.kind.title, drop.kind.short)
    assert find_check("slot_12_hum") is find_check("hum") is None
    with pytest.raises(KeyError, match="hum"):
        check_of("hum")
    assert is_of("slot_12_fuse", fuse.kind)
    assert not is_of("slot_12_current", fuse.kind)
    fuses = {kind.id for kind in CHECKS if is_fuse_check(kind.id.replace("N", "3"))}
    assert fuses == {"feed_fuse", "slot_N_fuse"}
    assert not is_fuse_check("hum")


def test_what_sets_a_limit_is_its_keys_or_said_in_words():
    """As the README has it."""
    assert check_of("settle_time").kind.set_by == "`limits.settle_max_s`"
    assert check_of("charging_voltage").kind.set_by == "`limits.charging_min_v`, `limits.charging_max_v`"
    assert check_of("relay_chatter").kind.set_by == "none allowed where the plan has a `[relay]`"


def test_open_for_want_of_a_log_from_before():
    """Only the added drain, and only for that reason."""
    assert lacks_before("added_drain", f"{NO_BEFORE[:1].upper()}{NO_BEFORE[1:]}.")
    assert not lacks_before("added_drain", "The log has no key-off.")
    assert not lacks_before("off_state_drain", f"{NO_BEFORE}.")


def empty_result() -> Result:
    """One failed check."""
    checks = [Check(id="feed_drop", title="t", verdict="fail", unit="mΩ", because="b")]
    return Result(
        **{"benchlog_version": "1", "bike": "Elder", "verdict": overall(checks), "score": score(checks)},
        **{"key_events": [], "checks": checks, "causes": [], "notes": []},
    )


def test_json_of_a_result_is_for_reading_and_for_programs():
    """Two spaces a level, ``pass`` for what passed, and it is read back as it was."""
    text = empty_result().to_json()

    assert text.startswith('{\n  "benchlog_version": "1",\n  "bike"')
    assert json.loads(text)["score"]["pass"] == 0
    assert Result.model_validate_json(text) == empty_result()
    frame = empty_result().to_frame()
    assert math.isnan(frame["limit_min"][0])
    assert empty_result().check("feed_drop").unit == "mΩ"
    with pytest.raises(KeyError, match="ground_lift"):
        empty_result().check("ground_lift")


@pytest.mark.parametrize(("share", "taken"), [(-0.01, False), (0.0, True), (0.5, True), (1.0, True), (1.01, False)])
def test_fit_of_a_cause_is_a_share(share: float, taken: bool):
    """From 0 to 1."""
    with nullcontext() if taken else pytest.raises(ValidationError, match="fit"):
        Cause(id="x", text="t", explains=[], evidence=[], next_test="n", fit=share)


def test_schemas_by_name_and_as_text():
    """Plan, logger and result, two spaces a level, in their own letters."""
    assert "battery" in schema_of("plan")["properties"]
    assert "channel" in schema_of("logger")["properties"]
    assert "pass" in schema_of("result")["$defs"]["Score"]["properties"]
    text = schema_text("plan")
    assert text.startswith('{\n  "')
    assert "mΩ" in text


def test_samples_as_the_overview_has_them():
    """Less what a zero took off, and no current while the shunt is bridged; another span hides nothing."""
    at, none = np.arange(4.0), np.zeros(0)
    band = Band(none, none, none, none, none, np.zeros(0, dtype=np.int64))
    overview = Overview(none, none, np.zeros(0, dtype=np.int64), {"battery_a": band}, none, 1.0)
    spans = (Span("shunt bridged", 1.0, 2.0), Span("key off", 3.0, 4.0))
    log = LogEvidence(
        "a", overview, ("battery_a",), spans, (), (), (), (), zero_offsets={"battery_a": 0.5}
    )  # fmt: skip

    seen = log.as_seen(Trace(at, {"battery_a": at + 1, "battery_v": at}, {}))

    assert seen.values["battery_a"] == pytest.approx([0.5, math.nan, math.nan, 3.5], nan_ok=True)
    assert seen.values["battery_v"].tolist() == at.tolist()
    assert log.samples == 0
