"""Several bikes at a glance: whose battery needs attention, worst first."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from benchlog.season.dates import day_words
from benchlog.season.model import Season, SeasonAdvice
from benchlog.season.words import SHAPES, URGENCIES


@dataclass(frozen=True, slots=True)
class Glance:
    """One bike in a line.

    Attributes:
        advice: its worst.
        more: how many other things of the bike want doing.
        charge: in words; empty where no rest voltage was measured.
        stand_until: the day by which it should be charged; None where that is not known or beyond ten years.
        last: day of its newest reading; None without one.
    """

    bike: str
    advice: SeasonAdvice
    more: int
    charge: str
    stand_until: date | None
    last: date | None


def at_a_glance(seasons: Iterable[Season]) -> list[Glance]:
    """One line a bike: the most urgent first, then by the day until which it can stand, then by name."""
    glances = [_glance(season) for season in seasons]
    return sorted(
        glances,
        key=lambda g: (URGENCIES.index(g.advice.urgency), g.stand_until or date.max, g.bike.casefold(), g.bike),
    )


def render_bikes(glances: Iterable[Glance]) -> str:
    """The bikes as plain text, 80 columns; ends with a newline."""
    from benchlog.core.printable import one_line
    from benchlog.season.chart import fold

    lines: list[str] = []
    for glance in glances:
        lines += fold(f"{SHAPES[glance.advice.urgency]} {one_line(glance.bike)}: {glance.advice.words}", "", "  ")
        lines += fold(f"{glance.advice.about}: {glance.advice.because}", "    ", "    ")
        facts = [f"{glance.more} more to do" if glance.more else "", f"charge {glance.charge}" if glance.charge else "",
                 f"last reading {day_words(glance.last)}" if glance.last else ""]  # fmt: skip
        lines += fold("; ".join(fact for fact in facts if fact), "    ", "    ")
        lines.append("")
    return "\n".join(lines)


def _glance(season: Season) -> Glance:
    worst, *others = season.advice
    return Glance(
        bike=season.bike,
        advice=worst,
        more=sum(advice.urgency in ("now", "soon") for advice in others),
        charge=season.charge.words if season.charge else "",
        stand_until=season.standing.until if season.standing else None,
        last=max((part.readings[-1].at.date() for part in season.parts if part.readings), default=None),
    )
