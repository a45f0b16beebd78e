"""What one log shows of the quantities that faults make predictions about."""

import math
from collections.abc import Collection, Mapping

import numpy as np

from benchlog.analysis.coarse import coarse, outside_of
from benchlog.analysis.drain import Drain
from benchlog.analysis.measurement import Finding, Measured
from benchlog.analysis.relay import local_levels
from benchlog.causes.seen import Seen
from benchlog.examine.bench import Bench
from benchlog.examine.path_checks import FeedLoad
from benchlog.examine.slot_checks import switched_unseen
from benchlog.limits import PlannedLimit
from benchlog.trace import Trace

POINT_S = 0.1
#: After a key-on the lines have come up, and after a key-off they have gone, within this time, s.
UP_AFTER_S, DOWN_AFTER_S = 0.5, 5.0
NOMINAL_V = 12.5
LATEST_S = 5.0


def observe(
    bench: Bench,
    findings: Mapping[str, Finding],
    limits: Mapping[str, PlannedLimit],
    off: Drain | None,
    load: FeedLoad | None,
) -> dict[str, Seen]:
    """Quantity -> as this log shows it; absent where it does not.

    Args:
        findings: of this log's checks. limits: of the plan. off: the worst settled drain.
        load: the load through the feed.
    """
    return {
        **_states(bench),
        **_ratios(findings, limits),
        **_drain(off, limits),
        **_load(bench, load, [found for check_id, found in findings.items() if check_id.startswith("slot_")]),
        **_trigger_fall(bench),
        **_running(bench, findings, limits),
        **_slots(bench, findings, limits),
    }


def _states(bench: Bench) -> dict[str, Seen]:
    """Trigger, feed and ground bus over the battery's voltage in each state of the key."""
    story, seen = bench.story, dict[str, Seen]()
    on = [(a + UP_AFTER_S, b) for a, b in story.on]
    after = [(min(a + DOWN_AFTER_S, (a + b) / 2), b) for a, b in story.off if a > bench.log.start_s]
    before = [(a, b) for a, b in story.off if a <= bench.log.start_s]
    for line in ("trigger", "feed"):
        role = f"{line}_v"
        if not bench.has(role):
            continue
        for name, spans, when in (
            (f"{line}_on", on, "with the key on"),
            (f"{line}_off", after, "after the key-off"),
            (f"{line}_before", before, "before the first key-on"),
        ):
            # with several spans the worst one tells: the lowest while on, the highest while off
            found = [ratio for span in spans if (ratio := _ratio(bench, role, span)) is not None]
            if not found:
                continue
            share, volts = min(found) if name.endswith("_on") else max(found)
            seen[name] = Seen(share, 0.01, f"{line} at {volts:.1f} V {when}")
    if story.source == "trigger_v" and not story.falls and "trigger_off" not in seen and story.on:
        seen["trigger_stays_up"] = Seen(
            1.0, 0.01, "the trigger stays up to the end of the log, and no mark or key line shows the key"
        )
    if bench.has("ground_v") and seen.get("feed_on", Seen(0, 0, "")).value > 0.5:
        found = [ratio for span in on if (ratio := _ratio(bench, "ground_v", span)) is not None]
        if found:
            share, volts = max(found)
            seen["bus_on"] = Seen(share, 0.01, f"ground bus at {volts:.2f} V with the feed live")
    return seen


def _ratio(bench: Bench, role: str, span: tuple[float, float]) -> tuple[float, float] | None:
    """``(share of the battery's voltage, V)`` as a median over a span, cranks left out."""
    part = coarse(bench.overview, *span, POINT_S, [role, "battery_v"])
    keep = np.isfinite(part.mean[role]) & outside_of(part.start_s, part.end_s, bench.left_out)
    for crank in bench.story.cranks:
        keep &= (part.end_s < crank.from_s - 0.2) | (part.start_s > crank.to_s + 0.5)
    if keep.sum() < 2:
        return None
    volts = part.mean[role][keep]
    battery = part.mean["battery_v"][keep] if "battery_v" in part.mean else np.full(len(volts), NOMINAL_V)
    known = np.isfinite(battery) & (battery > 1.0)
    share = float(np.median(volts[known] / battery[known])) if known.any() else float(np.median(volts)) / NOMINAL_V
    return share, float(np.median(volts))


def _ratios(findings: Mapping[str, Finding], limits: Mapping[str, PlannedLimit]) -> dict[str, Seen]:
    """Measured values over their limits."""
    seen = {}
    for name, check_id, unit, what in (
        ("feed_path", "feed_drop", "V", "lost in the feed"),
        ("ground_path", "ground_lift", "V", "lost in the return"),
        ("settle", "settle_time", "s", "until the drain settled"),
        ("source", "source_resistance", "mΩ", "to the battery's posts"),
    ):
        finding, limit = findings.get(check_id), limits.get(check_id)
        if not isinstance(finding, Measured) or finding.value is None or limit is None or not limit.max:
            continue
        if finding.only_fails and finding.value <= limit.max:
            continue  # the log cannot bound it
        u = 0.0 if finding.u is None or not math.isfinite(finding.u) else finding.u
        text = f"{finding.value:.3g} {unit} {what}, at most {limit.max:.3g} {unit} planned"
        seen[name] = Seen(finding.value / limit.max, u / limit.max, text)
    rest, limit = findings.get("resting_voltage"), limits.get("resting_voltage")
    if isinstance(rest, Measured) and rest.value is not None and limit is not None and limit.min is not None:
        text = f"{rest.value:.2f} V at rest, at least {limit.min:.2f} V planned"
        seen["rest_short_v"] = Seen(limit.min - rest.value, rest.u or 0.0, text)
    return seen


def _drain(off: Drain | None, limits: Mapping[str, PlannedLimit]) -> dict[str, Seen]:
    limit = limits.get("off_state_drain")
    if off is None or limit is None or not limit.max:
        return {}
    most = limit.max / 1000
    u = (off.u if off.u is not None else off.type_a_u) / most
    seen = {
        "drain_base": Seen(
            off.base_a / most, u, f"{off.base_a * 1000:.3g} mA between wake-ups, {limit.max:.3g} mA allowed"
        )
    }
    waking = off.mean_a - off.base_a
    if off.wakeups and waking > 0.2 * most:
        room = max(most - off.base_a, 0.2 * most)
        text = f"{off.wakeups} wake-ups add {waking * 1000:.3g} mA to {off.base_a * 1000:.3g} mA between them"
        seen["drain_wakes"] = Seen(waking / room, off.type_a_u / room, text)
    return seen


def _load(bench: Bench, load: FeedLoad | None, slots: Collection[Finding]) -> dict[str, Seen]:
    """The greatest load through the feed over the planned one, where the log would show it."""
    planned = bench.plan.planned_load_a
    if not planned or not bench.story.on:
        return {}
    if load is not None and load.points:
        most = max(point.load_a for point in load.points)
    elif bench.has("feed_a"):
        tables = [coarse(bench.overview, a, b, POINT_S, ["feed_a"]).mean["feed_a"] for a, b in bench.story.on]
        most = max((float(np.nanmedian(table)) for table in tables if np.isfinite(table).any()), default=0.0)
    elif any(isinstance(found, Measured) and (found.value or 0.0) > 0.1 for found in slots):
        return {}  # circuits draw, though not through a channel that sums them
    elif (
        any(mark.text.lower().startswith("slot ") for mark in bench.log.marks)
        and bench.has("battery_a")
        and not any(switched_unseen(bench, circuit.slot) for circuit in bench.plan.circuit)
    ):
        most = 0.0  # circuits were switched on, and no step came
    else:
        return {}
    return {"load_on": Seen(most / planned, 0.01, f"{most:.2g} A through the feed of {planned:.3g} A planned")}


def _trigger_fall(bench: Bench) -> dict[str, Seen]:
    """The slowest fall of the trigger itself, from 85 % to 40 % of its swing."""
    if not bench.has("trigger_v"):
        return {}
    slowest: tuple[float, float] | None = None
    for fall in bench.story.falls:
        trace = bench.log.trace(fall.time_s - 1.0, fall.time_s + LATEST_S, ["trigger_v"])
        took = _fall_s(trace, fall.before_s)
        if took is not None and (slowest is None or took[0] > slowest[0]):
            slowest = took
    if slowest is None:
        return {}
    took_s, step_s = slowest
    return {
        "trigger_fall_s": Seen(took_s, step_s, f"the trigger takes {took_s * 1000:.0f} ms to fall from 85 % to 40 %")
    }


def _fall_s(trace: Trace, around_s: float) -> tuple[float, float] | None:
    x = trace.values["trigger_v"]
    levels = local_levels(x)
    if levels is None or len(trace) < 4:
        return None
    low = min(levels.low, 0.05 * levels.high)
    upper, lower = low + 0.85 * (levels.high - low), low + 0.40 * (levels.high - low)
    with np.errstate(invalid="ignore"):
        high = np.flatnonzero((x >= upper) & (trace.time_s <= around_s + LATEST_S))
        gone = np.flatnonzero((x <= lower) & (trace.time_s >= around_s))
    if not len(gone):
        return None
    last = high[high < gone[0]]
    if not len(last):
        return None
    step_s = float(np.median(np.diff(trace.time_s)))
    # both ends lie within one step
    return max(float(trace.time_s[gone[0]] - trace.time_s[last[-1]]) - step_s, 0.0), step_s


def _running(bench: Bench, findings: Mapping[str, Finding], limits: Mapping[str, PlannedLimit]) -> dict[str, Seen]:
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
    run = bench.story.running[-1]
    if math.isfinite(run.before_v):
        text = f"{volts.value - run.before_v:+.2f} V against the key on with the engine off"
        seen["run_raise_v"] = Seen(volts.value - run.before_v, 0.02, text)
    rest = findings.get("resting_voltage")
    if isinstance(rest, Measured) and rest.value is not None:
        text = f"{volts.value - rest.value:+.2f} V against the rested battery"
        seen["run_rest_v"] = Seen(volts.value - rest.value, 0.02, text)
    balance = findings.get("charging_balance")
    if isinstance(balance, Measured) and balance.value is not None and run.before_a > 1.0:
        share = 1.0 + balance.value / run.before_a
        text = (
            f"{-balance.value:.1f} A out of the battery with the engine running, {run.before_a:.1f} A before the crank"
            if balance.value < 0
            else f"{balance.value:.1f} A into the battery with the engine running"
        )
        seen["alternator_share"] = Seen(share, (balance.u or 0.05) / run.before_a + 0.01, text)
    return seen


def _slots(bench: Bench, findings: Mapping[str, Finding], limits: Mapping[str, PlannedLimit]) -> dict[str, Seen]:
    seen = dict[str, Seen]()
    missing = []
    for circuit in bench.plan.circuit:
        check_id = f"slot_{circuit.slot}_current"
        finding, limit = findings.get(check_id), limits.get(check_id)
        if limit is None or limit.min is None or limit.max is None:
            continue
        low, high = limit.min / circuit.planned_a, limit.max / circuit.planned_a
        if not isinstance(finding, Measured) or finding.value is None:
            missing.append((circuit.slot, circuit.planned_a, low, high))
            continue
        if finding.doubt:
            continue
        share, u = finding.value / circuit.planned_a, (finding.u or 0.0) / circuit.planned_a
        text = f"slot {circuit.slot} draws {finding.value:.3g} A, {circuit.planned_a:.3g} A planned"
        seen[f"slot_{circuit.slot}"] = Seen(share, u, text, low, high)
    # a step that came while the shunt was bridged was not seen either
    hidden = not bench.has("feed_a") and bool(bench.bridged_in(*bench.story.on))
    if len(seen) > len(missing) and not hidden:
        for slot, planned, low, high in missing:
            # the others' steps were seen, so this one may be dead, or was not switched on
            seen[f"slot_{slot}"] = Seen(
                0.0, 0.3, f"no step of {planned:.3g} A was seen for slot {slot}, while other circuits' were", low, high
            )
    return seen
