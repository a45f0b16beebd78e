"""What one log shows of the battery: at rest, with the key off, under load and charged."""

import math
from collections.abc import Mapping

import numpy as np

from benchlog.analysis.drain import Drain
from benchlog.analysis.measurement import Finding, Measured
from benchlog.core.events import SlotOff
from benchlog.core.uncertainty import rectangular
from benchlog.examine.context import LogContext
from benchlog.examine.running_points import RunningPoints, running_points
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.causes.seen import Seen

#: Doubt of a zero that no logger file states, A (from memory).
UNSTATED_ZERO_A = 0.02
#: Fewer points of 0.2 s show no steady current.
FEWEST_POINTS = 10


def ratios(findings: Mapping[str, Finding], limits: Mapping[str, PlannedLimit]) -> dict[str, Seen]:
    """``feed_path``, ``ground_path``, ``settle``, ``source``, ``sag``: over their limits; and voltages below theirs."""
    seen = {}
    for name, check_id, unit, what in (
        ("feed_path", "feed_drop", "V", "lost in the feed"),
        ("ground_path", "ground_lift", "V", "lost in the return"),
        ("settle", "settle_time", "s", "until the drain settled"),
        ("source", "source_resistance", "mΩ", "to the battery's posts"),
        ("sag", "battery_sag", "V", "lost in the battery under the planned load"),
    ):
        finding, limit = findings.get(check_id), limits.get(check_id)
        if not isinstance(finding, Measured) or finding.value is None or limit is None or not limit.max:
            continue
        if finding.disqualified:
            continue
        if finding.one_sided and finding.value <= limit.max:
            continue  # the log cannot bound it
        u = 0.0 if finding.u is None or not math.isfinite(finding.u) else finding.u
        text = f"{finding.value:.3g} {unit} {what}, at most {limit.max:.3g} {unit} planned"
        value, most = finding.value, limit.max
        if finding.interval is not None and not finding.interval[0] <= most <= finding.interval[1]:
            # nothing tells where between its ends it lies: that next to the limit is sure
            first, last = finding.interval
            value, u = (first if first > most else last), 0.0
        seen[name] = Seen(value / most, u / most, text)
    for name, check_id, when in (
        ("rest_short_v", "resting_voltage", "at rest"),
        ("crank_short_v", "crank_minimum", "while cranking"),
    ):
        finding, limit = findings.get(check_id), limits.get(check_id)
        if not isinstance(finding, Measured) or finding.value is None or limit is None or limit.min is None:
            continue
        if finding.disqualified or (finding.one_sided and finding.value >= limit.min):
            continue
        text = f"{finding.value:.2f} V {when}, at least {limit.min:.2f} V planned"
        seen[name] = Seen(limit.min - finding.value, finding.u or 0.0, text)
    return seen


def off_state(
    off: Drain | None, findings: Mapping[str, Finding], limits: Mapping[str, PlannedLimit]
) -> dict[str, Seen]:
    """``drain_base`` and ``drain_wakes`` over what is allowed, and ``off_charge_a``."""
    limit = limits.get("off_state_drain")
    if off is None:
        return {}
    zero = off.u if off.u is not None else max(off.type_a_u, UNSTATED_ZERO_A)
    flows = "into" if off.mean_a < 0 else "out of"
    charge = Seen(off.mean_a, zero, f"{abs(off.mean_a) * 1000:.3g} mA {flows} the battery with the key off")
    if limit is None or not limit.max:
        return {"off_charge_a": charge}
    most = limit.max / 1000
    u, base_a = off.u if off.u is not None else off.type_a_u, off.base_a
    finding = findings.get("off_state_drain")
    if isinstance(finding, Measured) and finding.offset_limit:
        # an unknown zero lies anywhere within its limits, and accuses nobody from their edge
        offset = finding.offset_limit / 1000
        base_a = max(base_a - offset, min(base_a, most))
        u = math.sqrt(max(u**2 - rectangular(offset) ** 2, 0.0))
    text = f"{off.base_a * 1000:.3g} mA between wake-ups, {limit.max:.3g} mA allowed"
    seen = {"off_charge_a": charge, "drain_base": Seen(base_a / most, u / most, text)}
    waking = off.mean_a - off.base_a
    if off.wakeups and waking > 0.2 * most:
        room = max(most - off.base_a, 0.2 * most)
        text = f"{off.wakeups} wake-ups add {waking * 1000:.3g} mA to {off.base_a * 1000:.3g} mA between them"
        seen["drain_wakes"] = Seen(waking / room, off.type_a_u / room, text)
    return seen


def running(bench: LogContext, findings: Mapping[str, Finding], limits: Mapping[str, PlannedLimit]) -> dict[str, Seen]:
    """How the engine's run charges: against the window, the levels before it, and the load."""
    seen = dict[str, Seen]()
    volts = findings.get("charging_voltage")
    if not bench.story.running or not isinstance(volts, Measured) or volts.value is None:
        return seen
    u = volts.u or 0.0
    limit = limits.get("charging_voltage")
    shown = f"{volts.value:.2f} V with the engine running"
    if limit is not None and limit.max is not None:
        seen["charge_over_v"] = Seen(volts.value - limit.max, u, f"{shown}, at most {limit.max:.2f} V planned")
    if limit is not None and limit.min is not None:
        seen["charge_under_v"] = Seen(limit.min - volts.value, u, f"{shown}, at least {limit.min:.2f} V planned")
    points = running_points(bench)
    both = points is not None and points.both
    if points is not None and both:
        charged_s, uncharged_s = points.lasts_s(points.charged), points.lasts_s(points.uncharged)
        text = f"the battery was charged for {charged_s:.0f} s of the engine's run, and not for {uncharged_s:.0f} s"
        seen["run_charged"] = Seen(charged_s / (charged_s + uncharged_s), 0.01, text)
    before_v, before_a = _before(bench)
    if math.isfinite(before_v):
        text = f"{volts.value - before_v:+.2f} V against the key on with the engine off"
        seen["run_raise_v"] = Seen(volts.value - before_v, 0.02, text)
    rest = findings.get("resting_voltage")
    if isinstance(rest, Measured) and rest.value is not None:
        text = f"{volts.value - rest.value:+.2f} V against the rested battery"
        seen["run_rest_v"] = Seen(volts.value - rest.value, 0.02, text)
    balance = findings.get("charging_balance")
    # what the alternator gives in one state of two is no share of its
    if isinstance(balance, Measured) and balance.value is not None and before_a > 1.0 and not both:
        into_a = balance.value if points is None else _with_all_on(bench, points, balance.value)
        share = 1.0 + into_a / before_a
        text = (
            f"{-into_a:.1f} A out of the battery with the engine running, {before_a:.1f} A before the crank"
            if into_a < 0
            else f"{into_a:.1f} A into the battery with the engine running"
        )
        seen["alternator_share"] = Seen(share, (balance.u or 0.05) / before_a + 0.01, text)
    return seen


def _with_all_on(bench: LogContext, points: RunningPoints, into_a: float) -> float:
    """The current into the battery before the first circuit is marked off again, A; the mean where none is."""
    run = bench.story.running[-1]
    marks = [mark.time_s for mark in bench.log.marks if isinstance(mark.event, SlotOff)]
    first_s = min((at for at in marks if run.from_s < at < run.to_s), default=None)
    if first_s is None:
        return into_a
    amps = points.amps[(points.start_s >= run.from_s) & (points.end_s < first_s)]
    amps = amps[np.isfinite(amps)]
    return into_a if len(amps) < FEWEST_POINTS else -float(np.mean(amps))


def _before(bench: LogContext) -> tuple[float, float]:
    """Key-on, engine-off voltage and current before the last run of the engine; NaN where not known."""
    run = bench.story.running[-1]
    if math.isfinite(run.before_a):
        return run.before_v, run.before_a
    # a mark is set as the engine fires, which may be a little before the crank's end shows
    cranks = [crank for crank in bench.story.cranks if crank.from_s <= run.from_s + 1.0]
    return (cranks[-1].before_v, cranks[-1].before_a) if cranks else (math.nan, math.nan)
