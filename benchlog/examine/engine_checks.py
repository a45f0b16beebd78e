"""The checks while the starter turns: cranking minimum and feed in crank."""

from dataclasses import replace

import numpy as np

from benchlog.analysis.crank_level import (
    HELD_S,
    between,
    evenly,
    held_minimum,
    longest_loss,
    one_a_reading,
    until_recovery,
    widest_gap_s,
    without_noise,
)
from benchlog.analysis.cranking import Crank
from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.core.events import Cranked
from benchlog.core.quantiles import median
from benchlog.core.trace import times_of
from benchlog.core.uncertainty import combine, rectangular
from benchlog.examine.context import LogContext
from benchlog.examine.parted import level_parts

#: A feed that was lost is back within this of the crank's end, s.
CLOSES_S = 0.2
#: Fewer samples than this in the 10 ms leave open what lies between them.
FEW = 4


def examine_crank(bench: LogContext) -> dict[str, Finding]:
    """Findings for ``crank_minimum`` and ``feed_in_crank``."""
    if not bench.has("battery_v"):
        missing = NotEvaluated("battery_v is not logged")
        return {"crank_minimum": missing, "feed_in_crank": missing}
    if not bench.story.cranks:
        marked = next(iter(times_of(bench.log.marks, Cranked())), None)
        why = "no cranking in this log; start the engine while it records"
        if marked is not None:
            why = (
                f'"crank" is marked at {marked:.1f} s, but no channel shows a starter there; log battery_v and '
                "battery_a within their ranges, and start the engine while it records"
            )
        missing = NotEvaluated(why + bench.bridged_in(*bench.story.on))
        return {"crank_minimum": missing, "feed_in_crank": missing}
    return {"crank_minimum": _minimum(bench), "feed_in_crank": _loss(bench)}


def _minimum(bench: LogContext) -> Finding:
    found = [one for crank in bench.story.cranks if (one := _lowest(bench, crank)) is not None]
    if not found:
        return NotEvaluated("too few samples while cranking; log at 200 samples a second or more")
    lowest = min(found, key=lambda one: one.value or 0.0)
    # what another crank hides may be lower
    hides = next((one for one in found if one.one_sided or one.disqualified), lowest)
    return replace(
        lowest,
        one_sided=lowest.one_sided or hides.one_sided or hides.disqualified,
        remedy=lowest.remedy or hides.remedy,
    )


def _lowest(bench: LogContext, crank: Crank) -> Measured | None:
    """The lowest level held while one crank lasts; None where it has too few samples."""
    accuracy = bench.accuracy.get("battery_v")
    roles = [role for role in ("battery_v", "feed_v") if bench.has(role)]
    trace = until_recovery(bench.log.trace(crank.from_s - 0.2, crank.to_s, roles))
    over = int(trace.over["battery_v"].sum()) if "battery_v" in trace.over else 0
    step_s = bench.true_step_s("battery_v")
    paced = evenly(trace)
    if paced is trace:
        paced = one_a_reading(trace, "battery_v", step_s)
    clean, noise = without_noise(paced, "battery_v", HELD_S / 4)
    held = held_minimum(clean)
    if held is None:
        return None
    # what a gap anywhere in the crank hides may be its lowest
    gap_s = max(held.gap_s, widest_gap_s(trace, "battery_v", crank.from_s, crank.to_s), step_s)
    slow = gap_s > HELD_S * 1.01
    if max(held.gap_s, step_s) > HELD_S * 1.01:
        limit = bench.plan.limits.crank_min_v
        lowest_v = float(clean.values["battery_v"].min())
        # two samples below the limit show a fall that lasts, for all that is not seen between them
        below = limit is not None and held.upper < limit
        value, half = (held.upper, between(clean, "battery_v", crank.from_s, crank.to_s)) if below else (lowest_v, 0.0)
        alone = limit is not None and value < limit <= held.upper
        story = "the lowest sample" if not below else "two samples on end"
    else:
        value, half, alone, story = held.level, held.half_width, False, f"held for 10 ms at {held.time_s:.2f} s"
        wider = held_minimum(clean, held_s=HELD_S + 2 * held.gap_s) if held.gap_s > HELD_S / FEW else None
        if wider is not None:
            # so few samples may each be a mean over their step: only a longer stretch surely stays as low for 10 ms
            lowest_v = held.level - held.half_width
            value, half = (wider.upper + lowest_v) / 2, (wider.upper - lowest_v) / 2
    scatter = combine(noise, rectangular(half))
    return Measured(
        value=value,
        u=None if accuracy is None else combine(accuracy.level_u(value), scatter),
        from_s=crank.from_s,
        to_s=crank.to_s,
        story=story,
        disqualified=f"{over} samples of battery_v were over range while cranking"
        if over
        else f"one sample alone below the limit, {gap_s * 1000:.0f} ms from the next"
        if slow and alone
        else None,
        one_sided=f"samples {gap_s * 1000:.0f} ms apart can miss the lowest 10 ms" if slow else None,
        remedy="a log at 200 samples a second or more, without gaps, would prove it" if slow else None,
        # a crank lasts as long as it lasts: no longer log lowers its scatter
        parts=level_parts(scatter, accuracy, value, crank.to_s - crank.from_s, most_s=crank.to_s - crank.from_s),
    )


def _loss(bench: LogContext) -> Finding:
    if not bench.has("feed_v"):
        return NotEvaluated("feed_v is not logged")
    longest: tuple[float, float, float] | None = None
    live_somewhere, widest_s = False, 0.0
    for crank in bench.story.cranks:
        before = _feed(bench, crank.from_s - 0.5, crank.from_s - 0.02)
        if not len(before):
            before = _feed(bench, crank.from_s - 3.0, crank.from_s)
        if not len(before) or median(before) <= UP_ABOVE_V:
            continue
        live_somewhere = True
        trace = bench.log.trace(crank.from_s, crank.to_s + CLOSES_S, ["feed_v", "battery_v"])
        loss = longest_loss(trace)
        widest_s = max(widest_s, *(widest_gap_s(trace, role, crank.from_s, crank.to_s) for role in trace.values))
        if longest is None or loss[0] > longest[0]:
            longest = loss
    if not live_somewhere or longest is None:
        return NotEvaluated("the feed was not live before cranking")
    loss_s, at_s, width_s = longest
    width_s = max(width_s, bench.true_step_s("feed_v", "battery_v"))
    slow = max(width_s, widest_s) > HELD_S * 1.01
    first, last = bench.story.cranks[0], bench.story.cranks[-1]
    return Measured(
        value=loss_s,
        u=combine(rectangular(width_s), rectangular(width_s)),
        from_s=at_s if loss_s else first.from_s,
        to_s=at_s + loss_s if loss_s else last.to_s,
        story=f"over {len(bench.story.cranks)} crank{'s' if len(bench.story.cranks) > 1 else ''}",
        one_sided=f"samples {max(width_s, widest_s) * 1000:.0f} ms apart can miss a short loss" if slow else None,
        remedy="a log at 200 samples a second or more, without gaps, would prove it" if slow else None,
    )


def _feed(bench: LogContext, from_s: float, to_s: float) -> np.ndarray:
    """The valid samples of the feed over a stretch, V."""
    volts = bench.log.trace(from_s, to_s, ["feed_v"]).values["feed_v"]
    return volts[np.isfinite(volts)]
