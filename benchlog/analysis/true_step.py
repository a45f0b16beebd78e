"""How fast does a logger really see, whatever the spacing of its rows says?"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from benchlog.analysis.coarse import gap_limit_s
from benchlog.analysis.levels import crossings, state_levels
from benchlog.core.quantiles import distinct, median, percentile
from benchlog.core.trace import Array, Trace

#: The lines that a contact switches: none of them is slow to rise of itself, all of them hardly ever.
LINES = ("key_v", "trigger_v", "feed_v")
#: A held channel shows so many values at least, jumps by so many codes at least, and stands for so many rows.
LEAST_RUNS, LEAST_CODES, LEAST_ROWS = 12, 3.0, 3
#: Of the values of a held channel this share of its runs are different, within these counts; a pulsed load has few.
VALUES_SHARE, FEWEST_VALUES, MOST_VALUES = 0.3, 6, 12
#: Nearly all the runs of a held channel are as long as the usual one, share of it.
AS_LONG = 0.7
#: Or they stand for whole multiples of one beat: this share of them, within this part of the beat. A quiet channel
#: that repeats its figure by chance does so for any number of rows.
ON_BEAT, OFF_BEAT = 0.9, 0.1
#: Packets of rows lie this many usual steps apart, so many are needed to tell, this share of the time lies between
#: them, and their paces and rows differ by less than this share.
PACKET_APART, LEAST_PACKETS, MOSTLY_BETWEEN, PACKETS_ALIKE = 20.0, 4, 0.9, 0.2
#: A ramp of fewer rows than this is an edge between samples.
LEAST_RAMP_ROWS = 4
#: A line swings at least this far, V.
LEAST_SWING_V = 3.0
#: By chance the changes of two channels fall into the same rows at most so seldom.
CHANCE = 0.05


@dataclass(frozen=True, slots=True)
class TrueSteps:
    """Where a logger sees more slowly than it writes.

    Attributes:
        by_role: role -> the time, s, over which it may have seen what it wrote, where that is longer than its rows'
            spacing; absent where nothing shows that it is.
        why: role -> a clause in plain words.
    """

    by_role: Mapping[str, float] = field(default_factory=dict)
    why: Mapping[str, str] = field(default_factory=dict)


def true_steps(traces: Sequence[Trace]) -> TrueSteps:
    """Find each channel's true step from stretches of single samples.

    Four signs: stamps that come in bunches, or samples that a channel has in few rows only; readings that stand in
    many rows, which shows where they are noisy enough to change every time; changes that fall into the same rows as
    such a channel's; edges that are all ramps, as those of a mean or a filter are. A channel that is quiet for its
    resolution gives no sign, and nothing is claimed of it.

    Args:
        traces: stretches with edges and with loads on, all of the same log.
    """
    traces = [trace for trace in traces if len(trace) > 2]
    if not traces:
        return TrueSteps()
    rows_s = median(np.concatenate([np.diff(trace.time_s) for trace in traces]))
    found: dict[str, tuple[float, str]] = {}
    held: dict[str, float] = {}
    roles = sorted({role for trace in traces for role in trace.values})

    def claim(role: str, step_s: float, why: str) -> None:
        if step_s > 1.5 * rows_s and step_s > found.get(role, (0.0, ""))[0]:
            found[role] = step_s, why

    for role in roles:
        spacing_s = _spacing_s(traces, role)
        if spacing_s is not None:
            claim(role, spacing_s, f"its samples come {spacing_s * 1000:.3g} ms apart, or in bunches as far apart")
        stands_s = _held_s(traces, role)
        if stands_s is not None:
            held[role] = stands_s
            claim(role, stands_s, f"its readings stand for {stands_s * 1000:.3g} ms each")
    for role in roles:
        beside = _beside(traces, role, held, rows_s) if role not in held else None
        if beside is not None:
            claim(role, held[beside], f"it changes in the same rows as {beside}, which stands for many rows each time")
    ramp_s = _shortest_ramp_s(traces)
    if ramp_s is not None:
        for role in roles:
            claim(role, ramp_s, f"no edge is shorter than {ramp_s * 1000:.3g} ms, as with a mean over that time")
    return TrueSteps({role: step for role, (step, _) in found.items()}, {role: why for role, (_, why) in found.items()})


def _spacing_s(traces: Sequence[Trace], role: str) -> float | None:
    """The step between a channel's own samples in which half of the time lies, gaps of the log apart, s."""
    steps = [np.diff(trace.time_s[np.isfinite(trace.values[role])]) for trace in traces if role in trace.values]
    pooled = np.sort(np.concatenate(steps)) if steps else np.empty(0)
    if len(pooled) < 8:
        return None
    packets_s = _packets_s(steps, median(pooled))
    if packets_s is not None:
        return packets_s
    pooled = pooled[pooled <= gap_limit_s(median(pooled))]
    covered = np.cumsum(pooled)
    return float(pooled[int(np.searchsorted(covered, covered[-1] / 2))]) if len(pooled) else None


def in_packets(traces: Sequence[Trace]) -> bool:
    """Whether the rows come in packets that share about one stamp each."""
    steps = [np.diff(trace.time_s) for trace in traces if len(trace) > 2]
    return bool(steps) and _packets_s(steps, median(np.concatenate(steps))) is not None


def _packets_s(steps: Sequence[Array], usual_s: float) -> float | None:
    """The step between packets whose rows share about one stamp, however long; None where there are none.

    Packets hold the same number of rows and come at an even pace, and nearly all the time lies between them. A log
    with gaps, or of captures at events, does neither.

    Args:
        steps: between a channel's samples, one array a stretch, s. usual_s: the median of them all.
    """
    pauses, rows, spent_s, whole_s = [], [], 0.0, 0.0
    for each in steps:
        at = np.flatnonzero(each > PACKET_APART * usual_s)
        pauses.append(each[at])
        rows.append(np.diff(at))
        spent_s += float(each[at].sum())
        whole_s += float(each.sum())
    apart, held = np.concatenate(pauses), np.concatenate(rows)
    if len(apart) < LEAST_PACKETS or not len(held) or spent_s < MOSTLY_BETWEEN * whole_s:
        return None
    low, middle, high = (percentile(apart, at) for at in (10, 50, 90))
    least, usual, most = (percentile(held, at) for at in (10, 50, 90))
    even = high - low <= PACKETS_ALIKE * middle and most - least <= max(PACKETS_ALIKE * usual, 1.0)
    # rows that stand alone are what a logger writes between captures
    return middle if even and usual >= 2 else None


def _changes(trace: Trace, role: str) -> tuple[Array, Array, npt.NDArray[np.int64]]:
    """Times and values of the rows in which a channel changes, and the rows."""
    x = trace.values[role]
    valid = np.flatnonzero(np.isfinite(x))
    at = valid[np.flatnonzero(np.diff(x[valid])) + 1] if len(valid) > 1 else valid[:0]
    return trace.time_s[at], x[at], at


def _held_s(traces: Sequence[Trace], role: str) -> float | None:
    """How long each reading of a channel stands, s; None where it does not, or nothing tells."""
    lengths, rows, values, jumps = [], [], [], []
    for trace in traces:
        if role not in trace.values:
            continue
        t, x, at = _changes(trace, role)
        lengths.append(np.diff(t))
        rows.append(np.diff(at))
        values.append(x)
        jumps.append(np.abs(np.diff(x)))
    if not lengths:
        return None
    stood_s, stood, shown, jumped = (np.concatenate(part) for part in (lengths, rows, values, jumps))
    jumped = jumped[jumped > 0.0]
    if len(stood) < LEAST_RUNS or not len(jumped):
        return None
    code = float(jumped.min())
    different = len(distinct(shown))
    least = min(max(FEWEST_VALUES, VALUES_SHARE * len(stood)), MOST_VALUES)
    if different < FEWEST_VALUES:
        return None
    beat = percentile(stood, 20)
    cycles = stood / beat
    if beat >= LEAST_ROWS and float(np.mean(np.abs(cycles - np.round(cycles)) <= OFF_BEAT)) >= ON_BEAT:
        return percentile(stood_s, 20)
    usual = median(stood)
    if different < least or median(jumped) < LEAST_CODES * code:
        return None
    if usual < LEAST_ROWS or percentile(stood, 10) < AS_LONG * usual:
        return None
    return median(stood_s)


def _beside(traces: Sequence[Trace], role: str, held: Mapping[str, float], rows_s: float) -> str | None:
    """The held channel in whose rows this one changes too; None where one of its changes falls elsewhere."""
    for other, stands_s in sorted(held.items(), key=lambda item: -item[1]):
        count = hits = 0
        for trace in traces:
            if role not in trace.values or other not in trace.values:
                continue
            own, theirs = _changes(trace, role)[2], _changes(trace, other)[2]
            if not len(theirs):
                continue
            own = own[(own >= theirs[0]) & (own <= theirs[-1])]
            count += len(own)
            hits += int(np.isin(own, theirs).sum())
        usual = max(stands_s / rows_s, 1.0)
        if count and hits >= 0.9 * count and usual**-hits <= CHANCE:
            return other
    return None


def _shortest_ramp_s(traces: Sequence[Trace]) -> float | None:
    """The shortest edge of any switched line, end to end, s; None where some edge lies between samples."""
    shortest = math.inf
    for trace in traces:
        for role in LINES:
            x = trace.values.get(role)
            if x is None or not np.isfinite(x).any():
                continue
            levels = state_levels(x)
            if levels is None or levels.amplitude < LEAST_SWING_V:
                continue
            lower, upper = levels.at(0.2), levels.at(0.8)
            good = np.isfinite(x)
            t, volts = trace.time_s[good], x[good]
            for move in crossings(trace.time_s, x, levels, band=0.3):
                here = int(np.searchsorted(t, move.after_s))
                near, far = (volts <= lower, volts >= upper) if move.to == "high" else (volts >= upper, volts <= lower)
                begins, ends = np.flatnonzero(near[:here]), np.flatnonzero(far[here:])
                if not len(begins) or not len(ends):
                    continue
                rows = here + int(ends[0]) - int(begins[-1])
                lasted = float(t[here + int(ends[0])] - t[int(begins[-1])])
                if rows < LEAST_RAMP_ROWS:
                    return None
                shortest = min(shortest, lasted / 0.6)
    return shortest if math.isfinite(shortest) else None
