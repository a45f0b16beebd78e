"""A simulated log as a file of text, in the ways that loggers write theirs."""

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from benchlog.standin.logger import ChannelSpec, to_logger_toml

if TYPE_CHECKING:
    import polars as pl

    from benchlog.standin.simulation import Simulation

_TIME_UNITS = {"s": 1.0, "ms": 1e3, "us": 1e6}


@dataclass(frozen=True, slots=True)
class WrittenForm:
    """How a logger writes.

    Attributes:
        separator, decimal: one character each.
        time_unit: s, ms or us (us and ms are written as whole numbers).
        time_decimals: digits after the point, for s.
        start: the counter's value at the first sample, in ``time_unit``.
        wraps_at: where the counter starts again at 0, in ``time_unit``.
        columns: role -> header, where it is not the role's name.
        preamble: lines before the header.
        encoding: of the file.
    """

    separator: str = ","
    decimal: str = "."
    time_unit: str = "s"
    time_decimals: int = 6
    start: float = 0.0
    wraps_at: int | None = None
    columns: dict[str, str] = field(default_factory=dict)
    preamble: tuple[str, ...] = ()
    encoding: str = "utf-8"

    @property
    def time_column(self) -> str:
        """Header of the time column."""
        return self.columns.get("time_s", f"time_{self.time_unit}" if self.time_unit == "s" else f"t_{self.time_unit}")


def csv_text(sim: "Simulation", form: WrittenForm | None = None) -> str:
    """The whole file as text; over-range samples as ``OL``, values in the logger's own units."""
    form = form or WrittenForm()
    table = _table(sim, form)
    head = "".join(f"{line}\n" for line in form.preamble)
    return head + table.write_csv(separator=form.separator, null_value="")


def write_csv(sim: "Simulation", path: Path, form: WrittenForm | None = None, *, logger: bool = True) -> Path:
    """Write the log, and beside it its logger file (``NAME.logger.toml``) unless told not to."""
    form = form or WrittenForm()
    path.write_text(csv_text(sim, form), encoding=form.encoding, newline="")
    if logger:
        beside = path.with_name(path.name.removesuffix(path.suffix) + ".logger.toml")
        beside.write_text(logger_toml(sim, form), encoding="utf-8")
    return path


def logger_toml(sim: "Simulation", form: WrittenForm) -> str:
    """The logger file for a log written in this form."""
    return to_logger_toml(sim.spec, form.columns, (form.time_column, form.time_unit), form.wraps_at)


def _table(sim: "Simulation", form: WrittenForm) -> "pl.DataFrame":
    import polars as pl  # heavy; only those who write a file pay for it

    ticks = sim.frame["time_s"].to_numpy() * _TIME_UNITS[form.time_unit] + form.start
    if form.time_unit == "s":
        columns = [_text(form.time_column, ticks, form.time_decimals)]
    else:
        whole = pl.Series(form.time_column, ticks).round(0).cast(pl.Int64)
        columns = [whole % form.wraps_at if form.wraps_at else whole]
    for spec in sim.spec.channels:
        header = form.columns.get(spec.role, spec.role)
        values = sim.frame[spec.role].to_numpy() / spec.factor * (-1.0 if spec.positive == "charge" else 1.0)
        text = _text(header, values, decimals_of(spec))
        if spec.role in sim.over:
            text = pl.select(pl.when(pl.Series(sim.over[spec.role])).then(pl.lit("OL")).otherwise(text)).to_series()
            text = text.rename(header)
        columns.append(text)
    if form.decimal != ".":
        columns = [c.str.replace(".", form.decimal, literal=True) if c.dtype == pl.String else c for c in columns]
    marks = pl.Series(form.columns.get("mark", "mark"), sim.frame["mark"].to_list(), dtype=pl.String)
    if (marks.str.len_chars() > 0).any():
        columns.append(marks.replace("", None))
    return pl.DataFrame(columns)


def decimals_of(spec: ChannelSpec) -> int:
    """Digits that hold the resolution: 0.005 needs 3."""
    if not spec.resolution:
        return 6
    digits = max(0, math.ceil(-math.log10(spec.resolution)))
    while not math.isclose(round(spec.resolution, digits), spec.resolution, rel_tol=1e-9):
        digits += 1
    return digits


def _text(name: str, values: "np.ndarray[Any, Any]", decimals: int) -> "pl.Series":
    import polars as pl  # heavy; only those who write a file pay for it

    return pl.Series(name, np.round(values, decimals) + 0.0).cast(pl.String)  # + 0.0 makes a rounded -0.0 plain
