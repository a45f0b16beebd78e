"""The trade's tables entry by entry: what batteries rest at and are charged with, what wires bear."""

import pytest

from benchlog.plan.batteries import (
    CHEMISTRY,
    REST_WORDS,
    charging_window,
    days_until,
    rest_voltage,
    self_discharge,
    state_of_charge,
)
from benchlog.plan.model import plan_from_mapping
from benchlog.plan.wiring import Conductor, conductor, largest_fuse_a, most_lenient_fuse_a, resistance_mohm
from benchlog.verdict.advice import advice, fire_risks


@pytest.mark.parametrize(
    ("chemistry", "resting_v", "pct"),
    [
        ("flooded", 12.24, (31.94, 50.0, 65.48)),
        ("agm", 12.3, (41.67, 50.0, 58.33)),
        ("gel", 12.3, (37.5, 50.0, 62.5)),
        ("lifepo4", 13.25, (40.0, 55.0, 70.0)),
    ],
)
def test_charge_and_what_tables_leave_open(chemistry: str, resting_v: float, pct: tuple[float, float, float]):
    """Tables differ by 0.13 V (flooded), 0.10 (AGM), 0.15 (gel), 0.05 (lithium): common practice, no source."""
    found = state_of_charge(chemistry, resting_v)

    assert (found.low_pct, found.mid_pct, found.high_pct) == pytest.approx(pct, abs=0.005)


@pytest.mark.parametrize(
    ("chemistry", "empty_v", "eighth_v", "full_v"),
    [
        ("flooded", 11.89, 11.975, 12.65),
        ("agm", 11.7, 11.85, 12.8),
        ("gel", 11.7, 11.85, 12.8),
        ("lifepo4", 10.0, 12.2, 13.6),
    ],
)
def test_rest_voltages_at_their_ends(chemistry: str, empty_v: float, eighth_v: float, full_v: float):
    """Empty, an eighth full, full, and no more than full."""
    volts = [rest_voltage(chemistry, pct) for pct in (0.0, 12.5, 100.0, 101.0)]

    assert volts == pytest.approx([empty_v, eighth_v, full_v, full_v])


@pytest.mark.parametrize(
    ("chemistry", "least_v", "most_v", "warmer_v"),
    [
        ("flooded", 13.5, 15.5, -0.18),
        ("agm", 13.5, 14.8, -0.18),
        ("gel", 13.5, 14.4, -0.18),
        ("lifepo4", 13.6, 14.6, 0.0),
    ],
)
def test_charging_windows(chemistry: str, least_v: float, most_v: float, warmer_v: float):
    """At 25 degC, and at 35 degC 18 mV/K less for lead-acid (common practice, no source)."""
    assert charging_window(chemistry) == (least_v, most_v)
    assert charging_window(chemistry, 35.0) == pytest.approx((least_v + warmer_v, most_v + warmer_v))


def test_warm_lead_acid_rests_higher():
    """1.2 mV/K: 12 mV more at 35 degC tell the same charge; lithium's is taken as it is."""
    for chemistry, kind in CHEMISTRY.items():
        middle_v, more_v = rest_voltage(chemistry, 60.0), 0.012 if kind.lead_acid else 0.0
        assert state_of_charge(chemistry, middle_v + more_v, 35.0).mid_pct == pytest.approx(60.0)


@pytest.mark.parametrize(
    ("chemistry", "least", "most"),
    [("flooded", 4.0, 6.0), ("agm", 1.0, 3.0), ("gel", 2.0, 4.0), ("lifepo4", 1.0, 3.0)],
)
def test_batteries_lose_charge_of_themselves(chemistry: str, least: float, most: float):
    """Per cent a month at 20 degC (common practice, no source), twice that 10 K warmer, four times 20 K warmer."""
    assert self_discharge(chemistry) == (least, most)
    assert self_discharge(chemistry, 30.0) == pytest.approx((2 * least, 2 * most))
    assert self_discharge(chemistry, 40.0) == pytest.approx((4 * least, 4 * most))


def test_a_night_is_rest_enough():
    """8 hours (common practice, no source)."""
    assert REST_WORDS == "overnight (8 hours or more)"


def test_days_of_a_small_drain():
    """1 Ah lasts 83 days at half a milliampere, and for ever without a drain."""
    assert days_until(1.0, 0.5) == pytest.approx(2000 / 24)
    assert days_until(1.0, 0.0) == float("inf")


@pytest.mark.parametrize(
    ("gauge", "amps"), [(18, 14.0), (16, 17.5), (14, 24.5), (12, 31.5), (10, 42.0), (8, 56.0), (6, 84.0), (4, 112.0)]
)
def test_what_a_gauge_bears_at_most(gauge: int, amps: float):
    """ABYC E-11, as cable makers quote it."""
    assert most_lenient_fuse_a(conductor(f"{gauge} AWG")) == pytest.approx(amps)
    assert most_lenient_fuse_a(conductor(f"awg {gauge - 1}")) > amps or gauge == 4
    assert most_lenient_fuse_a(conductor(f"{gauge + 1} AWG")) < amps


@pytest.mark.parametrize(
    ("area_mm2", "amps"),
    [
        (0.175, 1.5), (0.35, 3.0), (0.425, 4.0), (0.5, 5.0), (0.75, 7.5), (1.0, 10.0), (1.5, 15.0), (2.0, 17.5),
        (2.5, 20.0), (4.0, 30.0), (6.0, 40.0), (8.0, 50.0), (10.0, 60.0), (16.0, 60.0),
    ],
)  # fmt: skip
def test_the_fuse_that_should_protect_a_wire(area_mm2: float, amps: float):
    """Common practice, no source: between listed sizes by area, in proportion below them, and no more above."""
    assert largest_fuse_a(Conductor(area_mm2)) == pytest.approx(amps)


@pytest.mark.parametrize(
    ("area_mm2", "mohm_per_m"),
    [
        (0.35, 54.4), (0.5, 39.0), (0.75, 26.0), (1.0, 19.5), (1.5, 13.3), (2.5, 7.98), (4.0, 4.95), (6.0, 3.30),
        (10.0, 1.91), (16.0, 1.21), (2.0, 500 / 58),
    ],
)  # fmt: skip
def test_what_a_metre_of_wire_resists(area_mm2: float, mohm_per_m: float):
    """IEC 60228 class 5 and, for 0.35 mm2, ISO 6722-1 (from memory); else 1/58 ohm mm2/m (IEC 60028)."""
    assert resistance_mohm(Conductor(area_mm2), 1.0) == pytest.approx(mohm_per_m)


def test_the_thinnest_gauge():
    """36 AWG is 0.127 mm thick (ASTM B258), and a wire; 37 is none."""
    assert conductor("36 AWG").area_mm2 == pytest.approx(0.127**2 * 3.14159265 / 4)
    with pytest.raises(ValueError, match="36 AWG"):
        conductor("37 AWG")


def plan(**tables):
    """One circuit of 3.5 A on an AGM battery of 11.2 Ah."""
    given = {"install": {"bike": "Elder"}, "battery": {"chemistry": "agm", "capacity_ah": 11.2}}
    return plan_from_mapping({**given, "circuit": [{"slot": 1, "device": "heater", "planned_a": 3.5}], **tables})


def test_each_wire_that_can_burn_is_a_sentence():
    """A 60 A fuse before 1 mm2 is a fire risk; that no circuit has a fuse is none."""
    (risk,) = fire_risks(plan(feed={"fuse_a": 60, "conductor": "1 mm2"}))

    assert risk.startswith("Feed: a 60 A fuse is too large for 1 mm²")
    assert risk.endswith("or a thicker wire.")


def test_a_circuit_whose_wire_is_not_planned_loses_nothing_that_is_known():
    """The feed's own 1 % of 12 V at 3.5 A is no remark."""
    about = {remark.about for remark in advice(plan(feed={"fuse_a": 20, "conductor": "4 mm2", "length_m": 1.5}))}

    assert "circuit[1].conductor" not in about


def test_a_limit_of_half_full_is_no_less_than_half():
    """12.30 V is half full for AGM; a hundredth less is not."""
    told = [{remark.about for remark in advice(plan(limits={"resting_min_v": volts}))} for volts in (12.3, 12.29)]

    assert ["limits.resting_min_v" in about for about in told] == [False, True]
