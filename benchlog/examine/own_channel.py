"""A circuit's current by its own channel, and what is asked of a pulsed one."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from benchlog.analysis.coarse import Coarse, coarse, runs
from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.analysis.slots import marked_on
from benchlog.core.quantiles import median
from benchlog.core.spread import MEDIAN_U
from benchlog.core.trace import Array
from benchlog.core.uncertainty import combine, conformity
from benchlog.examine.context import LogContext
from benchlog.examine.steady import POINT_S, Evened, evened, too_few
from benchlog.plan.limits import FUSE_SHARE

#: A circuit's own channel counts as on above this share of its greatest sustained level.
ON_SHARE = 0.5
#: … or above this share of its planned current, where inrush stands above it.
ON_PLANNED = 0.3
#: Inrush after a circuit comes on, s; a circuit on for less gives its second half.
INRUSH_S = 1.0
#: A circuit that is on for so long before the engine turns is judged there, s.
STILL_S = 1.5


@dataclass(slots=True)
class _Drawn:
    """What a circuit's own channel shows over the key-ons.

    Attributes:
        sustained: its current while it was on, inrush left out, A. calm: its channel while it was off, A.
        first_s, last_s: from its first coming on to its last going off, s. over: samples over range.
    """

    sustained: list[np.ndarray] = field(default_factory=list)
    calm: list[np.ndarray] = field(default_factory=list)
    first_s: float = math.nan
    last_s: float = math.nan
    over: int = 0

    def take(self, table: Coarse, role: str, least_a: float | None, marked_s: float) -> None:
        """Take one key-on: the circuit is on above ``least_a``, A, or from ``marked_s`` on where that is None."""
        x = table.mean[role]
        self.over += int(table.over[role].sum())
        with np.errstate(invalid="ignore"):
            on = table.time_s > marked_s if least_a is None else x > least_a
        for first, end in runs(on):
            lasts = float(table.end_s[end - 1] - table.start_s[first])
            keep = table.start_s[first:end] >= table.start_s[first] + min(INRUSH_S, lasts / 2)
            good = x[first:end][keep]
            good = good[np.isfinite(good)]
            if len(good):
                self.sustained.append(good)
                self.first_s = float(table.start_s[first]) if math.isnan(self.first_s) else self.first_s
                self.last_s = float(table.end_s[end - 1])
        off = x[~on & np.isfinite(x)]
        if len(off) >= 4 and least_a is not None:
            self.calm.append(off)


def own_channel(bench: LogContext, slot: int, planned: float) -> Finding:
    """The circuit's sustained current by ``slotN_a``: of a pulsed one the mean over whole pulses."""
    role = f"slot{slot}_a"
    if not bench.story.on:
        return NotEvaluated("the key is off throughout the log")
    evens = _still(bench, role) or [evened(bench, a, b, role, [role]) for a, b in bench.story.on]
    tables = [even.table for even in evens]
    peak = max(_high(table.mean[role]) for table in tables)
    accuracy = bench.accuracy.get(role)
    floor = max(0.05 * planned, 3 * (accuracy.level_u(0.0) if accuracy else 0.0))
    marked = marked_on(bench.log.marks, slot)
    if peak < floor and not marked and not _others_drew(bench, slot):
        return NotEvaluated(f"slot {slot} drew no current while the key was on; switch it on while it records")
    least = max(floor, min(ON_SHARE * peak, ON_PLANNED * planned)) if peak >= floor else None
    drawn = _Drawn()
    for table in tables:
        drawn.take(table, role, least, marked[0] if marked else float(table.start_s[0]))
    sustained, over = drawn.sustained, drawn.over
    if not sustained:
        return NotEvaluated(f"slot {slot} has no valid sample while it was on")
    levels = np.concatenate(sustained)
    value = median(levels)
    scatter = MEDIAN_U * float(np.std(levels)) / math.sqrt(len(levels))
    drift = float(np.std([median(part) for part in sustained]))
    u = None
    if accuracy is not None:
        known = accuracy.level_u(value)
        if drawn.calm:
            # with the circuit off its current is zero, so the channel's offset can be taken off
            zero = median(np.concatenate(drawn.calm))
            if abs(zero) <= 3 * accuracy.level_u(0.0):
                value -= zero
                known = accuracy.change_u(value)
        u = combine(scatter, drift, known, *(pulse.u_a for even in evens for pulse in even.pulses[:1]))
    found = Measured(
        value,
        u,
        drawn.first_s,
        drawn.last_s,
        "by its own channel",
        disqualified=f"{over} samples of {role} were over range" if over > len(levels) / 10 else None,
    )
    return _if_pulsed(bench, slot, found, evens, _on_s(tables, sustained))


def _if_pulsed(bench: LogContext, slot: int, found: Measured, evens: Sequence[Evened], on_s: float) -> Finding:
    """The same where it is steady; as a pulsed circuit's where pulses, or a swing, take a good part of ``on_s``."""
    pulses = [pulse for even in evens for pulse in even.pulses]
    flutters = [flutter for even in evens for flutter in even.flutters]
    if pulses and sum(len(pulse.falls_s) * pulse.period_s for pulse in pulses) > 0.3 * on_s:
        most = max(pulses, key=lambda pulse: len(pulse.falls_s))
        return as_pulsed(bench, slot, found, most.amps, too_few(most))
    if flutters and (most_a := max(flutter.swing_a for flutter in flutters)) > 1.1 * (found.value or 0.0):
        return as_pulsed(bench, slot, found, most_a, too_few(min(flutters, key=lambda one: one.samples)))
    return found


def _others_drew(bench: LogContext, slot: int) -> bool:
    """Whether every other circuit is logged by its own channel and drew: then one that drew nothing is dead."""
    others = [circuit for circuit in bench.plan.circuit if circuit.slot != slot]
    if not others:
        return False
    for circuit in others:
        role = f"slot{circuit.slot}_a"
        if not bench.has(role):
            return False
        levels = [_high(coarse(bench.overview, a, b, POINT_S, [role]).mean[role]) for a, b in bench.story.on]
        if max(levels) < ON_PLANNED * circuit.planned_a:
            return False
    return True


def _still(bench: LogContext, role: str) -> list[Evened]:
    """The key-on stretches before the engine turns, where the circuit is on there: a lamp or a heater draws more, and
    a converter less, once the alternator has raised the voltage. [] where it is not.
    """
    found = []
    for a, b in bench.story.on:
        starts = [crank.from_s for crank in bench.story.cranks] + [run.from_s for run in bench.story.running]
        turns = [start for start in starts if a <= start <= b]
        until = min([b, *(turn - 0.3 for turn in turns)])
        if until > a:
            found.append(evened(bench, a, until, role, [role]))
    highest = max((_high(even.table.mean[role]) for even in found), default=0.0)
    whole = max(_high(coarse(bench.overview, a, b, POINT_S, [role]).mean[role]) for a, b in bench.story.on)
    on_s = sum(float((even.table.mean[role] > ON_SHARE * whole).sum()) * POINT_S for even in found if len(even.table))
    return found if highest > ON_SHARE * whole and on_s >= STILL_S else []


def _on_s(tables: Sequence[Coarse], sustained: Sequence[Array]) -> float:
    """How long the circuit was on, s."""
    steps = [median(np.diff(table.start_s)) for table in tables if len(table) > 1]
    return sum(len(part) for part in sustained) * max(steps, default=0.0)


def as_pulsed(bench: LogContext, slot: int, found: Measured, peak_a: float, too_few_samples: str | None) -> Measured:
    """A pulsed circuit: its mean is held against the plan, its root mean square against fuse and wire.

    Args:
        found: its mean. peak_a: its current while it is on, A. too_few_samples: why the mean may be wrong, or None.
    """
    mean = max(found.value or 0.0, 0.0)
    rms = math.sqrt(mean * peak_a)
    story = f"{found.story}, pulsed: {peak_a:.2f} A while on, {rms:.2f} A RMS"
    found = replace(found, story=story, disqualified=found.disqualified or too_few_samples)
    if too_few_samples and found.remedy is None:
        found = replace(found, remedy="a faster logger, or one that averages between its samples")
    fuse = next((circuit.fuse_a for circuit in bench.plan.circuit if circuit.slot == slot), None)
    if fuse is None or found.u is None or found.disqualified:
        return found
    bears = FUSE_SHARE * fuse
    heats = conformity(rms, found.u * (rms / mean if mean else 1.0), None, bears)
    if heats == "fail":
        return replace(found, failed=f"its RMS of {rms:.2f} A is above {bears:.3g} A, 80 % of its {fuse:g} A fuse")
    if heats == "not proven":
        return replace(found, disqualified=f"its RMS of {rms:.2f} A lies too close to {bears:.3g} A, 80 % of its fuse")
    return found


def _high(x: np.ndarray) -> float:
    good = x[np.isfinite(x)]
    if not len(good):
        return 0.0
    # not the maximum: inrush is no load
    top = np.sort(good)[-max(len(good) // 20, min(len(good), 8)) :]
    return median(top)
