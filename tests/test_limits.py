"""Limits worked out by hand for one plan."""

import pytest

from benchlog.plan.model import plan_from_mapping
from benchlog.plan.paths import feed_path, planned_resistance_mohm
from benchlog.verdict.registry.table import limits_of, not_planned, planned_value_of

LARCH = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "relay": {"pull_in_max_ms": 30, "drop_out_max_ms": 60},
    "feed": {"fuse_a": 20, "conductor": "4 mm2", "length_m": 1.5},
    "ground": {"conductor": "4 mm2", "length_m": 1.6},
    "circuit": [
        {"slot": 2, "device": "heated grips", "planned_a": 4.5, "tolerance_pct": 10, "fuse_a": 10},
        {"slot": 1, "device": "vaccine cool box", "planned_a": 3.5, "fuse_a": 5},
    ],
    "limits": {"off_state_drain_ma": 1.0, "charging_max_v": 14.8, "feed_in_crank": "any"},
}


def plan_with(**tables):
    """Larch with some tables replaced; None takes one out."""
    return plan_from_mapping({key: table for key, table in (LARCH | tables).items() if table is not None})


def test_derived_feed_drop_is_hot_wire_and_allowance_times_load():
    """8 A x (1.5 m x 4.95 mohm/m x 1.1572 at 60 degC + 1.5 x 11.5 mohm), IEC 60228 and IEC 60028."""
    limit = limits_of(plan_with())["feed_drop"]

    assert limit.max == pytest.approx(8 * (1.5 * 4.95 * 1.1572 + 17.25) / 1000, rel=1e-5)
    assert (limit.min, limit.origin) == (None, "derived")
    assert limit.how == "8 A x (8.6 mΩ of wire at 60 °C + 17.2 mΩ allowed for joints, fuse and contact)"


def test_derived_ground_lift_has_no_fuse_or_contact():
    """8 A x (1.6 m x 4.95 mohm/m x 1.1572 at 60 degC + 1.5 x 1 mohm)."""
    limit = limits_of(plan_with())["ground_lift"]

    assert limit.max == pytest.approx(8 * (1.6 * 4.95 * 1.1572 + 1.5) / 1000, rel=1e-5)
    assert limit.how.endswith("allowed for joints)")


def test_given_limits_win_over_derived_ones():
    """A drop and a lift in the plan are taken as they stand."""
    limits = limits_of(
        plan_with(feed={**LARCH["feed"], "drop_max_v": 0.3}, ground={**LARCH["ground"], "lift_max_v": 0.1})
    )

    assert (limits["feed_drop"].max, limits["feed_drop"].origin) == (0.3, "given")
    assert (limits["ground_lift"].max, limits["ground_lift"].how) == (0.1, "ground.lift_max_v")


@pytest.mark.parametrize(
    "changed",
    [
        {"feed": None},
        {"feed": {"conductor": "4 mm2"}},
        {"feed": {"length_m": 1.5}},
        {"circuit": None},
    ],
    ids=["no feed", "no length", "no conductor", "no load"],
)
def test_drop_needs_wire_length_and_load(changed):
    """Without one of them nothing is derived, and the check is not planned."""
    plan = plan_with(**changed)

    assert "feed_drop" not in limits_of(plan)
    assert "feed_drop" in not_planned(plan)


@pytest.mark.parametrize(
    ("fuse_a", "high", "how"),
    [
        (5, 4.0, "3.5 A ± 20 %, at most 80 % of its 5 A fuse"),
        (10, 4.2, "3.5 A ± 20 %"),
        (None, 4.2, "3.5 A ± 20 %"),
    ],
)
def test_slot_may_draw_80_per_cent_of_its_fuse(fuse_a, high, how):
    """3.5 A ± 20 % is 2.8 to 4.2 A; a 5 A fuse lets 4.0 A pass for long (common practice, no source)."""
    circuit = {"slot": 1, "device": "cool box", "planned_a": 3.5}
    limit = limits_of(plan_with(circuit=[circuit | ({"fuse_a": fuse_a} if fuse_a else {})]))["slot_1_current"]

    assert (limit.min, limit.max) == (2.8, high)
    assert (limit.origin, limit.how) == ("derived", how)


def test_feed_that_must_hold_in_crank_allows_no_loss():
    """The word hold sets a limit of 0 s."""
    limit = limits_of(plan_with(limits={"feed_in_crank": "hold"}))["feed_in_crank"]

    assert (limit.min, limit.max) == (None, 0.0)


def test_feed_that_must_drop_in_crank_needs_a_loss():
    """The word drop needs a loss strictly above 0 s, and says so."""
    limit = limits_of(plan_with(limits={"feed_in_crank": "drop"}))["feed_in_crank"]

    assert (limit.min, limit.max) == (0.0, None)
    assert "strictly above 0" in limit.how


@pytest.mark.parametrize("limits", [{}, {"feed_in_crank": "any"}])
def test_feed_that_may_do_anything_in_crank_is_not_planned(limits):
    """any, or nothing, sets no limit."""
    assert "feed_in_crank" in not_planned(plan_with(limits=limits))


def test_relay_allows_no_chatter():
    """Wherever a relay is planned, chatter is limited to 0; otherwise not planned."""
    assert limits_of(plan_with(relay={}))["relay_chatter"].max == 0
    assert "relay_chatter" in not_planned(plan_with(relay=None))


def test_charging_window_may_have_one_side():
    """Only the upper side is given here."""
    limit = limits_of(plan_with())["charging_voltage"]

    assert (limit.min, limit.max, limit.how) == (None, 14.8, "limits.charging_max_v")


def test_every_check_is_either_planned_or_not():
    """All ids, in the order of the checks, slots by number."""
    bare = plan_from_mapping({"install": {"bike": "Larch"}, "battery": {"chemistry": "agm", "capacity_ah": 11}})
    fixed = [
        "feed_fuse",
        "off_state_drain",
        "added_drain",
        "settle_time",
        "feed_off_voltage",
        "relay_pull_in",
        "relay_drop_out",
        "relay_chatter",
        "battery_sag",
        "feed_drop",
        "ground_lift",
        "resting_voltage",
        "source_resistance",
        "crank_minimum",
        "feed_in_crank",
        "charging_voltage",
        "charging_balance",
    ]

    assert limits_of(bare) == {}
    assert list(not_planned(bare)) == fixed
    assert sorted([*limits_of(plan_with()), *not_planned(plan_with())]) == sorted(
        [*fixed, "slot_1_fuse", "slot_2_fuse", "slot_1_current", "slot_2_current"]
    )
    assert [check_id for check_id in limits_of(plan_with()) if "slot" in check_id] == [
        "slot_1_current",
        "slot_2_current",
    ]


@pytest.mark.parametrize(
    ("table", "key", "check_id", "side"),
    [
        ("limits", "off_state_drain_ma", "off_state_drain", "max"),
        ("limits", "added_drain_ma", "added_drain", "max"),
        ("limits", "settle_max_s", "settle_time", "max"),
        ("limits", "feed_off_max_v", "feed_off_voltage", "max"),
        ("relay", "pull_in_max_ms", "relay_pull_in", "max"),
        ("relay", "drop_out_max_ms", "relay_drop_out", "max"),
        ("limits", "battery_sag_max_v", "battery_sag", "max"),
        ("feed", "drop_max_v", "feed_drop", "max"),
        ("ground", "lift_max_v", "ground_lift", "max"),
        ("limits", "resting_min_v", "resting_voltage", "min"),
        ("limits", "source_resistance_max_mohm", "source_resistance", "max"),
        ("limits", "crank_min_v", "crank_minimum", "min"),
        ("limits", "charging_min_v", "charging_voltage", "min"),
        ("limits", "charging_max_v", "charging_voltage", "max"),
        ("limits", "charging_balance_min_a", "charging_balance", "min"),
    ],
)
def test_each_key_limits_its_check_on_its_side(table, key, check_id, side):
    """A key sets one side of one check, and names itself."""
    limit = limits_of(plan_with(**{table: {key: 7.25}}))[check_id]

    assert getattr(limit, side) == 7.25
    assert getattr(limit, "min" if side == "max" else "max") is None
    assert (limit.origin, limit.how) == ("given", f"{table}.{key}")


def test_planned_values_are_load_times_nominal_resistance():
    """8 A x (1.5 m x 4.95 + 11.5) mohm in the feed, 8 A x (1.6 m x 4.95 + 1) mohm in the return, at 20 degC."""
    values = planned_value_of(plan_with())

    assert values == pytest.approx(
        {"feed_drop": 0.1514, "ground_lift": 0.07136, "slot_1_current": 3.5, "slot_2_current": 4.5}
    )
    assert planned_resistance_mohm(plan_with()) == pytest.approx({"feed": 18.925, "ground": 8.92})


def test_expected_drop_lies_within_the_derived_limit():
    """A sound install as planned passes its derived limits with room to spare."""
    values, limits = planned_value_of(plan_with()), limits_of(plan_with())

    assert values["feed_drop"] < 0.8 * limits["feed_drop"].max
    assert values["ground_lift"] < 0.9 * limits["ground_lift"].max


def test_feet_and_metres_give_the_same_path():
    """5 ft are 1.524 m."""
    feet = feed_path(plan_with(feed={"conductor": "12 AWG", "length_ft": 5}))
    metres = feed_path(plan_with(feed={"conductor": "12 AWG", "length_m": 1.524}))

    assert feet.wire_mohm == pytest.approx(metres.wire_mohm, rel=1e-12)
