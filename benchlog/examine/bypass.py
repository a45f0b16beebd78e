"""A drain that cannot be distinguished from zero: did the same channel of the same logger show a load somewhere?"""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from benchlog.analysis.measurement import Finding, Measured
from benchlog.core.spread import robust_noise
from benchlog.examine.context import LogContext

if TYPE_CHECKING:
    from benchlog.examine.everything import LogFindings

BYPASSED = (
    "it cannot be distinguished from zero, and the same channel showed no load in this log, so the shunt may be "
    "bypassed; switch a load on once while it records"
)
#: A current that changes by this much, A, by so many steps of the channel and so many times its noise, is a load.
LOAD_A, LOAD_STEPS, TOLD_APART = 0.01, 10, 20


def shows_load(bench: LogContext, role: str, u: float = 0.0) -> bool:
    """Whether a current channel showed a load step somewhere in its log, or went over range with one.

    Args:
        u: standard uncertainty of the drain that it is held against, A.
    """
    band = bench.overview.bands[role]
    if band.over.any():
        return True
    amps = band.mean[np.isfinite(band.mean)]
    if len(amps) < 2:
        return False
    # noise and rounding move a channel too, though nothing flows through its shunt
    noise = robust_noise(amps)
    return float(np.ptp(amps)) > max(TOLD_APART * u, TOLD_APART * noise, LOAD_STEPS * bench.resolution(role), LOAD_A)


def lift_bypass(found: "Sequence[LogFindings]") -> "list[LogFindings]":
    """The logs' findings, the doubt taken off where another log shows the shunt at work.

    The other log must have been taken with the same channel of the same logger, as its logger file describes it.
    """
    return [_lifted(one, [other for other in found if other is not one]) for one in found]


def _lifted(one: "LogFindings", others: "Sequence[LogFindings]") -> "LogFindings":
    role = one.off_state.role
    waiting = [key for key, finding in one.findings.items() if _waits(finding)]
    if role is None or not waiting:
        return one
    channel = one.logger.channel_of(role)
    shown = [
        other.log
        for other in others
        if role in other.off_state.loaded
        and channel is not None
        and other.logger.channel_of(role) == channel
        and other.logger.name == one.logger.name
    ]
    if not shown:
        return one
    lifted = {key: _without_doubt(one.findings[key], shown[0]) for key in waiting}
    off_state = replace(one.off_state, findings={**one.off_state.findings, **lifted})
    return replace(one, findings={**one.findings, **lifted}, off_state=off_state)


def _waits(finding: Finding) -> bool:
    return isinstance(finding, Measured) and finding.needs_load_step


def _without_doubt(finding: Finding, log: str) -> Finding:
    assert isinstance(finding, Measured)  # only those wait
    word = f"the channel showed a load in {log}"
    story = f"{finding.story}, {word}" if finding.story else word
    return replace(finding, one_sided=None, needs_load_step=False, story=story)
