"""What a report draws beside its figures: the logs in outline and the moments the relay moved."""

from dataclasses import dataclass
from typing import Literal

from benchlog.trace import Overview, Trace

SpanKind = Literal["key off", "key on", "cranking", "running"]


@dataclass(frozen=True, slots=True)
class Span:
    """One stretch of a log in one state, s since the log's start."""

    kind: SpanKind
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class LogEvidence:
    """One log, thinned out for drawing.

    Attributes:
        log: the log's name, as in the result's checks.
        overview: the whole log in buckets.
        roles: the roles it carries, in the order of its columns.
        spans: what the key and the engine did, in time order; spans may overlap.
        pull_ins, drop_outs: every sample around each relay event, as recorded.
        pull_in_at_s, drop_out_at_s: when the trigger crossed its 50 % level, s;
            one entry for each trace of ``pull_ins`` and ``drop_outs``.
    """

    log: str
    overview: Overview
    roles: tuple[str, ...]
    spans: tuple[Span, ...]
    pull_ins: tuple[Trace, ...]
    drop_outs: tuple[Trace, ...]
    pull_in_at_s: tuple[float, ...]
    drop_out_at_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Evidence:
    """The logs behind one result, in the order they were given."""

    logs: tuple[LogEvidence, ...]
