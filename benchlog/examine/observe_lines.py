"""How trigger, feed and ground bus stand in each state of the key, over the battery's voltage."""

from dataclasses import dataclass

import numpy as np

from benchlog.analysis.coarse import Coarse, coarse, outside_of
from benchlog.analysis.pulses import duty
from benchlog.core.quantiles import median
from benchlog.core.trace import Array
from benchlog.examine.context import LogContext
from benchlog.verdict.causes.seen import Seen

POINT_S = 0.1
#: After a key-on the lines have come up, and after a key-off they have gone, within this time, s.
UP_AFTER_S, DOWN_AFTER_S = 0.5, 5.0
NOMINAL_V = 12.5
#: Both lines go down so often where the contact buzzes; so long they are watched then; and no fewer samples tell.
BUZZES_HZ, WATCH_S, FEWEST_SAMPLES = 0.3, 4.0, 50
#: The lines' correlation below which one goes down as the other comes up.
OPPOSED = -0.3


@dataclass(frozen=True, slots=True)
class _Part:
    """A line's points over a stretch, cranks left out, and what the line is switched from, V."""

    mean: Array
    low: Array
    high: Array
    supply: Array


def line_states(bench: LogContext) -> dict[str, Seen]:
    """Of trigger and feed ``_on``, ``_duty``, ``_falls_hz``, ``_off`` and ``_before``; and ``bus_on``."""
    story, seen = bench.story, dict[str, Seen]()
    # where the key-off is not known well, the last of the key-on may be off already
    on = [(a + UP_AFTER_S, b - story.half_width_s(b)) for a, b in story.on]
    after = [(min(a + DOWN_AFTER_S, (a + b) / 2), b) for a, b in story.off if a > bench.log.start_s]
    before = [(a, b) for a, b in story.off if a <= bench.log.start_s]
    for line in ("trigger", "feed"):
        if not bench.has(f"{line}_v"):
            continue
        seen |= _while_on(bench, line, on)
        for name, spans, when in (
            (f"{line}_off", after, "after the key-off"),
            (f"{line}_before", before, "before the first key-on"),
        ):
            # with several spans the worst one tells
            found = [ratio for span in spans if (ratio := _ratio(bench, f"{line}_v", span)) is not None]
            if found:
                share, volts = max(found)
                seen[name] = Seen(share, 0.01, f"{line} at {volts:.1f} V {when}")
    seen |= _taken_down(bench, on, seen)
    if bench.has("ground_v") and "feed_on" in seen and seen["feed_on"].value > 0.5:
        found = [ratio for span in on if (ratio := _ratio(bench, "ground_v", span)) is not None]
        if found:
            share, volts = max(found)
            seen["bus_on"] = Seen(share, 0.01, f"ground bus at {volts:.2f} V with the feed live")
    return seen


def _while_on(bench: LogContext, line: str, spans: list[tuple[float, float]]) -> dict[str, Seen]:
    """The line's level while it is up, and the part of the time that it is: those of the worst key-on."""
    found = []
    for span in spans:
        part = _part(bench, f"{line}_v", span)
        if part is not None and (one := duty(part.mean, part.low, part.high, part.supply)) is not None:
            found.append((one, median(part.supply), one.falls / (len(part.mean) * POINT_S)))
    if not found:
        return {}
    low, supply, _ = min(found, key=lambda entry: entry[0].level)
    least = min(one.part for one, *_ in found)
    often = max(hz for *_, hz in found)
    text = f"{line} up for {least * 100:.3g} % of the time with the key on"
    return {
        f"{line}_on": Seen(low.level, 0.01, f"{line} at {low.level * supply:.1f} V with the key on"),
        f"{line}_duty": Seen(least, 0.005, text),
        f"{line}_falls_hz": Seen(often, 0.005, f"{line} goes down {often:.2g} times a second or more with the key on"),
    }


def _taken_down(bench: LogContext, spans: list[tuple[float, float]], seen: dict[str, Seen]) -> dict[str, Seen]:
    """The trigger's states where it goes down as the contact closes and comes back as it opens.

    Its line is fed throughout, though too weakly for what the contact switches on: what counts is its mean level. A
    line that is pulsed takes the contact with it instead.
    """
    falls = [seen.get(f"{line}_falls_hz") for line in ("trigger", "feed")]
    if any(one is None or one.value < BUZZES_HZ for one in falls):
        return {}
    opposed = [share for span in spans if (share := _opposed(bench, span)) is not None]
    if not opposed or max(opposed) > OPPOSED:
        return {}
    level = seen["trigger_on"].value * seen["trigger_duty"].value
    text = "the trigger goes down as the contact closes and comes back as it opens"
    return {
        "trigger_on": Seen(level, 0.01, f"trigger at {level:.0%} of the battery's voltage on average, key on"),
        "trigger_duty": Seen(1.0, 0.005, text),
        "trigger_falls_hz": Seen(0.0, 0.005, text),
    }


def _opposed(bench: LogContext, span: tuple[float, float]) -> float | None:
    """How trigger and feed go together over a few seconds of a key-on: 1 in step, -1 one up where the other is down."""
    middle = (span[0] + span[1]) / 2
    from_s, to_s = max(span[0], middle - WATCH_S / 2), min(span[1], middle + WATCH_S / 2)
    trace = bench.log.trace(from_s, to_s, ["trigger_v", "feed_v"])
    both = np.vstack([trace.values[role] for role in ("trigger_v", "feed_v")])
    up = both[:, np.isfinite(both).all(axis=0)] > NOMINAL_V / 2
    if up.shape[1] < FEWEST_SAMPLES or not (up.mean(axis=1) > 0.02).all() or not (up.mean(axis=1) < 0.98).all():
        return None
    return float(np.asarray(np.corrcoef(up))[0, 1])


def _part(bench: LogContext, role: str, span: tuple[float, float]) -> _Part | None:
    table = coarse(bench.overview, *span, POINT_S, [role, "battery_v"])
    keep = np.isfinite(table.mean[role]) & outside_of(table.start_s, table.end_s, bench.left_out)
    keep &= _no_crank(bench, table)
    if keep.sum() < 2:
        return None
    volts = table.mean[role][keep]
    battery = table.mean["battery_v"][keep] if "battery_v" in table.mean else np.full(len(volts), NOMINAL_V)
    known = np.isfinite(battery) & (battery > 1.0)
    supply = np.where(known, battery, median(battery[known]) if known.any() else NOMINAL_V)
    return _Part(volts, table.low[role][keep], table.high[role][keep], supply)


def _no_crank(bench: LogContext, table: Coarse) -> np.ndarray:
    keep = np.ones(len(table), dtype=bool)
    for crank in bench.story.cranks:
        keep &= (table.end_s < crank.from_s - 0.2) | (table.start_s > crank.to_s + 0.5)
    return keep


def _ratio(bench: LogContext, role: str, span: tuple[float, float]) -> tuple[float, float] | None:
    """``(share of the battery's voltage, V)`` as a median over a span, cranks left out."""
    part = _part(bench, role, span)
    return None if part is None else (median(part.mean / part.supply), median(part.mean))
