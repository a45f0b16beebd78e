"""The season's advice in words: limits, dates, trends and days on parts written by hand."""

from datetime import UTC, date, datetime, timedelta

import pytest

from benchlog.season.forecast import LimitCrossing, TooFew, Trend
from benchlog.season.model import Part
from benchlog.season.standing import Standing
from benchlog.season.words import advise, crossing_words, limit_words, now_words, trend_words
from benchlog.store.readings import Reading

TODAY = date(2026, 9, 1)
AT = datetime(2026, 8, 30, 12, tzinfo=UTC)
FEW = TooFew("too few readings", 2)
Limit = tuple[float | None, float | None]


def trend(per_year: float, *, proven: bool = True, others: str = "none") -> Trend:
    """Its interval is a quarter to either side."""
    low, high = sorted((0.75 * per_year, 1.25 * per_year))
    return Trend(date(2026, 1, 1), TODAY, 12, per_year, low, high, 0.01, 20.0, 0.0, 20000.0, others, None, proven,
                 "no trend proven: by hand")  # fmt: skip


def part(
    state: str = "inside",
    quantity: str = "crank_minimum",
    *,
    moves: Trend | TooFew = FEW,
    limit: Limit = (9.6, None),
    days: tuple[int | None, int | None] = (None, None),
    now: tuple[float, float] | None = (10.0, 0.1),
) -> Part:
    """One quantity with one reading; ``days``: until its limit is crossed, earliest and latest."""
    first, last = (None if each is None else TODAY + timedelta(days=each) for each in days)
    crossing = LimitCrossing(state, "min", 9.6, first, last)  # type: ignore[arg-type]  # the states, each in turn
    readings = (Reading(AT, quantity, 10.0, 0.1, 20.0),)
    return Part(quantity, quantity, "V", readings, limit, None, now, moves, (), crossing, 1)


def said(one: Part, *others: Part) -> str:
    """The advice on the first."""
    (advice,) = [each for each in advise((one, *others), None, None, TODAY, "agm") if each.about == one.title]
    return f"{advice.urgency}, {advice.words}: {advice.because}"


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (part("crossed"), "already crossed"),
        (part("at the limit"), "at the limit, within the uncertainty"),
        (part("will cross", days=(100, None)), "crossed in December 2026 at the earliest"),
        (part("will cross", days=(100, 200)), "crossed between December 2026 and March 2027"),
        (part("will cross", days=(100, 105)), "crossed in December 2026"),
        (part("inside"), "met; no date, as no trend towards it is proven"),
        (part("open", limit=(None, None)), "no limit planned"),
        (part("open", limit=(None, 1.0)), "not measured since the last change"),
        (part("will cross"), "not measured since the last change"),
    ],
)
def test_crossing_in_words(one: Part, words: str):
    """Crossed, at it, between two months or in one, inside, without a limit, and not measured."""
    assert crossing_words(one) == words


@pytest.mark.parametrize(
    ("limit", "words"),
    [((9.6, None), "at least 9.6 V"), ((None, 14.8), "at most 14.8 V"), ((13.5, 14.8), "13.5 to 14.8 V"),
     ((None, None), "no limit planned"), ((0.0, None), "at least 0 V")],
)  # fmt: skip
def test_limit_in_words(limit: Limit, words: str):
    """One side, the other, both or none."""
    assert limit_words(part(limit=limit)) == words


def test_now_in_words():
    """With its uncertainty, without one, and without a value."""
    assert [now_words(part(now=now)) for now in ((10.0, 0.1), (10.0, 0.0), None)] == [
        "10.00 ± 0.10 V", "10 V", "no value",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (trend(0.5), "rises 0.50 V a year (0.38 to 0.62)"),
        (trend(-0.5), "falls 0.50 V a year (0.38 to 0.62)"),
        (trend(1.0), "rises 1.0 V a year (0.75 to 1.2)"),
        (trend(40.0), "rises 40 V a year (30 to 50)"),
        (trend(-0.5, proven=False), "no trend proven: by hand; anything from −0.62 to −0.38 V a year fits"),
        (trend(0.0, proven=False), "no trend proven: by hand; anything from 0 to 0 V a year fits"),
        (TooFew("too few readings", 2), "too few readings"),
    ],
)
def test_trend_in_words(one: Trend | TooFew, words: str):
    """Two digits, a true minus sign, and what fits where none is proven."""
    assert trend_words(one, "V") == words


def test_what_will_cross_says_why_and_when():
    """At 20 °C where temperature was taken out of what ages, and nothing of it elsewhere."""
    warm = trend(-1.0, others="temperature")
    crank = said(part("will cross", moves=warm, days=(300, 400)))
    cold = " at 20 °C, earlier in the cold"

    assert crank == (
        "fine, fine until about June 2027: it falls 1.0 V a year (0.75 to 1.2); the limit is at least 9.6 V, crossed "
        "between June 2027 and October 2027" + cold
    )
    assert said(part("will cross", "source_resistance", moves=warm, days=(300, 400))).endswith(cold)
    assert not said(part("will cross", "off_state_drain", moves=warm, days=(300, 400))).endswith(cold)
    assert not said(part("will cross", moves=trend(-1.0), days=(300, 400))).endswith(cold)
    assert not said(part("will cross", days=(300, 400))).endswith(cold)


@pytest.mark.parametrize(
    ("quantity", "words"),
    [("resting_voltage", "charge soon"), ("off_state_drain", "look at the drain"),
     ("charging_voltage", "look at the charging"), ("crank_minimum", "test under load")],
)  # fmt: skip
def test_what_will_cross_within_half_a_year_is_seen_to(quantity: str, words: str):
    """In 179 days; in 180 it is fine until then."""
    assert said(part("will cross", quantity, moves=trend(-1.0), days=(179, None))).startswith(f"soon, {words}: it")
    assert said(part("will cross", quantity, moves=trend(-1.0), days=(180, None))).startswith("fine, fine until about")


def test_what_is_inside_says_how_it_moves():
    """A proven trend away, none proven, too few readings."""
    assert said(part(moves=trend(1.0))) == (
        "fine, fine so far: 10.00 ± 0.10 V, the limit is at least 9.6 V; it rises 1.0 V a year (0.75 to 1.2), not "
        "across the limit within five years"
    )
    assert said(part(moves=trend(1.0, proven=False))).startswith("fine, fine so far: 10.00 ± 0.10 V, the limit is at")
    assert said(part()) == "fine, fine now: 10.00 ± 0.10 V, the limit is at least 9.6 V; too few readings"


def test_what_is_crossed_or_at_the_limit_says_how_it_moves():
    """Where a trend is proven; nothing otherwise."""
    for state, words in (("crossed", "already crossed"), ("at the limit", "too close to tell")):
        assert said(part(state, moves=trend(-1.0))).endswith(f": {words}; it falls 1.0 V a year (0.75 to 1.2)")
        assert said(part(state, moves=trend(-1.0, proven=False))).endswith(f": {words}")
        assert said(part(state)).endswith(f": {words}")


def test_open_parts_are_measured_or_planned():
    """Without a value since the change, or without a limit."""
    assert said(part("open", now=None)) == "open, measure again: not measured since the last change"
    assert said(part("open", limit=(None, None))) == "open, no limit planned: 10.00 ± 0.10 V; too few readings"
    assert said(part("will cross")) == "open, no limit planned: 10.00 ± 0.10 V; too few readings"


@pytest.mark.parametrize(
    ("quantity", "per_year", "words"),
    [("source_resistance", 0.5, "replace soon"), ("source_resistance", -0.5, "test under load"),
     ("crank_minimum", -0.5, "replace soon"), ("crank_minimum", 0.5, "test under load")],
)  # fmt: skip
def test_what_worsens_beyond_its_limit_is_replaced(quantity: str, per_year: float, words: str):
    """A resistance that rises or a minimum that falls, however slowly; the other sign is still inside."""
    other = part("inside", "crank_minimum" if quantity == "source_resistance" else "source_resistance")

    assert said(part("crossed", quantity, moves=trend(per_year)), other).startswith(f"now, {words}")


def test_how_is_said_once():
    """With the first of two that want the same done."""
    advice = advise((part("at the limit"), part("at the limit", "source_resistance")), None, None, TODAY, "agm")

    assert [each.words for each in advice] == ["test under load"] * 2
    assert [bool(each.how) for each in advice] == [True, False]


def told(*parts: Part) -> list[str]:
    """What the advice is about, in its order."""
    return [each.about for each in advise(parts, None, None, TODAY, "agm")]


def test_of_one_kind_the_nearest_comes_first():
    """At its limit before tomorrow, before next month; what has no date last."""
    at, soon, later = (
        part(state, quantity, moves=trend(-1.0), days=days)
        for state, quantity, days in (
            ("at the limit", "crank_minimum", (None, None)),
            ("will cross", "source_resistance", (1, None)),
            ("will cross", "third", (30, None)),
        )
    )

    assert told(later, soon, at) == told(at, later, soon) == ["crank_minimum", "source_resistance", "third"]
    assert told(soon, part("will cross", "crank_minimum", moves=trend(-1.0), days=(0, None))) == [
        "crank_minimum", "source_resistance",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("low", "high", "ago", "begins"),
    [
        (0.0, 0.0, 0, "now, charge now"),
        (0.0, 0.5, 0, "soon, charge before storage"),
        (89.9, 300.0, 0, "soon, charge before storage"),
        (90.0, 300.0, 0, "fine, can stand until 30 November 2026"),
        (100.0, 300.0, 100, "fine, can stand until 1 September 2026"),
        (100.0, 300.0, 101, "soon, charge before storage"),
        (3652.0, 9000.0, 0, "fine, can stand until 31 August 2036"),
        (3653.0, 9000.0, 0, "fine, can stand for years"),
    ],
)
def test_days_of_standing_by_their_edges(low: float, high: float, ago: int, begins: str):
    """None left, fewer than 90, the very day, the day after, ten years."""
    standing = Standing(TODAY - timedelta(days=ago), low, (low + high) / 2, high, 1.0, 20.0, "b")
    ((advice),) = advise((), None, standing, TODAY, "agm")

    assert f"{advice.urgency}, {advice.words}" == begins


@pytest.mark.parametrize(("ago", "sure"), [(300, "it may be below half"), (301, "it is below half")])
def test_beyond_its_most_days_it_is_below_half(ago: int, sure: str):
    """At 300 days of at most 300 it may be."""
    standing = Standing(TODAY - timedelta(days=ago), 100.0, 200.0, 300.0, 1.0, 20.0, "b")
    ((advice),) = advise((), None, standing, TODAY, "agm")

    assert advice.because.endswith(f"that reading is {ago} days old: if it has stood since, {sure}")
