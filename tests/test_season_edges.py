"""Where the season's advice turns: limits, dates, days and charge from both sides, on parts written by hand."""

import math
from datetime import UTC, date, datetime, timedelta

import pytest

from benchlog.season.charge import Charge, charge_of
from benchlog.season.forecast import LimitCrossing, TooFew, Trend, crossing_of
from benchlog.season.model import Part
from benchlog.season.standing import Standing, days_to_floor, standing_of
from benchlog.season.words import advise, trend_words
from benchlog.store.readings import Reading

TODAY = date(2025, 9, 1)
AT = datetime(2025, 9, 1, tzinfo=UTC)
EPOCH = date(1970, 1, 1)


def trend(per_year: float, *, proven: bool = True, level: float = 20.0, spread: float = 0.0, others: str = "none"):
    """A trend that passes ``level`` today."""
    return Trend(
        since=TODAY - timedelta(days=200),
        until=TODAY,
        n=12,
        per_year=per_year,
        low=per_year - spread,
        high=per_year + spread,
        p=0.01,
        level=level,
        level_u=0.0,
        middle=float((TODAY - EPOCH).days),
        others=others,
        per_other=None,
        proven=proven,
        because="no trend proven: it is a test",
    )


def part(quantity: str, crossing: LimitCrossing, moves: Trend | TooFew | None = None) -> Part:
    """One quantity with one reading."""
    readings = (Reading(AT, quantity, 12.0, 0.1, 20.0),)
    limit = (9.0, None)
    return Part(
        quantity, quantity, "V", readings, limit, None, (12.0, 0.1), moves or TooFew("too few", 1), (), crossing
    )


def words(*parts: Part, charge: Charge | None = None, standing: Standing | None = None) -> list[tuple[str, str]]:
    """Urgency and words of all advice."""
    return [(each.urgency, each.words) for each in advise(parts, charge, standing, TODAY, "agm")]


@pytest.mark.parametrize(
    ("value", "state"), [(9.85, "crossed"), (9.95, "at the limit"), (10.05, "at the limit"), (10.15, "inside")]
)
def test_a_value_is_beyond_its_limit_or_within_its_doubt(value: float, state: str):
    """A least of 10 V, known to ± 0.1 V."""
    got = crossing_of(TooFew("", 1), (value, 0.1), 10.0, None, TODAY)

    assert (got.state, got.side, got.limit) == (state, "min", 10.0)


def test_the_nearer_of_two_limits_is_told():
    """13.6 V between 13.5 and 14.8 V lies nearer the lower, 14.7 V the upper one."""
    assert crossing_of(TooFew("", 1), (13.7, 0.05), 13.5, 14.8, TODAY).side == "min"
    assert crossing_of(TooFew("", 1), (14.7, 0.05), 13.5, 14.8, TODAY).side == "max"
    assert crossing_of(TooFew("", 1), (15.0, 0.05), 13.5, 14.8, TODAY).state == "crossed"
    assert crossing_of(TooFew("", 1), None, 13.5, 14.8, TODAY).state == "open"
    assert crossing_of(TooFew("", 1), (13.7, 0.05), None, None, TODAY).state == "open"


def test_limit_is_crossed_where_the_straight_line_meets_it():
    """20 mΩ that rise 10 mΩ a year reach 30 mΩ after 365.25 days; ± 2 a year: after 304.4 to 456.6 (by hand)."""
    got = crossing_of(trend(10.0, spread=2.0), (20.0, 0.1), None, 30.0, TODAY)

    assert got.state == "will cross"
    assert got.earliest is not None
    assert got.latest is not None
    assert abs((got.earliest - TODAY).days - 365.25 * 10 / 12) <= 1.5
    assert abs((got.latest - TODAY).days - 365.25 * 10 / 8) <= 1.5


def test_falling_values_meet_the_lower_limit():
    """20 that fall 10 a year reach 15 after half a year, whatever the upper limit."""
    got = crossing_of(trend(-10.0), (20.0, 0.1), 15.0, 40.0, TODAY)

    assert (got.state, got.side) == ("will cross", "min")
    assert got.earliest is not None
    assert abs((got.earliest - TODAY).days - 182.6) <= 1.5


@pytest.mark.parametrize(("per_year", "state"), [(2.1, "will cross"), (1.9, "inside")])
def test_no_trend_is_carried_beyond_five_years(per_year: float, state: str):
    """10 mΩ to go: 4.8 or 5.3 years."""
    assert crossing_of(trend(per_year), (20.0, 0.1), None, 30.0, TODAY).state == state


def test_trend_that_is_not_proven_or_leads_away_has_no_date():
    """Neither a chance slope nor one away from the limit crosses it."""
    assert crossing_of(trend(10.0, proven=False), (20.0, 0.1), None, 30.0, TODAY).state == "inside"
    assert crossing_of(trend(-10.0), (20.0, 0.1), None, 30.0, TODAY).state == "inside"


@pytest.mark.parametrize(("days", "urgency"), [(179, "soon"), (181, "fine")])
def test_half_a_year_before_a_limit_is_near(days: int, urgency: str):
    """A cranking minimum that will be crossed in 179 days is to be tested, in 181 fine until then."""
    crossing = LimitCrossing("will cross", "min", 9.0, TODAY + timedelta(days=days), None)

    ((how, said),) = words(part("crank_minimum", crossing, trend(-1.0)))

    assert how == urgency
    assert said.startswith("test under load" if urgency == "soon" else "fine until about")


@pytest.mark.parametrize(
    ("quantity", "crossed", "at_limit"),
    [
        ("off_state_drain", "find the drain", "look at the drain"),
        ("charging_voltage", "look at the charging now", "look at the charging"),
        ("resting_voltage", "charge now", "charge soon"),
        *((ageing, "replace soon", "test under load") for ageing in ("source_resistance", "crank_minimum")),
    ],
)
def test_each_quantity_has_its_own_advice(quantity: str, crossed: str, at_limit: str):
    """Beyond the limit at once, at it soon; an ageing battery that alone shows it is to be replaced."""
    assert words(part(quantity, LimitCrossing("crossed", "min", 9.0))) == [("now", crossed)]
    assert words(part(quantity, LimitCrossing("at the limit", "min", 9.0))) == [("soon", at_limit)]


@pytest.mark.parametrize(
    ("per_year", "proven", "said"), [(5.0, True, "replace"), (-5.0, True, "test"), (5.0, False, "test")]
)
def test_one_of_two_ageing_signs_needs_a_trend_of_its_own(per_year: float, proven: bool, said: str):
    """Resistance beyond its limit while cranking is fine: replace only where it is proven to rise."""
    resistance = part("source_resistance", LimitCrossing("crossed", "max", 40.0), trend(per_year, proven=proven))
    crank = part("crank_minimum", LimitCrossing("inside", "min", 9.0))

    assert words(resistance, crank)[0][1].startswith(said)


@pytest.mark.parametrize(("high_pct", "said"), [(49.0, ("now", "charge now")), (51.0, ("fine", "fine now"))])
def test_below_half_for_certain_is_charged_now(high_pct: float, said: tuple[str, str]):
    """Half charge is where a lead-acid battery begins to harm itself (common practice, no source)."""
    charge = Charge(AT, 12.2, 30.0, 40.0, high_pct, "b")

    assert words(part("resting_voltage", LimitCrossing("inside", "min", 9.0)), charge=charge) == [said]


def stands(low_days: float, high_days: float, since: date = TODAY) -> Standing:
    """Days until half charge."""
    return Standing(since, low_days, (low_days + high_days) / 2, high_days, 1.0, 20.0, "b")


@pytest.mark.parametrize(
    ("standing", "said"),
    [
        (stands(0.0, 0.0), ("now", "charge now")),
        (stands(89.0, 200.0), ("soon", "charge before storage")),
        (stands(91.0, 200.0), ("fine", "can stand until 1 December 2025")),
        (stands(3700.0, 5000.0), ("fine", "can stand for years")),
        (stands(100.0, 200.0, TODAY - timedelta(days=101)), ("soon", "charge before storage")),
    ],
)
def test_days_of_standing_become_advice(standing: Standing, said: tuple[str, str]):
    """At half now; fewer than 90 days; until a day; for years; and a reading that is older than its days."""
    assert words(standing=standing) == [said]


def test_worst_comes_first_and_nothing_is_never_said():
    """Now before soon before fine; without a reading that is said."""
    fine = part("off_state_drain", LimitCrossing("inside", "max", 1.0))
    soon = part("charging_voltage", LimitCrossing("at the limit", "max", 14.8))
    now = part("resting_voltage", LimitCrossing("crossed", "min", 12.6))

    assert [how for how, _ in words(fine, soon, now)] == ["now", "soon", "fine"]
    assert words() == [("open", "nothing measured yet")]


def test_days_by_hand():
    """10 Ah from 100 to 50 % at 10 mA are 20.8 days; 3 % a month of 10 Ah are 0.41 mA of their own."""
    assert days_to_floor(100, 10, 10, 0) == pytest.approx(5000 / 10 / 24)
    assert days_to_floor(100, 10, 0, 3.0) == pytest.approx(5000 / (300 / (365.25 / 12 * 24)) / 24)
    assert days_to_floor(50, 10, 10, 0) == 0.0
    assert math.isinf(days_to_floor(100, 10, -1.0, 0.0))


def test_standing_takes_the_worst_and_the_best_of_everything():
    """60 to 100 % of 10 Ah AGM, 2 ± 0.5 mA: the fewest days from a worn battery, the most from the best."""
    charge = Charge(AT, 12.6, 60.0, 80.0, 100.0, "b")

    got = standing_of(charge, Reading(AT, "off_state_drain", 2.0, 0.5, None), "agm", 10.0)

    month_h = 365.25 / 12 * 24
    assert got.low_days == pytest.approx(0.1 * 8000 / (2.5 + 8000 * 0.03 / month_h) / 24)
    assert got.mid_days == pytest.approx(0.3 * 10000 / (2.0 + 10000 * 0.02 / month_h) / 24)
    assert got.high_days == pytest.approx(0.5 * 10000 / (1.5 + 10000 * 0.01 / month_h) / 24)


def test_drain_without_a_stated_uncertainty_is_good_to_a_fifth():
    """2 mA are then 1.6 to 2.4 mA; without a drain the plan's limit is the worst, and none is none."""
    charge = Charge(AT, 12.6, 60.0, 80.0, 100.0, "b")
    stated, unstated = (
        standing_of(charge, Reading(AT, "off_state_drain", 2.0, u, None), "agm", 10.0) for u in (0.4, None)
    )

    assert (unstated.low_days, unstated.high_days) == pytest.approx((stated.low_days, stated.high_days))
    assert standing_of(charge, None, "agm", 10.0).low_days == 0.0
    assert standing_of(charge, None, "agm", 10.0, 2.4).low_days == pytest.approx(stated.low_days)


def test_charge_without_a_temperature_allows_for_15_kelvin():
    """1.2 mV/K over 15 K are 18 mV: the interval is as wide as with 18 mV more of doubt."""
    unknown = charge_of(Reading(AT, "resting_voltage", 12.5, 0.0, None), "agm")
    known = charge_of(Reading(AT, "resting_voltage", 12.5, 0.018, 20.0), "agm")

    assert (unknown.low_pct, unknown.high_pct) == pytest.approx((known.low_pct, known.high_pct))
    assert unknown.mid_pct == pytest.approx(known.mid_pct)


@pytest.mark.parametrize(("high_pct", "little"), [(72.0, False), (74.0, True)])
def test_a_third_of_the_charge_says_little(high_pct: float, little: bool):
    """From 40 %: 32 or 34 % wide."""
    assert Charge(AT, 12.4, 40.0, 55.0, high_pct, "b").says_little is little


def test_trend_in_words():
    """Direction, size and interval with two digits; a chance slope says what fits."""
    assert trend_words(trend(8.123, spread=2.05), "mΩ") == "rises 8.1 mΩ a year (6.1 to 10)"
    assert trend_words(trend(-0.123, spread=0.02), "V") == "falls 0.12 V a year (0.10 to 0.14)"
    assert trend_words(trend(0.1, spread=0.3, proven=False), "V").endswith("anything from −0.20 to 0.40 V a year fits")
