"""Cell texts to numbers and times, a whole column at once."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchlog.log.readers.raw import Flags, Floats, Ints

if TYPE_CHECKING:
    import polars as pl

#: Texts, in lower case, that stand for a missing sample.
MISSING = ("", "nan", "-nan", "na", "n/a", "null", "none", "-", "--", "---", "----")

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


def numbers(texts: "pl.Series", over: tuple[str, ...], decimal_comma: bool) -> Numbers:
    """Read a column of texts (null is missing)."""
    import polars as pl

    cells = texts.fill_null("").str.strip_chars(' \t\r"')
    plain = cells.str.replace(",", ".", literal=True) if decimal_comma else cells
    read = plain.cast(pl.Float64, strict=False).fill_null(float("nan")).to_numpy()
    empty = cells.str.to_lowercase().is_in(MISSING).to_numpy()
    is_over = cells.is_in(over).to_numpy() if over else np.zeros(len(cells), dtype=bool)
    good = np.isfinite(read) & ~empty & ~is_over
    return Numbers(np.where(good, read, np.nan), is_over, ~(good | empty | is_over))


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
