"""How readings become quantities: which steps make one change, which stretch a trend is of, and what "now" is."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from benchlog.plan.model import Limits
from benchlog.season import Change
from benchlog.season import season as made
from benchlog.season.breaks import Break, LevelShift
from benchlog.season.model import Part
from benchlog.season.series import Series, day_of
from benchlog.store.readings import Reading

AT = datetime(2026, 1, 1, tzinfo=UTC)
FIRST = day_of(AT)


def series(n: int = 10, every: float = 10.0) -> Series:
    """Readings every ten days."""
    return Series(FIRST + every * np.arange(n), np.full(n, 20.0), np.full(n, 20.0), np.full(n, 0.1))


def step(first: int, last: int | None = None, size: float = 1.0, p: float = 0.01) -> LevelShift:
    """A step before the reading ``first``, or as late as before ``last``."""
    return LevelShift(first, first, last or first, size, p)


def breaks(steps: dict[str, list[LevelShift]], *noted: Change) -> list[tuple[float, float, dict[str, float]]]:
    """(day after which, day before which, steps) of each change, days from the first reading."""
    given = {quantity: [(one, series()) for one in each] for quantity, each in steps.items()}
    found = made._breaks(given, noted, UTC)
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

    assert [one.p for one in made._breaks(given, [], UTC)] == [0.002]
    noted = Change((AT + timedelta(days=25)).date(), "new battery", 7)
    apart = given | {"crank_minimum": [(step(4, p=0.002), series())]}
    (one,) = made._breaks(apart, [noted], UTC)
    assert (one.p, one.number, one.noted, one.kind) == (0.002, 7, "new battery", "in more than one direction")


@pytest.mark.parametrize(("day", "taken_up"), [(5, False), (6, True), (44, True), (45, False)])
def test_a_noted_change_takes_up_steps_within_a_fortnight(day: int, taken_up: bool):
    """A step found between day 20 and day 30: 14 days on either side."""
    found = breaks({"source_resistance": [step(3)]}, Change((AT + timedelta(days=day)).date(), "new battery"))

    assert (float(day), float(day), {"source_resistance": 1.0} if taken_up else {}) in found
    assert len(found) == (1 if taken_up else 2)


def test_changes_stand_in_the_order_of_their_days():
    """Noted and found ones; one that took nothing up has no kind and no chance."""
    found = made._breaks(  # its own rule
        {"source_resistance": [(step(8), series())]}, [Change(date(2026, 1, 5), "grips")], UTC
    )

    assert [(one.noted, one.kind, one.p) for one in found] == [
        ("grips", "", None),
        ("", "as with a cell that failed, a poor joint at the posts or another, weaker battery", 0.01),
    ]  # fmt: skip


def part_of(found: list[Break], quantity: str = "source_resistance", n: int = 20) -> Part:
    """Readings 1 to ``n`` every ten days, level with a little to and fro."""
    readings = [Reading(AT + timedelta(days=10 * k), quantity, 20.0 + 0.01 * (k % 3), 0.1, 20.0) for k in range(n)]
    one = Series(
        np.array([day_of(r.at) for r in readings]), np.array([r.value for r in readings]), np.full(n, 20.0),
        np.full(n, 0.1),
    )  # fmt: skip
    return made._part(quantity, readings, one, found, Limits(), date(2026, 9, 1))


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
        return made._now(readings)

    assert now() is None
    assert now(None, None, None) == (11.0, 0.0)
    assert now(0.1, None, 0.3) == (11.0, pytest.approx(0.2))


def test_a_reading_that_is_no_number_is_not_now():
    """The one before it is."""
    readings = [Reading(AT, "crank_minimum", 10.0), Reading(AT, "crank_minimum", float("nan"))]

    assert made._latest("off_state_drain", readings) == readings[:1]


@pytest.mark.parametrize(("before_s", "counted"), [(0.5, 2), (1.5, 1)])
def test_a_reading_of_the_changes_second_is_from_after_it(before_s: float, counted: int):
    """A moment that went through days as a number may be a little late: one second is allowed for."""
    change = Break(AT + timedelta(days=100), AT + timedelta(days=100), {}, "new battery")
    readings = [Reading(change.before + timedelta(seconds=s), "crank_minimum", 10.0, 0.1) for s in (-before_s, 60)]
    one = Series(np.array([day_of(r.at) for r in readings]), np.full(2, 10.0), np.full(2, np.nan), np.full(2, 0.1))
    got = made._part("crank_minimum", readings, one, [change], Limits(), date(2026, 9, 1))

    assert got.now_of == counted
    assert len(made._since(got)) == counted
