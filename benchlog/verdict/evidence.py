"""What a report draws beside its figures: the logs in outline and the moments the relay moved."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from benchlog.analysis.coarse import outside_of
from benchlog.core.roles import SHUNT_ROLES
from benchlog.core.trace import Overview, Trace

#: While the shunt is bridged, overview and traces hold no current of the battery's shunts.
SpanKind = Literal["key off", "key on", "cranking", "running", "shunt bridged"]


@dataclass(frozen=True, slots=True)
class Span:
    """One stretch of a log in one state.

    Attributes:
        kind: the state. from_s, to_s: s since the log's start.
    """

    kind: SpanKind
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class LoadPoint:
    """One steady stretch of load.

    Attributes:
        load_a: the current, A. volts: what was read or lost there, V.
    """

    load_a: float
    volts: float


@dataclass(frozen=True, slots=True)
class Settling:
    """One key-off span, from the key-off (or the log's start) until its end.

    Attributes:
        from_s, to_s: the span, s. settled_s: from when its current had settled, s; None if it never did.
        role: the current channel that tells.
    """

    from_s: float
    to_s: float
    settled_s: float | None
    role: str


@dataclass(frozen=True, slots=True)
class KeyOffDraw:
    """What one circuit draws with the key off, from pulling its fuse.

    Attributes:
        slot: its slot. device: what is on it; empty where the plan has no such slot.
        out_at_s: when its fuse was out, s.
        draw_ma: mA, on average where it draws in pulses. uncertainty_ma: k = 2; None where no accuracy is stated.
        told: it can be told from zero. pulses: it wakes at intervals.
        share: of the off-state drain, 1; None where that was not measured.
    """

    slot: int
    device: str
    out_at_s: float
    draw_ma: float
    uncertainty_ma: float | None
    told: bool
    pulses: bool
    share: float | None


@dataclass(frozen=True, slots=True)
class LogEvidence:
    """One log, thinned out for drawing.

    Attributes:
        log: the log's name, as in the result's checks.
        overview: the whole log in buckets.
        roles: the roles it carries, in the order of its columns.
        spans: what the key, the engine and a bridge of the shunt did, in time order; spans may overlap.
        pull_ins, drop_outs: every sample around each relay event, as recorded.
        pull_in_at_s, drop_out_at_s: when the trigger crossed its 50 % level, s;
            one entry for each trace of ``pull_ins`` and ``drop_outs``.
        battery_points: battery's current and voltage with the engine off, one group a key-on.
        feed_points, ground_points: load through the feed, and the voltage lost in the feed or in the return.
        settlings: the key-off spans, in time order.
        key_off_draws: what each circuit whose fuse was pulled draws with the key off, in time order.
        key_off_drain_ma: the off-state drain that they are shares of, mA; None where not measured.
        samples: of the log, those of its zeros too, which the overview lacks; 0 where not known.
        zero_offsets: role -> what a zero took off it, canonical unit; the overview and all traces come less that.
    """

    log: str
    overview: Overview
    roles: tuple[str, ...]
    spans: tuple[Span, ...]
    pull_ins: tuple[Trace, ...]
    drop_outs: tuple[Trace, ...]
    pull_in_at_s: tuple[float, ...]
    drop_out_at_s: tuple[float, ...]
    battery_points: tuple[tuple[LoadPoint, ...], ...] = ()
    feed_points: tuple[LoadPoint, ...] = ()
    ground_points: tuple[LoadPoint, ...] = ()
    settlings: tuple[Settling, ...] = ()
    key_off_draws: tuple[KeyOffDraw, ...] = ()
    key_off_drain_ma: float | None = None
    samples: int = 0
    zero_offsets: Mapping[str, float] = field(default_factory=dict)

    def as_seen(self, trace: Trace) -> Trace:
        """Samples of this log, fresh or of a kept copy, as the overview has them.

        They come less what a zero took off, and the battery's shunts have none where they were bridged.
        """
        bridged = [(span.from_s, span.to_s) for span in self.spans if span.kind == "shunt bridged"]
        hidden = ~outside_of(trace.time_s, trace.time_s, bridged)
        return trace.less(self.zero_offsets).hiding(SHUNT_ROLES, hidden)


@dataclass(frozen=True, slots=True)
class Evidence:
    """The logs behind one result, in the order they were given."""

    logs: tuple[LogEvidence, ...]
