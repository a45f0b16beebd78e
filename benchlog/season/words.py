"""What to do, in plain words, worst first, each with its reason."""

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from benchlog.core.numbers import number, with_uncertainty
from benchlog.season.charge import Charge
from benchlog.season.dates import day_words, month
from benchlog.season.forecast import TooFew, Trend
from benchlog.season.model import Part, SeasonAdvice, Urgency
from benchlog.season.standing import Standing
from benchlog.season.todo import how_to

#: What needs attention first.
URGENCIES: tuple[Urgency, ...] = ("now", "soon", "fine", "open")
#: Beside each urgency word, so that none hangs on colour.
SHAPES: dict[Urgency, str] = {"now": "▲", "soon": "◐", "fine": "●", "open": "○"}
#: Within so many days a limit is near.
NEAR_DAYS = 180
#: A bike that stands for fewer days than this wants its battery charged before storage.
STORAGE_DAYS = 90
#: Below this charge for certain, charge now; half charge is where a lead-acid battery begins to harm itself.
LOW_CHARGE_PCT = 50.0

# worst first within an urgency
_ORDER = (
    "replace soon",
    "look at the charging now",
    "charge now",
    "find the drain",
    "test under load",
    "look at the charging",
    "charge soon",
    "charge before storage",
    "look at the drain",
)
_AGEING = ("source_resistance", "crank_minimum")


def advise(
    parts: Sequence[Part], charge: Charge | None, standing: Standing | None, today: date, chemistry: str
) -> tuple[SeasonAdvice, ...]:
    """Everything worth saying, worst first, each thing to do explained once; never empty."""
    given = [advice for part in parts if part.readings for advice in [_of_part(part, parts, charge, today)]]
    if standing is not None:
        given.append(_of_standing(standing, today))
    if not given:
        given = [
            SeasonAdvice("open", "nothing measured yet", "Battery", "there are no readings; check a log and keep it")
        ]

    near = {part.title: _nearness(part, today) for part in parts}

    def rank(advice: SeasonAdvice) -> tuple[int, int, float]:
        place = _ORDER.index(advice.words) if advice.words in _ORDER else len(_ORDER)
        return URGENCIES.index(advice.urgency), place, near.get(advice.about, math.inf)

    ranked = sorted(given, key=rank)
    told = [advice.words for advice in ranked]
    return tuple(
        replace(advice, how=how_to(advice.words, chemistry)) if told.index(advice.words) == place else advice
        for place, advice in enumerate(ranked)
    )


def _nearness(part: Part, today: date) -> float:
    """Days to the limit: 0 at it or beyond, infinite where no date is known."""
    if part.crossing.state in ("crossed", "at the limit"):
        return 0.0
    return math.inf if part.crossing.earliest is None else float((part.crossing.earliest - today).days)


def now_words(part: Part) -> str:
    """The present value with its uncertainty and unit; ``no value`` where there is none."""
    if part.now is None:
        return "no value"
    return f"{with_uncertainty(part.now[0], part.now[1] or None)} {part.unit}"


def limit_words(part: Part) -> str:
    """The plan's limit in words, or that there is none."""
    low, high = part.limit
    if low is not None and high is not None:
        return f"{number(low)} to {number(high)} {part.unit}"
    if low is not None:
        return f"at least {number(low)} {part.unit}"
    return f"at most {number(high)} {part.unit}" if high is not None else "no limit planned"


def trend_words(trend: Trend | TooFew, unit: str) -> str:
    """Such as ``rises 8.1 mΩ a year (5.9 to 10.2)``, or that none is proven."""
    if isinstance(trend, TooFew):
        return trend.because
    if not trend.proven:
        return f"{trend.because}; anything from {_range(trend)} {unit} a year fits"
    moves = "rises" if trend.per_year > 0 else "falls"
    low, high = sorted((abs(trend.low), abs(trend.high)))
    return f"{moves} {_short(abs(trend.per_year))} {unit} a year ({_short(low)} to {_short(high)})"


def crossing_words(part: Part) -> str:
    """When the limit would be crossed, as an interval of months; or why that is not known."""
    crossing = part.crossing
    if crossing.state == "crossed":
        return "already crossed"
    if crossing.state == "at the limit":
        return "at the limit, within the uncertainty"
    if crossing.state == "will cross" and crossing.earliest is not None:
        if crossing.latest is None:
            return f"crossed in {month(crossing.earliest)} at the earliest"
        first, last = month(crossing.earliest), month(crossing.latest)
        return f"crossed between {first} and {last}" if first != last else f"crossed in {first}"
    if crossing.state == "inside":
        return "met; no date, as no trend towards it is proven"
    return "no limit planned" if part.limit == (None, None) else "not measured since the last change"


def _of_part(part: Part, parts: Sequence[Part], charge: Charge | None, today: date) -> SeasonAdvice:
    state = part.crossing.state
    limit = f"the limit is {limit_words(part)}"
    now = now_words(part)
    if part.quantity == "resting_voltage" and charge is not None and charge.high_pct < LOW_CHARGE_PCT:
        return SeasonAdvice("now", "charge now", part.title, f"{charge.words} charge: {charge.because}")
    if state == "crossed":
        return SeasonAdvice("now", _crossed(part, parts), part.title, f"{now}, {limit}: already crossed{_own(part)}")
    if state == "at the limit":
        words = {"resting_voltage": "charge soon", "off_state_drain": "look at the drain",
                 "charging_voltage": "look at the charging"}.get(part.quantity, "test under load")  # fmt: skip
        return SeasonAdvice("soon", words, part.title, f"{now}, {limit}: too close to tell{_own(part)}")
    if state == "will cross" and part.crossing.earliest is not None:
        because = f"it {trend_words(part.trend, part.unit)}; {limit}, {crossing_words(part)}"
        if part.quantity in _AGEING and isinstance(part.trend, Trend) and part.trend.others == "temperature":
            because += " at 20 °C, earlier in the cold"
        if (part.crossing.earliest - today).days < NEAR_DAYS:
            words = {"resting_voltage": "charge soon", "off_state_drain": "look at the drain",
                     "charging_voltage": "look at the charging"}.get(part.quantity, "test under load")  # fmt: skip
            return SeasonAdvice("soon", words, part.title, because)
        return SeasonAdvice("fine", f"fine until about {month(part.crossing.earliest)}", part.title, because)
    if state == "inside":
        if isinstance(part.trend, Trend) and part.trend.proven:
            return SeasonAdvice("fine", "fine so far", part.title,
                          f"{now}, {limit}; it {trend_words(part.trend, part.unit)}, not across the limit within "
                          "five years")  # fmt: skip
        words = "fine so far" if isinstance(part.trend, Trend) else "fine now"
        return SeasonAdvice("fine", words, part.title, f"{now}, {limit}; {trend_words(part.trend, part.unit)}")
    if part.now is None:
        return SeasonAdvice("open", "measure again", part.title, "not measured since the last change")
    return SeasonAdvice("open", "no limit planned", part.title, f"{now}; {trend_words(part.trend, part.unit)}")


def _crossed(part: Part, parts: Sequence[Part]) -> str:
    if part.quantity == "off_state_drain":
        return "find the drain"
    if part.quantity == "charging_voltage":
        return "look at the charging now"
    if part.quantity == "resting_voltage":
        return "charge now"
    both = all(other.crossing.state == "crossed" for other in parts if other.quantity in _AGEING)
    worsening = isinstance(part.trend, Trend) and part.trend.proven and (
        (part.trend.per_year > 0) == (part.quantity == "source_resistance")
    )  # fmt: skip
    return "replace soon" if both or worsening else "test under load"


def _own(part: Part) -> str:
    """What the trend adds to a value at or beyond its limit."""
    if isinstance(part.trend, Trend) and part.trend.proven:
        return f"; it {trend_words(part.trend, part.unit)}"
    return ""


def _of_standing(standing: Standing, today: date) -> SeasonAdvice:
    gone = (today - standing.since).days
    because = f"half charge is reached after {standing.words}, {standing.because}"
    if standing.high_days <= 0:
        return SeasonAdvice("now", "charge now", "Standing", because)
    if standing.until is not None and standing.until < today:
        sure = "is" if gone > standing.high_days else "may be"
        because += f"; that reading is {gone} days old: if it has stood since, it {sure} below half"
        return SeasonAdvice("soon", "charge before storage", "Standing", because)
    if standing.low_days < STORAGE_DAYS:
        return SeasonAdvice("soon", "charge before storage", "Standing", because)
    if standing.until is None:
        return SeasonAdvice("fine", "can stand for years", "Standing", because)
    return SeasonAdvice("fine", f"can stand until {day_words(standing.until)}", "Standing", because)


def _range(trend: Trend) -> str:
    return f"{_short(trend.low)} to {_short(trend.high)}"


def _short(value: float) -> str:
    """Two significant digits, no exponent."""
    if value == 0:
        return "0"
    digits = max(0, 1 - int(f"{abs(value):.1e}".partition("e")[2]))
    return f"{value:.{digits}f}".replace("-", "−")
