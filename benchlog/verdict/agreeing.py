"""Of several logs that show one check: which of them decides it?"""

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial

from benchlog.analysis.measurement import Finding, Measured
from benchlog.core.numbers import unit_suffix, with_uncertainty
from benchlog.core.uncertainty import COVERAGE_K, Z_PROVEN
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.registry.kind import CheckKind
from benchlog.verdict.result import Verdict

#: Of logs that cannot see a thing and prove no failure, the one with the earlier word here decides.
_ORDER: tuple[Verdict, ...] = ("pass", "not proven", "not planned", "not seen")

#: A log's name and its finding.
Named = tuple[str, Finding]
Shown = tuple[str, Measured]


def judged_of(kind: CheckKind, given: Sequence[Named], limit: PlannedLimit | None) -> Named:
    """The log that decides a check, and its finding.

    A failure proven in one log is a failure. Among the logs that can see the thing the surest counts, of a drain the
    one that watched longest; where another shows something worse, beyond the uncertainty of both, that is judged. A log
    that cannot see it counts neither way, unless it shows something worse.

    Args:
        given: log name and finding, one a log; at least one.
    """
    failed = [one for one in given if kind.verdict(one[1], limit) == "fail"]
    if failed:
        return max(failed, key=lambda one: _badness(one[1], limit))
    drain = kind.longest_decides
    shown = [(name, found) for name, found in given if isinstance(found, Measured) and _has_figure(found)]
    seeing = [one for one in shown if (_sees_drain(one[1], limit) if drain else _sees(one[1]))]
    if not seeing:
        return min(given, key=lambda one: _rank(kind, one[1], limit))
    # of figures as sure the worse one, so that the logs' order decides nothing
    badness = partial(_badness, limit=limit)
    decides = (
        max(seeing, key=lambda one: (*_watched(one), badness(one[1])))
        if drain
        else min(seeing, key=lambda one: (*_doubt_left(one), -badness(one[1])))
    )
    first = decides
    if limit is None:
        return decides
    # whatever may be another thing's figure proves nothing, worse or not; a drain is the battery's whatever the doubt
    others = [one for one in shown if drain or not one[1].disqualified]
    while worse := [one for one in others if one is not decides and _shows_worse(one[1], decides[1], limit)]:
        decides = max(worse, key=lambda one: _badness(one[1], limit))
        others = [one for one in others if one is not decides]
    return decides if decides == first else (decides[0], _with_word(kind, decides[1], first))


def _has_figure(found: Measured) -> bool:
    return found.value is not None


def _sees(found: Measured) -> bool:
    """Whether a log can tell: it is neither doubtful, nor too slow or short, nor of unknown accuracy."""
    return not found.disqualified and not found.one_sided and _u(found) < math.inf


def _sees_drain(found: Measured, limit: PlannedLimit | None) -> bool:
    """Whether a log can tell a drain of this limit from none; a gap or over range does not make a night shorter."""
    fine = limit is None or limit.max is None or Z_PROVEN * _u(found) <= limit.max
    return fine and not found.needs_load_step and _u(found) < math.inf


def _u(found: Measured) -> float:
    return math.inf if found.u is None else found.u


def _watched(one: Shown) -> tuple[float, float]:
    return one[1].watched_s or 0.0, -_u(one[1])


def _doubt_left(one: Shown) -> tuple[float, float]:
    return _u(one[1]), -(one[1].watched_s or 0.0)


def _badness(found: Finding, limit: PlannedLimit | None) -> float:
    """How far beyond its limit, negative within; infinite where the thing never happened."""
    if not isinstance(found, Measured) or found.value is None or limit is None:
        return math.inf
    sides = [] if limit.max is None else [found.value - limit.max]
    sides += [] if limit.min is None else [limit.min - found.value]
    return max(sides)


def _shows_worse(found: Measured, than: Measured, limit: PlannedLimit) -> bool:
    """Whether one figure is worse than another beyond the uncertainty of both (k = 2).

    What a drain's wake-ups add to its base needs no zero, so it counts however coarse the channel's offset is.
    """
    further = _badness(found, limit) - _badness(than, limit)
    if further > COVERAGE_K * math.hypot(_u(found), _u(than)):
        return True
    if found.at_rest is None or found.value is None or than.value is None or _sees_drain(found, limit):
        return False
    pulses_u = found.parts.type_a if found.parts else 0.0
    return found.value - found.at_rest - than.value > COVERAGE_K * math.hypot(pulses_u, _u(than))


def _rank(kind: CheckKind, found: Finding, limit: PlannedLimit | None) -> tuple[float, ...]:
    """Of logs that cannot see it: those with a figure first, then the surer, then the worse."""
    if not isinstance(found, Measured):
        return (_ORDER.index("not seen"),)
    return _ORDER.index(kind.verdict(found, limit)), _u(found), -_badness(found, limit)


def _with_word(kind: CheckKind, found: Measured, other: Shown) -> Measured:
    """The worse figure, with a word on the one that it is worse than."""
    name, milder = other
    u = None if milder.one_sided else COVERAGE_K * _u(milder)
    figure = with_uncertainty(milder.value or 0.0, u) + unit_suffix(kind.unit)
    word = f"the worse of logs that differ, {name} shows {figure}"
    return replace(found, story=f"{found.story}; {word}" if found.story else word)
