"""A log without the currents that passed by a shunt: bridged, or not back from its zero."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from benchlog.analysis.bridge import Bridge, aways_of, bridges_of, told
from benchlog.analysis.coarse import leads_out_of, outside_of
from benchlog.core.roles import SHUNT_ROLES
from benchlog.core.trace import Band, Overview, Trace
from benchlog.examine.context import Samples
from benchlog.examine.log_behind import LogBehind
from benchlog.verdict.evidence import Span


class BridgedLog(LogBehind):
    """The samples of another log; those of the battery's shunts are missing where a bridge was across them.

    Times and voltages stay, so that only the current has a gap.
    """

    def __init__(self, log: Samples, bridges: Sequence[Bridge]) -> None:
        super().__init__(log)
        self._bridges = bridges
        self.overview = bridged_overview(log.overview, bridges)

    def trace(self, from_s: float, to_s: float, roles: Sequence[str] | None = None) -> Trace:
        """Single samples of a stretch."""
        return bridged_trace(self._log.trace(from_s, to_s, roles), self._bridges)


def bridged_trace(trace: Trace, bridges: Sequence[Bridge]) -> Trace:
    """The same samples, with those of the bridged shunts missing, and not over range either."""
    return trace.hiding(SHUNT_ROLES, _hidden(trace.time_s, trace.time_s, bridges))


def bridged_overview(overview: Overview, bridges: Sequence[Bridge]) -> Overview:
    """The same overview; the shunts' buckets that a bridge touches hold no sample."""
    hidden = _hidden(overview.start_s, overview.end_s, bridges)
    if not hidden.any():
        return overview
    bands = {role: _without(band, hidden) if role in SHUNT_ROLES else band for role, band in overview.bands.items()}
    return replace(overview, bands=bands)


def _hidden(
    start_s: npt.NDArray[np.float64], end_s: npt.NDArray[np.float64], bridges: Sequence[Bridge]
) -> npt.NDArray[np.bool_]:
    return ~outside_of(start_s, end_s, [(bridge.from_s, bridge.to_s) for bridge in bridges])


def _without(band: Band, hidden: np.ndarray) -> Band:
    none = hidden | leads_out_of(hidden, band.mean)
    return Band(
        np.where(hidden, np.nan, band.min),
        np.where(hidden, np.nan, band.mean),
        np.where(hidden, np.nan, band.max),
        np.where(none, 0.0, band.area),
        np.where(none, 0.0, band.weight_s),
        np.where(hidden, 0, band.over),
    )


@dataclass(frozen=True, slots=True)
class Bridged:
    """What the marks of a bridged shunt come to.

    Attributes:
        log: without the currents of those stretches; the very same log where there are none.
        bridges: the stretches; none where no current of the battery's shunts is logged. notes: plain sentences.
    """

    log: Samples
    bridges: tuple[Bridge, ...]
    notes: tuple[str, ...]

    @property
    def spans(self) -> tuple[Span, ...]:
        """The stretches for drawing, within the log."""
        return tuple(
            Span("shunt bridged", max(bridge.from_s, self.log.start_s), min(bridge.to_s, self.log.end_s))
            for bridge in self.bridges
        )


def use_bridges(log: Samples) -> Bridged:
    """Take out of a log what a bridged shunt cannot have measured, by its marks."""
    bridges, faults = bridges_of(log.marks)
    bridges += aways_of(log.marks)
    roles = [role for role in SHUNT_ROLES if role in log.overview.bands]
    if not bridges or not roles:
        return Bridged(log, (), faults)
    counts = "do" if len(roles) > 1 else "does"
    note = f"the shunt was {told(bridges)}, so {' and '.join(roles)} {counts} not count there"
    return Bridged(BridgedLog(log, bridges), bridges, (note, *faults))
