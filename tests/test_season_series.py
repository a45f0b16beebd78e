"""What readings are compared with each other, what moves them, and how a trend and its band are worked out, by hand."""

import math
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from benchlog.core.spread import MEDIAN_U, robust_spread
from benchlog.plan.batteries import state_of_charge
from benchlog.season import forecast
from benchlog.season.charge import Charge, charge_of
from benchlog.season.forecast import TooFew, Trend, crossing_of, trend_of
from benchlog.season.model import Season
from benchlog.season.series import Others, Series, compared, day_of, series_of
from benchlog.season.standing import Standing, days_to_floor, standing_of
from benchlog.season.trend import TrendSlope, Z, autocorrelation_inflation
from benchlog.store.readings import Reading

AT = datetime(2026, 1, 1, tzinfo=UTC)
FIRST = day_of(AT)
NONE = float("nan")


def reading(k: int, value: float = 10.0, u: float | None = 0.1, celsius: float | None = 20.0) -> Reading:
    """One every ten days."""
    return Reading(AT + timedelta(days=10 * k), "crank_minimum", value, u, celsius)


def series(*celsius: float, n: int | None = None, u: float = 0.1) -> Series:
    """Readings with these temperatures."""
    count = len(celsius) if n is None else n
    return Series(FIRST + 10.0 * np.arange(count), np.full(count, 10.0), np.array(celsius), np.full(count, u))


@pytest.mark.parametrize(("u", "left_out"), [(0.299, 0), (0.301, 1)])
def test_three_times_the_usual_uncertainty_says_little(u: float, left_out: int):
    """Of six readings with a stated one, five of 0.1 V."""
    found = series_of([reading(k) for k in range(5)] + [reading(5, 99.0, u)], "crank_minimum")

    assert (found.left_out, len(found)) == (left_out, 6 - left_out)


@pytest.mark.parametrize(("n", "left_out"), [(5, 0), (6, 1)])
def test_fewer_than_six_stated_uncertainties_leave_nothing_out(n: int, left_out: int):
    """One that is not stated is never too uncertain."""
    readings = [reading(k) for k in range(n - 1)] + [reading(n, u=9.0), reading(n + 1, u=None)]
    found = series_of(readings, "crank_minimum")

    assert found.left_out == left_out
    assert np.isnan(found.uncertainty).tolist()[-1]


def test_exact_readings_leave_nothing_out():
    """Uncertainties of zero are as usual as any."""
    assert series_of([reading(k, u=0.0) for k in range(6)], "crank_minimum").left_out == 0


def test_series_stand_in_order_and_hold_their_own_quantity():
    """Whatever the order and whatever else was read; what is no number is left out."""
    other = Reading(AT, "charging_voltage", 14.0)
    found = series_of([reading(2, 3.0, None, None), other, reading(0, 1.0), reading(1, NONE)], "crank_minimum")

    assert found.value.tolist() == [1.0, 3.0]
    assert (found.day - FIRST).tolist() == [0.0, 20.0]
    assert np.isnan(found.temperature_c).tolist() == [False, True]
    assert (found.temperature_c[0], found.uncertainty[0]) == (20.0, 0.1)
    assert (found.days, len(found.part(1)), len(found.part(0, 1))) == (20.0, 1, 1)
    assert series_of([], "crank_minimum").days == 0.0


def test_usual_uncertainty_is_the_median_of_those_stated():
    """None where none is."""
    mixed = Series(np.arange(4.0), np.ones(4), np.ones(4), np.array([0.1, NONE, 0.3, 0.5]))

    assert mixed.usual_uncertainty == pytest.approx(0.3)
    assert series(NONE, u=NONE).usual_uncertainty is None


@pytest.mark.parametrize(("spread_k", "kind"), [(1.9, "none"), (2.1, "temperature")])
def test_temperatures_that_hardly_differ_explain_nothing(spread_k: float, kind: str):
    """Two kelvin of standard deviation part still from moving."""
    found, others = compared(series(*(20 + spread_k * sign for sign in (1, -1) * 4)))

    assert (others.kind, len(found)) == (kind, 8)
    assert others.columns.shape == (8, 0 if kind == "none" else 1)
    if kind == "temperature":
        assert others.columns[:2, 0] == pytest.approx([2.1, -2.1])


@pytest.mark.parametrize(("noted", "kind"), [(8, "temperature"), (7, "time of year")])
def test_four_of_five_noted_temperatures_are_enough(noted: int, kind: str):
    """Eight of ten; the others are then left out."""
    celsius = [float(5 * (k % 4)) if k < noted else NONE for k in range(10)]
    found, others = compared(series(*celsius))

    assert others.kind == kind
    assert len(found) == (noted if kind == "temperature" else 10)
    assert found.left_out == 0


@pytest.mark.parametrize(("n", "noted", "kind"), [(6, 5, "time of year"), (6, 6, "temperature"), (5, 5, "temperature"),
                                                 (5, 4, "time of year"), (0, 0, "time of year")])  # fmt: skip
def test_six_noted_temperatures_or_all_are_needed(n: int, noted: int, kind: str):
    """However large their share."""
    found, others = compared(series(*(float(5 * (k % 4)) if k < noted else NONE for k in range(n))))

    assert (others.kind, len(found)) == (kind, n)


def test_time_of_year_is_a_cosine_and_a_sine():
    """Of one year from 1970 on: 365.25 days later both are the same, half a year later both turn round."""
    days = np.array([0.0, 365.25 / 4, 365.25 / 2, 365.25])
    _, others = compared(Series(days, np.ones(4), np.full(4, NONE), np.ones(4)))

    assert others.columns == pytest.approx(np.array([[1, 0], [0, 1], [-1, 0], [1, 0]]), abs=1e-9)


def waved(n: int = 9, u: float = 0.0, per_year: float = 0.0, days: float = 10.0) -> Series:
    """Readings to and fro by 0.1 V about a line."""
    day = FIRST + days * np.arange(n)
    scatter = 0.1 * np.array([1.0, -1, 0.5, -0.7, 0.2, 0.9, -1.1, 0.3, -0.1])[:n]
    return Series(day, 10.0 + scatter + per_year * (day - FIRST) / 365.25, np.full(n, 20.0), np.full(n, u))


def rolling(u: float = 0.0, per_year: float = 0.0) -> Series:
    """Twelve readings whose neighbours are alike, about a line."""
    day = FIRST + 10.0 * np.arange(12)
    value = 10.0 + 0.1 * np.sin(0.9 * np.arange(12.0)) + per_year * (day - FIRST) / 365.25
    return Series(day, value, np.full(12, 20.0), np.full(12, u))


def still(n: int = 9) -> Others:
    """Nothing else moves them."""
    return Others(np.zeros((n, 0)), "none")


@pytest.mark.parametrize(("n", "every", "enough"), [(5, 20.0, False), (6, 12.0, True), (6, 11.9, False)])
def test_six_readings_over_sixty_days_are_a_trend(n: int, every: float, enough: bool):
    """Fewer or shorter are too few, and it says how many there are."""
    found = trend_of(waved(n, days=every), still(n))

    assert isinstance(found, Trend) is enough
    if isinstance(found, TooFew):
        assert found.because == (
            f"too few readings for a trend: {n} over {(n - 1) * every:.0f} days, 6 over 60 days are needed"
        )


@pytest.mark.parametrize(("n", "words"), [(0, "none so far"), (1, "one so far"), (2, "2 over 10 days")])
def test_too_few_readings_are_counted(n: int, words: str):
    """None, one, two."""
    assert f": {words}, 6 over 60 days" in trend_of(waved(n), still(n)).because


def test_level_is_known_as_its_scatter_allows():
    """A median's standard error by the root of the readings, twice, wider for neighbours alike; and the logger's own."""
    for u in (0.0, 0.3):
        given = rolling(u, 5.0)
        got = trend_of(given, still(12))
        assert isinstance(got, Trend)
        residual = given.value - np.array([got.at(day) for day in given.day])
        alike = autocorrelation_inflation(residual, 1)
        scatter = Z * MEDIAN_U * robust_spread(residual) / math.sqrt(12) * math.sqrt(alike)
        assert alike > 1.5
        assert got.level_u == pytest.approx(math.hypot(scatter, u))
        assert np.median(residual) == pytest.approx(0.0, abs=1e-9)
        assert got.level == pytest.approx(10.0 + 5.0 * 55 / 365.25, abs=0.1)
        assert got.middle == pytest.approx(FIRST + 55.0)
        assert (got.n, got.since, got.until) == (12, date(2026, 1, 1), date(2026, 4, 21))


def test_likeness_counts_the_columns_taken_out():
    """One for the trend and one for each: nine readings with a column have two."""
    given = rolling()
    column = np.cos(2.0 * np.arange(12.0))[:, None]
    got = trend_of(given, Others(column, "temperature"))
    assert isinstance(got, Trend)
    assert got.per_other is not None
    residual = given.value - np.array([got.at(day) for day in given.day]) - got.per_other * column[:, 0]
    scatter = Z * MEDIAN_U * robust_spread(residual) / math.sqrt(12)

    assert autocorrelation_inflation(residual, 2) > autocorrelation_inflation(residual, 1) + 0.1
    assert got.level_u == pytest.approx(scatter * math.sqrt(autocorrelation_inflation(residual, 2)))
    assert trend_of(given, still(12)).per_other is None  # type: ignore[union-attr]  # a trend


@pytest.mark.parametrize(("u", "proven"), [(0.9, True), (1.1, False)])
def test_a_trend_moves_more_than_the_readings_are_known(u: float, proven: bool):
    """5 V a year over 80 days are about 1.1 V less scatter."""
    got = trend_of(waved(u=u, per_year=4.6), still())

    assert isinstance(got, Trend)
    assert abs(got.per_year) * 80 / 365.25 == pytest.approx(1.0, abs=0.09)
    assert got.proven is proven
    assert got.because.startswith("the noted" if proven else "no trend proven: the change lies within")


def test_a_reason_stands_beside_each_trend():
    """What was taken out where one is proven; what hides it where none is."""
    long = Series(FIRST + 50.0 * np.arange(9), waved().value, np.full(9, NONE), np.zeros(9))
    swing = Others(np.column_stack([np.cos(np.arange(9.0)), np.sin(np.arange(9.0))]), "time of year")
    steep = waved(per_year=20.0)
    words = [trend_of(each, others).because for each, others in (
        (waved(), still()), (waved(), swing), (long, swing), (steep, still()), (steep, swing),
        (steep, Others(np.cos(np.arange(9.0))[:, None], "temperature")),
    )]  # fmt: skip

    assert words == [
        "no trend proven: the readings scatter more than they change",
        "no trend proven: temperatures were not noted, and in less than a year age and season look alike; note them "
        "with each record",
        "no trend proven: temperatures were not noted; note them with each record",
        "the noted temperatures hardly differ",
        "the effect of the time of year was taken out, as temperatures were not noted",
        "at 20 °C: the effect of the noted temperatures was taken out",
    ]


def line(low: float, per_year: float, high: float, level_u: float = 0.0, *, proven: bool = True) -> Trend:
    """20 on the first day of 2026."""
    return Trend(date(2025, 1, 1), date(2026, 1, 1), 9, per_year, low, high, 0.01, 20.0, level_u, FIRST, "none", None,
                 proven, "")  # fmt: skip


def test_band_before_and_after_the_middle():
    """Two years on: 3 a year less 1 to more 2, and ± 3 for the level; two years before the sides change places."""
    one = line(2.0, 3.0, 5.0, 3.0)

    assert one.at(FIRST + 2 * 365.25) == pytest.approx(26.0)
    assert one.band(FIRST + 2 * 365.25) == pytest.approx((26 - math.hypot(3, 2), 26 + math.hypot(3, 4)))
    assert one.band(FIRST - 2 * 365.25) == pytest.approx((14 - math.hypot(3, 4), 14 + math.hypot(3, 2)))
    assert one.band(FIRST) == pytest.approx((17.0, 23.0))
    assert one.band(FIRST + 0.5 * 365.25) == pytest.approx((21.5 - math.hypot(3, 0.5), 21.5 + math.hypot(3, 1)))


@pytest.mark.parametrize(
    ("value", "state"),
    [(9.89, "crossed"), (9.9, "at the limit"), (10.09, "at the limit"), (10.11, "inside")],
)
def test_a_least_is_crossed_beyond_its_doubt(value: float, state: str):
    """10 V, known to 0.1 V (and at its edge)."""
    assert crossing_of(TooFew("", 1), (value, 0.1 - 1e-9 if state == "crossed" else 0.1 + 1e-9), 10.0, None,
                       date(2026, 1, 1)).state == state  # fmt: skip


def test_a_trend_meets_the_limit_on_its_side():
    """Falling the least, rising the most, and neither without one."""
    falls, rises = line(-12.0, -10.0, -8.0), line(8.0, 10.0, 12.0)
    both = [crossing_of(each, (20.0, 0.1), 15.0, 25.0, date(2026, 1, 1)) for each in (falls, rises)]

    assert [(one.side, one.limit) for one in both] == [("min", 15.0), ("max", 25.0)]
    for one in both:
        assert one.earliest is not None
        assert one.latest is not None
        assert (one.earliest - date(2026, 1, 1)).days == math.ceil(365.25 * 5 / 12)
        assert (one.latest - date(2026, 1, 1)).days == math.ceil(365.25 * 5 / 8)
    assert crossing_of(falls, (20.0, 0.1), None, 25.0, date(2026, 1, 1)).state == "inside"
    assert crossing_of(rises, (20.0, 0.1), 15.0, None, date(2026, 1, 1)).side == "min"


@pytest.mark.parametrize(
    ("p", "low", "high", "proven"),
    [(0.049, 0.1, 1.0, True), (0.051, 0.1, 1.0, False), (0.049, 0.0, 1.0, False), (0.049, -1.0, 0.0, False),
     (0.049, -1.0, -0.1, True), (0.049, -0.1, 1.0, False)],
)  # fmt: skip
def test_a_trend_is_proven_by_its_order_and_its_interval(
    monkeypatch: pytest.MonkeyPatch, p: float, low: float, high: float, proven: bool
):
    """Chance below 5 %, and no interval that holds zero."""
    slope = TrendSlope(slope=low + high, low=low, high=high, intercept=10.0, p=p, n=9)
    monkeypatch.setattr(forecast, "partial_slope", lambda *_: (slope, np.zeros(0), waved().value - 10.0))
    got = trend_of(waved(), still())

    assert isinstance(got, Trend)
    assert (got.proven, got.p, got.low, got.high) == (proven, p, low, high)


def test_a_limit_that_may_be_crossed_already_is_crossed_today_at_the_earliest():
    """The level is known to 6 V: its band holds the limit from the start."""
    one = crossing_of(line(8.0, 10.0, 12.0, 6.0), (20.0, 0.1), None, 25.0, date(2026, 1, 1))

    assert one.earliest == date(2026, 1, 1)


def test_a_trend_that_may_be_slow_has_no_latest_date():
    """Within five years at the earliest alone."""
    one = crossing_of(line(0.5, 2.0, 4.0), (20.0, 0.1), None, 25.0, date(2026, 1, 1))

    assert one.earliest is not None
    assert (one.state, one.latest) == ("will cross", None)
    assert crossing_of(line(0.1, 0.5, 0.99), (20.0, 0.1), None, 25.0, date(2026, 1, 1)).state == "inside"


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
