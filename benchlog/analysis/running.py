"""When does the engine run, and what does the alternator give?"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchlog.analysis.coarse import Coarse, runs
from benchlog.analysis.cranking import LINE_OHM, SLOW_FACTOR, Crank
from benchlog.core.quantiles import median
from benchlog.core.trace import Array

Flags = npt.NDArray[np.bool_]

#: The engine counts as running once one of these holds for ``LASTS_S``; an interruption shorter than the other is none.
LASTS_S, SHORT_GAP_S = 5.0, 2.0
#: So far is the voltage raised, V (common practice, no source).
RAISED_V = 0.5
#: Least alternator share that counts as seen, A, above the doubt of the current channel.
LEAST_SHARE_A = 0.3
#: A voltage that falls by this much, V, from its median over so long before, s, and never comes back, was held up by
#: something that ended, unless it stays where no battery stands on its own, V (from memory).
GONE_V, GONE_OVER_S, NO_BATTERY_V = 0.3, 3.0, 13.9
#: Of several falls the one counts that is nearly the greatest, 1.
GREATEST_SHARE = 0.7
#: A battery without an engine does not rise this far above its highest voltage with the key on, V; an alternator's
#: ripple that stops shows as a spread this many times smaller, 1.
OVER_HIGHEST_V, RIPPLE_RATIO = 0.2, 2.0
#: A battery at such a voltage, with current going into it, is charged (common practice, no source), V.
CHARGED_V = 13.2


@dataclass(frozen=True, slots=True)
class Running:
    """The engine runs, s.

    Attributes:
        how: what showed it: ``share``, ``voltage`` or ``mark``.
        before_v, before_a: key-on, engine-off levels before the crank; NaN where not known.
        before_fed_a: the load that was surely on then, A; 0 where nothing shows it.
        dark: stretches beside the run in which the engine may have turned without charging, or may have stood, s.
    """

    from_s: float
    to_s: float
    how: str
    before_v: float
    before_a: float
    before_fed_a: float = 0.0
    dark: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class EngineOff:
    """What is known of the bike with the key on and the engine off, before the engine was started.

    Attributes:
        volts, amps: ``battery_v`` and ``battery_a`` just before the crank; NaN where not logged.
        fed_a: the load that was surely on then, as in ``find_running``, A.
        line_ohm: fall of the battery's voltage with its own current, over some seconds, Ω.
        highest_v: the highest voltage with the engine off, V; NaN where not known.
        charger_a: what a charger may give that was on before the crank, A; 0 where none was.
    """

    volts: float
    amps: float
    fed_a: float = 0.0
    line_ohm: float = LINE_OHM * SLOW_FACTOR
    highest_v: float = float("nan")
    charger_a: float = 0.0


def find_running(
    table: Coarse, from_s: float, to_s: float, before: EngineOff, share_u: float, fed_a: Array | None = None
) -> Running | None:
    """The engine's run between the end of a crank and the next crank, key-off or ``engine off``.

    The run begins with the crank's end where anything speaks for a turning engine from then on, and reaches to the last
    proof: what lies between two proofs without a crank is an engine that idles. A lower current or a higher voltage
    alone proves nothing where loads may have gone off, or where a charge has left the battery's voltage raised.

    Args:
        table: points of about 0.5 s.
        from_s, to_s: the stretch in question.
        before: the levels before the crank.
        share_u: standard uncertainty of ``battery_a``, its offset included, A.
        fed_a: the load that is surely on at each point of the table, A.

    Returns:
        None if no proof holds for 5 s.
    """
    part = table.part(from_s, to_s)
    if len(part) < 2:
        return None
    first = int(np.searchsorted(table.start_s, from_s - 1e-9))
    seen = _Seen(part, before, share_u, None if fed_a is None else fed_a[first : first + len(part)])
    for how, flags in (("voltage", seen.raised_by_engine), ("share", seen.proof), ("voltage", seen.raised_alone)):
        if _lasting(flags, part):
            return _run(seen, flags | seen.proof, how, from_s, to_s)
    # a fan that comes and goes cuts the charging into short pieces; nothing but an alternator makes these
    pieces = [(first, end) for first, end in runs(seen.charged) if end - first > 1]
    if sum(part.end_s[end - 1] - part.start_s[first] for first, end in pieces) >= LASTS_S:
        between = np.zeros(len(part), dtype=bool)
        between[pieces[0][0] : pieces[-1][1]] = True
        return _run(seen, between, "share", from_s, to_s)
    return None


def find_charged(table: Coarse, from_s: float, to_s: float, share_u: float) -> Running | None:
    """A run that no crank began: pushed, or running already as the log begins.

    It shows by current into a battery at a charger's voltage. A charger left on looks the same: the caller rules it
    out by the key-off state, in which an alternator gives nothing.

    Args:
        table: points of about 0.5 s.
        from_s, to_s: a stretch with the key on and no crank.
        share_u: standard uncertainty of ``battery_a``, A.
    """
    part = table.part(from_s, to_s)
    if len(part) < 2 or not {"battery_a", "battery_v"} <= set(part.mean):
        return None
    flags = into_battery(part, share_u)
    long = _lasting(flags, part)
    if not long:
        return None
    last = long[-1][1]
    begin = float(part.start_s[long[0][0]])
    until = float(part.start_s[last - 1] if last < len(part) else to_s)
    # a log that begins with the key on, or in a crank, has not seen how: the engine may have idled before it charged
    hidden = from_s - table.start_s[0] < LASTS_S and begin - from_s > LASTS_S
    dark = ((from_s, begin),) if hidden else ()
    return Running(begin, until, "share", float("nan"), float("nan"), dark=dark)


def turned_since(t: float, cranks: Sequence[Crank], found: Sequence[Running], stopped_at: Sequence[float]) -> float:
    """Since when an engine has turned that runs at a mark: no engine starts without a crank, unless it is pushed."""
    if not cranks:
        return t
    since_s = cranks[-1].to_s
    ended = any(since_s <= run.to_s <= t for run in found) or any(since_s < stop < t for stop in stopped_at)
    return t if ended else since_s


def into_battery(table: Coarse, share_u: float) -> Flags:
    """Where current goes into a battery at a charger's voltage."""
    with np.errstate(invalid="ignore"):
        charged = _steadied(table.mean["battery_a"]) < -least_a(share_u)
        return np.asarray(charged & (_steadied(table.mean["battery_v"]) >= CHARGED_V))


def least_a(share_u: float) -> float:
    """The smallest current that says anything of the alternator, A."""
    return max(LEAST_SHARE_A, 3 * share_u)


class _Seen:
    """What the points of a stretch say for and against a turning engine."""

    def __init__(self, part: Coarse, before: EngineOff, share_u: float, fed_a: Array | None) -> None:
        nothing = np.full(len(part), np.nan)
        self.part, self.before, self.fed_a = part, before, fed_a
        self.volts = _steadied(part.mean.get("battery_v", nothing))
        self.amps = _steadied(part.mean.get("battery_a", nothing))
        self.least_a = least_a(share_u)
        with np.errstate(invalid="ignore"):
            proven_a = self.least_a + before.charger_a
            charged: Flags = self.amps < -proven_a
            shared = np.zeros(len(part), dtype=bool) if fed_a is None else fed_a - self.amps > proven_a
            drained = self.amps > self.least_a
            # loads that went off leave less current and so a higher voltage: that much is the battery's own doing
            gone_a = np.maximum(before.amps - np.maximum(self.amps, 0.0), 0.0)
            own_v = np.where(np.isfinite(gone_a), before.line_ohm * gone_a, 0.0)
            raised = self.volts > before.volts + RAISED_V + own_v
            unread = ~np.isfinite(self.amps)
            if np.isfinite(before.highest_v):
                raised &= ~(unread | (before.charger_a > 0)) | (self.volts > before.highest_v + OVER_HIGHEST_V)
        held = raised & ~_after_fall(self.volts, part.start_s)
        #: raised by something that still holds it up, and no current out of the battery
        self.raised_by_engine: Flags = held & ~drained
        self.charged = charged
        self.proof: Flags = charged | shared | self.raised_by_engine
        #: raised though current flows out: an alternator whose current does not pass the shunt
        self.raised_alone: Flags = held
        self.raised: Flags = raised

    def share_a(self) -> Array:
        """What the current fell by against the load before the crank, A: an alternator's share, or loads gone off."""
        more_a = 0.0 if self.fed_a is None else np.nan_to_num(self.fed_a - self.before.fed_a)
        return np.asarray(self.before.amps + more_a - self.amps)


def _run(seen: _Seen, proof: Flags, how: str, from_s: float, to_s: float) -> Running:
    part = seen.part
    long = _lasting(proof, part)
    first, last = long[0][0], long[-1][1]
    dark: list[tuple[float, float]] = []
    begin = float(part.start_s[first])
    if begin - from_s > LASTS_S:
        if _turned(part, slice(0, first), slice(first, last)):
            begin = from_s
        else:
            dark.append((from_s, begin))
    # the last point of a proof may hold a part of what came after
    until = float(part.start_s[last - 1]) if last < len(part) else to_s
    if last < len(part) and to_s - until > LASTS_S and not _stands(seen, slice(last, len(part)), slice(first, last)):
        dark.append((until, to_s))
    return Running(begin, until, how, seen.before.volts, seen.before.amps, seen.before.fed_a, tuple(dark))


def _turned(part: Coarse, here: slice, run: slice) -> bool:
    """Whether the engine turned between the crank and the first proof.

    An engine that shows later without another crank has turned since then, unless the run has a ripple that is missing
    here: then it was pushed.
    """
    spread = _spread(part)
    calm = float(spread[np.isfinite(spread)].min(initial=np.inf))
    rippled = _ripple(part, run) > RIPPLE_RATIO * calm > 0.0
    return not (rippled and _ripple(part, here) * RIPPLE_RATIO < _ripple(part, run))


def _stands(seen: _Seen, tail: slice, run: slice) -> bool:
    """Whether the engine surely stands after the last proof: the whole load is back, or the ripple is gone."""
    if _ripple(seen.part, tail) * RIPPLE_RATIO < _ripple(seen.part, run):
        return True
    share = seen.share_a()[tail]
    share = share[np.isfinite(share)]
    return median(share) <= max(seen.least_a, 0.1 * seen.before.amps)  # of nothing read, NaN: no


def _ripple(part: Coarse, here: slice) -> float:
    spread = _spread(part)[here]
    spread = spread[np.isfinite(spread)]
    return median(spread) if len(spread) else 0.0


def _spread(part: Coarse) -> Array:
    """How far the samples behind each point lie apart, V, or A where no voltage is logged."""
    role = "battery_v" if "battery_v" in part.mean else "battery_a"
    return np.asarray(part.high[role] - part.low[role])


def _lasting(flags: Flags, part: Coarse) -> list[tuple[int, int]]:
    """Index ranges of the stretches that last 5 s, short interruptions included."""
    return [
        (first, end)
        for first, end in runs(bridged(flags, part.start_s))
        if part.end_s[end - 1] - part.start_s[first] >= LASTS_S
    ]


def bridged(flags: Flags, t: Array, gap_s: float = SHORT_GAP_S) -> Flags:
    """Close interruptions of less than ``gap_s``."""
    closed = flags.copy()
    for first, end in runs(~flags):
        if first > 0 and end < len(flags) and t[end] - t[first] < gap_s:
            closed[first:end] = True
    return closed


def _steadied(x: Array) -> Array:
    """The median of each point and its neighbours, which keeps edges: ripple and flashers leave single points odd."""
    if len(x) < 3:
        return x
    middle = np.stack((x[:-2], x[1:-1], x[2:]))
    whole = np.isfinite(middle).all(axis=0)
    steady = x.copy()
    steady[1:-1] = np.where(whole, np.sort(middle, axis=0)[1], x[1:-1])
    return steady


def _after_fall(volts: Array, t: Array) -> Flags:
    """True from where the voltage has fallen for good: from then on it never comes near its level just before."""
    known = np.where(np.isfinite(volts), volts, -np.inf)
    ahead = np.maximum.accumulate(known[::-1])[::-1]  # the highest from each point on
    fall = np.zeros(len(volts))
    begins = np.searchsorted(t, t - GONE_OVER_S)
    for at in np.flatnonzero(ahead < NO_BATTERY_V):
        back = volts[begins[at] : at]
        back = back[np.isfinite(back)]
        if len(back):
            fall[at] = median(back) - ahead[at]
    greatest = float(fall.max(initial=0.0))
    gone = np.zeros(len(volts), dtype=bool)
    if greatest > GONE_V:
        gone[int(np.argmax(fall >= max(GONE_V, GREATEST_SHARE * greatest))) :] = True
    return gone
