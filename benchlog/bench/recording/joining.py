"""Batches cut in two and put together: rows whose time is not settled yet wait for the next batch."""

from dataclasses import replace

import numpy as np

from benchlog.core.trace import Trace
from benchlog.log.readers.lines import Parsed
from benchlog.log.readers.lines.block import Block
from benchlog.log.readers.raw import Flags, Raw


def joined(first: Parsed, second: Parsed) -> Parsed:
    """Two batches as one."""
    if not len(first.raw):
        return second
    a, b = first.raw, second.raw
    over = {}
    for role in (*a.over, *(role for role in b.over if role not in a.over)):
        over[role] = np.concatenate([raw.over.get(role, np.zeros(len(raw), dtype=bool)) for raw in (a, b)])
    rows = len(a) + len(b)
    raw = Raw(
        time=None if a.time is None or b.time is None else np.concatenate([a.time, b.time]),
        row=None,
        line=None,
        values={role: np.concatenate([column, b.values[role]]) for role, column in a.values.items()},
        over=over,
        marks=(*a.marks, *((n + len(a), text) for n, text in b.marks)),
        rows=rows,
        lines=rows,
        faults=(),
    )
    return Parsed(first.rows + second.rows, raw, second.refused, second.notes)


def chosen(parsed: Parsed, keep: Flags) -> Parsed:
    """Some rows of a batch."""
    if keep.all():
        return parsed
    raw = parsed.raw
    place = np.cumsum(keep) - 1
    rows = int(keep.sum())
    return replace(
        parsed,
        rows=Block.of(parsed.rows).only(keep).data,
        raw=replace(
            raw,
            time=None if raw.time is None else raw.time[keep],
            values={role: column[keep] for role, column in raw.values.items()},
            over={role: flags[keep] for role, flags in raw.over.items() if flags[keep].any()},
            marks=tuple((int(place[n]), text) for n, text in raw.marks if keep[n]),
            rows=rows,
            lines=rows,
        ),
    )


def one_trace(traces: list[Trace]) -> Trace:
    """Samples of one batch, one after the other."""
    if len(traces) == 1:
        return traces[0]
    if not traces:
        return Trace(np.empty(0), {}, {})
    over = {}
    for role in {role for trace in traces for role in trace.over}:
        over[role] = np.concatenate([trace.over.get(role, np.zeros(len(trace), dtype=bool)) for trace in traces])
    values = {role: np.concatenate([trace.values[role] for trace in traces]) for role in traces[0].values}
    return Trace(np.concatenate([trace.time_s for trace in traces]), values, over)
