"""Any stretch of a kept log at its full rate, without reading the log from its start."""

from collections.abc import Collection
from pathlib import Path

import numpy as np

from benchlog.core.roles import ROLE_UNITS
from benchlog.core.trace import Overview, Trace
from benchlog.store.logs_kept import OVER_RANGE


class KeptSamples:
    """A kept copy: Parquet in canonical columns, ``time_s`` increasing.

    Args:
        path: of the copy.
        overview: of this very copy: its buckets tell which rows hold a stretch, so that only these are read.
    """

    def __init__(self, path: Path, overview: Overview) -> None:
        """Look at the columns and the number of rows only."""
        import polars as pl

        self._scan = pl.scan_parquet(path, glob=False)
        names = self._scan.collect_schema().names()
        self._roles = tuple(name for name in names if name in ROLE_UNITS and name not in ("time_s", "mark"))
        self._start_s, self._end_s = overview.start_s, overview.end_s
        self._row = np.concatenate(([0], np.cumsum(overview.rows)))
        height = int(self._scan.select(pl.len()).collect().item())
        if height != self._row[-1]:
            # rows were left out of the overview, so its buckets do not count the copy's rows
            self._row = np.array([0, height])
            self._start_s, self._end_s = overview.start_s[:1], overview.end_s[-1:]

    def trace(self, from_s: float, to_s: float, roles: Collection[str] | None = None) -> Trace:
        """All samples with ``from_s <= time_s <= to_s``, as recorded; NaN where missing or over range."""
        asked = [role for role in self._roles if roles is None or role in roles]
        first = int(np.searchsorted(self._end_s, from_s, side="left"))
        end = max(int(np.searchsorted(self._start_s, to_s, side="right")), first)
        row, last = int(self._row[first]), int(self._row[end])
        part = self._scan.slice(row, last - row).select("time_s", *asked).collect()
        time_s = part["time_s"].to_numpy()
        values = {}
        for role in asked:
            column = part[role].to_numpy()
            values[role] = np.where(np.abs(column) >= OVER_RANGE / 10, np.nan, column)
        return Trace(time_s, values, {}).between(from_s, to_s)

    def close(self) -> None:
        """Nothing is held open between two looks."""
