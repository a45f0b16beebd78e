"""When does the engine run, and what does the alternator give?"""

from dataclasses import dataclass

import numpy as np

from benchlog.analysis.coarse import Coarse, runs

#: The engine counts as running once one of these holds for ``LASTS_S`` (common practice, no source).
RAISED_V = 0.5
LASTS_S = 5.0
#: Least alternator share that counts as seen, A, above the doubt of the current channel.
LEAST_SHARE_A = 0.3


@dataclass(frozen=True, slots=True)
class Running:
    """The engine runs, s.

    Attributes:
        how: what showed it: ``share``, ``voltage`` or ``mark``.
        before_v, before_a: key-on, engine-off levels before the crank; NaN where not known.
    """

    from_s: float
    to_s: float
    how: str
    before_v: float
    before_a: float


def find_running(
    table: Coarse,
    from_s: float,
    to_s: float,
    before_v: float,
    before_a: float,
    share_u: float,
    key_known: bool = True,
) -> Running | None:
    """The engine's run between the end of a crank and the next crank, key-off or ``engine off``.

    Args:
        table: points of about 0.5 s.
        from_s, to_s: the stretch in question.
        before_v, before_a: levels with the key on before the crank; NaN where not logged.
        share_u: standard uncertainty of a change in ``battery_a``, A.
        key_known: False where the key-off was read from the battery itself; the engine may have stopped
            while the bike stays awake, so a smaller current alone shows nothing then.

    Returns:
        None if neither the alternator's share nor a raised voltage shows for 5 s.
    """
    part = table.part(from_s, to_s)
    if len(part) < 2:
        return None
    charged = np.zeros(len(part), dtype=bool)
    raised = np.zeros(len(part), dtype=bool)
    if "battery_a" in part.mean and np.isfinite(before_a):
        share = before_a - part.mean["battery_a"]
        charged = share > max(LEAST_SHARE_A, 3 * share_u)
    if "battery_v" in part.mean and np.isfinite(before_v):
        raised = part.mean["battery_v"] > before_v + RAISED_V
    if not key_known:
        charged &= raised if raised.any() else part.mean.get("battery_a", np.zeros(len(part))) < -LEAST_SHARE_A
    for how, flags in (("voltage", raised), ("share", charged)):
        long = [
            (first, end)
            for first, end in runs(_bridge(flags, part.start_s))
            if part.end_s[end - 1] - part.start_s[first] >= LASTS_S
        ]
        if long:
            begin = float(part.start_s[long[0][0]])
            last = long[-1][1]
            # an idling engine may fall below the mark again; only a lasting end is an end
            ends = not key_known or to_s - part.end_s[last - 1] > LASTS_S
            until = float(part.end_s[last - 1]) if ends else to_s
            return Running(begin, until, how, before_v, before_a)
    return None


def _bridge(flags: np.ndarray, t: np.ndarray) -> np.ndarray:
    """Close gaps of less than 2 s."""
    closed = flags.copy()
    for first, end in runs(~flags):
        if first > 0 and end < len(flags) and t[end] - t[first] < 2.0:
            closed[first:end] = True
    return closed
