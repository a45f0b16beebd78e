"""True pull-in, drop-out and chatter, from the exact instants of the relay's contact and the line's voltage."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from .install import Install
from .script import Script
from .solve import Solution

if TYPE_CHECKING:
    from .truth import Truth

BOUNCE_S = 5e-3  # after a closing


def _crossings(sol: Solution, a: float, b: float, rising: bool, high: float | None = None) -> list[float]:
    """Times at which the trigger passes half its local high level."""
    t = np.unique(np.concatenate((np.arange(a, b, 1e-4), sol.t[(sol.t > a) & (sol.t < b)])))
    if len(t) < 3:
        return []
    v = sol.at("trigger_v", t)
    half = (high if high is not None else float(np.max(v))) / 2
    if half < 1.0:
        return []
    up = v >= half
    k = np.flatnonzero(~up[:-1] & up[1:]) if rising else np.flatnonzero(up[:-1] & ~up[1:])
    return [float(t[n] + (half - v[n]) / (v[n + 1] - v[n]) * (t[n + 1] - t[n])) for n in k]


def _closed_at(sol: Solution, t: float) -> bool:
    return any(a <= t < b for a, b in sol.closed)


def _pull_ins(inst: Install, script: Script, sol: Solution, limit_s: float) -> tuple[list[float], float]:
    out, spread = [], 0.0
    for a, b in script.key:
        stop = min(b, script.end_s)
        if a <= 0 or a >= script.end_s:
            continue
        if inst.inverted and stop - a > limit_s:
            out.append(math.inf)  # dead through the key-on
        if inst.inverted or _closed_at(sol, a - 1e-4):
            continue
        closings = [x for x, _ in sol.closed if a <= x < stop]
        if not closings:
            if stop - a > limit_s:
                out.append(math.inf)
            continue
        edges = [x for x in _crossings(sol, a - 1e-3, min(stop, closings[0] + 0.05), rising=True) if x <= closings[0]]
        if edges:
            out.append(closings[0] - edges[-1])
            spread = max(spread, edges[-1] - edges[0])
    return out, spread


def _drop_outs(script: Script, sol: Solution, limit_s: float) -> tuple[list[float], float]:
    out, spread = [], 0.0
    for _, b in script.key:
        if b <= 0 or b >= script.end_s or not _closed_at(sol, b - 1e-4):
            continue
        stop = min([x for x, _ in script.key if x > b] + [script.end_s])
        last = [y for _, y in sol.closed if b - 1e-4 <= y <= stop - 1e-6]
        high = float(np.median(sol.at("trigger_v", np.linspace(b - 0.05, b - 1e-3, 40))))
        falls = _crossings(sol, b - 2e-3, min(stop, b + 10.0), rising=False, high=high)
        if _closed_at(sol, stop - 1e-3) or not last:
            if stop - b > limit_s:
                out.append(math.inf)
            continue
        opening = last[-1]
        before = [x for x in falls if x <= opening]
        if before:
            out.append(opening - before[-1])
            spread = max(spread, before[-1] - before[0])
    return out, spread


def openings(script: Script, sol: Solution) -> list[tuple[float, float]]:
    """(time, length) of each contact opening with the key on and each re-closing with it off, without bounce.

    Bounce is what opens for less than 5 ms within 5 ms of a closing that an opening no bounce went before: a contact
    that buzzes goes on for longer.
    """
    found = []
    spans = sol.closed
    busy = [(a, b + 0.3) for a, b in script.crank]
    shut = spans[0][0] if spans else 0.0
    for (a0, b0), (a1, _) in pairwise(spans):
        gap = (b0, a1)
        bounces = b0 - shut < BOUNCE_S and a1 - b0 < BOUNCE_S
        if not bounces and max(a1 - b0, b0 - a0) >= BOUNCE_S:
            shut = a1
        if not (0 < b0 < script.end_s) or bounces:
            continue
        if any(x - 0.01 <= b0 <= y for x, y in busy):
            continue
        keyed = [x <= b0 < y for x, y in script.key]
        shut_in_key = [x <= a1 < y for x, y in script.key]
        if any(keyed) or (not any(shut_in_key) and a1 < script.end_s):
            found.append((gap[0], gap[1] - gap[0]))
    if spans and any(x <= spans[-1][1] < y - 1e-6 for x, y in script.key) and spans[-1][1] < script.end_s - 1e-6:
        b0 = spans[-1][1]
        if not any(x - 0.01 <= b0 <= y for x, y in busy):
            found.append((b0, math.inf))
    return found


def relay_truth(tr: Truth, inst: Install, script: Script, sol: Solution, roles: set[str], plan: dict) -> None:
    """Fill in the relay's three checks."""
    timed = {"trigger_v", "feed_v"} <= roles
    ins, in_spread = _pull_ins(inst, script, sol, plan["relay"]["pull_in_max_ms"] / 1000)
    outs, out_spread = _drop_outs(script, sol, plan["relay"]["drop_out_max_ms"] / 1000)
    # capacitors across the block take the feed to its half level a little after the contact
    filling = (inst.feed_ohm + min(inst.ground_ohm, 1.0) + inst.battery.r0) * inst.block_f * math.log(2)
    late = max(ins, default=0.0) + max(in_spread, filling)
    tr.put("relay_pull_in", max(ins) * 1000 if timed and ins else None, 0.15, [late * 1000 + 0.15])
    tr.put(
        "relay_drop_out",
        max(outs) * 1000 if timed and outs else None,
        0.15,
        [max(outs, default=0.0) * 1000 + out_spread * 1000],
    )
    keyed = [(max(a, 0.0), min(b, script.end_s)) for a, b in script.key if b > 0 and a < script.end_s]
    found = openings(script, sol)
    near = [x for x, _ in found if any(abs(x - k) < 0.06 for s in script.key for k in s)]
    tr.put("relay_chatter", float(len(found) - len(near)) if keyed and "feed_v" in roles else None, float(len(near)))
    tr.parts["openings"] = len(found)
    tr.parts["shortest_opening_s"] = min((y for _, y in found), default=math.inf)
    if inst.trigger_pulse or inst.relay.shared < 1 or inst.relay.c > 1e-6:
        tr.soft |= {"relay_pull_in", "relay_drop_out"}
    if inst.inverted or inst.feed_open or inst.relay.coil_open:
        tr.soft |= {"relay_pull_in", "relay_drop_out", "relay_chatter"}
