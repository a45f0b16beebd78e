"""What a plan says about itself, figure by figure: doubts in their words, limits, fuses and suggestions."""

import pytest

from benchlog.plan.doubts import capacity_doubt, doubts, drain_doubt, load_doubt
from benchlog.plan.limits import PlannedLimit, derived_drop, settled_s, slot_limit
from benchlog.plan.model import plan_from_mapping
from benchlog.plan.paths import feed_path, ground_path, planned_drop_v, planned_resistance_mohm
from benchlog.plan.planned_fuses import Protection, feed_fuse, slot_fuse
from benchlog.plan.suggested import BLADE_FUSES_A, fuse_for, suggested_limits
from benchlog.plan.wiring import Conductor

CIRCUIT = {"slot": 1, "device": "heater", "planned_a": 3.5}


def plan(**tables):
    """One circuit of 3.5 A if nothing else is said."""
    given = {"install": {"bike": "Elder"}, "battery": {"chemistry": "agm", "capacity_ah": 11.2}, "circuit": [CIRCUIT]}
    return plan_from_mapping({**given, **tables})


@pytest.mark.parametrize(
    ("capacity_ah", "meant"), [(1500, "; was 1.5 Ah meant?"), (1499, ""), (11200, "; was 11.2 Ah meant?"), (1.4, "")]
)
def test_a_capacity_in_mah_is_guessed(capacity_ah: float, meant: str):
    """From a thousand times the smallest battery on."""
    assert capacity_doubt(capacity_ah) == (
        f"{capacity_ah:g} Ah is hardly a motorcycle's battery: they have 1.5 to 40 Ah{meant}"
    )
    assert capacity_doubt(1.5) == capacity_doubt(40.0) == ""


def test_a_drain_that_empties_the_battery_says_in_how_many_hours():
    """168 mA of 11.2 Ah: 67 hours; no drain at all is none, and a small one empties a small battery."""
    assert "empties the full battery in 67 hours" in drain_doubt(168.0, 11.2)
    assert drain_doubt(0.0, 11.2) == drain_doubt(-1.0, 11.2) == ""
    assert "in 111 hours" in drain_doubt(0.9, 0.1)
    assert "(planned_w)" in load_doubt(41.0)


def test_wire_before_the_fuse_tells_what_a_sheath_allows():
    """1.83 m, 72 in (ABYC E-11, as quoted)."""
    (text,) = (text for about, text in doubts(plan(feed={"unfused_m": 0.5})) if about == "feed.unfused_m")

    assert text.startswith("0.5 m of wire from battery + to the feed fuse")
    assert "allows 0.18 m, or 1.83 m in a sheath" in text


@pytest.mark.parametrize(("coil_a", "odd"), [(1.59, False), (1.61, True)])
def test_coil_and_a_trigger_fuse_of_2_a(coil_a: float, odd: bool):
    """80 % of it are 1.6 A."""
    told = dict(doubts(plan(relay={"coil_a": coil_a, "trigger_fuse_a": 2.0})))

    assert ("relay.trigger_fuse_a" in told) is odd
    assert not odd or told["relay.trigger_fuse_a"].endswith("fit one of at least 2 A")


def test_budget_names_the_bikes_own_need_where_it_is_planned():
    """3.5 A and 5 A, or 3.5 A alone."""
    both, alone = (dict(doubts(plan(alternator=given)))["alternator.speed_a"] for given in (
        {"speed_a": 8.0, "bike_a": 5.0}, {"speed_a": 3.0}
    ))  # fmt: skip

    assert both.startswith("3.5 A planned and 5 A for the bike are more than the alternator's 8 A at speed")
    assert alone.startswith("3.5 A planned are more than the alternator's 3 A at speed")


def test_how_long_a_key_off_must_stay_settled():
    """As long as the plan gives for settling; a minute where it gives none, or 0."""
    assert [settled_s(plan(limits=given)) for given in ({}, {"settle_max_s": 0}, {"settle_max_s": 90})] == [
        *(60.0, 60.0, 90.0)
    ]


def test_limits_that_nothing_meets():
    """A least above the most, beyond a billionth of rounding; the same figure on both sides can be met."""
    assert not PlannedLimit(5.0, 5.0, "derived", "k").impossible
    assert not PlannedLimit(5.0 * (1 + 5e-10), 5.0, "derived", "k").impossible
    assert PlannedLimit(5.0 * (1 + 1.5e-9), 5.0, "derived", "k").impossible
    assert not PlannedLimit(5.0, None, "derived", "k").impossible
    assert not PlannedLimit(None, 5.0, "derived", "k").impossible


@pytest.mark.parametrize(("fuse_a", "most_a"), [(None, 4.2), (5, 4.0), (5.3, 4.2), (10, 4.2)])
def test_a_circuits_most_is_its_tolerance_or_its_fuse(fuse_a: float | None, most_a: float):
    """3.5 A and 20 %, where 80 % of the fuse is no less."""
    circuit = {**CIRCUIT, "fuse_a": fuse_a} if fuse_a else CIRCUIT

    assert slot_limit(plan(circuit=[circuit]).circuit[0]).max == pytest.approx(most_a)


def test_derived_limits_name_the_parts_that_they_allow_for():
    """Joints, fuse and contact in the feed, joints alone in the return."""
    run = {"conductor": "4 mm2", "length_m": 1.5}
    made = plan(feed={**run, "fuse_a": 20}, ground=run)
    feed, ground = derived_drop(made, feed_path(made)), derived_drop(made, ground_path(made))
    assert feed is not None
    assert ground is not None

    assert feed.how.endswith("+ 17.2 mΩ allowed for joints, fuse and contact)")
    assert ground.how.endswith("+ 1.5 mΩ allowed for joints)")


def test_nothing_is_lost_where_no_load_is_planned():
    """A feed without a circuit has a resistance and no planned drop."""
    feed = {"fuse_a": 20, "conductor": "4 mm2", "length_m": 1.5}
    empty, loaded = plan(feed=feed, circuit=[]), plan(feed=feed)
    mohm = 1.5 * 4.95 + 6 * 0.5 + 70 / 20 + 5.0

    assert planned_resistance_mohm(empty) == {"feed": pytest.approx(mohm)}
    assert planned_drop_v(empty, feed_path(empty)) is None
    assert planned_drop_v(loaded, feed_path(loaded)) == pytest.approx(3.5 * mohm / 1000)
    assert planned_drop_v(loaded, None) is None


def test_danger_of_a_fuse_in_words():
    """Nothing where every table allows it; else what the tables allow, and what can happen where none does."""
    sound, open_, dangerous = (Protection(fuse_a, Conductor(1.0), 10.0, 15.0).danger for fuse_a in (10, 12, 20))

    assert sound == ""
    assert open_.startswith(
        "a 12 A fuse is too large for 1 mm², which bears 10 A by common practice, and only ABYC E-11"
    )
    assert "burn" not in open_
    assert "bears 10 A by common practice, 15 A by ABYC E-11" in dangerous
    assert "the wire can burn before the fuse blows" in dangerous


def test_what_a_fuse_check_lacks():
    """The keys that are not given, and where they go."""
    both, one, none = (
        feed_fuse(plan(feed=feed)).lacks
        for feed in ({"length_m": 1}, {"fuse_a": 20}, {"fuse_a": 20, "conductor": "4 mm2"})
    )

    assert both == "the plan does not give fuse_a and conductor; add them to [feed]"
    assert one == "the plan does not give conductor; add it to [feed]"
    assert none == ""
    assert feed_fuse(plan()).lacks == both
    fused = plan(circuit=[{**CIRCUIT, "fuse_a": 5}])
    assert slot_fuse(fused, fused.circuit[0]).lacks == "the plan does not give conductor; add it to [circuit]"


@pytest.mark.parametrize("fuse_a", BLADE_FUSES_A)
def test_each_blade_fuse_has_its_loads(fuse_a: float):
    """Up to 80 % of it."""
    assert fuse_for(0.79 * fuse_a) == fuse_a
    assert fuse_for(0.81 * fuse_a) == next((each for each in BLADE_FUSES_A if each > fuse_a), fuse_a)


def test_blade_fuses_of_the_shops():
    """ISO 8820-3 (from memory)."""
    loads_a = (0.5, 1.5, 2.3, 3.5, 5.5, 7.0, 11.0, 15.0, 19.0, 23.0, 31.0, 99.0)

    assert [fuse_for(load_a) for load_a in loads_a] == [1, 2, 3, 5, 7.5, 10, 15, 20, 25, 30, 40, 40]


@pytest.mark.parametrize(
    ("chemistry", "mohm", "resting_v"),
    [("flooded", 45.0, 12.4), ("agm", 35.0, 12.6), ("gel", 45.0, 12.6), ("lifepo4", 15.0, 13.3)],
)
def test_suggestions_by_kind_for_10_ah(chemistry: str, mohm: float, resting_v: float):
    """450, 350, 450 and 150 mΩ shared by 10 Ah (from memory); three quarters charged, to a tenth of a volt."""
    told = {each.key: each.value for each in suggested_limits(chemistry, 10.0)}

    assert (told["source_resistance_max_mohm"], told["resting_min_v"]) == (mohm, resting_v)
    assert told["charging_balance_min_a"] == 0.0
