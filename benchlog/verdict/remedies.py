"""What would prove an open check: worked out from what its uncertainty is made of, and tried on the verdict itself."""

import math
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import replace
from decimal import ROUND_FLOOR, Context

from benchlog.analysis.measurement import Measured, UncertaintyParts
from benchlog.core.numbers import number, unit_suffix
from benchlog.core.uncertainty import COVERAGE_K
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.registry.key_off import OFF_STATE_DRAIN
from benchlog.verdict.registry.kind import CheckKind

INSIDE = "the limit lies inside the uncertainty"
#: A zero as the guided test or a tester takes it, s.
ZERO_S = 20.0
#: Nobody watches longer than this for one figure, s.
LONGEST_S = 24 * 3600.0
#: No logger and no patience makes an uncertainty smaller than this share of what it is.
LEAST_SHARE = 0.05
#: A rate that loggers of this kind still reach, samples a second.
FASTEST_HZ = 10000

Proves = Callable[[float], bool]


def what_would_prove(kind: CheckKind, finding: Measured, limit: PlannedLimit) -> str:
    """A clause that names what suffices, the cheapest first: a zero, more time, a finer logger; else that none does.

    Args:
        finding: a value whose limit lies inside its uncertainty.
    """
    have = finding.u
    if not have or not math.isfinite(have):
        return "the log holds too few samples to tell how sure it is; record a longer log"
    if kind is OFF_STATE_DRAIN and finding.value is not None and finding.value < 0:
        return _below_zero(finding)
    proves = _prover(kind, finding, have, limit)
    if not proves(LEAST_SHARE * have):
        return "it lies right at the limit, closer than this logger can tell"
    needed = _largest(proves, LEAST_SHARE * have, have)
    if kind.by_samples:
        return _rate(needed)
    parts = finding.parts
    if parts is not None and math.isclose(parts.u, have, rel_tol=0.02):
        way = _cheapest(kind, parts, needed, proves)
        if way:
            return f"{INSIDE}; {way} would prove it"
    least = f"± {_down(COVERAGE_K * needed)}{unit_suffix(kind.unit)}"
    return f"{INSIDE}; only what measures to {least} in all, noise included, would prove it"


def proven_without_reason(kind: CheckKind, finding: Measured, limit: PlannedLimit) -> bool:
    """Whether the figure itself would prove the limit, were the log not too slow or short for it."""
    bare = replace(finding, one_sided=None, disqualified=None)
    return kind.verdict(bare, limit) != "not proven"


def _prover(kind: CheckKind, finding: Measured, have: float, limit: PlannedLimit) -> Proves:
    bare = replace(finding, one_sided=None, disqualified=None)
    return lambda u: kind.verdict(_surer(bare, u, u / have), limit) != "not proven"


def _surer(finding: Measured, u: float, share: float) -> Measured:
    """The same value known this well; its interval, and its zero's limits, shrink to this share."""
    middle, interval = finding.value or 0.0, finding.interval
    if interval is not None:
        interval = (middle - share * (middle - interval[0]), middle + share * (interval[1] - middle))
    offset = None if finding.offset_limit is None else share * finding.offset_limit
    return replace(finding, u=u, interval=interval, offset_limit=offset)


def _largest(proves: Proves, low: float, high: float) -> float:
    """The largest uncertainty that still proves it, by halving; ``low`` proves it."""
    while low < (middle := (low + high) / 2) < high:
        low, high = (middle, high) if proves(middle) else (low, middle)
    return low


def _below_zero(finding: Measured) -> str:
    """A drain that reads below zero cannot be one, so its zero is off, however little."""
    parts = finding.parts
    way = f"a zero of {ZERO_S:.0f} s at the start would take its offset off"
    finer = "a logger with a smaller offset would show the drain itself"
    return f"it reads below zero, which no drain is; {way if parts is None or parts.zeroable else finer}"


def _cheapest(kind: CheckKind, parts: UncertaintyParts, needed: float, proves: Proves) -> str:
    """The first of the ways that suffices, in words; "" where none does."""
    zeroed = replace(parts, offset=min(parts.offset, _zero_u(parts)))
    ways = [parts, *([zeroed] if parts.zeroable else [])]
    zero = f"a zero of {ZERO_S:.0f} s at the start"
    if parts.zeroable and proves(zeroed.u):
        return zero
    for at, those in enumerate(ways):
        more_s = _more_s(those, math.sqrt(max(needed**2 - those.type_b**2, 0.0)))
        if more_s is not None:
            time = f"about {_lasting(more_s)} more{' with the key off' if kind.key_off else ''}"
            return f"{zero} and {time}" if at else time
    finer = math.sqrt(max(needed**2 - parts.type_a**2, 0.0))
    if finer >= needed / 2:
        return _finer(kind.unit, parts, finer)
    # neither alone: half the room for each
    share = needed / math.sqrt(2)
    more_s = _more_s(parts, share)
    if more_s is None:
        return _finer(kind.unit, parts, finer) if finer > LEAST_SHARE * parts.type_b else ""
    time = f"about {_lasting(more_s)} more{' with the key off' if kind.key_off else ''}"
    return f"{time} and {_finer(kind.unit, parts, share)}"


def _zero_u(parts: UncertaintyParts) -> float:
    """What a zero leaves in doubt: scatter as here, over its own time, and rounding."""
    return math.hypot(parts.type_a * math.sqrt(parts.watched_s / ZERO_S), parts.resolution)


def _more_s(parts: UncertaintyParts, type_a: float) -> float | None:
    """How much longer to watch so that scatter falls to ``type_a``, s; None where that is out of reach."""
    if type_a <= 0:
        return None
    total_s = parts.watched_s * (parts.type_a / type_a) ** 2
    more_s = _round_up_s(total_s - parts.watched_s)
    return more_s if parts.watched_s + more_s <= min(LONGEST_S, parts.most_s) else None


def _finer(unit: str, parts: UncertaintyParts, type_b: float) -> str:
    mostly = max(("offset", "gain", "resolution"), key=lambda name: float(getattr(parts, name)))
    now = number(COVERAGE_K * parts.type_b)
    return (
        f"a logger good to ± {_down(COVERAGE_K * type_b)} {unit} there (this one: ± {now} {unit}, mostly its {mostly})"
    )


def _rate(needed_ms: float) -> str:
    """Two ends, each known to ± one sample: u = step × √(2/3)."""
    rate = 1000 * math.sqrt(2 / 3) / needed_ms
    nice = next((hz for hz in (20, 50, 100, 200, 500, 1000, 2000, 5000, FASTEST_HZ) if rate <= hz), None)
    if nice is None:
        return "it lies right at the limit, closer than a logger's samples can tell"
    return f"{INSIDE}; a log at {nice} samples a second or more would prove it"


def _round_up_s(seconds: float) -> float:
    """Up to the next 10 s, minute, ten minutes or hour, as long stretches are spoken of."""
    step = (10, 60, 600, 3600)[bisect_left((120, 1800, 7200), seconds)]
    return math.ceil(seconds / step) * step


def _lasting(seconds: float) -> str:
    if seconds <= 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} minutes" if seconds < 7200 else f"{seconds / 3600:.0f} hours"


def _down(value: float) -> str:
    """To three digits, never above the value."""
    return number(float(Context(prec=3, rounding=ROUND_FLOOR).create_decimal(f"{value:.12g}")))
