"""Trends among several quantities, steps between noted changes, and a season as a whole, by hand-written readings."""

from dataclasses import replace
from datetime import UTC, date, timedelta

import numpy as np
import pytest
from test_season_parts import AT, FIRST, series, step

from benchlog.core.errors import BenchlogError
from benchlog.plan.model import Limits
from benchlog.season import Change, season_of
from benchlog.season import season as made
from benchlog.season.breaks import Break, LevelShift
from benchlog.season.forecast import LimitCrossing, TooFew, Trend
from benchlog.season.model import Part, splits, starts_anew
from benchlog.season.series import moment_of
from benchlog.store.readings import Reading


def quiet(quantity: str, p: float, *, proven: bool = True) -> Part:
    """A part with a trend of this probability."""
    trend = Trend(
        date(2026, 1, 1), date(2026, 8, 1), 12, 1.0, 0.5, 1.5, p, 20.0, 0.1, FIRST, "none", None, proven, "so"
    )
    crossing = LimitCrossing("will cross", "max", 25.0, date(2027, 1, 1), None)
    return Part(quantity, quantity, "V", (), (None, 25.0), None, (20.0, 0.1), trend, (), crossing)


def sure(*ps: float) -> list[bool]:
    """Which of these trends stay proven."""
    parts = tuple(quiet(f"q{k}", p) for k, p in enumerate(ps))
    return [each.trend.proven for each in made._confirmed(parts, date(2026, 9, 1))]  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("ps", "proven"),
    [
        ([0.049], [True]),
        ([0.051], [False]),
        ([0.024, 0.049], [True, True]),
        ([0.026, 0.049], [False, False]),
        ([0.049, 0.024], [True, True]),
        ([0.001, 0.024, 0.051], [True, True, False]),
        ([0.001, 0.026, 0.001], [True, True, True]),
        ([0.001, 0.026, 0.03], [True, False, False]),
    ],
)
def test_trends_are_proven_among_as_many(ps: list[float], proven: list[bool]):
    """Holm: the smallest below 5 % of all, the next below 5 % of the rest, and so on until one is not."""
    assert sure(*ps) == proven


def test_what_is_not_proven_among_many_is_said_and_has_no_date():
    """Its crossing is judged again; what was not proven before keeps its own reason."""
    lost, kept = made._confirmed((quiet("a", 0.04), quiet("b", 0.04)), date(2026, 9, 1))
    other = made._confirmed((quiet("a", 0.5, proven=False),), date(2026, 9, 1))[0]

    assert lost.trend.because == kept.trend.because == "no trend proven: not significant among this many quantities"  # type: ignore[union-attr]
    assert lost.crossing.state == "inside"
    assert (other.trend.because, other.crossing.state) == ("so", "will cross")  # type: ignore[union-attr]
    few = replace(quiet("a", 0.04), trend=TooFew("few", 2))
    assert made._confirmed((few, quiet("b", 0.04)), date(2026, 9, 1))[1].trend.proven  # type: ignore[union-attr]


def test_steps_are_looked_for_between_noted_changes(monkeypatch: pytest.MonkeyPatch):
    """Twenty readings, a change noted before the twelfth: eleven and nine, each with half the false alarms."""
    asked = []

    def look(time: np.ndarray, _y: np.ndarray, _others: object, alpha: float, _rng: object) -> list[LevelShift]:
        asked.append((len(time), round(float(time[0] + time[-1]), 9), round(float(time[-1] - time[0]), 9), alpha))
        return [step(4)]

    monkeypatch.setattr(made, "found_steps", look)
    every = series(20, 36.525)
    found = made._steps(every, [float(every.day[11])], 0.02, np.random.default_rng(1))

    assert asked == [(11, 0.0, 1.0, 0.01), (9, 0.0, 0.8, 0.01)]
    assert [(one.at, len(own), float(own.day[0])) for one, own in found] == [
        (4, 11, float(every.day[0])), (4, 9, float(every.day[11])),
    ]  # fmt: skip


@pytest.mark.parametrize(("n", "looked"), [(5, 0), (6, 1)])
def test_fewer_than_six_readings_are_not_searched(monkeypatch: pytest.MonkeyPatch, n: int, looked: int):
    """A trend needs as many."""
    asked = []
    monkeypatch.setattr(made, "found_steps", lambda *given: asked.append(given) or [])
    made._steps(series(n), [], 0.02, np.random.default_rng(1))
    assert len(asked) == looked

    asked.clear()
    made._steps(series(7 + n), [FIRST + 70], 0.02, np.random.default_rng(1))
    assert len(asked) == 1 + looked


def test_a_day_begins_at_midnight_where_nothing_else_is_said():
    """Of this computer's own time zone; a moment all the same."""
    here = made._start_of(date(2026, 1, 2), None)

    assert here.tzinfo is not None
    assert (here.hour, here.minute, here.date()) == (0, 0, date(2026, 1, 2))


def test_false_alarms_are_shared_among_the_quantities_that_are_long_enough(monkeypatch: pytest.MonkeyPatch):
    """Two in a hundred seasons: two of three quantities with six readings have one in a hundred each, one has both."""
    asked: list[float] = []
    monkeypatch.setattr(made, "found_steps", lambda *given: asked.append(given[3]) or [])
    for counts, each in (
        ({"resting_voltage": 6, "source_resistance": 7, "off_state_drain": 5}, [0.01, 0.01]),
        ({"source_resistance": 6}, [0.02]),
    ):
        asked.clear()
        readings = [Reading(AT + timedelta(days=20 * k), q, 12.0 + 0.1 * k, 0.1, 20.0) for q, n in counts.items()
                    for k in range(n)]  # fmt: skip
        season_of(readings, chemistry="agm", capacity_ah=11.2, today=date(2026, 9, 1), zone=UTC)
        assert asked == each


def test_each_limit_is_of_its_own_quantity():
    """Least of voltages, most of resistance and drain, both of the charging."""
    limits = Limits(resting_min_v=1.0, source_resistance_max_mohm=2.0, crank_min_v=3.0, off_state_drain_ma=4.0,
                    charging_min_v=5.0, charging_max_v=6.0)  # fmt: skip
    made_so = season_of([], chemistry="agm", capacity_ah=1.0, limits=limits, today=date(2026, 1, 1))

    assert {part.quantity: part.limit for part in made_so.parts} == {
        "resting_voltage": (1.0, None),
        "source_resistance": (None, 2.0),
        "crank_minimum": (3.0, None),
        "off_state_drain": (None, 4.0),
        "charging_voltage": (5.0, 6.0),
    }


def test_charge_and_days_are_of_the_newest_readings():
    """The last of several rest voltages and drains; without a drain the plan's limit stands for it."""
    readings = [Reading(AT + timedelta(days=k), q, v, 0.01, 20.0) for k, (q, v) in enumerate(
        [*(("resting_voltage", v) for v in (12.2, 12.3, 12.8)), *(("off_state_drain", v) for v in (8.0, 9.0, 0.5))]
    )]  # fmt: skip
    known = season_of(readings, chemistry="agm", capacity_ah=10.0, today=date(2026, 2, 1), zone=UTC)
    planned = season_of(readings[:3], chemistry="agm", capacity_ah=10.0, limits=Limits(off_state_drain_ma=1.0),
                        today=date(2026, 2, 1), zone=UTC)  # fmt: skip
    unknown = season_of(readings[:3], chemistry="agm", capacity_ah=10.0, today=date(2026, 2, 1), zone=UTC)

    assert known.charge is not None
    assert known.standing is not None
    assert (known.charge.resting_v, known.standing.drain_ma) == (12.8, 0.5)
    assert planned.standing is not None
    assert unknown.standing is not None
    assert planned.standing.low_days > unknown.standing.low_days == 0.0


@pytest.mark.parametrize(("day", "counts"), [(1, True), (2, True), (3, False)])
def test_a_change_counts_from_its_day_on(day: int, counts: bool):
    """On the 2nd those of the 1st and 2nd are breaks, one of the 3rd is yet to come; of pairs and of entries alike."""
    for change in ((date(2026, 1, day), "new battery"), Change(date(2026, 1, day), "new battery", 7)):
        got = season_of([], [change], chemistry="agm", capacity_ah=1.0, today=date(2026, 1, 2), zone=UTC)
        assert (len(got.breaks), len(got.later)) == ((1, 0) if counts else (0, 1))


@pytest.mark.parametrize("capacity_ah", [0.0, -1.0, float("nan")])
def test_a_capacity_is_above_zero(capacity_ah: float):
    """0.1 Ah is one."""
    season_of([], chemistry="agm", capacity_ah=0.1, today=date(2026, 1, 2))
    with pytest.raises(BenchlogError, match=r"capacity_ah: must be above 0"):
        season_of([], chemistry="agm", capacity_ah=capacity_ah, today=date(2026, 1, 2))


@pytest.mark.parametrize(
    ("what", "anew"),
    [
        ("New Battery", ("resting_voltage", "source_resistance", "crank_minimum")),
        ("batteries changed", ("resting_voltage", "source_resistance", "crank_minimum")),
        ("grips", ("off_state_drain", "charging_voltage")),
    ],
)
def test_a_battery_starts_what_is_its_own(what: str, anew: tuple[str, ...]):
    """Anything else starts the rest."""
    quantities = ("resting_voltage", "source_resistance", "crank_minimum", "off_state_drain", "charging_voltage")
    one = Break(AT, AT, {"charging_voltage": 1.0}, what)

    assert tuple(q for q in quantities if starts_anew(what, q)) == anew
    assert {q for q in quantities if splits(one, q)} == {*anew, "charging_voltage"}
    assert not splits(Break(AT, AT, {}), "off_state_drain")


def test_moments_and_days_are_each_others_reverse():
    """1 January 2026 is day 20,454."""
    assert FIRST == 20454.0
    assert moment_of(20454.5) == AT + timedelta(hours=12)
