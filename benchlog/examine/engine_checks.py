"""The checks with the engine: cranking minimum, feed in crank, charging voltage and balance."""

import math

import numpy as np

from benchlog.analysis.coarse import Coarse, coarse
from benchlog.analysis.cranking import HELD_S, held_minimum, longest_loss
from benchlog.analysis.measurement import Finding, Measured, Unseen
from benchlog.analysis.running import LASTS_S
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.examine.bench import Bench
from benchlog.uncertainty import block_mean, combine, rectangular

POINT_S = 0.2
#: The alternator comes up and the battery's voltage settles for this long after the start, s.
RISE_S = 2.0
#: Loads count as on, for the balance, above this share of the greatest load seen while running.
NEARLY_ALL = 0.9
#: Less than this share of the planned load is none, 1.
LEAST_LOAD = 0.02


def examine_crank(bench: Bench) -> dict[str, Finding]:
    """Findings for ``crank_minimum`` and ``feed_in_crank``."""
    if not bench.has("battery_v"):
        missing = Unseen("battery_v is not logged")
        return {"crank_minimum": missing, "feed_in_crank": missing}
    if not bench.story.cranks:
        marked = next((mark.time_s for mark in bench.log.marks if mark.text.lower() == "crank"), None)
        why = "no cranking in this log; start the engine while it records"
        if marked is not None:
            why = (
                f'"crank" is marked at {marked:.1f} s, but no channel shows a starter there; log battery_v and '
                "battery_a within their ranges, and start the engine while it records"
            )
        missing = Unseen(why + bench.bridged_in(*bench.story.on))
        return {"crank_minimum": missing, "feed_in_crank": missing}
    return {"crank_minimum": _minimum(bench), "feed_in_crank": _loss(bench)}


def _minimum(bench: Bench) -> Finding:
    accuracy = bench.accuracy.get("battery_v")
    lowest: Measured | None = None
    for crank in bench.story.cranks:
        trace = bench.log.trace(crank.from_s - 0.2, crank.to_s + 0.2, ["battery_v"])
        held = held_minimum(trace)
        if held is None or (lowest is not None and lowest.value is not None and held.level >= lowest.value):
            continue
        value, at_s, gap_s = held.level, held.time_s, max(held.gap_s, bench.true_step_s("battery_v"))
        x = trace.values["battery_v"]
        limit = bench.plan.limits.crank_min_v
        slow = gap_s > HELD_S * 1.01
        if slow:
            # two samples below the limit prove a failure; else the lowest one says the most
            value = held.upper if limit is not None and held.upper < limit else float(np.nanmin(x))
        noise = _noise(x)
        over = int(trace.over["battery_v"].sum()) if "battery_v" in trace.over else 0
        lowest = Measured(
            value=value,
            u=None
            if accuracy is None
            else combine(accuracy.level_u(value), noise, 0.0 if slow else rectangular(held.half_width)),
            from_s=crank.from_s,
            to_s=crank.to_s,
            story=f"held for 10 ms at {at_s:.2f} s" if not slow else "the lowest sample",
            doubt=f"{over} samples of battery_v were over range while cranking"
            if over
            else f"one sample alone below the limit, {gap_s * 1000:.0f} ms from the next"
            if slow and limit is not None and value < limit <= held.upper
            else None,
            only_fails=f"samples {gap_s * 1000:.0f} ms apart can miss the lowest 10 ms" if slow else None,
            remedy="a log at 200 samples a second or more would prove it" if slow else None,
        )
    return lowest or Unseen("too few samples while cranking; log at 200 samples a second or more")


def _noise(x: np.ndarray) -> float:
    """Noise of single samples from their second differences, which a smooth course hardly has."""
    good = x[np.isfinite(x)]
    if len(good) < 5:
        return 0.0
    return 1.4826 * float(np.median(np.abs(np.diff(good, 2)))) / math.sqrt(6)


def _loss(bench: Bench) -> Finding:
    if not bench.has("feed_v"):
        return Unseen("feed_v is not logged")
    longest: tuple[float, float, float] | None = None
    live_somewhere = False
    for crank in bench.story.cranks:
        before = _feed(bench, crank.from_s - 0.5, crank.from_s - 0.02)
        if not len(before):
            before = _feed(bench, crank.from_s - 3.0, crank.from_s)
        if not len(before) or float(np.median(before)) <= UP_ABOVE_V:
            continue
        live_somewhere = True
        loss = longest_loss(bench.log.trace(crank.from_s, crank.to_s, ["feed_v", "battery_v"]))
        if longest is None or loss[0] > longest[0]:
            longest = loss
    if not live_somewhere or longest is None:
        return Unseen("the feed was not live before cranking")
    loss_s, at_s, width_s = longest
    width_s = max(width_s, bench.true_step_s("feed_v"))
    slow = width_s > HELD_S * 1.01
    first, last = bench.story.cranks[0], bench.story.cranks[-1]
    return Measured(
        value=loss_s,
        u=combine(rectangular(width_s), rectangular(width_s)),
        from_s=at_s if loss_s else first.from_s,
        to_s=at_s + loss_s if loss_s else last.to_s,
        story=f"over {len(bench.story.cranks)} crank{'s' if len(bench.story.cranks) > 1 else ''}",
        only_fails=f"samples {width_s * 1000:.0f} ms apart can miss a short loss" if slow else None,
        remedy="a log at 200 samples a second or more would prove it" if slow else None,
    )


def _feed(bench: Bench, from_s: float, to_s: float) -> np.ndarray:
    """The valid samples of the feed over a stretch, V."""
    volts = bench.log.trace(from_s, to_s, ["feed_v"]).values["feed_v"]
    return volts[np.isfinite(volts)]


def examine_charging(bench: Bench) -> dict[str, Finding]:
    """Findings for ``charging_voltage`` and ``charging_balance``."""
    if not bench.story.running:
        why = (
            "after cranking neither the alternator's current nor a raised voltage shows for 5 s; "
            'mark "running" if the engine ran'
            if bench.story.cranks
            else "the engine does not run in this log; start it while it records"
        )
        why += bench.bridged_in(*bench.story.on)
        return {"charging_voltage": Unseen(why), "charging_balance": Unseen(why)}
    return {"charging_voltage": _voltage(bench), "charging_balance": _balance(bench)}


def _parts(bench: Bench, role: str) -> list[Coarse]:
    parts = []
    for run in bench.story.running:
        rise = min(RISE_S, (run.to_s - run.from_s) / 3)
        roles = [role, *(r for r in ("feed_a",) if bench.has(r))]
        # the key-off that ends the run is known no finer than the samples
        ends = run.to_s - 2 * bench.overview.step_s
        part = coarse(bench.overview, run.from_s + rise, ends, POINT_S, roles)
        if len(part):
            parts.append(part)
    return parts


def _voltage(bench: Bench) -> Finding:
    if not bench.has("battery_v"):
        return Unseen("battery_v is not logged")
    parts = _parts(bench, "battery_v")
    x = np.concatenate([part.mean["battery_v"] for part in parts]) if parts else np.empty(0)
    x = x[np.isfinite(x)]
    if len(x) < 4:
        return Unseen("the engine ran too briefly; let it run for 20 s or more")
    mean = block_mean(x)
    accuracy = bench.accuracy.get("battery_v")
    over = sum(int(part.over["battery_v"].sum()) for part in parts)
    lasts = sum(float(part.end_s[-1] - part.start_s[0]) for part in parts)
    return Measured(
        value=mean.value,
        u=None if accuracy is None else combine(mean.u, accuracy.level_u(mean.value)),
        from_s=float(parts[0].start_s[0]),
        to_s=float(parts[-1].end_s[-1]),
        story=f"mean over {lasts:.0f} s of running",
        doubt=f"{over} samples of battery_v were over range while running" if over else None,
    )


def _balance(bench: Bench) -> Finding:
    if not bench.has("battery_a"):
        return Unseen("battery_a is not logged")
    parts = _parts(bench, "battery_a")
    if not parts:
        return Unseen("the engine ran too briefly; let it run for 20 s or more")
    amps = np.concatenate([part.mean["battery_a"] for part in parts])
    over = sum(int(part.over["battery_a"].sum()) for part in parts)
    keep = np.isfinite(amps)
    on = "how many loads were on is not known"
    if bench.has("feed_a"):
        feed = np.concatenate([part.mean["feed_a"] for part in parts])
        most = float(np.nanmax(feed, initial=0.0))
        on = "with no load through the feed"
        if most > LEAST_LOAD * bench.plan.planned_load_a:
            with np.errstate(invalid="ignore"):
                keep &= feed >= NEARLY_ALL * most
            on = f"with {most:.1f} A of the planned {bench.plan.planned_load_a:.1f} A on"
    x = amps[keep]
    bridged = bench.bridged_in(*((run.from_s, run.to_s) for run in bench.story.running))
    starts, ends = (np.concatenate([getattr(part, name) for part in parts]) for name in ("start_s", "end_s"))
    if bridged and len(x) * float(np.median(np.diff(starts, append=ends[-1]))) < LASTS_S:
        return Unseen(
            "the engine ran too briefly with the loads on and the shunt free; take the bridge off and let it run for "
            f"20 s or more after that{bridged}"
        )
    if len(x) < 4:
        return Unseen("the engine ran too briefly with the loads on; let it run for 20 s or more")
    counted = np.flatnonzero(np.isfinite(amps)) if bridged else np.arange(len(amps))
    mean = block_mean(x)
    accuracy = bench.accuracy.get("battery_a")
    return Measured(
        value=-mean.value,
        u=None if accuracy is None else combine(mean.u, accuracy.level_u(mean.value)),
        from_s=float(starts[counted[0]]),
        to_s=float(ends[counted[-1]]),
        story=on + bridged,
        doubt=f"{over} samples of battery_a were over range while running" if over else None,
    )
