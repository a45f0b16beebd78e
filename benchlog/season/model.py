"""What a season is made of: its quantities, its changes, and what to do."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from benchlog.season.breaks import Break
from benchlog.season.charge import Charge
from benchlog.season.forecast import LimitCrossing, TooFew, Trend
from benchlog.season.standing import Standing
from benchlog.store.kinds import Change
from benchlog.store.readings import Reading

Urgency = Literal["now", "soon", "fine", "open"]
#: A new battery starts these afresh; any other change the rest.
_BATTERY = ("resting_voltage", "source_resistance", "crank_minimum")


@dataclass(frozen=True, slots=True)
class SeasonAdvice:
    """One thing to do, or to know.

    Attributes:
        words: a few, such as "test under load".
        about: the quantity's title, or "Standing".
        because: one plain sentence.
        how: how to do it, with the caution where it can hurt; empty where there is nothing to do.
    """

    urgency: Urgency
    words: str
    about: str
    because: str
    how: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """One quantity of the season.

    Attributes:
        quantity, title, unit: as in ``QUANTITIES``.
        readings: all of it, in time order.
        limit: (least, most) of the plan; None where a side is open.
        since: the last break before the present trend; None without one.
        now: the present value and its expanded uncertainty (0 where not stated); None without a reading.
        trend: since the last break.
        earlier: the trends of the stretches before it.
        crossing: where it stands against its limit.
        now_of: how many of the last readings the present value is the median of; 0 without one.
    """

    quantity: str
    title: str
    unit: str
    readings: tuple[Reading, ...]
    limit: tuple[float | None, float | None]
    since: datetime | None
    now: tuple[float, float] | None
    trend: Trend | TooFew
    earlier: tuple[Trend, ...]
    crossing: LimitCrossing
    now_of: int = 0


@dataclass(frozen=True, slots=True)
class Season:
    """Everything the readings of one bike say about its battery.

    Attributes:
        breaks: noted and found changes, earliest first.
        advice: what to do, worst first; never empty.
        later: changes noted for days after ``today``, earliest first; they part nothing yet.
    """

    bike: str
    chemistry: str
    capacity_ah: float
    today: date
    parts: tuple[Part, ...]
    breaks: tuple[Break, ...]
    charge: Charge | None
    standing: Standing | None
    advice: tuple[SeasonAdvice, ...]
    later: tuple[Change, ...] = ()

    def part(self, quantity: str) -> Part:
        """The part of this quantity.

        Raises:
            KeyError: not a quantity.
        """
        for part in self.parts:
            if part.quantity == quantity:
                return part
        raise KeyError(quantity)

    def breaks_of(self, quantity: str) -> list[datetime]:
        """When each change that splits this quantity's trend happened."""
        return [one.before for one in self.breaks if splits(one, quantity)]


def splits(one: Break, quantity: str) -> bool:
    """Whether a quantity is judged afresh after this change."""
    return quantity in one.steps or bool(one.noted and starts_anew(one.noted, quantity))


def starts_anew(what: str, quantity: str) -> bool:
    """Whether a change in these words starts the quantity afresh."""
    return ("batter" in what.casefold()) == (quantity in _BATTERY)
