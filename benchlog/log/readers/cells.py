"""Cell texts to numbers and times, a whole column at once."""

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchlog.core.roles import UNITS
from benchlog.log.readers.raw import Flags, Floats, Ints
from benchlog.logger.channels import has_day

if TYPE_CHECKING:
    import polars as pl

#: Texts, in lower case, that stand for a missing sample.
MISSING = ("", "nan", "-nan", "na", "n/a", "null", "none", "-", "--", "---", "----")

#: A number with its unit: ``12.63 V``, ``-0,61mA``, ``12.6 V DC``.
UNIT_CELL = re.compile(r"([+-]? ?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?) ?([umµμ]?[VA]|°?C|degC)(?: ?DC)?")
_SPELT = {"µ": "u", "μ": "u", "°C": "degC"}

_ZONE = r"(?:Z|[+-]\d\d:?\d\d)$"


@dataclass(frozen=True, slots=True)
class Numbers:
    """One column of cells.

    Attributes:
        values: as written; NaN where missing, over range or unreadable.
        over: True where the text means over range.
        unreadable: True where the text is neither a number, missing nor over range.
    """

    values: Floats
    over: Flags
    unreadable: Flags


def numbers(texts: "pl.Series", over: tuple[str, ...], decimal_comma: bool, unit: str | None = None) -> Numbers:
    """Read a column of texts (null is missing).

    Args:
        texts: the cells.
        over: texts that mean over range.
        decimal_comma: numbers are written 12,6.
        unit: the numbers' own; a cell that names another of the same quantity is turned to it. None for a time.
    """
    import polars as pl

    cells = texts.fill_null("").str.strip_chars(' \t\r"')
    plain = cells.str.replace(",", ".", literal=True) if decimal_comma else cells
    read = plain.cast(pl.Float64, strict=False).fill_null(float("nan")).to_numpy()
    empty = cells.str.to_lowercase().is_in(MISSING).to_numpy()
    is_over = cells.is_in(over).to_numpy() if over else np.zeros(len(cells), dtype=bool)
    good = np.isfinite(read) & ~empty & ~is_over
    odd = ~(good | empty | is_over)
    if unit is not None and odd.any():
        read, odd = read.copy(), odd.copy()
        at = np.flatnonzero(odd)
        read[at] = _with_units(plain.gather(at), unit)
        odd[at] = np.isnan(read[at])
        good = np.isfinite(read) & ~empty & ~is_over
    return Numbers(np.where(good, read, np.nan), is_over, odd)


def _with_units(cells: "pl.Series", unit: str) -> Floats:
    """Numbers from cells that carry their units, in ``unit``; NaN where a cell holds none, or another quantity's."""
    import polars as pl

    pattern = f"^{UNIT_CELL.pattern}$"
    number = cells.str.extract(pattern, 1).str.replace_all(" ", "", literal=True).cast(pl.Float64, strict=False)
    written = cells.str.extract(pattern, 2)
    for odd, plain in _SPELT.items():
        written = written.str.replace(odd, plain, literal=True)
    factor = np.full(len(cells), np.nan)
    canonical, own = UNITS.get(unit, ("", 1.0))
    for name, (of, to_canonical) in UNITS.items():
        if of == canonical:
            factor[(written.fill_null("") == name).to_numpy()] = to_canonical / own
    values: Floats = number.fill_null(float("nan")).to_numpy() * factor
    return values


@dataclass(frozen=True, slots=True)
class Times:
    """A column of dates.

    Attributes:
        us: us since 1970-01-01 UTC (a time without a zone is taken as UTC); 0 where there is none.
        missing: True where the cell is empty.
        unreadable: True where it is no date.
    """

    us: Ints
    missing: Flags
    unreadable: Flags


def dates(texts: "pl.Series", form: str) -> Times:
    """Read dates, or times of day alone, in a form such as ``%d.%m.%Y %H:%M:%S``; seconds may have a fraction.

    Times of day count from 1970-01-01, which says nothing but lets them be compared.
    """
    import polars as pl

    cells = texts.fill_null("").str.strip_chars(' \t\r"')
    missing = cells.str.to_lowercase().is_in(MISSING).to_numpy()
    plain = cells.str.replace_all(r"[\s\x{202f}]+", " ").str.replace(r"(:\d\d),(\d)", "$1.$2")
    plain = plain.str.replace(r"(?i) ?([ap])\.?m\.?$", " ${1}M").str.to_uppercase()
    written = form.replace(".%f", "").replace("%S", "%S%.f").replace(" %p", "%p").replace("%p", " %p")
    if not has_day(form):
        plain, written = "1970-01-01 " + plain, "%Y-%m-%d " + written
    # a day or hour of one digit is read by chrono, but not by polars' own quick way
    plain = plain.str.replace_all(r"(^|[ ./-])(\d)([ ./:-])", "${1}0$2$3").str.replace_all(
        r"(^|[ ./-])(\d)([ ./:-])", "${1}0$2$3"
    )
    read = plain.str.to_datetime(written, time_unit="us", strict=False, exact=True)
    us: Ints = read.cast(pl.Int64).fill_null(0).to_numpy().astype(np.int64)
    return Times(us, missing, read.is_null().to_numpy() & ~missing)


def iso_times(texts: "pl.Series") -> Times:
    """Read ISO 8601 dates: ``2025-05-01T12:00:00.000250+02:00``, fraction and zone as may be, T or space."""
    import polars as pl

    cells = texts.fill_null("").str.strip_chars(' \t\r"')
    empty = cells.str.to_lowercase().is_in(MISSING)
    plain = cells.str.replace(" ", "T", literal=True).str.replace(",", ".", literal=True)
    zoned = plain.str.contains(_ZONE)
    east_us: Ints | int = 0
    if zoned.any():
        zone = plain.str.extract(f"({_ZONE})").fill_null("Z").str.replace("Z", "+0000", literal=True)
        zone = zone.str.replace(":", "", literal=True)
        minutes = zone.str.slice(1, 2).cast(pl.Int64) * 60 + zone.str.slice(3, 2).cast(pl.Int64)
        sign = np.where(zone.str.starts_with("-").to_numpy(), -1, 1)
        east_us = (minutes.to_numpy() * sign * 60_000_000).astype(np.int64)
        plain = plain.str.replace(_ZONE, "")
    read = plain.str.to_datetime("%Y-%m-%dT%H:%M:%S%.f", time_unit="us", strict=False)
    missing = empty.to_numpy()
    us: Ints = (read.cast(pl.Int64).fill_null(0).to_numpy() - east_us).astype(np.int64)
    return Times(us, missing, read.is_null().to_numpy() & ~missing)
