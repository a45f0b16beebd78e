"""The true value of each check, from the circuit itself and its noise-free solution, by the checks' definitions.

A value is None where the session does not contain the condition (or the log has no channel for it), and infinite
where the condition is there and what should happen never does (a relay that never opens: fails without a number).
`slack` is how far two fair readings of the definition may lie apart (for `settle_time` from the time at which the
drain is within a tenth of its final value back to the one from which no more than 10 mA stirs); `soft` names the checks
for which "not seen" and a value are both defensible.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from .install import Install
from .loads import Spans, cut, meet
from .script import Script
from .solve import Solution
from .truth_relay import relay_truth

AWAKE_A = 0.25
#: A control unit that is awake draws this and more: the widest band within which a bike may be called asleep.
STIRS_A = 0.01


@dataclass
class Truth:
    """Values, slack and notes, by check id; `parts` holds further values (idle, revs, resistances).

    `both` holds the values at idle and revved where each is judged: a pass must hold for both, a failure of one fails.
    """

    value: dict[str, float | None] = field(default_factory=dict)
    slack: dict[str, float] = field(default_factory=dict)
    soft: set[str] = field(default_factory=set)
    parts: dict[str, float] = field(default_factory=dict)
    span: dict[str, tuple[float, float]] = field(default_factory=dict)
    both: dict[str, tuple[float, float]] = field(default_factory=dict)

    def put(self, check: str, value: float | None, slack: float = 0.0, others: list[float] | None = None) -> None:
        """One check's truth; `others` are values by other fair readings, which widen its span on their own side."""
        self.value[check] = value
        if value is None:
            self.slack[check] = 0.0
            return
        near = [value - slack, value + slack, *(others or [])]
        self.span[check] = (min(near), max(near))
        self.slack[check] = max(abs(x - value) for x in near) if math.isfinite(value) else 0.0


def check_ids(plan: dict) -> list[str]:
    """All check ids that a session can show, in the order of the result."""
    slots = [f"slot_{c['slot']}_current" for c in plan["circuit"]]
    return [
        "off_state_drain", "added_drain", "settle_time", "feed_off_voltage", "relay_pull_in", "relay_drop_out",
        "relay_chatter", "battery_sag", "feed_drop", "ground_lift", *slots, "resting_voltage", "source_resistance",
        "crank_minimum", "feed_in_crank", "charging_voltage", "charging_balance",
    ]  # fmt: skip


def _window(spans: Spans, end: float) -> Spans:
    return meet(sorted(spans), [(0.0, end)])


def _wakes(inst: Install) -> Spans:
    return [s for load in inst.bike if load.name.startswith("wake") for s in load.spans]


@dataclass
class Rest:
    """One key-off span and what the drain does in it; settle_s from its start, None while it does not settle.

    `early_s` is when it came within 10 mA for good, `tail_a` the least current above the final one between the two
    (or before, where they are the same): what a logger must tell from nothing to see the bike settle.
    """

    start: float
    stop: float
    settle_s: float | None
    drain_ma: float
    awake: bool
    early_s: float = 0.0
    tail_a: float = math.inf
    tail_s: float = math.inf


def rests(inst: Install, script: Script, sol: Solution) -> list[Rest]:
    """Each key-off span of the log."""
    out = []
    for a, b in script.off():
        inner = (sol.t > a + 1e-6) & (sol.t < b - 1e-6)
        t, i = sol.t[inner], sol.values["battery_a"][inner]
        calm = np.ones(len(t), dtype=bool)
        for x, y in _wakes(inst):
            calm &= ~((t >= x - 1e-6) & (t <= y + 1e-6))
        t, i = t[calm], i[calm]
        if len(t) < 3:
            continue
        final = float(i[-1])
        off = np.abs(i - final) > max(1e-4, 0.1 * abs(final))
        settle = float(t[np.flatnonzero(off)[-1]] - a) if off.any() else 0.0
        stirs = np.abs(i - final) > max(STIRS_A, 0.1 * abs(final))
        early = float(t[np.flatnonzero(stirs)[-1]] - a) if stirs.any() else 0.0
        tail = _tail(t - a, i - final, settle)
        awake = final > AWAKE_A
        limit = script.settle_max_s
        if awake:
            drain = sol.mean("battery_a", max(a, b - limit), b) * 1000
            out.append(Rest(a, b, None, drain, awake=True))
        else:
            ok = b - a - settle >= limit
            drain = sol.mean("battery_a", a + settle + 1e-3, b) * 1000
            out.append(Rest(a, b, settle if ok else None, drain, False, early, *tail))
    return out


def _tail(t: np.ndarray, above: np.ndarray, settle: float) -> tuple[float, float]:
    """The current above the final one just before it settled, A, and for how long it had been no more than half again.

    A current that is seen to end needs no finer eye than its own size.
    """
    before = np.flatnonzero(t <= settle + 1e-9)
    if settle <= 0 or not len(before):
        return math.inf, math.inf
    size = float(np.median(np.abs(above[before[-3:]])))
    larger = before[np.abs(above[before]) > 1.5 * size]
    return size, settle - (float(t[larger[-1]]) if len(larger) else 0.0)


def _off_state(tr: Truth, inst: Install, script: Script, sol: Solution, roles: set[str]) -> list[Rest]:
    spans = rests(inst, script, sol)
    limit = script.settle_max_s
    counted = [r for r in spans if r.settle_s is not None or (r.awake and r.stop - r.start > limit)]
    drains = [r.drain_ma for r in counted]
    has_current = bool(roles & {"battery_a", "drain_a"})
    tr.put("off_state_drain", max(drains) if drains and has_current else None, 0.01 * max(map(abs, drains), default=0))
    times = [math.inf if r.awake else r.settle_s for r in counted]
    # "within its final band" may mean a tenth of the drain, or all that stirs less than a control unit that is awake
    early = max((r.early_s for r in counted if not r.awake), default=0.0)
    tr.put("settle_time", max(times) if times and has_current else None, 0.05, [early - 0.05] if times else None)
    slowest = max((r for r in counted if not r.awake and r.start > 0), key=lambda r: r.settle_s or 0.0, default=None)
    if slowest is not None:
        tr.parts |= {"tail_a": slowest.tail_a, "tail_s": slowest.tail_s}
    if counted and all(r.start <= 0 for r in counted):
        tr.soft.add("settle_time")  # only a span that opens the log
    begins = [(r.stop - limit if r.awake else r.start + (r.settle_s or 0.0)) + 0.01 for r in counted]
    levels = [sol.mean("feed_v", x, r.stop) for x, r in zip(begins, counted, strict=True)]
    held = [float(sol.at("feed_v", np.array([x]))[0]) for x in begins]
    spread = max((abs(h - m) for h, m in zip(held, levels, strict=True)), default=0.0)
    tr.put("feed_off_voltage", max(levels) if levels and "feed_v" in roles else None, 0.01 + 0.1 * spread)
    short = [r for r in spans if r not in counted and r.stop - r.start > 0.5 * limit]
    short = short or [r for r in spans if r.awake and r.stop - r.start > 0.5 * limit]
    if short and not counted:
        tr.soft |= {"off_state_drain", "settle_time", "feed_off_voltage"}
    first_key = min((a for a, _ in script.key if a > 0), default=script.end_s)
    opening = [r for r in spans if r.start <= 0 and r.stop <= first_key + 1e-9]
    seen = [r for r in opening if r.settle_s is not None]
    if "battery_v" in roles and opening and not opening[0].awake:
        r = opening[0]
        begin = min(r.start + (r.settle_s or 0.0), r.stop - 1.0)
        v = sol.at("battery_v", np.array([begin + 1e-3, r.stop - 1e-3]))
        tr.put("resting_voltage", sol.mean("battery_v", begin, r.stop), abs(float(v[1] - v[0])))
        if not seen:
            tr.soft.add("resting_voltage")
    else:
        tr.put("resting_voltage", None)
    return spans


RESTED = ("off_state_drain", "settle_time", "feed_off_voltage", "resting_voltage")


def rest_again(tr: Truth, inst: Install, script: Script, sol: Solution, roles: set[str], settle_max_s: float) -> Truth:
    """The same truth with the key-off spans counted by another settling limit: a span counts if it stays settled so."""
    own = {check: check in tr.soft for check in RESTED}
    soft = {check for check in tr.soft if check not in own}
    out = Truth(dict(tr.value), dict(tr.slack), soft, dict(tr.parts), dict(tr.span), dict(tr.both))
    for name in ("tail_a", "tail_s"):
        out.parts.pop(name, None)
    script = copy.copy(script)
    script.settle_max_s = settle_max_s
    _off_state(out, inst, script, sol, roles)
    return out


def engine_off(script: Script) -> Spans:
    """Key-on time of the log with the engine neither cranked nor turning (nor just stopped)."""
    busy = [(a, b + 0.5) for a, b in script.crank] + [(a, b + 2.0) for a, b in script.run]
    return cut(_window(script.key, script.end_s), busy)


def _sag(tr: Truth, inst: Install, script: Script, sol: Solution, roles: set[str], block_works: bool) -> None:
    bat, planned = inst.battery, inst.planned_a
    edges = sorted({x for c in inst.circuits for s in c.spans for x in s if math.isfinite(x)})
    wanted = {"battery_v", "battery_a"} <= roles
    found: list[float] = []
    size = 0.0
    for a, b in engine_off(script):
        best = None
        cuts = [a, *[x for x in edges if a < x < b], b]
        for x, y in pairwise(cuts):
            if y - x < 1.0:
                continue
            half = x + max((y - x) / 2, 0.5)
            i = sol.mean("battery_a", half, y)
            if best is None or i > best[0]:
                best = (i, half, y)
        if best is None or not wanted:
            continue
        i1, h, y = best
        v1 = sol.mean("battery_v", h, y)
        here = []
        for x in [a, *[x for x in edges if a < x < h]]:
            if x < 0.2:
                continue
            low = max(x - 0.5, 0.0)
            i0, v0 = sol.mean("battery_a", low, x - 1e-4), sol.mean("battery_v", low, x - 1e-4)
            if i1 - i0 > 0.5:
                here.append((i1 - i0, (v0 - v1) / (i1 - i0)))
        most = max((x for x, _ in here), default=0.0)
        here = [r for x, r in here if x > 0.4 * most]  # small steps tell little
        # the stretch with the most to show is the main one; another's findings count as slack
        found = here + found if here and i1 > size else found + here
        size = max(size, i1) if here else size
    if not found:
        tr.put("battery_sag", None)
        tr.put("source_resistance", None)
        return
    # just before the load: before the first circuit that is switched while the key is on, else before the key
    r = found[1] if len(found) > 1 else found[0]
    grown = bat.r0 + bat.r1 * (1 - math.exp(-1 / bat.tau1)) + bat.r2 * (1 - math.exp(-1 / bat.tau2))
    span = [bat.r0, grown, bat.r0 + bat.r1 + bat.r2 * (1 - math.exp(-5 / bat.tau2)), *found]
    tr.put("battery_sag", r * planned, 0.0, [x * planned for x in span[1:]])
    tr.put("source_resistance", grown * 1000, 0.0, [x * 1000 for x in span])
    tr.parts |= {"r0_ohm": bat.r0, "r1_ohm": bat.r1, "r2_ohm": bat.r2, "sag_ohm": r}
    if not block_works:
        tr.soft |= {"battery_sag", "source_resistance"}


def _loads(tr: Truth, inst: Install, script: Script, sol: Solution, roles: set[str]) -> bool:
    planned = inst.planned_a
    fed = meet(_window(script.key, script.end_s), sol.closed)
    total = max((sol.mean("feed_a", a, b) for a, b in fed if b - a > 0.5), default=0.0)
    works = total > 0.2
    amps = bool(roles & {"battery_a", "feed_a"})
    drop = works and amps and {"battery_v", "feed_v"} <= roles
    tr.put("feed_drop", inst.feed_ohm * planned if drop else None)
    if inst.ground_open:
        lifts = any(c.spans for c in inst.circuits) and bool(fed)
        tr.put("ground_lift", math.inf if lifts and "ground_v" in roles else None)
    else:
        tr.put("ground_lift", inst.ground_ohm * planned if works and amps and "ground_v" in roles else None)
    tr.parts |= {"feed_ohm": inst.feed_ohm, "ground_ohm": inst.ground_ohm}
    quiet = meet(engine_off(script), sol.closed)
    running = meet(_window(script.run, script.end_s), sol.closed)
    for n, c in enumerate(inst.circuits, 1):
        own = f"slot{n}_a" in roles
        seen = []
        for where in (quiet, running):
            # sustained: the second half of each dwell, at least 1 s long
            spans = [(max(a, (a + b) / 2), b) for a, b in meet(c.spans, where) if b - a > 1.0]
            if spans:
                whole = sum(b - a for a, b in spans)
                seen.append(sum(sol.mean(f"slot{n}_a", a, b) * (b - a) for a, b in spans) / whole)
        stepped = any(0 < a < script.end_s for a, _ in c.spans)
        check = f"slot_{n}_current"
        if not seen or not (own or amps) or not (own or stepped):
            tr.put(check, None)
            continue
        slack = (0.07 if c.pulse_hz else 0.02) * abs(seen[0])
        tr.put(check, seen[0], slack, [seen[-1]] if own else None)
    return works


def _engine(tr: Truth, inst: Install, script: Script, sol: Solution, roles: set[str]) -> None:
    cranks = [(a, b) for a, b in script.crank if a >= 0 and b <= script.end_s]
    lows = []
    for a, b in cranks:
        t = np.arange(a + 1e-6, b, 1e-4)
        v = sol.at("battery_v", t)
        if len(t) >= 101:
            lows.append(float(np.lib.stride_tricks.sliding_window_view(v, 101).max(axis=1).min()))
    tr.put("crank_minimum", min(lows) if lows and "battery_v" in roles else None, 0.03)
    losses = []
    for a, b in cranks:
        t = np.arange(a, min(b + 0.5, script.end_s), 2e-4)
        low = np.concatenate(([False], sol.at("feed_v", t) < sol.at("battery_v", t) / 2, [False]))
        turn = np.flatnonzero(np.diff(low.astype(int)))
        losses += [(y - x) * 2e-4 for x, y in zip(turn[::2], turn[1::2], strict=True) if t[min(x, len(t) - 1)] < b]
    before = all(sol.at("feed_v", np.array([a - 0.01]))[0] > 6 for a, _ in cranks)
    ok = bool(cranks) and {"feed_v", "battery_v"} <= roles
    tr.put("feed_in_crank", (max(losses, default=0.0)) if ok else None, 0.02)
    if not before:
        tr.soft.add("feed_in_crank")
    runs = [(a, b) for a, b in _window(script.run, script.end_s) if b - a > 5.0]
    gives = any(sol.inner["alternator_a"][(sol.t > a) & (sol.t < b)].max(initial=0.0) > 0.2 for a, b in runs)
    known = bool(runs) and "battery_v" in roles and (gives or (script.marked and script.run_marked))
    if not known:
        tr.put("charging_voltage", None)
        tr.put("charging_balance", None)
        return
    revs = [(a + 1, b - 1) for a, b in meet(runs, script.revs) if b - a > 5]
    idle = [(a + 2, b - 0.5) for a, b in cut(runs, [(x - 0.5, y + 0.5) for x, y in script.revs]) if b - a > 5]
    # a bike that charges only when revved has not charged at idle: both are said, the worse is judged
    two = bool(idle and revs) and _mean(sol, "battery_a", idle) > 0.0 > _mean(sol, "battery_a", revs)
    for name, spans in (("idle", idle), ("revs", revs)):
        if spans:
            tr.parts[f"{name}_v"] = _mean(sol, "battery_v", spans)
    settled = [(a + 2, b - 0.5) for a, b in runs]  # without the alternator's rise and its coasting
    # how long the engine idles and revs belongs to the session; where one of them ends, a second or so, to the reader
    around = _around(sol, "battery_v", runs, script.stumbles)
    tr.put("charging_voltage", _mean(sol, "battery_v", runs), 0.02, [_mean(sol, "battery_v", settled), *around])
    if two:
        tr.both["charging_voltage"] = (tr.parts["idle_v"], tr.parts["revs_v"])
        tr.value["charging_voltage"] = tr.parts["idle_v"]
        tr.slack["charging_voltage"] = 0.02 + 0.02 * abs(tr.parts["revs_v"] - tr.parts["idle_v"])
    loaded = meet(runs, script.all_on) or runs
    late = [(a + 2, b - 0.5) for a, b in loaded if b - a > 5] or loaded
    # a circuit that switches itself is not always on, and a log of two channels does not show which ones are
    truly = loaded
    for circuit in inst.circuits:
        truly = meet(truly, circuit.spans) if circuit.spans else truly
    fair = [truly] if sum(b - a for a, b in truly) > 5 else []
    if not roles & {"feed_a", "feed_v", "ground_v", "slot1_a"}:
        fair.append(runs)
    value = -_mean(sol, "battery_a", loaded)
    others = [
        *(-_mean(sol, "battery_a", spans) for spans in (late, *fair)),
        *(-x for x in _around(sol, "battery_a", loaded, script.stumbles)),
    ]
    tr.put("charging_balance", value if "battery_a" in roles else None, 0.05, others)
    each = [meet(idle, loaded), meet(revs, loaded)]
    if two and all(each) and "battery_a" in roles:
        low, high = (-_mean(sol, "battery_a", spans) for spans in each)
        tr.both["charging_balance"] = (low, high)
        tr.value["charging_balance"] = low
        tr.slack["charging_balance"] = 0.05 + 0.02 * abs(high - low)
    for check, (low, high) in tr.both.items():
        tr.span[check] = (low - tr.slack[check], high + tr.slack[check])


def _mean(sol: Solution, role: str, spans: Spans) -> float:
    return sum(sol.mean(role, a, b) * (b - a) for a, b in spans) / sum(b - a for a, b in spans)


def _around(sol: Solution, role: str, spans: Spans, stumbles: Spans) -> list[float]:
    """The mean with the borders of the stretch read a second and a half earlier or later, as fair readers may.

    An engine that stumbles for a second may count as running, or as having stalled and caught again.
    """
    found = []
    stumbled = cut(spans, [(a, b + 3.0) for a, b in stumbles])
    if stumbled and stumbles:
        found.append(_mean(sol, role, [(a, b) for a, b in stumbled if b - a > 1] or spans))
    for begin, end in ((1.5, 0.0), (0.0, -1.5), (3.0, 0.0)):
        moved = [(a + begin, b + end) for a, b in spans if b - a > 6]
        if moved:
            found.append(_mean(sol, role, moved))
    return found


def find_truth(inst: Install, script: Script, sol: Solution, roles: set[str], plan: dict) -> Truth:
    """All checks of one log with the channels `roles`."""
    tr = Truth()
    _off_state(tr, inst, script, sol, roles)
    tr.put("added_drain", None)
    relay_truth(tr, inst, script, sol, roles, plan)
    works = _loads(tr, inst, script, sol, roles)
    _sag(tr, inst, script, sol, roles, works)
    _engine(tr, inst, script, sol, roles)
    if inst.trigger_pulse and inst.trigger_pulse[0] < 100:  # the contact chatters: no load lasts
        slots = {f"slot_{n}_current" for n in range(1, len(inst.circuits) + 1)}
        tr.soft |= {"battery_sag", "source_resistance", "feed_drop", "ground_lift", "feed_in_crank", *slots}
    return tr
