"""What a plan's keys take: each bound from both sides, units and powers, and keys that disagree."""

from pathlib import Path
from typing import Any

import pytest

from benchlog.core.errors import BadPlan, BenchlogError
from benchlog.core.roles import SLOTS
from benchlog.plan.given import plan_of
from benchlog.plan.model import Plan, plan_from_mapping, plan_schema

ONE: dict[str, Any] = {"slot": 1, "device": "heater", "planned_a": 3.5}


def plan(**tables: Any) -> Plan:
    """A plan of these tables."""
    given = {"install": {"bike": "Elder"}, "battery": {"chemistry": "agm", "capacity_ah": 11.2}}
    return plan_from_mapping({**given, **tables})


def faults(**tables: Any) -> str:
    """What is wrong with it; "" where nothing is."""
    try:
        plan(**tables)
    except BadPlan as told:
        return str(told)
    return ""


def test_a_plan_as_it_may_be_given(tmp_path: Path):
    """Itself, its tables, or its path in either form; anything else is none."""
    made = plan()
    path = tmp_path / "p.toml"
    path.write_text('[install]\nbike = "Elder"\n[battery]\nchemistry = "agm"\ncapacity_ah = 11.2\n', encoding="utf-8")

    assert plan_of(made) is made
    assert plan_of({key: value for key, value in made.model_dump().items() if value}) == made
    assert plan_of(path) == plan_of(str(path)) == made
    with pytest.raises(BenchlogError, match="5 is not a plan; give the path of a plan file"):
        plan_of(5)  # type: ignore[arg-type]  # what a caller may do all the same


def circuit(**changed: Any) -> list[dict[str, Any]]:
    """One circuit; a key that is None is left out."""
    return [{key: value for key, value in {**ONE, **changed}.items() if value is not None}]


@pytest.mark.parametrize(
    ("table", "key", "good", "bad"),
    [
        ("feed", "length_m", (0.01, 100), (0, 100.1)),
        ("feed", "length_ft", (0.01, 328), (0, 328.1)),
        ("feed", "unfused_m", (0, 0.5, 100), (-0.1, 100.1)),
        ("feed", "unfused_ft", (0, 0.5, 328), (-0.1, 328.1)),
        ("feed", "fuse_a", (0.5, 200), (0, -1)),
        ("limits", "settle_max_s", (0, 0.5), (-0.1,)),
        ("limits", "charging_balance_min_a", (-5, 0, 5), ("5",)),
        ("circuit", "slot", (1, SLOTS), (0, SLOTS + 1, True)),
        ("circuit", "tolerance_pct", (0, 0.5, 100), (-0.1, 100.1)),
        ("circuit", "planned_a", (0.5, 500), (0, -1, "3")),
        ("circuit", "device", ("x", "x" * 200), ("", " ", "x" * 201, "a\x07b")),
    ],
)
def test_bounds_of_each_kind_of_value(table: str, key: str, good: tuple[Any, ...], bad: tuple[Any, ...]):
    """At its bound a value is taken, beyond it named as a fault."""
    for value in good:
        assert faults(**{table: circuit(**{key: value}) if table == "circuit" else {key: value}}) == ""
    for value in bad:
        assert key in faults(**{table: circuit(**{key: value}) if table == "circuit" else {key: value}})


def test_as_many_circuits_as_slots():
    """One a slot; one more is a fault, and none is a plan too, with no load."""
    every = [{**ONE, "slot": slot} for slot in range(1, SLOTS + 1)]

    assert plan(circuit=every).planned_load_a == pytest.approx(3.5 * SLOTS)
    assert faults(circuit=[*every, {**ONE, "slot": 1}]) != ""
    assert plan().planned_load_a == 0.0
    assert plan(circuit=circuit()).circuit[0].tolerance_pct == 20.0


def test_names_lose_their_outer_spaces():
    """The season is kept under a bike's name, so a space more must not make it another."""
    assert plan(install={"bike": "  Elder "}).install.bike == "Elder"


def test_feet_are_turned_into_metres():
    """10 ft are 3.048 m, before the fuse as well; without a length there is none."""
    feed = plan(feed={"length_ft": 10, "unfused_ft": 1, "conductor": "4 mm2"}).feed
    metric, empty = plan(feed={"length_m": 2, "unfused_m": 0}).feed, plan(feed={}).feed
    assert feed is not None
    assert metric is not None
    assert empty is not None

    assert (feed.run_m, feed.unfused_run_m) == pytest.approx((3.048, 0.3048))
    assert (metric.run_m, metric.unfused_run_m, metric.wire) == (2.0, 0.0, None)
    assert (empty.run_m, empty.unfused_run_m) == (None, None)
    assert feed.wire is not None
    assert feed.wire.area_mm2 == 4.0


@pytest.mark.parametrize(("watts", "amps"), [(45, 3.462), (0.5, 0.038), (130.0, 10.0)])
def test_watts_are_taken_at_13_v(watts: float, amps: float):
    """To a milliampere; beside amperes only where they are the same."""
    made = plan(circuit=circuit(planned_a=None, planned_w=watts))

    assert (made.circuit[0].planned_a, made.circuit[0].planned_w) == (amps, watts)
    assert faults(circuit=circuit(planned_a=amps, planned_w=watts)) == ""
    assert "give planned_a or planned_w, not both" in faults(circuit=circuit(planned_a=amps + 0.001, planned_w=watts))


@pytest.mark.parametrize("watts", [0, -45, True, "45", float("inf"), float("nan")])
def test_watts_that_are_no_power_make_no_current(watts: Any):
    """The power is the fault, and a current is still missing: none is made of it."""
    told = faults(circuit=circuit(planned_a=None, planned_w=watts))

    assert "circuit[1].planned_w: must be" in told
    assert "circuit[1].planned_a: missing" in told


def test_a_circuit_that_is_no_table_is_told():
    """A number where a table should be."""
    assert "circuit" in faults(circuit=[5])
    assert "circuit" in faults(circuit=5)
    assert "feed" in faults(feed=5)
    assert "limits" in faults(limits=5)


@pytest.mark.parametrize(
    ("tables", "path"),
    [
        ({"feed": {"length_m": 1, "length_ft": 3}}, "feed.length_ft"),
        ({"ground": {"length_m": 1, "length_ft": 3}}, "ground.length_ft"),
        ({"feed": {"unfused_m": 1, "unfused_ft": 3}}, "feed.unfused_ft"),
        ({"circuit": [ONE, {**ONE, "slot": 2, "length_m": 1, "length_ft": 3}]}, "circuit[2].length_ft"),
        ({"circuit": [ONE, {**ONE, "slot": 2, "planned_w": 99}]}, "circuit[2].planned_w"),
        ({"circuit": [{**ONE, "slot": 3}, ONE, {**ONE, "slot": 3}]}, "circuit[3].slot"),
        ({"limits": {"charging_min_v": 14.0, "charging_max_v": 13.9}}, "limits.charging_max_v"),
    ],
)
def test_keys_that_disagree_are_one_fault(tables: dict[str, Any], path: str):
    """Each is named at its second key, once, and nothing else is."""
    assert faults(**tables).count("\n") <= 1
    assert path in faults(**tables)


def test_who_has_the_slot_is_named():
    """Slot 3 of the third circuit is the first's."""
    told = faults(circuit=[{**ONE, "slot": 3}, ONE, {**ONE, "slot": 3}])

    assert "slot 3 is already taken by circuit[1]; give each circuit its own" in told


@pytest.mark.parametrize(
    "tables",
    [
        {"feed": {"length_m": 1, "unfused_m": 1}, "ground": {"length_ft": 3}},
        {"feed": {"length_ft": 1, "unfused_ft": 1}},
        {"limits": {"charging_min_v": 14.0, "charging_max_v": 14.0}},
        {"limits": {"charging_min_v": 14.0}},
        {"limits": {"charging_max_v": 14.0}},
        {"circuit": [ONE, {**ONE, "slot": 2}]},
    ],
)
def test_keys_that_agree_are_none(tables: dict[str, Any]):
    """One of two units, a window of one voltage or with one side, two slots."""
    assert faults(**tables) == ""


def test_wrong_types_are_no_disagreement():
    """What is of the wrong type is told as that, and compared with nothing."""
    told = faults(limits={"charging_min_v": "high", "charging_max_v": 13.9}, circuit=[{**ONE, "slot": "1"}, ONE])

    assert "must be at least charging_min_v" not in told
    assert "already taken" not in told
    told = faults(limits={"charging_min_v": 13.9, "charging_max_v": "low"}, circuit=circuit(planned_w="45"))
    assert "must be at least charging_min_v" not in told
    assert "not both" not in told
    assert "not both" not in faults(circuit=circuit(planned_a="3", planned_w=45))
    assert "not both" not in faults(circuit=circuit(planned_a=True, planned_w=13.0))


def test_the_schema_asks_for_amperes_or_watts():
    """A circuit needs its slot and device, and one of the two."""
    made = plan_schema()["$defs"]["Circuit"]

    assert set(made["required"]) == {"slot", "device"}
    assert made["anyOf"] == [{"required": ["planned_a"]}, {"required": ["planned_w"]}]
