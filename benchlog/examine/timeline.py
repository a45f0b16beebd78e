"""The log's story: key, starter, engine and trigger, in time order."""

from dataclasses import replace
from typing import Literal

import numpy as np

from benchlog.analysis.bounce import BESIDE_S, event_edge, line_moves
from benchlog.analysis.coarse import Coarse, coarse, runs
from benchlog.analysis.cranking import LONGEST_S, MARK_BEFORE_S, MARK_LATE_S, Crank, find_cranks, line_ohm
from benchlog.analysis.fed import fed_a
from benchlog.analysis.key_state import KeyState, Turn, key_state, turns_of
from benchlog.analysis.levels import Crossing, state_levels
from benchlog.analysis.pulsing import Pulses, pulses_of
from benchlog.analysis.relay import trigger_crossings
from benchlog.analysis.running import EngineOff, Running, find_charged, find_running, turned_since
from benchlog.analysis.switched import PLAUSIBLE_V, SwitchedLine, line_state, without_chatter
from benchlog.core.events import Cranked, EngineRuns, EngineStopped
from benchlog.core.quantiles import median, percentile
from benchlog.core.roles import ROLE_UNITS, slot_of
from benchlog.core.trace import Trace, times_of
from benchlog.core.uncertainty import Accuracy, combine
from benchlog.examine.charger import RESTED_S, SLOW_POINT_S, charger_a
from benchlog.examine.context import KeyTurn, Samples, Timeline
from benchlog.verdict.evidence import Span

POINT_S = 0.05
#: Pulses are counted over twice this, s.
PULSES_S = 3.0
STATE_ROLES = ("battery_v", "battery_a", "drain_a", "key_v", "trigger_v", "feed_v")
SLOT_ROLES = tuple(role for role, unit in ROLE_UNITS.items() if slot_of(role) is not None and unit == "A")
ENGINE_ROLES = ("battery_v", "battery_a", "feed_v", "ground_v", "feed_a", *SLOT_ROLES)


def segment(log: Samples, current_accuracy: Accuracy | None) -> Timeline:
    """Read the story of one log from its overview, looking closely where the key or the trigger moves."""
    table = coarse(log.overview, log.start_s, log.end_s, POINT_S, STATE_ROLES)
    lines = {role: line for role in ("key_v", "trigger_v", "feed_v") if (line := line_state(table, role)) is not None}
    pulses = _pulses(log, table, lines.get("trigger_v"))
    if pulses is None and "trigger_v" in lines:
        lines["trigger_v"] = replace(lines["trigger_v"], pulsed=np.zeros(len(table), dtype=bool))
    ups = [
        float(table.start_s[at]) for line in lines.values() for at in np.flatnonzero(line.up[1:] & ~line.up[:-1]) + 1
    ]
    cranks = find_cranks(table, ups, times_of(log.marks, Cranked()))
    if "battery_v" not in table.mean:
        cranks += _marked_cranks(log, table, lines)
    key = key_state(table, lines, log.marks, cranks)
    turns = _closely(log, key, cranks, lines)
    key = replace(key, turns=tuple(turn for turn, _ in turns))
    spans = key.spans(log.start_s, log.end_s)
    on = tuple((a, b) for state, a, b in spans if state)
    off = tuple((a, b) for state, a, b in spans if not state)
    if spans:
        cranks = [crank for crank in cranks if any(a - 0.5 <= crank.from_s and crank.to_s <= b + 0.5 for a, b in on)]
    running = _running(log, table, on, off, cranks, current_accuracy)
    pulls, falls = _trigger_moves(log, table, lines.get("trigger_v"), cranks)
    return Timeline(
        source=key.source,
        sure=key.sure,
        turns=tuple(KeyTurn(turn.time_s, _known(turn, half, pulses), turn.to == "on") for turn, half in turns),
        on=on,
        off=off,
        cranks=tuple(cranks),
        running=tuple(running),
        rises=tuple(sorted(pulls, key=_when)),
        falls=tuple(sorted(falls, key=_when)),
        spans=_for_drawing(on, off, cranks, running),
        parked=bool(spans) and not on,
        trigger_pulses=pulses,
        marks_contradict=key.marks_contradict,
    )


def _when(move: Crossing) -> float:
    return move.time_s


def _known(turn: Turn, half_width_s: float, pulses: Pulses | None) -> float:
    """How well a turn of the key is known, s: a pulsed line may have gone down with a pulse before it."""
    if pulses is None or turn.role != "trigger_v" or turn.to == "on":
        return half_width_s
    return half_width_s + pulses.pause_s


def _marked_cranks(log: Samples, table: Coarse, lines: dict[str, SwitchedLine]) -> list[Crank]:
    """Where the battery's voltage is not logged: a line that is down around a ``crank`` mark, as many bikes cut it."""
    found = []
    for at_s in times_of(log.marks, Cranked()):
        for line in lines.values():
            for first, end in runs(~line.up):
                begins, ends = float(table.start_s[first]), float(table.end_s[end - 1])
                near = begins - MARK_BEFORE_S <= at_s <= begins + MARK_LATE_S
                if first > 0 and end < len(table) and near and ends - begins <= LONGEST_S:
                    found.append(Crank(begins, ends, float("nan"), float("nan")))
    return found


def _closely(
    log: Samples, key: KeyState, cranks: list[Crank], lines: dict[str, SwitchedLine]
) -> list[tuple[Turn, float]]:
    """Each turn of the key with its instant on single samples, and the half-width of that instant."""
    closely = []
    for turn in key.turns:
        found = _instant(log, turn, turn.role, lines.get(turn.role)) if turn.role else None
        if found is None:
            closely.append((turn, turn.half_width_s))
        else:
            closely.append((replace(turn, time_s=found.time_s), found.width_s / 2))
    return _without_dips(closely, key.starts_on, cranks)


def _without_dips(
    closely: list[tuple[Turn, float]], starts_on: bool | None, cranks: list[Crank]
) -> list[tuple[Turn, float]]:
    """The turns without a line's own dips amid a crank; one that comes on with the crank was switched on by the key."""
    kept, on = [], starts_on
    for turn, half in closely:
        amid = turn.role is not None and any(crank.from_s <= turn.time_s <= crank.to_s for crank in cranks)
        if amid and (turn.to == "off" or on):
            continue
        kept.append((turn, half))
        on = turn.to == "on"
    return kept


def _instant(log: Samples, turn: Turn, role: str, line: SwitchedLine | None) -> Crossing | None:
    """The passage on single samples: where the contact bounces, its first."""
    reach = max(0.4, 2 * turn.half_width_s, 6 * log.overview.step_s)
    to: Literal["high", "low"] = "high" if turn.to == "on" else "low"
    if line is None:  # the battery's current
        moves = trigger_crossings(log.trace(turn.time_s - reach, turn.time_s + reach, [role]), role)
        return event_edge(moves, turn.time_s, to)
    early_s = max(reach, BESIDE_S["low"]) if to == "low" else reach
    trace = log.trace(turn.time_s - early_s, turn.time_s + reach, [role])
    low = line.levels.low if line.levels else None
    moves = line_moves(trace.time_s, np.clip(trace.values[role], *PLAUSIBLE_V), turn.time_s, to, low)
    near = [move for move in moves if abs(move.time_s - turn.time_s) <= reach]
    return event_edge(near, turn.time_s, to, pulsed=bool(line.pulsed.any()))


def _trigger_moves(
    log: Samples, table: Coarse, line: SwitchedLine | None, cranks: list[Crank]
) -> tuple[list[Crossing], list[Crossing]]:
    if line is None or not line.moves:
        return [], []
    up = without_chatter(line.up, table.start_s, POINT_S)
    rises: list[Crossing] = []
    falls: list[Crossing] = []
    for turn in turns_of(up, table, "trigger_v"):
        found = _instant(log, turn, "trigger_v", line)
        # the starter's dip may take the trigger with it; a rise just before it is the key
        early_s = 0.5 if turn.to == "off" else 0.0
        if found is None or any(c.from_s - early_s <= found.time_s <= c.to_s + 1.0 for c in cranks):
            continue
        (rises if found.to == "high" else falls).append(found)
    return rises, falls


def _pulses(log: Samples, table: Coarse, line: SwitchedLine | None) -> Pulses | None:
    """The trigger's pulses, from a second of its longest train."""
    if line is None or line.levels is None or not line.pulsed.any():
        return None
    first, end = max(runs(line.pulsed), key=lambda run: run[1] - run[0])
    middle = float(table.time_s[(first + end - 1) // 2])
    begins, ends = float(table.start_s[first]), float(table.end_s[end - 1])
    trace = log.trace(max(middle - PULSES_S, begins), min(middle + PULSES_S, ends), ["trigger_v"])
    x = np.clip(trace.values["trigger_v"], *PLAUSIBLE_V)
    levels = state_levels(x)
    return pulses_of(Trace(trace.time_s, {"trigger_v": x}, {}), "trigger_v", levels) if levels else None


def _running(
    log: Samples,
    table: Coarse,
    on: tuple[tuple[float, float], ...],
    off: tuple[tuple[float, float], ...],
    cranks: list[Crank],
    accuracy: Accuracy | None,
) -> list[Running]:
    share_u = combine(accuracy.change_u(10.0), accuracy.level_u(0.0)) if accuracy else 0.1
    slow = coarse(log.overview, log.start_s, log.end_s, SLOW_POINT_S, ENGINE_ROLES)
    runs_at, stopped_at = times_of(log.marks, EngineRuns()), times_of(log.marks, EngineStopped())
    found: list[Running] = []
    for a, b in on or ((log.start_s, log.end_s),):
        inside = [crank for crank in cranks if a - 0.5 <= crank.from_s <= b]
        first_s = inside[0].from_s if inside else b
        runs_here: list[Running] = []
        from_charger_a = charger_a(slow, (a, b), off, inside[0].from_s if inside else None, share_u)
        # with the key off throughout, what charges is no alternator as far as anything shows
        pushed = find_charged(slow, a, first_s, share_u) if on and off and not from_charger_a else None
        if pushed:
            runs_here.append(pushed)
        fed = fed_a(slow, a, first_s) if inside else None
        highest_v = _highest(slow, a, first_s) if inside else float("nan")
        earlier_v: list[float] = []
        for number, crank in enumerate(inside):
            until = inside[number + 1].from_s if number + 1 < len(inside) else b
            stops = [t for t in stopped_at if crank.to_s < t < until]
            until = min([until, *stops])
            # after a crank that failed the battery takes seconds to recover
            volts = max([v for v in (*earlier_v, crank.before_v) if np.isfinite(v)], default=crank.before_v)
            fed_before = 0.0 if fed is None else _median_between(slow.time_s, fed, crank.from_s - 2.0, crank.from_s)
            before = EngineOff(volts, crank.before_a, fed_before, line_ohm(table, crank), highest_v, from_charger_a)
            run = find_running(slow, crank.to_s, until, before, share_u, fed)
            earlier_v = [*earlier_v, crank.before_v]
            if run:
                runs_here.append(run)
                earlier_v = []
        found += _with_marks(runs_here, runs_at, stopped_at, inside, (a, b))
    return sorted(found, key=lambda run: run.from_s)


def _highest(slow: Coarse, a: float, b: float) -> float:
    """The highest voltage with the engine off: with the key on, once its first second is over, or just before it, V."""
    highest = float("nan")
    for part in (slow.part(a - RESTED_S, a - 0.5), slow.part(a + 1.0, b)):
        volts = part.mean.get("battery_v", np.empty(0))
        volts = volts[np.isfinite(volts)]
        if len(volts):
            highest = float(np.fmax(highest, percentile(volts, 90)))
    return highest


def _median_between(t: np.ndarray, x: np.ndarray, a: float, b: float) -> float:
    """Median of the valid points of a stretch; 0 where there is none."""
    inside = x[(t >= a) & (t <= b)]
    inside = inside[np.isfinite(inside)]
    return median(inside) if len(inside) else 0.0


def _with_marks(
    found: list[Running],
    runs_at: list[float],
    stopped_at: list[float],
    inside: list[Crank],
    key_on: tuple[float, float],
) -> list[Running]:
    """A key-on's runs, with what the tester noted as ``running`` where no current or voltage tells."""
    a, b = key_on
    for t in runs_at:
        if not a <= t <= b or any(run.from_s <= t <= run.to_s for run in found):
            continue
        until = min([b, *(stop for stop in stopped_at if stop > t)])
        until = min([until, *(crank.from_s for crank in inside if crank.from_s > t)])
        before = [crank for crank in inside if crank.to_s <= t]
        nan = float("nan")
        before_v, before_a = (before[-1].before_v, before[-1].before_a) if before else (nan, nan)
        later = [run for run in found if t <= run.from_s <= until]
        found = [run for run in found if run not in later]
        # an engine known to run that then shows itself has ended where that ended
        ends = later[-1].to_s if later else until
        dark = tuple(stretch for run in later for stretch in run.dark if stretch[0] >= run.to_s)
        fed = later[-1].before_fed_a if later else 0.0
        begins = turned_since(t, before, found, stopped_at)
        found.append(Running(begins, ends, "mark", before_v, before_a, fed, dark))
    return found


def _for_drawing(
    on: tuple[tuple[float, float], ...],
    off: tuple[tuple[float, float], ...],
    cranks: list[Crank],
    running: list[Running],
) -> tuple[Span, ...]:
    spans = [
        *(Span("key on", a, b) for a, b in on),
        *(Span("key off", a, b) for a, b in off),
        *(Span("cranking", crank.from_s, crank.to_s) for crank in cranks),
        *(Span("running", run.from_s, run.to_s) for run in running),
    ]
    return tuple(sorted(spans, key=lambda span: span.from_s))
