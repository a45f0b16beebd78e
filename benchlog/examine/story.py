"""The log's story: key, starter, engine and trigger, in time order."""

from dataclasses import replace
from typing import Literal

import numpy as np

from benchlog.analysis.bounce import BESIDE_S, event_edge, line_moves
from benchlog.analysis.coarse import Coarse, coarse, runs
from benchlog.analysis.cranking import LONGEST_S, Crank, find_cranks
from benchlog.analysis.key_state import KeyState, Turn, key_state, turns_of
from benchlog.analysis.levels import Crossing, state_levels
from benchlog.analysis.pulsing import Pulses, pulses_of
from benchlog.analysis.relay import trigger_crossings
from benchlog.analysis.running import Running, find_running
from benchlog.analysis.switched import PLAUSIBLE_V, Line, line_state, without_chatter
from benchlog.evidence import Span
from benchlog.examine.bench import KeyTurn, Samples, Story
from benchlog.trace import Trace
from benchlog.uncertainty import Accuracy

POINT_S = 0.05
SLOW_POINT_S = 0.5
#: Pulses are counted over twice this, s.
PULSES_S = 3.0
#: How far a mark of the crank may lie from what it marks, s.
MARK_BEFORE_S, MARK_LATE_S = 2.0, 4.0
STATE_ROLES = ("battery_v", "battery_a", "drain_a", "key_v", "trigger_v", "feed_v")


def tell(log: Samples, current_accuracy: Accuracy | None) -> Story:
    """Read the story of one log from its overview, looking closely where the key or the trigger moves."""
    table = coarse(log.overview, log.start_s, log.end_s, POINT_S, STATE_ROLES)
    lines = {role: line for role in ("key_v", "trigger_v", "feed_v") if (line := line_state(table, role)) is not None}
    pulses = _pulses(log, table, lines.get("trigger_v"))
    if pulses is None and "trigger_v" in lines:
        lines["trigger_v"] = replace(lines["trigger_v"], pulsed=np.zeros(len(table), dtype=bool))
    ups = [
        float(table.start_s[at]) for line in lines.values() for at in np.flatnonzero(line.up[1:] & ~line.up[:-1]) + 1
    ]
    cranks = find_cranks(table, ups)
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
    slow = coarse(log.overview, log.start_s, log.end_s, SLOW_POINT_S, ("battery_v", "battery_a"))
    key_known = key.source not in ("battery_a", "battery_v")
    running = _running(log, slow, on, cranks, current_accuracy, key_known)
    pulls, falls = _trigger_moves(log, table, lines.get("trigger_v"), cranks)
    return Story(
        source=key.source,
        sure=key.sure,
        turns=tuple(KeyTurn(turn.time_s, half, turn.to == "on") for turn, half in turns),
        on=on,
        off=off,
        cranks=tuple(cranks),
        running=tuple(running),
        rises=tuple(pulls),
        falls=tuple(falls),
        spans=_for_drawing(on, off, cranks, running),
        parked=bool(spans) and not on,
        trigger_pulses=pulses,
    )


def _marked_cranks(log: Samples, table: Coarse, lines: dict[str, Line]) -> list[Crank]:
    """Where the battery's voltage is not logged: a line that is down around a ``crank`` mark, as many bikes cut it."""
    found = []
    for mark in log.marks:
        if mark.text.lower() != "crank":
            continue
        for line in lines.values():
            for first, end in runs(~line.up):
                begins, ends = float(table.start_s[first]), float(table.end_s[end - 1])
                near = begins - MARK_BEFORE_S <= mark.time_s <= begins + MARK_LATE_S
                if first > 0 and end < len(table) and near and ends - begins <= LONGEST_S:
                    found.append(Crank(begins, ends, float("nan"), float("nan")))
    return found


def _closely(log: Samples, key: KeyState, cranks: list[Crank], lines: dict[str, Line]) -> list[tuple[Turn, float]]:
    """Each turn of the key with its instant on single samples, and the half-width of that instant."""
    closely = []
    for turn in key.turns:
        found = _instant(log, turn, turn.role, lines.get(turn.role)) if turn.role else None
        if found is None:
            closely.append((turn, turn.half_width_s))
        else:
            closely.append((replace(turn, time_s=found.time_s), found.width_s / 2))
    return [
        (turn, half)
        for turn, half in closely
        if turn.role is None or not any(crank.from_s <= turn.time_s <= crank.to_s for crank in cranks)
    ]


def _instant(log: Samples, turn: Turn, role: str, line: Line | None) -> Crossing | None:
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
    log: Samples, table: Coarse, line: Line | None, cranks: list[Crank]
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


def _pulses(log: Samples, table: Coarse, line: Line | None) -> Pulses | None:
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
    slow: Coarse,
    on: tuple[tuple[float, float], ...],
    cranks: list[Crank],
    accuracy: Accuracy | None,
    key_known: bool,
) -> list[Running]:
    share_u = accuracy.change_u(10.0) if accuracy else 0.1
    marks = [(mark.time_s, mark.text.lower()) for mark in log.marks]
    found: list[Running] = []
    for a, b in on or ((log.start_s, log.end_s),):
        inside = [crank for crank in cranks if a - 0.5 <= crank.from_s <= b]
        for number, crank in enumerate(inside):
            until = inside[number + 1].from_s if number + 1 < len(inside) else b
            stops = [t for t, text in marks if text == "engine off" and crank.to_s < t < until]
            until = min([until, *stops])
            run = find_running(slow, crank.to_s, until, crank.before_v, crank.before_a, share_u, key_known)
            if run:
                found.append(run)
        for t, text in marks:
            if text != "running" or not a <= t <= b or any(run.from_s <= t <= run.to_s for run in found):
                continue
            stops = [m for m, other in marks if other == "engine off" and m > t]
            before = [crank for crank in inside if crank.to_s <= t]
            found = [run for run in found if not t <= run.from_s <= min([b, *stops])]
            found.append(
                Running(
                    t,
                    min([b, *stops]),
                    "mark",
                    before[-1].before_v if before else float("nan"),
                    before[-1].before_a if before else float("nan"),
                )
            )
    return sorted(found, key=lambda run: run.from_s)


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
