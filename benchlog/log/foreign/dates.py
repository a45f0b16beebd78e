"""In which form dates and times of day are written."""

import re
from collections.abc import Sequence
from typing import Literal

from benchlog.log.readers.cutting import CLOCK, DAY

DateKind = Literal["date", "clock", "both"]


def date_kind(cells: Sequence[str]) -> DateKind | None:
    """Whether the cells of a column are dates, times of day, or both in one; None for anything else."""
    filled = [cell for cell in cells if cell]
    if not filled:
        return None
    if all(DAY.fullmatch(cell) for cell in filled):
        return "date"
    if all(CLOCK.fullmatch(cell) for cell in filled):
        return "clock"
    if all(_halves(cell) is not None for cell in filled):
        return "both"
    return None


def _halves(cell: str) -> tuple[str, str] | None:
    parts = re.split(r"[T ]+", cell, maxsplit=1)
    if len(parts) == 2 and DAY.fullmatch(parts[0]) and CLOCK.fullmatch(parts[1]):
        return parts[0], parts[1]
    return None


def is_iso(cells: Sequence[str]) -> bool:
    """Whether whole dates are written as ISO 8601 does, which needs no format."""
    return all(re.match(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d", cell) and cell[-1:] not in "mM" for cell in cells if cell)


def date_format(cells: Sequence[str], clocks: Sequence[str]) -> tuple[str, bool]:
    """The format of dates, as a logger file says it, and whether day and month could be the other way round.

    Args:
        cells: dates, some with a time of day behind them.
        clocks: times of day, to tell American dates by their AM and PM.
    """
    days = [(_halves(cell) or (cell, ""))[0] for cell in cells if cell]
    found = [match for day in days if (match := DAY.fullmatch(day))]
    first = found[0]
    if first[1] is not None:
        return f"%Y{first[2]}%m{first[2]}%d", False
    between, year = first[6], "%Y" if len(first[8]) == 4 else "%y"
    day_first, month_first = f"%d{between}%m{between}{year}", f"%m{between}%d{between}{year}"
    if any(int(match[5]) > 12 for match in found):
        return day_first, False
    if any(int(match[7]) > 12 for match in found):
        return month_first, False
    if between == ".":  # only where the day comes first are dates written with points
        return day_first, False
    return (month_first if _has_halves_of_day(clocks) else day_first), True


def clock_format(cells: Sequence[str]) -> str:
    """The format of times of day; a fraction of the second needs no word."""
    times = [(_halves(cell) or ("", cell))[1] for cell in cells if cell]
    seconds = ":%S" if any(time.count(":") > 1 for time in times) else ""
    return f"%I:%M{seconds} %p" if _has_halves_of_day(times) else f"%H:%M{seconds}"


def _has_halves_of_day(clocks: Sequence[str]) -> bool:
    return any(re.search(r"[ap]\.?m\.?$", cell, re.IGNORECASE) for cell in clocks)


def turned_round(form: str) -> str:
    """The same format with day and month the other way round."""
    return form.replace("%d", "\0").replace("%m", "%d").replace("\0", "%m")
