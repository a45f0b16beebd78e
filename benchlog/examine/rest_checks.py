"""The key-off checks of voltages: the feed that should be dead, and the rested battery."""

import math
from collections.abc import Sequence

import numpy as np

from benchlog.analysis.coarse import coarse, outside_of
from benchlog.analysis.drain import AWAKE_A
from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.analysis.settling import Settled, settle
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.core.quantiles import known_median, median
from benchlog.core.trace import Array
from benchlog.core.uncertainty import COVERAGE_K, combine
from benchlog.examine.context import LogContext
from benchlog.examine.off_spans import POINT_S, OffSpan, needed_s, no_key_off, too_short
from benchlog.examine.parted import level_parts
from benchlog.plan.batteries import REST_WORDS

#: The stretch before the first key-on that stands for the rested battery, s.
RESTED_S = 600.0
#: Less drift than this over the stretch is none, V.
LEAST_DRIFT_V = 0.005


def examine_rest(bench: LogContext, spans: Sequence[OffSpan]) -> dict[str, Finding]:
    """Findings for ``feed_off_voltage`` and ``resting_voltage``."""
    return {"feed_off_voltage": _feed_off(bench, spans), "resting_voltage": _resting(bench, spans)}


def _feed_off(bench: LogContext, spans: Sequence[OffSpan]) -> Finding:
    if not bench.has("feed_v"):
        return NotEvaluated("feed_v is not logged")
    if not spans:
        return NotEvaluated(no_key_off(bench))
    need = needed_s(bench)
    means = []
    for span in spans:
        settled = _settled_feed(bench, span)
        if settled is None:
            continue
        part = coarse(bench.overview, settled.from_s, span.to_s, POINT_S, ["feed_v"])
        volts = part.mean["feed_v"][outside_of(part.start_s, part.end_s, bench.left_out)]
        if len(volts) < 3 or not np.isfinite(volts).any():
            continue
        step_s = median(np.diff(part.start_s))
        # a short stretch before the first key-on cannot show that the feed goes dead, but well that it is live
        if settled.lasts_s < need and not (span.opens and known_median(volts) > UP_ABOVE_V):
            continue
        mean = bench.mean_of("feed_v", volts[np.isfinite(volts)], step_s)
        means.append((mean, settled.from_s, span.to_s, int(part.over["feed_v"].sum())))
    if not means:
        return NotEvaluated(too_short(bench, spans))
    mean, from_s, to_s, over = max(means, key=lambda entry: entry[0].value)
    accuracy = bench.accuracy.get("feed_v")
    return Measured(
        value=mean.value,
        u=None if accuracy is None else combine(mean.u, accuracy.level_u(mean.value)),
        from_s=from_s,
        to_s=to_s,
        parts=level_parts(mean.u, accuracy, mean.value, to_s - from_s),
        story="settled; the highest of its stretches",
        disqualified=f"{over} samples of feed_v were over range there" if over else None,
    )


def _settled_feed(bench: LogContext, span: OffSpan) -> Settled | None:
    """Since when the feed counts: since the current settled; where that was over range, since the feed itself did."""
    if span.settled is None or math.isfinite(span.settled.base_a):
        return span.settled
    table = coarse(bench.overview, span.from_s, span.to_s, POINT_S, ["feed_v"])
    follows = span.to_s < bench.log.end_s
    return settle(table, "feed_v", bench.resolution("feed_v"), follows, bench.left_out, bench.noise.get("feed_v"))


def _not_at_rest(bench: LogContext, span: OffSpan) -> str | None:
    """Why the battery did not rest: something was awake, or charged it."""
    settled, role = span.settled, span.role or ""
    if settled is None or not role.endswith("_a"):
        return None
    if settled.awake:
        return f"{settled.base_a:.2g} A flowed, so the battery was not at rest; turn everything off and record again"
    known = bench.accuracy.get(role)
    least = AWAKE_A if known is None else COVERAGE_K * known.level_u(settled.base_a)
    if settled.base_a < -least:
        return (
            "a current flows into the battery by this reading; take the charger off, let it "
            f"rest {REST_WORDS} and record again"
        )
    return None


def _drift(bench: LogContext, volts: Array, step_s: float) -> tuple[float, float]:
    """By how much the voltage's straight line changes over two thirds of a stretch, V, and its type A uncertainty."""
    at = np.linspace(-0.5, 0.5, len(volts))
    slope = float(at @ volts) / float(at @ at)
    rest = bench.mean_of("battery_v", volts - slope * at, step_s)
    # a line's fall over the whole stretch is known worse than the mean by the root of twelve
    return slope * 2 / 3, rest.u * math.sqrt(12) * 2 / 3


def _resting(bench: LogContext, spans: Sequence[OffSpan]) -> Finding:
    if not bench.has("battery_v"):
        return NotEvaluated("battery_v is not logged")
    opening = [span for span in spans if span.opens]
    if not opening:
        return NotEvaluated("the log does not begin with the key off; start it before the first key-on")
    span = opening[0]
    from_s = span.settled.from_s if span.settled else span.from_s
    from_s = max(from_s, span.to_s - RESTED_S)
    # the key may already be turning in the last point
    part = coarse(bench.overview, from_s, span.to_s - 2 * bench.overview.step_s, POINT_S, ["battery_v"])
    volts = part.mean["battery_v"]
    good = np.isfinite(volts)
    if good.sum() < 4 or span.to_s - from_s < 2.0:
        return NotEvaluated("the key was on within 2 s of the log's start; record the rested battery first")
    volts = volts[good]
    step_s = median(np.diff(part.start_s[good]))
    mean = bench.mean_of("battery_v", volts, step_s)
    accuracy = bench.accuracy.get("battery_v")
    drift, drift_u = _drift(bench, volts, step_s)
    doubt = _not_at_rest(bench, span)
    # the offset cancels in a change, so this shows finer than the level itself
    seen = 2 * combine(drift_u, bench.resolution("battery_v") / math.sqrt(6))
    if doubt is None and abs(drift) > max(seen, LEAST_DRIFT_V):
        way = "rises" if drift > 0 else "falls"
        doubt = (
            f"the voltage still {way} by {abs(drift) * 1000:.0f} mV over that stretch (surface charge or a load); "
            f"let the bike rest {REST_WORDS} and record again"
        )
    return Measured(
        value=mean.value,
        u=None if accuracy is None else combine(mean.u, accuracy.level_u(mean.value)),
        from_s=float(part.start_s[0]),
        to_s=float(part.end_s[-1]),
        parts=level_parts(mean.u, accuracy, mean.value, float(part.end_s[-1] - part.start_s[0]), most_s=RESTED_S),
        story=f"over {part.end_s[-1] - part.start_s[0]:.0f} s",
        disqualified=doubt,
    )
