"""Each threshold of the plan's remarks, limits and tables from both sides: direct, on plans of a few lines."""

from itertools import pairwise
from typing import Any

import pytest

from benchlog.plan.batteries import CHEMISTRY, charging_window, days_until, rest_voltage, state_of_charge
from benchlog.plan.doubts import doubts
from benchlog.plan.limits import derived_drop, slot_limit
from benchlog.plan.model import plan_from_mapping
from benchlog.plan.paths import feed_path, ground_path
from benchlog.plan.planned_fuses import Protection, slot_fuse
from benchlog.plan.suggested import fuse_for, suggested_limits, wire_for
from benchlog.plan.wiring import Conductor, conductor, feed_allowance, ground_allowance, resistance_mohm
from benchlog.verdict.advice import advice


def plan(capacity_ah: float = 11.2, **tables: Any):
    """A plan of these tables; one circuit if none is given."""
    one = {"slot": 1, "device": "heater", "planned_a": 3.5}
    given = {"install": {"bike": "Elder"}, "battery": {"chemistry": "agm", "capacity_ah": capacity_ah}}
    return plan_from_mapping({**given, "circuit": [one], **tables})


def doubted(capacity_ah: float = 11.2, **tables: Any) -> set[str]:
    """The keys that are doubted."""
    return {about for about, _ in doubts(plan(capacity_ah, **tables))}


def remarked(**tables: Any) -> set[tuple[str, str]]:
    """Severity and key of every remark."""
    return {(remark.severity, remark.about) for remark in advice(plan(**tables))}


@pytest.mark.parametrize(("capacity_ah", "odd"), [(1.4, True), (1.6, False), (39.0, False), (41.0, True)])
def test_batteries_of_motorcycles_have_1_5_to_40_ah(capacity_ah: float, odd: bool):
    """Common practice, no source."""
    assert ("battery.capacity_ah" in doubted(capacity_ah)) is odd


@pytest.mark.parametrize(("drain_ma", "odd"), [(65.0, False), (68.0, True)])
def test_drain_that_empties_the_battery_within_a_week_is_doubted(drain_ma: float, odd: bool):
    """11.2 Ah last a week at 66.7 mA."""
    assert ("limits.off_state_drain_ma" in doubted(limits={"off_state_drain_ma": drain_ma})) is odd


@pytest.mark.parametrize(("amps", "odd"), [(39.0, False), (41.0, True)])
def test_load_above_40_a_is_doubted(amps: float, odd: bool):
    """No usual accessory draws more (common practice, no source)."""
    circuit = [{"slot": 1, "device": "heater", "planned_a": amps}]

    assert ("circuit[1].planned_a" in doubted(circuit=circuit)) is odd


@pytest.mark.parametrize(("length_m", "odd"), [(5.9, False), (6.1, True)])
def test_wire_longer_than_a_motorcycle_is_doubted(length_m: float, odd: bool):
    """6 m one way (common practice, no source), for the feed, the return and a circuit."""
    run = {"conductor": "4 mm2", "length_m": length_m}
    circuit = [{"slot": 1, "device": "heater", "planned_a": 3.5, "conductor": "1 mm2", "length_m": length_m}]
    told = doubted(feed=run, ground=run, circuit=circuit)

    assert {"feed.length_m", "ground.length_m", "circuit[1].length_m"} & told == (
        {"feed.length_m", "ground.length_m", "circuit[1].length_m"} if odd else set()
    )


@pytest.mark.parametrize(("unfused_m", "odd"), [(0.17, False), (0.19, True)])
def test_seven_inches_before_the_fuse(unfused_m: float, odd: bool):
    """7 in are 0.178 m (ABYC E-11, as quoted)."""
    assert ("feed.unfused_m" in doubted(feed={"fuse_a": 20, "unfused_m": unfused_m})) is odd


@pytest.mark.parametrize(("coil_a", "odd"), [(0.79, False), (0.81, True)])
def test_coil_takes_at_most_80_percent_of_the_triggers_fuse(coil_a: float, odd: bool):
    """A fuse of 1 A in front of the trigger's wire."""
    assert ("relay.trigger_fuse_a" in doubted(relay={"coil_a": coil_a, "trigger_fuse_a": 1.0})) is odd


@pytest.mark.parametrize(
    ("alternator", "key"),
    [
        ({"speed_a": 8.4, "bike_a": 5}, "alternator.speed_a"),
        ({"speed_a": 8.6, "idle_a": 8.4, "bike_a": 5}, "alternator.idle_a"),
        ({"speed_a": 8.6, "idle_a": 8.6, "bike_a": 5}, None),
        ({"speed_a": 3.6}, None),
    ],
)
def test_more_load_than_the_alternator_gives_is_doubted(alternator: dict[str, float], key: str | None):
    """3.5 A planned and 5 A of the bike's own are 8.5 A."""
    assert {each for each in doubted(alternator=alternator) if each.startswith("alternator")} == (
        {key} if key else set()
    )


@pytest.mark.parametrize(
    ("relay", "remark"),
    [
        ({"coil_a": 0.26}, ("warning", "relay.coil_a")),
        ({"suppression": "none"}, ("warning", "relay.suppression")),
        ({"suppression": "diode", "drop_out_max_ms": 11.9}, ("warning", "relay.drop_out_max_ms")),
        ({"pull_in_max_ms": 9.9}, ("note", "relay.pull_in_max_ms")),
        ({"contact_a": 3.4}, ("warning", "relay.contact_a")),
    ],
)
def test_relay_just_beyond_what_is_usual_is_remarked(relay: dict[str, Any], remark: tuple[str, str]):
    """Coils to 0.25 A, 12 ms with a diode, 10 ms to close, the contact's rating: beyond each a remark."""
    assert remark in remarked(relay=relay)


@pytest.mark.parametrize(
    "relay",
    [
        {"coil_a": 0.24},
        {"suppression": "diode", "drop_out_max_ms": 12.1},
        {"suppression": "resistor", "drop_out_max_ms": 5.0},
        {"pull_in_max_ms": 10.1},
        {"contact_a": 3.6},
    ],
)
def test_relay_within_what_is_usual_is_not_remarked(relay: dict[str, Any]):
    """Short of each bound nothing is said of the relay."""
    assert {about for _, about in remarked(relay=relay) if about.startswith("relay")} == set()


@pytest.mark.parametrize(
    ("limits", "odd"),
    [
        ({"resting_min_v": 12.81}, True),
        ({"resting_min_v": 12.79}, False),
        ({"resting_min_v": 12.31}, False),
        ({"resting_min_v": 12.29}, True),
        ({"charging_max_v": 14.85}, True),
        ({"charging_max_v": 14.75}, False),
        ({"charging_min_v": 12.79}, True),
        ({"charging_min_v": 12.81}, False),
        ({"crank_min_v": 7.9}, True),
        ({"crank_min_v": 8.1}, False),
    ],
)
def test_voltage_limits_that_do_not_suit_an_agm_battery(limits: dict[str, float], odd: bool):
    """Full at 12.8 V and half full at 12.3 V, charged at 13.5 to 14.8 V (common practice, no source)."""
    (key,) = limits

    assert (("warning", f"limits.{key}") in remarked(limits=limits)) is odd


@pytest.mark.parametrize(("fuse_a", "odd"), [(4.3, True), (4.4, False)])
def test_circuit_above_80_percent_of_its_fuse_is_remarked(fuse_a: float, odd: bool):
    """3.5 A are 80 % of 4.375 A; the same for the feed's fuse and the planned load."""
    circuit = [{"slot": 1, "device": "heater", "planned_a": 3.5, "fuse_a": fuse_a}]

    assert (("warning", "circuit[1].fuse_a") in remarked(circuit=circuit, feed={"fuse_a": 20})) is odd
    assert (("warning", "feed.fuse_a") in remarked(feed={"fuse_a": fuse_a})) is odd


@pytest.mark.parametrize(("length_m", "severity"), [(2.6, None), (2.7, "note"), (8.6, "note"), (9.0, "warning")])
def test_loss_of_3_and_of_10_percent_of_12_v(length_m: float, severity: str | None):
    """3.5 A out and back over 19.5 mohm/m: 0.36 V after 2.64 m, 1.2 V after 8.79 m (ABYC E-11, as quoted)."""
    circuit = [{"slot": 1, "device": "heater", "planned_a": 3.5, "conductor": "1 mm2", "length_m": length_m}]
    told = {how for how, about in remarked(circuit=circuit) if about == "circuit[1].conductor"}

    assert told == ({severity} if severity else set())


def test_slot_limits_by_hand():
    """5 A ± 20 % is 4 to 6 A; a fuse of 7 A takes the upper end to 5.6 A, one of 4 A leaves nothing."""
    free, fused, none = (
        slot_limit(plan(circuit=[{"slot": 1, "device": "a", "planned_a": 5.0, **fuse}]).circuit[0])
        for fuse in ({}, {"fuse_a": 7.0}, {"fuse_a": 4.0})
    )

    assert (free.min, free.max) == pytest.approx((4.0, 6.0))
    assert (fused.min, fused.max) == pytest.approx((4.0, 5.6))
    assert [limit.impossible for limit in (free, fused, none)] == [False, False, True]


def test_derived_drop_by_hand():
    """1.5 m of 4 mm2 at 60 degC, six joints, a 20 A fuse, a contact; 1.6 m and two joints in the return."""
    feed = {"fuse_a": 20, "conductor": "4 mm2", "length_m": 1.5}
    made = plan(feed=feed, ground={"conductor": "4 mm2", "length_m": 1.6})
    hot = 1 + 0.00393 * 40
    feed_mohm = 1.5 * 4.95 * hot + 1.5 * (6 * 0.5 + 70 / 20 + 5.0)
    ground_mohm = 1.6 * 4.95 * hot + 1.5 * 2 * 0.5

    assert derived_drop(made, feed_path(made)).max == pytest.approx(3.5 * feed_mohm / 1000)
    assert derived_drop(made, ground_path(made)).max == pytest.approx(3.5 * ground_mohm / 1000)
    assert feed_allowance(None).fuse_mohm == pytest.approx(70 / 15)
    assert (ground_allowance().fuse_mohm, ground_allowance().contact_mohm) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("fuse_a", "verdict"), [(10.0, "pass"), (10.1, "not proven"), (15.0, "not proven"), (15.1, "fail")]
)
def test_a_fuse_is_held_against_both_tables(fuse_a: float, verdict: str):
    """Pass up to the careful table's figure, fail above the lenient one's, open in between."""
    assert Protection(fuse_a, Conductor(1.0), 10.0, 15.0).verdict == verdict


def test_a_slot_without_a_fuse_says_what_the_feeds_does_to_its_wire():
    """20 A in front of 1 mm2 burn it; 5 A do not."""
    circuit = [{"slot": 1, "device": "heater", "planned_a": 3.5, "conductor": "1 mm2"}]
    dangerous, sound = (plan(circuit=circuit, feed={"fuse_a": fuse_a}) for fuse_a in (20, 5))

    assert "only the feed fuse protects it" in slot_fuse(dangerous, dangerous.circuit[0]).lacks
    assert "only the feed fuse" not in slot_fuse(sound, sound.circuit[0]).lacks


@pytest.mark.parametrize(("load_a", "fuse_a"), [(0.8, 1.0), (0.81, 2.0), (4.0, 5.0), (4.1, 7.5), (33.0, 40.0)])
def test_smallest_fuse_of_which_a_load_is_at_most_80_percent(load_a: float, fuse_a: float):
    """Blade fuses of 1, 2, 3, 5, 7.5, 10, 15, 20, 25, 30 and 40 A; the largest where none is enough."""
    assert fuse_for(load_a) == fuse_a


@pytest.mark.parametrize(
    ("fuse_a", "wire"), [(5, "1 mm2"), (10, "1 mm2"), (10.5, "1.5 mm2"), (16, "2.5 mm2"), (70, "10 mm2")]
)
def test_thinnest_wire_that_a_fuse_protects(fuse_a: float, wire: str):
    """No thinner than 1 mm2, by the careful table."""
    assert wire_for(fuse_a) == wire


def test_suggested_limits_by_hand():
    """11.2 Ah: a tenth in 730 h is 1.5 mA, a fifth of that 0.31; 350 mohm Ah are 31 mohm; 75 % full is 12.6 V."""
    told = {each.key: each.value for each in suggested_limits("agm", 11.2)}

    assert (told["off_state_drain_ma"], told["added_drain_ma"]) == (1.5, 0.31)
    assert (told["source_resistance_max_mohm"], told["resting_min_v"]) == (31.0, 12.6)
    assert (told["settle_max_s"], told["feed_off_max_v"], told["battery_sag_max_v"]) == (120, 0.5, 0.6)
    assert (told["crank_min_v"], told["charging_min_v"], told["charging_max_v"]) == (9.6, 13.5, 14.8)
    assert {each.key: each.value for each in suggested_limits("lifepo4", 2.0)}["added_drain_ma"] == 0.1


@pytest.mark.parametrize("chemistry", CHEMISTRY)
def test_charge_and_rest_voltage_undo_each_other(chemistry: str):
    """In the middle of each stretch of the table, and flat beyond its ends."""
    rest = CHEMISTRY[chemistry].rest
    for (low, low_v), (high, high_v) in pairwise(rest):
        middle_v = (low_v + high_v) / 2
        if high_v > low_v:
            assert state_of_charge(chemistry, middle_v).mid_pct == pytest.approx((low + high) / 2)
            assert rest_voltage(chemistry, (low + high) / 2) == pytest.approx(middle_v)
    assert (state_of_charge(chemistry, 9.0).mid_pct, state_of_charge(chemistry, 15.0).mid_pct) == (0.0, 100.0)


def test_warm_lead_acid_wants_less_and_rests_higher():
    """10 K above 25 degC: 0.18 V less to charge, 12 mV more at rest; lithium keeps both (by hand)."""
    assert charging_window("agm", 35.0) == pytest.approx((13.32, 14.62))
    assert charging_window("lifepo4", 35.0) == CHEMISTRY["lifepo4"].charge_v
    assert state_of_charge("agm", 12.462, 35.0).mid_pct == pytest.approx(state_of_charge("agm", 12.45).mid_pct)
    assert days_until(1.0, 0.0) == float("inf")
    assert days_until(2.4, 10.0) == pytest.approx(10.0)


def test_sizes_at_the_ends_of_what_a_wire_may_be():
    """0.05 to 150 mm2 and 36 AWG to 4/0; resistance follows length and warmth."""
    assert (conductor("0.05 mm2").area_mm2, conductor("150 mm2").area_mm2) == (0.05, 150.0)
    for text in ("0.049 mm2", "151 mm2", "37 AWG"):
        with pytest.raises(ValueError, match="must be a"):
            conductor(text)
    assert str(conductor("4/0 AWG")) == "4/0 AWG"
    assert resistance_mohm(Conductor(4.0), 2.0, 70.0) == pytest.approx(2 * 4.95 * (1 + 0.00393 * 50))
    assert resistance_mohm(Conductor(0.35), 1.0) == 54.4
