"""What wake-ups alone draw: a drain that they break by themselves breaks it wherever the channel's zero lies."""

from benchlog.analysis.drain import Drain
from benchlog.core.uncertainty import COVERAGE_K, Accuracy, combine, conformity, rectangular

#: Noise now and then looks like a wake-up and is chosen for its height, which no scatter of means shows: the doubt is
#: taken so many times as large (from memory).
FACTOR = 2.0


def fails_by_wakes(drain: Drain, accuracy: Accuracy | None, most_a: float | None) -> str | None:
    """Why the drain fails by what its wake-ups add, in words; None where they do not prove it.

    What flows between wake-ups is no less than nothing, though an offset may show it so: what the wake-ups add to it
    is a difference of the same channel, from which the offset cancels. A channel that shows less between them than its
    offset allows sees a charge, of which nothing is known.

    Args:
        most_a: the limit, A; None where there is none.
    """
    if most_a is None or accuracy is None or not drain.wakeups:
        return None
    waking_a = drain.mean_a - drain.base_a
    if drain.base_a < -accuracy.offset - COVERAGE_K * drain.type_a_u:
        return None
    u = combine(drain.type_a_u, rectangular(accuracy.gain_rel * waking_a), accuracy.resolution_u)
    if conformity(waking_a, FACTOR * u, None, most_a) != "fail":
        return None
    return (
        f"{drain.wakeups} wake-ups alone draw {waking_a * 1000:.3g} ± {COVERAGE_K * u * 1000:.2g} mA on average, more "
        f"than the {most_a * 1000:.3g} mA allowed, whatever flows between them"
    )
