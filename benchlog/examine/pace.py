"""How fast one log's logger really sees: the stretches that tell, and what they tell."""

import numpy as np

from benchlog.analysis.true_step import TrueSteps, in_packets, true_steps
from benchlog.core.quantiles import distinct
from benchlog.core.roles import ROLE_UNITS
from benchlog.core.trace import Array
from benchlog.examine.context import Samples, Timeline

#: A stretch reaches so far to both sides of an edge, s; so many are looked at, and so many of the time between.
REACH_S, MOST_EDGES, MOST_STEADY = 1.0, 8, 4
#: Packets of rows further apart than this are not looked for, s.
FURTHEST_S = 30.0
#: Nothing is timed by slower rows than this, s.
SLOWEST_S = 0.5


def steps_of(log: Samples, story: Timeline) -> TrueSteps:
    """The true step of each channel of a log."""
    if not log.overview.step_s <= SLOWEST_S:
        return TrueSteps()
    roles = [role for role in log.overview.bands if ROLE_UNITS[role] in ("V", "A")]
    edges = sorted({move.time_s for move in (*story.rises, *story.falls)} | {turn.time_s for turn in story.turns})
    middles = _spread(edges, MOST_EDGES)
    steady = [(a + b) / 2 for a, b in story.on or ((log.start_s, log.end_s),)]
    middles += _spread(steady, MOST_STEADY)
    reach_s = max(REACH_S, 10 * log.overview.step_s)
    far_s = min(4 * _apart_s(log.overview.gap_s), FURTHEST_S)
    if far_s > reach_s:
        # rows that come in packets, or those between captures at events, which are none of an edge's
        wide = [log.trace(at - far_s, at + far_s, roles) for at in middles]
        if in_packets(wide):
            return true_steps(wide)
    return true_steps([log.trace(at - reach_s, at + reach_s, roles) for at in middles])


def _spread(times: list[float], most: int) -> list[float]:
    return [times[at] for at in distinct(np.linspace(0, len(times) - 1, most).astype(int))] if times else []


def _apart_s(gap_s: Array) -> float:
    """The step in which half of a log's time lies, s, gaps apart: that between packets, however many rows in each."""
    steps = np.sort(gap_s[gap_s <= FURTHEST_S])
    covered = np.cumsum(steps)
    return float(steps[int(np.searchsorted(covered, covered[-1] / 2))]) if len(steps) else 0.0
