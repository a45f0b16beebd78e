"""A ground bus that stands at the feed's voltage: no load lifts it so far along a wire, it has no return."""

import numpy as np

from benchlog.analysis.coarse import coarse, runs
from benchlog.analysis.fed import LIVE_SHARE
from benchlog.analysis.measurement import Measured
from benchlog.core.quantiles import median
from benchlog.examine.context import LogContext

POINT_S = 0.1
#: A bus above this share of the battery's voltage has no return, 1, once it stands there for so long, s (common
#: practice, no source).
LIFTED_SHARE, LASTS_S = 0.4, 1.0


def without_return(bench: LogContext) -> Measured | None:
    """The bus's lift where it stands at no wire's lift with the key on; None where it does not."""
    if not bench.has("battery_v", "feed_v"):
        return None
    for a, b in bench.story.on:
        table = coarse(bench.overview, a, b, POINT_S, ["battery_v", "feed_v", "ground_v"])
        battery = table.mean["battery_v"]
        with np.errstate(invalid="ignore"):
            lifted = table.low["ground_v"] > LIFTED_SHARE * battery
            lifted &= table.mean["feed_v"] > LIVE_SHARE * battery
        for first, end in runs(lifted):
            from_s, to_s = float(table.start_s[first]), float(table.end_s[end - 1])
            if to_s - from_s >= LASTS_S:
                volts = median(table.mean["ground_v"][first:end])
                why = f"the ground bus stood at {volts:.1f} V with the feed live, for {to_s - from_s:.0f} s"
                return Measured(None, None, from_s, to_s, failed=why)
    return None
