"""A log with its zeros used: offsets taken off, and the stretches without current left out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.coarse import leads_out_of, outside_of
from benchlog.analysis.zero import Zero, inner, pooled, read_zero, zero_stretches
from benchlog.core.numbers import number, with_uncertainty
from benchlog.core.roles import ROLE_UNITS, SHUNT_ROLES
from benchlog.core.trace import Band, Overview, Trace
from benchlog.core.uncertainty import COVERAGE_K, Accuracy
from benchlog.examine.context import Samples
from benchlog.examine.log_behind import LogBehind
from benchlog.logger.model import Logger

Stretches = Sequence[tuple[float, float]]


class ZeroedLog(LogBehind):
    """The samples of another log, less each channel's offset, and without those of the zeros themselves.

    A zero then looks like any other gap in the samples: nothing is known of it.
    """

    def __init__(self, log: Samples, offsets: Mapping[str, float], stretches: Stretches) -> None:
        super().__init__(log)
        self._offsets, self._stretches = offsets, stretches
        self.overview = zeroed_overview(log.overview, offsets, stretches)

    def trace(self, from_s: float, to_s: float, roles: Sequence[str] | None = None) -> Trace:
        """Single samples of a stretch."""
        trace = self._log.trace(from_s, to_s, roles).less(self._offsets)
        keep = outside_of(trace.time_s, trace.time_s, self._stretches)
        if keep.all():
            return trace
        return Trace(
            trace.time_s[keep],
            {role: x[keep] for role, x in trace.values.items()},
            {role: flags[keep] for role, flags in trace.over.items()},
        )


def zeroed_overview(overview: Overview, offsets: Mapping[str, float], stretches: Stretches) -> Overview:
    """The same overview less the offsets, without the buckets that a stretch touches."""
    bands = {
        role: replace(
            band,
            min=band.min - offsets[role],
            mean=band.mean - offsets[role],
            max=band.max - offsets[role],
            area=band.area - offsets[role] * band.weight_s,
        )
        if role in offsets
        else band
        for role, band in overview.bands.items()
    }
    keep = outside_of(overview.start_s, overview.end_s, stretches)
    if keep.all():
        return replace(overview, bands=bands)
    after = keep.copy()
    after[1:] &= ~keep[:-1]
    after[0] = False
    gap_s = overview.gap_s.copy()
    kept = np.flatnonzero(keep)
    lead = np.zeros(len(kept))
    lead[1:] = overview.start_s[kept[1:]] - overview.end_s[kept[:-1]]
    gap_s[kept] = np.where(after[kept], np.maximum(gap_s[kept], lead), gap_s[kept])
    return Overview(
        overview.start_s[keep],
        overview.end_s[keep],
        overview.rows[keep],
        {role: _kept(band, keep) for role, band in bands.items()},
        gap_s[keep],
        overview.step_s,
    )


def _kept(band: Band, keep: np.ndarray) -> Band:
    out = leads_out_of(~keep, band.mean)
    area, weight_s = (np.where(out, 0.0, values) for values in (band.area, band.weight_s))
    return Band(band.min[keep], band.mean[keep], band.max[keep], area[keep], weight_s[keep], band.over[keep])


@dataclass(frozen=True, slots=True)
class Zeroed:
    """What the zeros of one log come to.

    Attributes:
        log: with the offsets taken off; the very same log where it has no zero.
        accuracy: of each role, its offset no wider than the zeros prove.
        zeros: role -> its zero, where one was used. notes: plain sentences.
    """

    log: Samples
    accuracy: dict[str, Accuracy | None]
    zeros: Mapping[str, Zero]
    notes: tuple[str, ...]


def use_zeros(
    log: Samples, logger: Logger, accuracy: Mapping[str, Accuracy | None], bridges: Sequence[Bridge] = ()
) -> Zeroed:
    """Correct a log by its marked zeros.

    Args:
        log: its samples. logger: what its channels mean. accuracy: of each role as stated.
        bridges: where the battery's shunts were bridged: no zero, since a share of the current still passes them.
    """
    stretches, notes = zero_stretches(log.marks)
    roles = [role for role in log.overview.bands if ROLE_UNITS[role] == "A"]
    if not stretches or not roles:
        return Zeroed(log, dict(accuracy), {}, tuple(notes))
    if len(zeroed_overview(log.overview, {}, stretches)) < 2:
        return Zeroed(log, dict(accuracy), {}, (*notes, "the zero was not used: it covers the whole log"))
    found: dict[str, list[Zero]] = {role: [] for role in roles}
    refused: dict[str, list[str]] = {}
    for begin, end in stretches:
        trace = log.trace(*inner(begin, end), roles)
        bridged = any(bridge.touches(*inner(begin, end)) for bridge in bridges)
        for role in roles:
            channel = logger.channel_of(role)
            offset = channel.offset_canonical if channel else None
            resolution = (channel.resolution_c if channel else None) or 0.0
            zero = (
                "the shunt was bridged in it"
                if bridged and role in SHUNT_ROLES
                else read_zero(trace.time_s, trace.values[role], offset, resolution)
            )
            if isinstance(zero, Zero):
                found[role].append(zero)
            else:
                refused.setdefault(f"the zero at {begin:.1f} s to {end:.1f} s was not used for", []).append(
                    f"{role}: {zero}"
                )
    zeros = {role: pooled(each) for role, each in found.items() if each}
    notes += [f"{lead} {'; '.join(dict.fromkeys(whys))}" for lead, whys in refused.items()]
    if zeros:
        notes.append(_used(stretches, zeros))
    better = {**accuracy, **{role: _narrowed(logger, role, zero, accuracy.get(role)) for role, zero in zeros.items()}}
    offsets = {role: zero.offset for role, zero in zeros.items()}
    return Zeroed(ZeroedLog(log, offsets, stretches), better, zeros, tuple(notes))


def _narrowed(logger: Logger, role: str, zero: Zero, stated: Accuracy | None) -> Accuracy | None:
    """The offset as the zero proves it; it says nothing of the gain, so that must be stated."""
    half_width = zero.u * 3**0.5
    if stated is not None:
        return replace(stated, offset=min(stated.offset, half_width))
    channel = logger.channel_of(role)
    if channel is None or channel.gain_rel is None:
        return None
    return Accuracy(channel.gain_rel, half_width, channel.resolution_c or 0.0)


def _used(stretches: Stretches, zeros: Mapping[str, Zero]) -> str:
    when = " and ".join(f"{begin:.1f} s to {end:.1f} s" for begin, end in stretches)
    corrected = ", ".join(f"{role} by {_change(zero)}" for role, zero in zeros.items())
    return f"the zero{'s' if len(stretches) > 1 else ''} at {when} corrected {corrected}"


def _change(zero: Zero) -> str:
    value, u = -zero.offset * 1000, COVERAGE_K * zero.u * 1000
    shown = with_uncertainty(value, u if np.isfinite(u) else None) if u else number(value)
    sign = "+" if value > 0 else ""
    return f"{sign}{shown} mA"
