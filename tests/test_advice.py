"""Remarks on a plan: each fault draws its own, and a sound plan none."""

import pytest
from scenarios import EVERY_LIMIT

from benchlog.plan.model import plan_from_mapping
from benchlog.verdict.advice import advice
from benchlog.verdict.registry.table import checks_of

SOUND = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "relay": {"coil_a": 0.14, "contact_a": 30, "suppression": "diode", "pull_in_max_ms": 30, "drop_out_max_ms": 60},
    "feed": {"fuse_a": 20, "conductor": "4 mm2", "length_m": 1.5},
    "ground": {"conductor": "4 mm2", "length_m": 1.6},
    "circuit": [
        {
            "slot": 1,
            "device": "cool box",
            "planned_a": 3.5,
            "fuse_a": 5,
            "conductor": "1 mm2",
            "length_m": 1.1,
        }
    ],
    "limits": EVERY_LIMIT,
}
PLANNED = len(checks_of(plan_from_mapping(SOUND)))


def remarks(**changes):
    """Remarks on the sound plan with some keys changed: table -> keys; circuit -> keys of its one circuit."""
    data = {table: dict(keys) if isinstance(keys, dict) else [dict(keys[0])] for table, keys in SOUND.items()}
    for table, keys in changes.items():
        target = data[table][0] if table == "circuit" else data[table]
        target.update(keys)
    return advice(plan_from_mapping(data))


def test_sound_plan_draws_no_remark():
    """Nothing is said where nothing is to be said."""
    assert remarks() == []


@pytest.mark.parametrize(
    ("changes", "severity", "about", "words"),
    [
        # 5 A on 0.35 mm² is common in vehicles, though the smaller fuse of the charts is 3 A
        ({"circuit": {"conductor": "0.35 mm2"}}, "warning", "circuit[1].fuse_a", "5 A fuse is too large for 0.35 mm²"),
        ({"circuit": {"conductor": "0.25 mm2"}}, "fire", "circuit[1].fuse_a", "5 A fuse is too large for 0.25 mm²"),
        ({"feed": {"conductor": "1.5 mm2"}}, "fire", "feed.fuse_a", "20 A fuse is too large for 1.5 mm²"),
        ({"ground": {"conductor": "16 AWG"}}, "fire", "ground.conductor", "too large for 16 AWG"),
        ({"circuit": {"fuse_a": 11}}, "warning", "circuit[1].fuse_a", "11 A fuse is too large for 1 mm²"),
        ({"circuit": {"fuse_a": None, "conductor": None}}, "warning", "circuit[1].fuse_a", "no fuse is planned"),
        ({"circuit": {"fuse_a": None}}, "fire", "circuit[1].fuse_a", "fused by the feed alone: a 20 A fuse"),
        ({"circuit": {"planned_a": 4.1}}, "warning", "circuit[1].fuse_a", "at least 5.12 A (125 %)"),
        ({"circuit": {"planned_a": 6.0}}, "warning", "circuit[1].fuse_a", "no current can pass its check"),
        (
            {"circuit": {"planned_a": 6.0}},
            "warning",
            "circuit[1].fuse_a",
            "the least planned (4.8 A) is above that (4 A)",
        ),
        ({"circuit": {"conductor": None}}, "note", "slot 1", "no wire size is given, so whether its 5 A fuse"),
        (
            {"circuit": {"fuse_a": 25, "conductor": "4 mm2"}},
            "warning",
            "circuit[1].fuse_a",
            "the feed fuse (20 A)",
        ),
        ({"feed": {"fuse_a": None}}, "warning", "feed.fuse_a", "no feed fuse is planned"),
        ({"feed": {"fuse_a": 4}}, "warning", "feed.fuse_a", "3.5 A is above 80 % of the 4 A feed fuse"),
        ({"relay": {"contact_a": 3}}, "warning", "relay.contact_a", "above the contact's 3 A"),
        ({"relay": {"contact_a": 15}}, "note", "relay.contact_a", "20 A feed fuse does not protect"),
        ({"relay": {"coil_a": 0.3, "trigger": "tail lamp"}}, "warning", "relay.coil_a", "(tail lamp)"),
        ({"relay": {"suppression": "none"}}, "warning", "relay.suppression", "spike of 1000 V"),
        ({"relay": {"drop_out_max_ms": 9}}, "warning", "relay.drop_out_max_ms", "9 ms is tight: with a diode"),
        ({"relay": {"pull_in_max_ms": 5}}, "note", "relay.pull_in_max_ms", "5 ms is tight"),
        ({"limits": {"resting_min_v": 12.2}}, "warning", "limits.resting_min_v", "about 42 % charge for AGM"),
        ({"limits": {"resting_min_v": 13.0}}, "warning", "limits.resting_min_v", "more than a full AGM battery shows"),
        ({"limits": {"charging_max_v": 15.2}}, "warning", "limits.charging_max_v", "15.2 V is more than suits AGM"),
        ({"limits": {"charging_min_v": 12.5}}, "warning", "limits.charging_min_v", "does not show charging"),
        ({"limits": {"crank_min_v": 7}}, "warning", "limits.crank_min_v", "7 V while cranking is low"),
        ({"limits": {"crank_min_v": None}}, "note", "limits", f"1 of {PLANNED} checks will be 'not planned'"),
        ({"circuit": {"length_m": None}}, "note", "slot 1", "no length is given"),
        ({"circuit": {"length_m": 4}}, "note", "circuit[1].conductor", "3 % on a critical circuit"),
        ({"circuit": {"length_m": 15}}, "warning", "circuit[1].conductor", "10 % on any circuit"),
    ],
)
def test_each_fault_draws_its_remark(changes, severity, about, words):
    """A plan with one fault draws a remark on it, of the right gravity, at the right key."""
    drawn = [(remark.severity, remark.about) for remark in remarks(**changes) if words in remark.text]

    assert drawn == [(severity, about)]


@pytest.mark.parametrize(
    ("chemistry", "limits", "words"),
    [
        ("lifepo4", {"resting_min_v": 12.64}, "about 18 % charge for LiFePO4"),
        ("lifepo4", {"charging_max_v": 14.8}, "14.8 V is more than suits"),
        ("gel", {"charging_max_v": 14.8}, "14.8 V is more than suits"),
    ],
)
def test_limits_are_held_against_the_chemistry(chemistry, limits, words):
    """What suits an AGM battery may not suit another (common practice, no source)."""
    drawn = remarks(battery={"chemistry": chemistry}, limits=limits)

    assert [remark.about for remark in drawn if words in remark.text] == [f"limits.{next(iter(limits))}"]


def test_flooded_battery_bears_15_v():
    """Service manuals print up to 15.5 V for flooded batteries (common practice, no source)."""
    assert remarks(battery={"chemistry": "flooded"}, limits={"charging_max_v": 15.0}) == []


def test_drop_is_the_whole_way_out_and_back():
    """3.5 A x (18.925 + 8.92 + 2 x 4 x 19.5) mohm = 0.64 V, 5 % of 12 V."""
    (remark,) = remarks(circuit={"length_m": 4})

    assert "loses about 0.64 V" in remark.text
    assert "5 % of 12 V" in remark.text


def test_fire_comes_first():
    """The gravest remark leads, notes close."""
    found = remarks(circuit={"conductor": "0.25 mm2"}, relay={"suppression": "none", "contact_a": 15})
    severities = [remark.severity for remark in found]

    assert severities[0] == "fire"
    assert severities == sorted(severities, key=["fire", "warning", "note"].index)


def test_plan_without_circuits_says_so():
    """No load is planned: nothing can be scaled to it."""
    bare = plan_from_mapping({"install": {"bike": "Larch"}, "battery": {"chemistry": "agm", "capacity_ah": 11}})

    assert any(remark.about == "circuit" and "no planned load" in remark.text for remark in advice(bare))
