"""Charge and days of standing by hand: what a rest voltage and a drain leave open, in figures and in words."""

import math
from datetime import date

import pytest
from test_season_series import AT

from benchlog.plan.batteries import state_of_charge
from benchlog.season.charge import Charge, charge_of
from benchlog.season.model import Season
from benchlog.season.standing import Standing, days_to_floor, standing_of
from benchlog.store.readings import Reading


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [(60.0, 85.0, "60 to 85 %"), (61.0, 84.0, "60 to 85 %"), (64.9, 65.1, "60 to 70 %"), (65.0, 65.0, "about 65 %")],
)
def test_charge_is_rounded_outward_to_five(low: float, high: float, words: str):
    """Never narrower than it is."""
    assert Charge(AT, 12.5, low, 70.0, high, "").words == words


@pytest.mark.parametrize(("width", "little"), [(32.9, False), (33.0, True)])
def test_a_third_says_little(width: float, little: bool):
    """33 % of the charge."""
    assert Charge(AT, 12.5, 0.0, 10.0, width, "").says_little is little


def rest(volts: float, u: float | None = 0.0, celsius: float | None = 20.0) -> Reading:
    """A rest voltage."""
    return Reading(AT, "resting_voltage", volts, u, celsius)


def test_charge_allows_for_the_readings_own_doubt():
    """The least at the lowest voltage that it may be, the most at the highest."""
    got = charge_of(rest(12.4, 0.05), "agm")

    assert got.low_pct == pytest.approx(state_of_charge("agm", 12.35, 20.0).low_pct)
    assert got.high_pct == pytest.approx(state_of_charge("agm", 12.45, 20.0).high_pct)
    assert got.mid_pct == state_of_charge("agm", 12.4, 20.0).mid_pct


def test_only_lithium_on_its_plateau_says_nearly_nothing():
    """Not where it is nearly full, and no lead-acid battery, however wide its interval."""
    plateau, full, unsure = charge_of(rest(13.25, 0.015), "lifepo4"), charge_of(rest(13.5), "lifepo4"), charge_of(
        rest(12.4, 0.2), "agm")  # fmt: skip

    assert (plateau.says_little, full.says_little, unsure.says_little) == (True, False, True)
    assert ["nearly nothing" in one.because for one in (plateau, full, unsure)] == [True, False, False]
    assert "tables for it differ by ± 0.10 V" in unsure.because


def test_lithium_needs_no_temperature():
    """Its rest voltage hardly moves with it: no doubt is added, and nothing is said."""
    known, unknown = charge_of(rest(12.9), "lifepo4"), charge_of(rest(12.9, celsius=None), "lifepo4")

    assert (known.low_pct, known.high_pct) == (unknown.low_pct, unknown.high_pct)
    assert "temperature" not in unknown.because
    assert "20 ± 15 °C is assumed" in charge_of(rest(12.5, celsius=None), "agm").because
    assert "accuracy" not in charge_of(rest(12.5), "agm").because


def stands(low: float, high: float) -> Standing:
    """Days."""
    return Standing(date(2026, 1, 1), low, low, high, None, 20.0, "")


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [(0.0, 0.0, "0 days"), (0.0, 0.6, "at most 1 days"), (30.4, 70.4, "30 to 70 days"), (30.4, 30.4, "about 30 days"),
     (99.4, 100.4, "99 to 100 days"), (104.0, 116.0, "100 to 120 days"), (30.0, math.inf, "30 to very many days"),
     (0.4, 3.0, "0 to 3 days")],
)  # fmt: skip
def test_days_are_whole_and_from_a_hundred_on_tens(low: float, high: float, words: str):
    """None, at most, from to, about, very many."""
    assert stands(low, high).words == words


@pytest.mark.parametrize(("low", "until"), [(10.9, date(2026, 1, 11)), (3652.9, date(2036, 1, 1)), (3653.0, None)])
def test_the_day_until_which_it_can_stand(low: float, until: date | None):
    """The last whole day of the fewest, within ten years."""
    assert stands(low, 9999.0).until == until


def test_the_reason_of_the_days_names_the_drain():
    """Measured, of unknown accuracy, planned, or not known."""
    charge = charge_of(rest(12.6), "agm")
    drains = [Reading(AT, "off_state_drain", 2.0, u) for u in (0.1, None)]
    words = [standing_of(charge, *given).because for given in (
        (drains[0], "agm", 10.0), (drains[1], "agm", 10.0), (None, "agm", 10.0, 1.5), (None, "agm", 10.0),
    )]  # fmt: skip

    assert all("% a month at 20 °C; 80 to 100 % of 10 Ah" in each for each in words)
    assert "drain 2.00 mA;" in words[0]
    assert "drain 2.00 mA (accuracy not stated, ± 20 % assumed);" in words[1]
    assert "no drain was measured, so from none to the planned 1.5 mA;" in words[2]
    assert "no drain was measured, so the least number of days is not known;" in words[3]
    none = standing_of(charge, None, "agm", 10.0)
    assert none.mid_days == days_to_floor(charge.mid_pct, 10.0, 0.0, 2.0)
    assert none.drain_ma is None


def test_a_negative_drain_of_unknown_accuracy_is_good_to_a_fifth_too():
    """A charger left on: -2 ± 0.4 mA, so that nothing is drawn at the most."""
    charge = charge_of(rest(12.6), "agm")
    known, unknown = (standing_of(charge, Reading(AT, "off_state_drain", -2.0, u), "agm", 10.0) for u in (0.4, None))

    assert (unknown.low_days, unknown.mid_days, unknown.high_days) == (known.low_days, known.mid_days, known.high_days)
    assert unknown.drain_ma == -2.0


def test_a_part_is_found_by_its_quantity():
    """And no other."""
    empty = Season("Larch", "agm", 1.0, date(2026, 1, 1), (), (), None, None, ())

    with pytest.raises(KeyError, match="crank_minimum"):
        empty.part("crank_minimum")
