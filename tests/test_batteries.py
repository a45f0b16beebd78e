"""Rest voltages, charging windows and drain against printed figures."""

import math

import pytest

from benchlog.plan.batteries import CHEMISTRY, charging_window, days_until, rest_voltage, state_of_charge
from benchlog.plan.model import CHEMISTRIES


def test_every_chemistry_of_a_plan_is_known():
    """What a plan may name has a table."""
    assert tuple(CHEMISTRY) == CHEMISTRIES


@pytest.mark.parametrize(("resting_v", "pct"), [(12.65, 100), (12.45, 75), (12.24, 50), (12.06, 25), (11.89, 0)])
def test_flooded_table_is_met(resting_v, pct):
    """Flooded lead-acid at rest, widely printed table (common practice, no source)."""
    assert state_of_charge("flooded", resting_v).mid_pct == pytest.approx(pct, abs=1e-6)


@pytest.mark.parametrize(
    ("resting_v", "low", "high"), [(12.7, 75, 100), (12.45, 50, 75), (12.15, 25, 50), (11.9, 0, 25)]
)
def test_agm_bands_are_met(resting_v, low, high):
    """The middle of each printed AGM band lies in that band (common practice, no source)."""
    assert low < state_of_charge("agm", resting_v).mid_pct < high


@pytest.mark.parametrize(
    ("resting_v", "pct"),
    [(13.6, 99), (13.4, 90), (13.3, 70), (13.2, 40), (13.0, 30), (12.8, 20), (12.0, 10), (10.0, 0)],
)
def test_lifepo4_table_is_met(resting_v, pct):
    """Four LiFePO4 cells at rest, one printed table of low authority (common practice, no source)."""
    assert rest_voltage("lifepo4", pct) == pytest.approx(resting_v, abs=1e-9)


def test_lifepo4_plateau_leaves_the_charge_open():
    """On the plateau a tenth of a volt is worth tens of per cent, and the band says so."""
    charge = state_of_charge("lifepo4", 13.25)

    assert charge.high_pct - charge.low_pct >= 30


def test_the_same_voltage_means_different_charge():
    """12.5 V at rest is about 80 % in a flooded battery, and 50 to 75 % in an AGM one."""
    assert state_of_charge("flooded", 12.5).mid_pct == pytest.approx(80, abs=3)
    assert 50 < state_of_charge("agm", 12.5).mid_pct < 75


@pytest.mark.parametrize("chemistry", CHEMISTRY)
def test_band_holds_the_best_figure(chemistry):
    """The band: low <= mid <= high, all within 0 to 100, and more volts never mean less charge."""
    charges = [state_of_charge(chemistry, 9.5 + 0.01 * n) for n in range(500)]
    mids = [charge.mid_pct for charge in charges]

    assert all(0 <= each.low_pct <= each.mid_pct <= each.high_pct <= 100 for each in charges)
    assert mids == sorted(mids)
    assert (mids[0], mids[-1]) == (0, 100)


@pytest.mark.parametrize("chemistry", CHEMISTRY)
@pytest.mark.parametrize("pct", [5, 25, 60, 95])
def test_voltage_and_charge_are_inverse(chemistry, pct):
    """The charge worked out from the rest voltage of a charge is that charge."""
    assert state_of_charge(chemistry, rest_voltage(chemistry, pct)).mid_pct == pytest.approx(pct)


def test_warm_lead_rests_a_little_higher():
    """0.2 mV per cell and kelvin (from memory): 20 K are worth 24 mV in a lead-acid battery, nothing in LiFePO4."""
    warm = state_of_charge("agm", 12.45 + 0.024, temperature_c=45)

    assert warm.mid_pct == pytest.approx(state_of_charge("agm", 12.45).mid_pct)
    assert state_of_charge("lifepo4", 13.0, 45) == state_of_charge("lifepo4", 13.0)


def test_cold_lead_wants_more_charging_voltage():
    """18 mV/K per 12 V battery (common practice, no source): 25 K colder, 0.45 V more."""
    assert charging_window("agm") == (13.5, 14.8)
    assert charging_window("agm", 0) == pytest.approx((13.95, 15.25))
    assert charging_window("lifepo4", 0) == charging_window("lifepo4")


@pytest.mark.parametrize(("drain_ma", "days"), [(1, 208.3), (5, 41.7), (20, 10.4), (50, 4.17)])
def test_days_to_lose_5_ah(drain_ma, days):
    """5 Ah at a steady drain, worked by hand."""
    assert float(f"{days_until(5, drain_ma):.4g}") == pytest.approx(days, rel=2e-3)


@pytest.mark.parametrize("drain_ma", [0, -0.1])
def test_no_drain_lasts_for_ever(drain_ma):
    """Without a drain the battery is never flat from it."""
    assert days_until(5, drain_ma) == math.inf
