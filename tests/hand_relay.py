"""A relay by hand: trigger, feed and battery at a kilohertz, the key on from 2 to 8 s of ten."""

from typing import Any

import numpy as np
from hand_bench import HandLog, bench, plan, story, times

from benchlog.analysis.levels import Crossing
from benchlog.core.trace import Array
from benchlog.examine.context import LogContext

STEP_S = 0.001


def during(t: Array, *stretches: tuple[float, float]) -> Any:
    """True inside of the stretches."""
    return np.any([(t >= a - 1e-9) & (t < b - 1e-9) for a, b in stretches], axis=0)


def edge(at_s: float, to: Any, step_s: float = STEP_S) -> Crossing:
    """A passage whose far sample lies there."""
    return Crossing(at_s - step_s / 2, at_s - step_s, at_s, round(at_s / step_s), to)


def relay(
    up: tuple[tuple[float, float], ...] = ((2.0, 8.0),),
    live: tuple[tuple[float, float], ...] = ((2.01, 8.02),),
    step_s: float = STEP_S,
    end_s: float = 10.0,
    limits: tuple[float | None, float | None] = (30.0, 60.0),
    **more: Any,
) -> LogContext:
    """A bench with such a log.

    Args:
        up: when the trigger is up. live: when the feed is. limits: of pull-in and drop-out, ms.
        more: ``lines``, role -> samples by the times; ``without``, roles that are not logged; ``keep``, which samples
            there are, by the times; ``told``, of the story; the rest is the bench's.
    """
    t = times(end_s, step_s)
    values: dict[str, Any] = {"trigger_v": 12.4 * during(t, *up), "feed_v": 12.4 * during(t, *live)}
    values["battery_v"] = np.full(len(t), 12.5)
    values |= {role: make(t) for role, make in more.pop("lines", {}).items()}
    for role in more.pop("without", ()):
        del values[role]
    if (keep := more.pop("keep", None)) is not None:
        values = {role: x[keep(t)] for role, x in values.items()}
        t = t[keep(t)]
    edges = sorted(at for stretch in up for at in stretch if 0 < at < end_s)
    rises = tuple(edge(at, "high", step_s) for at, _ in up if at > 0)
    falls = tuple(edge(at, "low", step_s) for _, at in up if at < end_s)
    off = [(a, b) for a, b in zip([0.0, *(b for _, b in up)], [*(a for a, _ in up), end_s], strict=True) if b > a]
    told = {"rises": rises, "falls": falls, **more.pop("told", {})}
    named = {"pull_in_max_ms": limits[0], "drop_out_max_ms": limits[1]}
    tables = {"relay": {key: value for key, value in named.items() if value is not None}}
    assert edges or not up
    return bench(HandLog(t, values), story(tuple(up), tuple(off), **told), plan(3.0, **tables), **more)
