"""What an analysis hands over for one check: a measured value with its doubt, or why there is none."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class UncertaintyParts:
    """What an uncertainty is made of: standard uncertainties in the check's unit, independent of one another.

    Attributes:
        type_a: scatter and wake-ups; more time lowers it. watched_s: the time that it comes from, s.
        offset: of the channel's offset; a zero lowers it. gain, resolution: only a finer channel lowers these.
        zeroable: a marked zero would take the offset off, and none was used.
        most_s: more time than this is not used, s.
    """

    type_a: float
    watched_s: float
    offset: float
    gain: float
    resolution: float
    zeroable: bool = False
    most_s: float = math.inf

    @property
    def type_b(self) -> float:
        """What the channel itself leaves in doubt."""
        return math.hypot(self.offset, self.gain, self.resolution)

    @property
    def u(self) -> float:
        """All of it."""
        return math.hypot(self.type_a, self.type_b)


@dataclass(frozen=True, slots=True)
class Measured:
    """A value for one check, in that check's unit.

    Attributes:
        value: None only where the thing measured never happened (a relay that never opens).
        u: standard uncertainty; None where the channel's accuracy is not stated; inf where the log cannot tell.
        from_s, to_s: the stretch of the log behind it.
        story: a clause in plain words that ends in no full stop ("over 3 key-offs, 2 wake-ups seen").
        disqualified: a reason why the value proves nothing whatever its figure; None if there is none.
        one_sided: a reason why the log can prove a failure, but never a pass; None if there is none.
        remedy: what log or logger would prove it.
        failed: a proven failure that needs no figure ("the contact stayed closed for 60 s").
        parts: what ``u`` is made of, where that is known.
        watched_s: how long the bike was watched for it, where the longest watch decides, s.
        at_rest: the value between pulses, where the figure has such.
        interval: the earliest and latest that it can be, where nothing tells which is likelier: a pass needs both
            within the limits, a failure both outside. ``u`` is that of its half-width; ``value`` its middle, or what
            was seen where the rest is hidden.
        offset_limit: the half-width of the limits that an unknown zero lies in, in the check's unit; None where the
            zero is known.
        likely_u: where ``u`` covers several values that it may be, the standard uncertainty of ``value`` alone.
        needs_load_step: indistinguishable from zero, so it passes only where its channel showed a load in some log.
    """

    value: float | None
    u: float | None
    from_s: float
    to_s: float
    story: str = ""
    disqualified: str | None = None
    one_sided: str | None = None
    remedy: str | None = None
    failed: str | None = None
    parts: UncertaintyParts | None = None
    watched_s: float | None = None
    at_rest: float | None = None
    needs_load_step: bool = False
    interval: tuple[float, float] | None = None
    offset_limit: float | None = None
    likely_u: float | None = None


@dataclass(frozen=True, slots=True)
class NotEvaluated:
    """The log lacks what the check needs.

    Attributes:
        why: a plain sentence without full stop: what is missing and what to record.
    """

    why: str


Finding = Measured | NotEvaluated
