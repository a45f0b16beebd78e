"""How readings become quantities: which steps make one change, which stretch a trend is of, and what "now" is."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from benchlog.core.errors import BenchlogError
from benchlog.plan.model import Limits
from benchlog.season import NotedChange, season_of
from benchlog.season import season as made
from benchlog.season.breaks import Break, LevelShift
from benchlog.season.forecast import LimitCrossing, TooFew, Trend
from benchlog.season.model import Part, splits, starts_anew
from benchlog.season.series import Series, day_of, moment_of
from benchlog.store.readings import Reading

AT = datetime(2026, 1, 1, tzinfo=UTC)
FIRST = day_of(AT)


def series(n: int = 10, every: float = 10.0) -> Series:
    """Readings every ten days."""
    return Series(FIRST + every * np.arange(n), np.full(n, 20.0), np.full(n, 20.0), np.full(n, 0.1))


def step(first: int, last: int | None = None, size: float = 1.0, p: float = 0.01) -> LevelShift:
    """A step before the reading ``first``, or as late as before ``last``."""
    return LevelShift(first, first, last or first, size, p)


def breaks(steps: dict[str, list[LevelShift]], *noted: NotedChange) -> list[tuple[float, float, dict[str, float]]]:
    """(day after which, day before which, steps) of each change, days from the first reading."""
    given = {quantity: [(one, series()) for one in each] for quantity, each in steps.items()}
    found = made._breaks(given, noted, UTC)  # noqa: SLF001 its own rule
    return [(day_of(one.after) - FIRST, day_of(one.before) - FIRST, one.steps) for one in found]


def test_steps_between_the_same_readings_are_one_change():
    """Their span is what they have in common; their sizes stand side by side."""
    found = breaks({"source_resistance": [step(3, 5, -2.0)], "crank_minimum": [step(4, 6, 0.5)]})

    assert found == [(30.0, 50.0, {"source_resistance": -2.0, "crank_minimum": 0.5})]


def test_steps_that_only_meet_are_two_changes():
    """One until day 40, another from day 40 on: nothing in common."""
    found = breaks({"source_resistance": [step(3, 4)], "crank_minimum": [step(5, 6)]})

    assert found == [(20.0, 40.0, {"source_resistance": 1.0}), (40.0, 60.0, {"crank_minimum": 1.0})]


def test_two_steps_of_one_quantity_are_two_changes():
    """However near."""
    found = breaks({"source_resistance": [step(3, 5, 1.0), step(4, 6, 2.0)]})

    assert found == [(20.0, 50.0, {"source_resistance": 1.0}), (30.0, 60.0, {"source_resistance": 2.0})]


def test_the_least_chance_counts():
    """Of steps put together the clearest one's."""
    given = {"source_resistance": [(step(3, p=0.01), series())], "crank_minimum": [(step(3, p=0.002), series())]}

    assert [one.p for one in made._breaks(given, [], UTC)] == [0.002]  # noqa: SLF001 its own rule
    noted = NotedChange((AT + timedelta(days=25)).date(), "new battery", 7)
    apart = given | {"crank_minimum": [(step(4, p=0.002), series())]}
    (one,) = made._breaks(apart, [noted], UTC)  # noqa: SLF001 its own rule
    assert (one.p, one.number, one.noted, one.kind) == (0.002, 7, "new battery", "in more than one direction")


@pytest.mark.parametrize(("day", "taken_up"), [(5, False), (6, True), (44, True), (45, False)])
def test_a_noted_change_takes_up_steps_within_a_fortnight(day: int, taken_up: bool):
    """A step found between day 20 and day 30: 14 days on either side."""
    found = breaks({"source_resistance": [step(3)]}, NotedChange((AT + timedelta(days=day)).date(), "new battery"))

    assert (float(day), float(day), {"source_resistance": 1.0} if taken_up else {}) in found
    assert len(found) == (1 if taken_up else 2)


def test_changes_stand_in_the_order_of_their_days():
    """Noted and found ones; one that took nothing up has no kind and no chance."""
    found = made._breaks(  # its own rule
        {"source_resistance": [(step(8), series())]}, [NotedChange(date(2026, 1, 5), "grips")], UTC
    )  # noqa: SLF001

    assert [(one.noted, one.kind, one.p) for one in found] == [
        ("grips", "", None), ("", "as with a cell that failed, a poor joint at the posts or another, weaker battery", 0.01),
    ]  # fmt: skip


def part_of(found: list[Break], quantity: str = "source_resistance", n: int = 20) -> Part:
    """Readings 1 to ``n`` every ten days, level with a little to and fro."""
    readings = [Reading(AT + timedelta(days=10 * k), quantity, 20.0 + 0.01 * (k % 3), 0.1, 20.0) for k in range(n)]
    one = Series(
        np.array([day_of(r.at) for r in readings]), np.array([r.value for r in readings]), np.full(n, 20.0),
        np.full(n, 0.1),
    )  # fmt: skip
    return made._part(quantity, readings, one, found, Limits(), date(2026, 9, 1))  # noqa: SLF001 its own rule


def test_readings_within_a_found_change_belong_to_neither_side():
    """Found between day 80 and day 110: nine readings until then, nine from then on; two lie between."""
    found = Break(AT + timedelta(days=80), AT + timedelta(days=110), {"source_resistance": 1.0}, "", "", 0.01)
    got = part_of([found])

    assert [each.n for each in (*got.earlier, got.trend)] == [9, 9]
    assert got.since == AT + timedelta(days=110)


def test_a_noted_change_starts_its_own_day():
    """The reading of that moment is from after it."""
    got = part_of([Break(AT + timedelta(days=100), AT + timedelta(days=100), {}, "new battery")])

    assert [each.n for each in (*got.earlier, got.trend)] == [10, 10]


def test_a_change_of_something_else_parts_nothing():
    """Twenty readings in one stretch."""
    got = part_of([Break(AT + timedelta(days=100), AT + timedelta(days=100), {}, "grips")])

    assert (got.trend.n, got.earlier, got.since) == (20, (), None)


def test_stretches_too_short_for_a_trend_are_no_earlier_trends():
    """Five readings before the change tell nothing."""
    got = part_of([Break(AT + timedelta(days=50), AT + timedelta(days=50), {}, "new battery")])

    assert (got.earlier, got.trend.n) == ((), 15)


@pytest.mark.parametrize(
    ("quantity", "of"),
    [("source_resistance", 3), ("crank_minimum", 3), ("resting_voltage", 1), ("off_state_drain", 1)],
)
def test_now_is_the_median_of_three_where_starts_scatter(quantity: str, of: int):
    """The newest alone elsewhere: 20.00, 20.01 and 20.02 in turn, of which the last is 20.01."""
    got = part_of([], quantity)

    assert got.now_of == of
    assert got.now == (pytest.approx(20.01), 0.1)
    assert part_of([], quantity, 2).now_of == min(of, 2)


def test_now_of_unknown_accuracy_has_none():
    """A value without any stated uncertainty has 0; of three the median of those stated."""

    def now(*doubts: float | None) -> tuple[float, float] | None:
        readings = [Reading(AT, "crank_minimum", 10.0 + k, doubt) for k, doubt in enumerate(doubts)]
        return made._now(readings)  # noqa: SLF001 its own rule

    assert now() is None
    assert now(None, None, None) == (11.0, 0.0)
    assert now(0.1, None, 0.3) == (11.0, pytest.approx(0.2))


def test_a_reading_that_is_no_number_is_not_now():
    """The one before it is."""
    readings = [Reading(AT, "crank_minimum", 10.0), Reading(AT, "crank_minimum", float("nan"))]

    assert made._latest("off_state_drain", readings) == readings[:1]  # noqa: SLF001 its own rule


@pytest.mark.parametrize(("before_s", "counted"), [(0.5, 2), (1.5, 1)])
def test_a_reading_of_the_changes_second_is_from_after_it(before_s: float, counted: int):
    """A moment that went through days as a number may be a little late: one second is allowed for."""
    change = Break(AT + timedelta(days=100), AT + timedelta(days=100), {}, "new battery")
    readings = [Reading(change.before + timedelta(seconds=s), "crank_minimum", 10.0, 0.1) for s in (-before_s, 60)]
    one = Series(np.array([day_of(r.at) for r in readings]), np.full(2, 10.0), np.full(2, np.nan), np.full(2, 0.1))
    got = made._part("crank_minimum", readings, one, [change], Limits(), date(2026, 9, 1))  # noqa: SLF001 its own rule

    assert got.now_of == counted
    assert len(made._since(got)) == counted  # noqa: SLF001 its own rule


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
    return [each.trend.proven for each in made._confirmed(parts, date(2026, 9, 1))]  # type: ignore[union-attr]  # noqa: SLF001 its own rule


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
    lost, kept = made._confirmed((quiet("a", 0.04), quiet("b", 0.04)), date(2026, 9, 1))  # noqa: SLF001 its own rule
    other = made._confirmed((quiet("a", 0.5, proven=False),), date(2026, 9, 1))[0]  # noqa: SLF001

    assert lost.trend.because == kept.trend.because == "no trend proven: not significant among this many quantities"  # type: ignore[union-attr]
    assert lost.crossing.state == "inside"
    assert (other.trend.because, other.crossing.state) == ("so", "will cross")  # type: ignore[union-attr]
    few = replace(quiet("a", 0.04), trend=TooFew("few", 2))
    assert made._confirmed((few, quiet("b", 0.04)), date(2026, 9, 1))[1].trend.proven  # type: ignore[union-attr]  # noqa: SLF001


def test_steps_are_looked_for_between_noted_changes(monkeypatch: pytest.MonkeyPatch):
    """Twenty readings, a change noted before the twelfth: eleven and nine, each with half the false alarms."""
    asked = []

    def look(time: np.ndarray, y: np.ndarray, _others: object, alpha: float, _rng: object) -> list[LevelShift]:
        asked.append((len(time), round(float(time[0] + time[-1]), 9), round(float(time[-1] - time[0]), 9), alpha))
        return [step(4)]

    monkeypatch.setattr(made, "found_steps", look)
    every = series(20, 36.525)
    found = made._steps(every, [float(every.day[11])], 0.02, np.random.default_rng(1))  # noqa: SLF001 its own rule

    assert asked == [(11, 0.0, 1.0, 0.01), (9, 0.0, 0.8, 0.01)]
    assert [(one.at, len(own), float(own.day[0])) for one, own in found] == [
        (4, 11, float(every.day[0])), (4, 9, float(every.day[11])),
    ]  # fmt: skip


@pytest.mark.parametrize(("n", "looked"), [(5, 0), (6, 1)])
def test_fewer_than_six_readings_are_not_searched(monkeypatch: pytest.MonkeyPatch, n: int, looked: int):
    """A trend needs as many."""
    asked = []
    monkeypatch.setattr(made, "found_steps", lambda *given: asked.append(given) or [])
    made._steps(series(n), [], 0.02, np.random.default_rng(1))  # noqa: SLF001 its own rule
    assert len(asked) == looked

    asked.clear()
    made._steps(series(7 + n), [FIRST + 70], 0.02, np.random.default_rng(1))  # noqa: SLF001 its own rule
    assert len(asked) == 1 + looked


def test_a_day_begins_at_midnight_where_nothing_else_is_said():
    """Of this computer's own time zone; a moment all the same."""
    here = made._start_of(date(2026, 1, 2), None)  # noqa: SLF001 its own rule

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
    for change in ((date(2026, 1, day), "new battery"), NotedChange(date(2026, 1, day), "new battery", 7)):
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
