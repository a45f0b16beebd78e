"""Charge, days and dates of a season against published tables, charge arithmetic and a model of a battery."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from season_cases import START, readings_of, season_days, temperature, whole_season

from benchlog.core.errors import BenchlogError
from benchlog.plan.batteries import CHEMISTRY, days_until, self_discharge
from benchlog.plan.model import Limits, load_plan
from benchlog.season import season_of
from benchlog.season.charge import charge_of
from benchlog.season.forecast import TooFew, Trend, crossing_of, trend_of
from benchlog.season.from_logs import readings_of_log
from benchlog.season.series import compared, day_of, series_of
from benchlog.season.standing import days_to_floor, standing_of
from benchlog.store.readings import Reading

AT = datetime(2026, 9, 1, 8, tzinfo=UTC)
END = (START + timedelta(days=400)).date()
LIMITS = Limits(
    resting_min_v=12.6,
    source_resistance_max_mohm=40,
    crank_min_v=9.6,
    off_state_drain_ma=1.0,
    charging_min_v=13.5,
    charging_max_v=14.8,
)
MODEL = Path(__file__).parent / "pybamm_charge"


def rest(volts: float, uncertainty: float | None = 0.0, temperature_c: float | None = 25.0) -> Reading:
    """A rest voltage."""
    return Reading(AT, "resting_voltage", volts, uncertainty, temperature_c)


def drain(ma: float, uncertainty: float | None = 0.0) -> Reading:
    """A drain."""
    return Reading(AT, "off_state_drain", ma, uncertainty)


def season(readings, changes=(), limits=LIMITS, today=END):
    """The season of an AGM battery."""
    return season_of(readings, changes, chemistry="agm", capacity_ah=11.2, limits=limits, today=today)


def table(name: str) -> np.ndarray:
    """A curve of the model."""
    return np.genfromtxt(MODEL / name, delimiter=",", skip_header=1)


@pytest.mark.parametrize(
    ("cells", "temperature_c"),
    [(["", ""], None), (["", "8"], 8.0), (["6", "8"], 7.0)],
    ids=["an empty column", "half of it", "all of it"],
)
def test_temperature_of_a_plain_log_is_that_of_its_samples(tmp_path: Path, recwarn, cells, temperature_c):
    """A log without one temperature has none, so that what a rest voltage leaves open is as wide as it must be."""
    log, plan = tmp_path / "rest.csv", tmp_path / "plan.toml"
    rows = "".join(f"{n / 2},12.75,0.0005,{cells[n % 2]}\n" for n in range(1200))
    log.write_text(f"time_s,battery_v,drain_a,battery_c\n{rows}")
    plan.write_text('[install]\nbike = "Larch"\n[battery]\nchemistry = "agm"\ncapacity_ah = 11.2\n')

    found, _ = readings_of_log(log, load_plan(plan))

    assert found
    assert {reading.temperature_c for reading in found} == {temperature_c}
    assert not recwarn.list


# Days


def test_what_was_measured_in_the_evening_counts_at_once():
    """Nine in the evening of the 20th is the 21st in UTC, but no day to come for who stands there."""
    zone = timezone(timedelta(hours=-5))
    at = datetime(2026, 9, 20, 21, tzinfo=zone).astimezone(UTC)
    readings = [Reading(at, "off_state_drain", 0.5, 0.1)]

    there = season_of(readings, chemistry="agm", capacity_ah=11.2, today=date(2026, 9, 20), zone=zone)
    before = season_of(readings, chemistry="agm", capacity_ah=11.2, today=date(2026, 9, 19), zone=zone)

    assert there.part("off_state_drain").now == (0.5, 0.1)
    assert before.part("off_state_drain").now is None


@pytest.mark.parametrize("hours", [-11, -5, 0, 5.5, 13])
def test_a_change_begins_with_its_day_where_it_was_made(hours: float):
    """A record of that day is from after the change, one of the evening before from before it, in any time zone."""
    zone = timezone(timedelta(hours=hours))
    readings = [
        Reading(datetime(2026, 9, day, hour, 30, tzinfo=zone).astimezone(UTC), "resting_voltage", volts, 0.01)
        for day, hour, volts in ((19, 23, 12.2), (20, 0, 12.8))
    ]

    found = season_of(
        readings,
        [(date(2026, 9, 20), "new battery")],
        chemistry="agm",
        capacity_ah=11.2,
        today=date(2026, 9, 20),
        zone=zone,
    )
    until_then = season_of(
        readings[:1],
        [(date(2026, 9, 20), "new battery")],
        chemistry="agm",
        capacity_ah=11.2,
        today=date(2026, 9, 20),
        zone=zone,
    )

    assert found.part("resting_voltage").now == (12.8, 0.01)
    assert until_then.part("resting_voltage").now is None
    assert [one.before.date() for one in found.breaks] == [date(2026, 9, 20)]


# Charge


@pytest.mark.parametrize(
    ("chemistry", "volts", "pct"),
    [
        *(("flooded", v, p) for v, p in ((12.65, 100), (12.45, 75), (12.24, 50), (12.06, 25), (11.89, 0))),
        # the rounded table, and cell voltage = specific gravity + 0.84, six cells
        *(("flooded", v, p) for v, p in ((12.6, 100), (12.4, 75), (12.2, 50), (12.0, 25))),
        *(("flooded", v, p) for v, p in ((12.63, 100), (12.39, 75), (12.18, 50), (11.97, 25))),
        *(("agm", v, p) for v, p in ((12.8, 100), (12.6, 75), (12.3, 50), (12.0, 25))),
        *(("lifepo4", v, p) for v, p in ((13.6, 99), (13.4, 90), (13.3, 70), (13.2, 40), (13.0, 30), (12.8, 20))),
    ],
)
def test_every_printed_table_lies_in_the_interval(chemistry, volts, pct):
    """The interval of charge holds what each printed table says (common practice, no source)."""
    charge = charge_of(rest(volts), chemistry)

    assert charge.low_pct <= pct <= charge.high_pct


def test_one_voltage_means_two_charges():
    """12.5 V at rest is about 80 % in a flooded battery, and 50 to 75 % in an AGM one."""
    flooded, agm = charge_of(rest(12.5), "flooded"), charge_of(rest(12.5), "agm")

    assert flooded.mid_pct == pytest.approx(80, abs=3)
    assert 50 <= agm.mid_pct <= 75
    assert (flooded.words, agm.words) == ("65 to 100 %", "55 to 75 %")


def test_plateau_says_nearly_nothing():
    """13.25 V of LiFePO4 may be anything from a third to nearly full, and the reason says so."""
    charge = charge_of(rest(13.25, 0.015), "lifepo4")

    assert charge.says_little
    assert "says nearly nothing" in charge.because


def test_doubt_of_the_logger_widens():
    """A less exact logger, or an unknown temperature, leaves more open."""
    widths = [
        charge.high_pct - charge.low_pct
        for charge in (
            charge_of(rest(12.4, 0.0), "agm"),
            charge_of(rest(12.4, 0.05), "agm"),
            charge_of(rest(12.4, 0.05, None), "agm"),
        )
    ]

    assert widths == sorted(set(widths))
    assert "not stated" in charge_of(rest(12.4, None), "agm").because
    assert "temperature was not noted" in charge_of(rest(12.4, 0.01, None), "agm").because


@pytest.mark.parametrize("concentration_pct", [100, 75, 50])
def test_charge_is_about_that_of_the_model(concentration_pct):
    """A modelled flooded battery (pybamm, LOQS) at rest is read within 15 % of its charge.

    The model's acid is stronger than that of the tables, so it checks their order of size, not their figures.
    """
    volts = float(dict(table("rest.csv"))[concentration_pct])

    assert charge_of(rest(volts), "flooded").mid_pct == pytest.approx(concentration_pct, abs=15)


# Days


@pytest.mark.parametrize(("drain_ma", "days"), [(1, 208.3), (5, 41.7), (20, 10.4), (50, 4.17)])
def test_days_are_charge_arithmetic(drain_ma, days):
    """10 Ah down to half are 5 Ah: worked by hand, no self-discharge."""
    assert days_to_floor(100, 10, drain_ma, 0.0) == pytest.approx(days, rel=2e-3)


@pytest.mark.parametrize("drain_ma", [5.0, 20.0, 50.0])
def test_days_agree_with_a_modelled_battery(drain_ma):
    """A modelled 17 Ah battery (pybamm, LOQS) needs the same days to the same voltage as a C/100 discharge says.

    Its voltage at a hundredth of its capacity an hour tells the charge taken; the model's days on a drain are then
    those of charge over current, within what the drains' smaller losses leave (10 mV, 0.15 Ah).
    """
    taken_ah, c100_v = table("c100.csv").T
    rows = table("drains.csv")
    days, volts = rows[rows[:, 0] == drain_ma][:, [1, 3]].T
    for day, volt in zip(days[5:], volts[5:], strict=True):
        charge_ah = float(np.interp(-volt, -c100_v, taken_ah))

        assert days_until(charge_ah + 0.06, drain_ma) == pytest.approx(day, abs=0.2 * 1000 / drain_ma / 24)


def test_model_loses_acid_as_it_loses_charge():
    """In the model the acid falls in step with the charge taken, whatever the drain."""
    rows = table("drains.csv")
    taken_ah = rows[:, 0] / 1000 * rows[:, 1] * 24

    assert np.corrcoef(taken_ah, rows[:, 2])[0, 1] < -0.999


@pytest.mark.parametrize("chemistry", CHEMISTRY)
def test_self_discharge_doubles_every_ten_kelvin(chemistry):
    """Per cent a month: common practice, no source; the doubling is from memory."""
    cool, warm = self_discharge(chemistry, 20), self_discharge(chemistry, 30)

    assert warm == pytest.approx((2 * cool[0], 2 * cool[1]))
    assert 0 < cool[0] < cool[1] <= 6


def test_self_discharge_alone():
    """5 % a month takes half the charge in ten months."""
    assert days_to_floor(100, 10, 0.0, 5.0) == pytest.approx(10 * 365.25 / 12)


def test_interval_of_days_holds_the_best_figure():
    """The fewest days are from the least charge, the most drain and self-discharge, and a worn battery."""
    charge = charge_of(rest(12.6, 0.02), "agm")

    sure = standing_of(charge, drain(1.0, 0.05), "agm", 11.2)
    unsure = standing_of(charge, drain(1.0, 0.5), "agm", 11.2)

    assert sure.low_days < sure.mid_days < sure.high_days
    assert unsure.low_days < sure.low_days
    assert sure.high_days < unsure.high_days
    assert sure.until == AT.date() + timedelta(days=int(sure.low_days))


def test_no_drain_measured_is_said():
    """Without a drain the fewest days are those at the planned one, or not known."""
    charge = charge_of(rest(12.8), "agm")

    planned, unknown = standing_of(charge, None, "agm", 11.2, 1.0), standing_of(charge, None, "agm", 11.2)

    assert 0 < planned.low_days < planned.high_days
    assert unknown.words.startswith("at most ")
    assert "no drain was measured" in unknown.because


def test_half_empty_battery_stands_no_day():
    """Below half for certain: nothing is left to stand on."""
    assert standing_of(charge_of(rest(12.0), "agm"), drain(1.0), "agm", 11.2).words == "0 days"


def test_a_day_that_has_passed_is_no_good_news():
    """Once the day is past until which it could surely stand, it may be below half, later on it is: charge it."""
    values = {"resting_voltage": 12.85, "off_state_drain": 0.5}
    readings = [Reading(AT, quantity, value, 0.005, 20.0) for quantity, value in values.items()]
    first = season(readings, today=AT.date()).standing

    def told(days: float) -> str:
        made = season(readings, today=AT.date() + timedelta(days=days))
        (advice,) = [one for one in made.advice if one.about == "Standing"]
        return f"{advice.urgency}, {advice.words}: {advice.because}"

    assert told(int(first.low_days)).startswith("fine, can stand until")
    assert told(int(first.low_days) + 1).startswith("soon, charge before storage")
    assert "it may be below half" in told(int(first.low_days) + 1)
    assert "it is below half" in told(first.high_days + 1)


# Trends and limits


def test_few_readings_prove_nothing():
    """Five readings, or six within a month, are too few, and the reason says how many are needed."""
    rng = np.random.default_rng(1)
    for n, days in ((5, 300.0), (6, 30.0)):
        day = season_days(n, days, rng)
        found = trend_of(
            *compared(series_of(readings_of("crank_minimum", day, np.full(n, 20.0), rng), "crank_minimum"))
        )

        assert isinstance(found, TooFew)
        assert "too few readings" in found.because


def test_level_is_given_at_20_degrees():
    """Where temperature was noted, what it does is taken out: the level is that of 20 degC."""
    rng = np.random.default_rng(2)
    day = season_days(60, 365.0, rng)
    readings = readings_of("source_resistance", day, temperature(day, rng), rng)

    found = trend_of(*compared(series_of(readings, "source_resistance")))

    assert isinstance(found, Trend)
    assert found.others == "temperature"
    assert found.level == pytest.approx(24.0, abs=0.4)
    assert found.per_other == pytest.approx(-0.25, abs=0.05)


def test_a_few_readings_without_temperature_are_left_out():
    """Three of forty without a temperature do not keep the others from being compared at 20 degC."""
    readings = [r for r in whole_season(np.random.default_rng(3)) if r.quantity == "source_resistance"]
    readings[5:8] = [replace(r, temperature_c=None) for r in readings[5:8]]

    own, others = compared(series_of(readings, "source_resistance"))

    assert (len(own), others.kind) == (37, "temperature")


def test_very_uncertain_reading_is_left_out():
    """One reading by a far coarser logger does not count beside the others."""
    readings = [r for r in whole_season(np.random.default_rng(3)) if r.quantity == "resting_voltage"]
    readings[5] = replace(readings[5], uncertainty=0.5)

    assert series_of(readings, "resting_voltage").left_out == 1


def test_change_within_the_loggers_doubt_is_not_proven():
    """A clear order of readings that moves less than their own uncertainty proves no ageing."""
    day = np.linspace(0, 300, 30)
    values = 12.8 - 0.00003 * day + np.random.default_rng(1).normal(0, 0.0005, 30)
    readings = [
        Reading(START + timedelta(days=float(d)), "resting_voltage", float(v), 0.02, 20.0)
        for d, v in zip(day, values, strict=True)
    ]

    found = trend_of(*compared(series_of(readings, "resting_voltage")))

    assert isinstance(found, Trend)
    assert (found.p < 0.001, found.proven) == (True, False)
    assert "within the readings' own uncertainty" in found.because


def line(per_year: float, low: float, high: float) -> Trend:
    """A proven trend that stands at 30 on the first day of 2026."""
    middle = day_of(datetime(2026, 1, 1, tzinfo=UTC))
    return Trend(date(2025, 1, 1), date(2026, 1, 1), 30, per_year, low, high, 0.001, 30.0, 0.0, middle, "none", None,
                 True, "")  # fmt: skip


def test_crossing_is_an_interval_of_dates():
    """From 30 at 10 a year, give or take 5, 40 is crossed after 8 to 24 months."""
    found = crossing_of(line(10, 5, 15), (30.0, 0.2), None, 40.0, date(2026, 1, 1))

    assert found.state == "will cross"
    assert found.earliest is not None
    assert found.latest is not None
    assert abs((found.earliest - date(2026, 9, 1)).days) <= 2
    assert abs((found.latest - date(2028, 1, 1)).days) <= 2


@pytest.mark.parametrize(
    ("now", "trend", "state"),
    [
        ((41.0, 0.2), line(10, 5, 15), "crossed"),
        ((40.1, 0.2), line(10, 5, 15), "at the limit"),
        ((30.0, 0.2), line(-10, -15, -5), "inside"),
        ((30.0, 0.2), replace(line(10, -5, 15), proven=False), "inside"),
        ((30.0, 0.2), TooFew("", 2), "inside"),
        ((30.0, 0.2), line(0.1, 0.05, 0.15), "inside"),
        (None, line(10, 5, 15), "open"),
    ],
)
def test_state_against_a_limit(now, trend, state):
    """Crossed, too close, away from it, not proven, too few, beyond five years, or nothing measured."""
    assert crossing_of(trend, now, None, 40.0, date(2026, 1, 1)).state == state


def test_no_limit_is_open():
    """Without a limit nothing is crossed."""
    assert crossing_of(line(10, 5, 15), (30.0, 0.2), None, None, date(2026, 1, 1)).state == "open"


# Words


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"source_resistance": 45.0, "crank_minimum": 9.0}, "replace soon"),
        ({"source_resistance": 45.0}, "test under load"),
        ({"resting_voltage": 12.1}, "charge now"),
        ({"off_state_drain": 3.0}, "find the drain"),
        ({"charging_voltage": 15.2}, "look at the charging now"),
        ({"off_state_drain": 0.99}, "charge before storage"),
        ({}, "fine now"),
    ],
)
def test_worst_comes_first(values, words):
    """One reading of each: the first advice is about what is worst."""
    usual = {"resting_voltage": 12.85, "source_resistance": 24.0, "crank_minimum": 10.7, "off_state_drain": 0.5,
             "charging_voltage": 14.3}  # fmt: skip
    if values == {"off_state_drain": 0.99}:
        usual["resting_voltage"] = 12.63
    made = season([Reading(AT, q, v, 0.005, 20.0) for q, v in (usual | values).items()], today=AT.date())

    assert any(advice.words.startswith(words) for advice in made.advice)
    assert made.advice[0].words.startswith(words)
    assert all(advice.because for advice in made.advice)


def test_no_readings_are_said():
    """An empty season says what to do."""
    assert [advice.words for advice in season([]).advice] == ["nothing measured yet"]


def test_later_readings_are_left_out():
    """What was recorded after the day that now means does not count."""
    readings = whole_season(np.random.default_rng(1))

    made = season(readings, today=(START + timedelta(days=100)).date())

    assert max(r.at.date() for part in made.parts for r in part.readings) <= made.today


def test_all_faults_are_named_at_once():
    """Chemistry, capacity, quantity and time zone in one message."""
    wrong = [Reading(datetime(2026, 1, 1), "mood", 1.0)]

    with pytest.raises(BenchlogError, match=r"(?s)one of flooded.*'wet'.*above 0.*'mood'.*time zone"):
        season_of(wrong, chemistry="wet", capacity_ah=0, today=date(2026, 2, 1))


def test_ten_thousand_readings_make_a_season():
    """Thousands of readings a quantity give the same picture as forty."""
    made = season(whole_season(np.random.default_rng(1), n=10_000, per_year={"source_resistance": 10.0}))

    assert made.part("source_resistance").trend.per_year == pytest.approx(10, abs=0.3)
    assert len(made.part("source_resistance").readings) == 10_000


@pytest.mark.parametrize("chemistry", CHEMISTRY)
def test_each_thing_to_do_says_how_once(chemistry):
    """Where something is to be done the advice says how, with the cautions of that battery, and only once."""
    bad = {"resting_voltage": 12.0, "source_resistance": 45.0, "crank_minimum": 9.6, "off_state_drain": 3.0,
           "charging_voltage": 15.6}  # fmt: skip
    readings = [Reading(AT, q, v, 0.005, 20.0) for q, v in bad.items()]
    made = season_of(readings, chemistry=chemistry, capacity_ah=11.2, limits=LIMITS, today=AT.date())
    told = [advice for advice in made.advice if advice.urgency in ("now", "soon")]
    by_words = {words: [a.how for a in told if a.words == words] for words in {a.words for a in told}}

    assert {"find the drain", "look at the charging now", "test under load"} <= set(by_words)
    assert all(how[0] and not any(how[1:]) for how in by_words.values())
    load = by_words["test under load"][0]
    assert "negative lead off first and on last" in load
    assert ("acid" in load) == CHEMISTRY[chemistry].lead_acid
    assert ("0 °C" in load) != CHEMISTRY[chemistry].lead_acid
    assert "never take a battery lead off with the engine running" in by_words["look at the charging now"][0]
    assert not any(advice.how for advice in made.advice if advice.urgency == "fine")


def test_at_the_limit_comes_before_months_away():
    """Of two things of one kind that which is at its limit already stands first."""
    rng = np.random.default_rng(3)
    ageing = whole_season(rng, per_year={"source_resistance": 12.0}, quantities=("source_resistance",))
    starts = [Reading(r.at, "crank_minimum", 9.605, 0.01, r.temperature_c) for r in ageing]
    words = [(a.words, a.about) for a in season([*ageing, *starts], today=ageing[-1].at.date()).advice]

    assert words[:2] == [("test under load", "Cranking minimum"), ("test under load", "Source resistance")]
