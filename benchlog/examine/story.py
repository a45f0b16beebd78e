"""The log's story: key, starter, engine and trigger, in time order."""

from dataclasses import replace

import numpy as np

from benchlog.analysis.coarse import Coarse, coarse, runs
from benchlog.analysis.cranking import LONGEST_S, Crank, find_cranks
from benchlog.analysis.key_state import KeyState, Turn, key_state, turns_of
from benchlog.analysis.levels import Crossing
from benchlog.analysis.relay import trigger_crossings
from benchlog.analysis.running import Running, find_running
from benchlog.analysis.switched import Line, drop_short, line_state
from benchlog.evidence import Span
from benchlog.examine.bench import KeyTurn, Samples, Story
from benchlog.uncertainty import Accuracy

POINT_S = 0.05
SLOW_POINT_S = 0.5
#: How far a mark of the crank may lie from what it marks, s.
MARK_BEFORE_S, MARK_LATE_S = 2.0, 4.0
STATE_ROLES = ("battery_v", "battery_a", "drain_a", "key_v", "trigger_v", "feed_v")


def tell(log: Samples, current_accuracy: Accuracy | None) -> Story:
    """Read the story of one log from its overview, looking closely where the key or the trigger moves."""
    table = coarse(log.overview, log.start_s, log.end_s, POINT_S, STATE_ROLES)
    lines = {role: line for role in ("key_v", "trigger_v", "feed_v") if (line := line_state(table, role)) is not None}
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


def _window(log: Samples, time_s: float, half_width_s: float) -> tuple[float, float]:
    reach = max(0.4, 2 * half_width_s, 6 * log.overview.step_s)
    return time_s - reach, time_s + reach


def _closely(log: Samples, key: KeyState, cranks: list[Crank], lines: dict[str, Line]) -> list[tuple[Turn, float]]:
    """Each turn of the key with its instant on single samples, and the half-width of that instant."""
    closely = []
    for turn in key.turns:
        line = lines.get(turn.role) if turn.role else None
        low = line.levels.low if line and line.levels else None
        found = _instant(log, turn, turn.role, low) if turn.role else None
        if found is None:
            closely.append((turn, turn.half_width_s))
        else:
            closely.append((replace(turn, time_s=found.time_s), found.width_s / 2))
    return [
        (turn, half)
        for turn, half in closely
        if turn.role is None or not any(crank.from_s <= turn.time_s <= crank.to_s for crank in cranks)
    ]


def _instant(log: Samples, turn: Turn, role: str, low: float | None = None) -> Crossing | None:
    """The passage on single samples; ``low`` is the line's low level, which neither engine nor load moves."""
    trace = log.trace(*_window(log, turn.time_s, turn.half_width_s), [role])
    wanted = "high" if turn.to == "on" else "low"
    moves = [move for move in trigger_crossings(trace, role, low) if move.to == wanted]
    return min(moves, key=lambda move: abs(move.time_s - turn.time_s)) if moves else None


def _trigger_moves(
    log: Samples, table: Coarse, line: Line | None, cranks: list[Crank]
) -> tuple[list[Crossing], list[Crossing]]:
    if line is None or not line.moves:
        return [], []
    up = drop_short(line.up, table.start_s, POINT_S)
    rises: list[Crossing] = []
    falls: list[Crossing] = []
    for turn in turns_of(up, table, "trigger_v"):
        found = _instant(log, turn, "trigger_v", line.levels.low if line.levels else None)
        # the starter's dip may take the trigger with it; a rise just before it is the key
        early_s = 0.5 if turn.to == "off" else 0.0
        if found is None or any(c.from_s - early_s <= found.time_s <= c.to_s + 1.0 for c in cranks):
            continue
        (rises if found.to == "high" else falls).append(found)
    return rises, falls


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
