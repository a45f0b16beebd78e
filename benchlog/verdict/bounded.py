"""What is kept of each of many logs for drawing, so that all of them together stay within bounds."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from benchlog.core.trace import Array, Band, Overview, Trace
from benchlog.verdict.evidence import LogEvidence

#: For the overviews of all logs of one result.
MOST_BYTES = 128 << 20
_FEWEST = 1024  # buckets: more than a figure draws
_BYTES_A_ROLE, _BYTES_SHARED = 48, 32  # in one bucket


def bounded(evidence: LogEvidence, logs: int) -> LogEvidence:
    """The evidence of one of so many logs: its overview within its share, its samples apart from the log's blocks."""
    overview = evidence.overview
    share = MOST_BYTES // (max(logs, 1) * (_BYTES_A_ROLE * len(overview.bands) + _BYTES_SHARED))
    return replace(
        evidence,
        overview=joined(overview, max(share, _FEWEST)),
        pull_ins=tuple(_apart(trace) for trace in evidence.pull_ins),
        drop_outs=tuple(_apart(trace) for trace in evidence.drop_outs),
    )


def joined(overview: Overview, most: int) -> Overview:
    """The same log in at most so many buckets; least and greatest, sums and counts survive exactly.

    A mean is that of the joined buckets' means, weighted by their rows: where samples are missing it is nearly, not
    just, the mean of the samples.
    """
    if len(overview) <= most:
        return overview
    group = 2
    while group * most < len(overview):
        group *= 2
    firsts = np.arange(0, len(overview), group)
    lasts = np.append(firsts[1:], len(overview)) - 1
    return Overview(
        start_s=overview.start_s[firsts],
        end_s=overview.end_s[lasts],
        rows=np.add.reduceat(overview.rows, firsts),
        bands={role: _band(band, overview.rows, firsts) for role, band in overview.bands.items()},
        gap_s=np.maximum.reduceat(overview.gap_s, firsts),
        step_s=overview.step_s,
    )


def _band(band: Band, rows: npt.NDArray[np.int64], firsts: npt.NDArray[np.int64]) -> Band:
    valid = np.isfinite(band.mean)
    counted = np.add.reduceat(np.where(valid, rows, 0), firsts)
    total = np.add.reduceat(np.where(valid, band.mean * rows, 0.0), firsts)
    mean: Array = np.divide(total, counted, out=np.full(len(firsts), np.nan), where=counted > 0)
    return Band(
        min=np.fmin.reduceat(band.min, firsts),
        mean=mean,
        max=np.fmax.reduceat(band.max, firsts),
        area=np.add.reduceat(band.area, firsts),
        weight_s=np.add.reduceat(band.weight_s, firsts),
        over=np.add.reduceat(band.over, firsts),
    )


def _apart(trace: Trace) -> Trace:
    """A copy: a view would keep the whole block of the log that it was cut from."""
    return Trace(
        trace.time_s.copy(),
        {role: values.copy() for role, values in trace.values.items()},
        {role: flags.copy() for role, flags in trace.over.items()},
    )
