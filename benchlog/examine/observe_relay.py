"""How trigger and contact move against each other at each key event."""

import math
from collections.abc import Mapping

import numpy as np

from benchlog.analysis.measurement import Finding, Measured
from benchlog.core.quantiles import median
from benchlog.examine.context import LogContext
from benchlog.examine.trigger_fall import HIGH_SHARE, LOW_SHARE, fall_s, falling, falls_straight
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.causes.seen import Seen

#: Relays must have let go at a tenth of their rated voltage (common in data sheets, no source); below this the trigger
#: holds no coil.
GONE_SHARE = 0.08
#: A coil's kick comes within this time of the fall, s; it is one from this depth on (a diode's is 0.7 V), V; and where
#: samples lie further apart than this, none may have met it, s.
KICK_S, LEAST_KICK_V, KICK_STEP_S = 0.03, 0.3, 0.0025


def relay_times(
    bench: LogContext, findings: Mapping[str, Finding], limits: Mapping[str, PlannedLimit]
) -> dict[str, Seen]:
    """``pull_in``, ``drop_out``, ``drop_out_own``, ``trigger_fall_s`` and ``openings``."""
    seen = dict[str, Seen]()
    for name, check_id in (("pull_in", "relay_pull_in"), ("drop_out", "relay_drop_out")):
        finding, limit = findings.get(check_id), limits.get(check_id)
        if not isinstance(finding, Measured) or finding.value is None or limit is None or not limit.max:
            continue
        u = 0.0 if finding.u is None or not math.isfinite(finding.u) else finding.u
        text = f"{finding.value:.0f} ms {name.replace('_', '-')}, at most {limit.max:g} ms planned"
        seen[name] = Seen(finding.value / limit.max, u / limit.max, text)
        # a drop-out in time says nothing of whose it would be
        if (
            name == "drop_out"
            and finding.value > limit.max
            and (left := _gone_after_s(bench, finding.from_s)) is not None
        ):
            own_ms = finding.value - left * 1000
            text = f"the contact opens {own_ms:.0f} ms after the trigger is gone, at most {limit.max:g} ms planned"
            seen["drop_out_own"] = Seen(own_ms / limit.max, u / limit.max, text)
    chatter = findings.get("relay_chatter")
    if (
        isinstance(chatter, Measured)
        and chatter.value is not None
        and not chatter.disqualified
        and not (chatter.one_sided and chatter.value < 1)
    ):
        count = f"{chatter.value:.0f} opening{'' if chatter.value == 1 else 's'} or re-closings out of turn"
        seen["openings"] = Seen(chatter.value, 0.0, count)
    return {**seen, **_trigger_fall(bench)}


def _gone_after_s(bench: LogContext, at_s: float) -> float | None:
    """How long after its passage through 50 % the trigger is too low to hold a coil, s."""
    found = falling(bench, at_s) if bench.has("trigger_v") else None
    if found is None:
        return None
    trace, levels = found
    with np.errstate(invalid="ignore"):
        gone = np.flatnonzero((trace.values["trigger_v"] <= levels.at(GONE_SHARE)) & (trace.time_s >= at_s))
    return float(trace.time_s[gone[0]]) - at_s if len(gone) else None


def _trigger_fall(bench: LogContext) -> dict[str, Seen]:
    """The slowest fall of the trigger itself."""
    if not bench.has("trigger_v"):
        return {}
    falls = [took for fall in bench.story.falls if (took := fall_s(bench, fall)) is not None]
    if not falls:
        return {}
    took_s, step_s = max(falls)
    text = f"the trigger takes {took_s * 1000:.0f} ms to fall from {HIGH_SHARE:.0%} to {LOW_SHARE:.0%}"
    return {"trigger_fall_s": Seen(took_s, step_s / 2, text)}


def coil_kick(bench: LogContext) -> dict[str, Seen]:
    """``coil_kick_v``: how far the trigger goes below zero as it is let go, which only a coil's current does.

    Without a kick it tells nothing where samples lie further apart than a coil's current lasts, or where a capacitor
    lets the trigger fall slowly; unless it falls as a capacitor alone does, which no coil lets it.
    """
    if not bench.has("trigger_v"):
        return {}
    accuracy = bench.accuracy.get("trigger_v")
    u = 0.02 if accuracy is None else accuracy.level_u(0.0)
    depths, step_s = [], 0.0
    for fall in bench.story.falls:
        trace = bench.log.trace(fall.before_s, fall.before_s + KICK_S, ["trigger_v"])
        volts = trace.values["trigger_v"]
        if len(trace) > 1 and np.isfinite(volts).any():
            depths.append(-float(np.nanmin(volts)))
            step_s = max(step_s, median(np.diff(trace.time_s)))
    if not depths:
        return {}
    took_s = [took[0] for fall in bench.story.falls if (took := fall_s(bench, fall)) is not None]
    depth = max(depths)
    text = f"the trigger goes {max(depth, 0.0):.2g} V below zero as it is let go"
    if depth < LEAST_KICK_V and (step_s > KICK_STEP_S or max(took_s, default=0.0) > KICK_STEP_S):
        if not all(falls_straight(bench, fall) for fall in bench.story.falls):
            return {}
        text = "let go, the trigger falls as a capacitor alone does, with no coil's current behind it"
    return {"coil_kick_v": Seen(depth, u, text)}
