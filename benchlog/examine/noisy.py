"""Where in a log is each channel's noise to be read?"""

from collections.abc import Mapping

import numpy as np

from benchlog.analysis.coarse import coarse, outside_of
from benchlog.analysis.noise import LogNoise
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.context import Samples, Timeline
from benchlog.examine.steady import DROP, path_means

POINT_S = 0.05
#: Of a long log so many pieces of so many seconds tell enough.
PIECES, PIECE_S = 6, 200.0
#: The starter's dip is over, and the engine still, so long after them, s.
AFTER_S = 5.0
#: Fewer points than this say less than those of a running engine beside them.
LEAST_POINTS = 200


def noise_in(
    log: Samples, story: Timeline, accuracy: Mapping[str, Accuracy | None], low_side_ohm: Mapping[str, float]
) -> LogNoise:
    """Each channel's noise with the engine off; of the whole log where it hardly ever stood.

    What the feed loses, and the lift of the ground bus, are differences of channels, with noise of their own.

    Args:
        accuracy: role -> its accuracy, for the smallest step; None where not stated.
        low_side_ohm: role -> a shunt that lifts the ground bus, Ω.
    """
    engine = [(crank.from_s - 0.5, crank.to_s + AFTER_S) for crank in story.cranks]
    engine += [(run.from_s - 0.5, run.to_s + AFTER_S) for run in story.running]
    edges = [(log.start_s, log.end_s)]
    if log.end_s - log.start_s > PIECES * PIECE_S:
        edges = [(float(a), float(a) + PIECE_S) for a in np.linspace(log.start_s, log.end_s - PIECE_S, PIECES)]
    tables = [coarse(log.overview, a, b, POINT_S) for a, b in edges]
    time_s = np.concatenate([table.time_s for table in tables])
    still = np.concatenate([outside_of(table.start_s, table.end_s, engine) for table in tables])
    if np.count_nonzero(still) < LEAST_POINTS:
        still[:] = True
    values = {role: np.concatenate([table.mean[role] for table in tables])[still] for role in log.overview.bands}
    smallest = {role: known.resolution for role, known in accuracy.items() if known is not None}
    for path in path_means(values, low_side_ohm):
        # with the feed open the battery's own drift, which the path does not see, would stand for its noise
        live = values["feed_v"] > values["battery_v"] / 2 if path.role == DROP else np.isfinite(path.values)
        values[path.role] = np.where(live, path.values, np.nan)
        smallest[path.role] = max(smallest.get(role, 0.0) for role in path.behind)
    return LogNoise({role: (time_s[still], x) for role, x in values.items()}, smallest)
