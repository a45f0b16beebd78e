"""The circuit solved: posts, feed, ground bus and circuits, from the relay's motion and the loads' conductances.

The network is resistive at every instant; its memory sits in the battery (polarisation, surface charge, charge)
and in the capacitors across the fuse block. The battery's states are advanced on a coarse net of bins with the
mean conductance of each, exactly for constant current; all else is solved sample by sample, vectorised.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from . import grid
from .coil import Motion, move
from .install import Install
from .loads import RATED_V, Spans, cut, join, meet
from .network import Network
from .script import Script


@dataclass
class Solution:
    """Noise-free values at the instants `t` (s); currents in A, voltages in V against battery negative."""

    t: np.ndarray
    values: dict[str, np.ndarray]
    motion: Motion
    closed: Spans  # with bounce, forced spans and inversion
    source_on: Spans  # the trigger line is fed
    inner: dict[str, np.ndarray] = field(default_factory=dict)

    def at(self, role: str, t: np.ndarray) -> np.ndarray:
        """One role at other instants, linear between the solved ones."""
        return np.interp(t, self.t, self.values[role])

    def mean(self, role: str, a: float, b: float) -> float:
        """Time-weighted mean from a to b."""
        i, j = np.searchsorted(self.t, (a, b), side="right")
        x = np.concatenate(([a], self.t[i:j], [b]))
        y = np.concatenate((self.at(role, x[:1]), self.values[role][i:j], self.at(role, x[-1:])))
        return float(np.trapezoid(y, x) / (b - a))


def source_spans(inst: Install, script: Script, start: float) -> Spans:
    """When the trigger's line is fed."""
    if inst.trigger_dead:
        return join(list(inst.trigger_flashes))
    if inst.trigger_live:
        return [(start - 1.0, script.end_s + 1.0)]
    spans = list(script.key_raw or script.key)
    if inst.lamps_cut:
        spans = cut(spans, script.crank)
    if inst.trigger_pulse:
        hz, duty = inst.trigger_pulse
        pulses = []
        for a, b in spans:
            n = np.arange(math.floor(a * hz), math.ceil(b * hz) + 1)
            pulses += [(float(x) / hz, (float(x) + duty) / hz) for x in n]
        spans = meet(spans, pulses)
    return spans


def _inputs(spans: Spans, crank: Spans, start: float, volts, drop: float) -> list[tuple[float, bool, float]]:
    """The relay's inputs: on with the source's volts, new where these moved by more than 50 mV."""
    out = [(start - 1.0, bool(spans and spans[0][0] <= start), float(volts(np.array([start]))[0]) - drop)]
    for a, b in spans:
        a = max(a, start)
        parts = [
            np.arange(a, b, 0.25),
            np.array([a + x for x in (0.001, 0.003, 0.01, 0.03, 0.1) if a + x < b]),
            *[np.arange(max(a, x), min(b, y + 0.3), 0.002) for x, y in crank if y > a and x < b],
        ]
        t = np.unique(np.concatenate([p for p in parts if len(p)] or [np.array([a])]))
        v = volts(t + 1e-6) - drop
        last = None
        for x, y in zip(t.tolist(), v.tolist(), strict=True):
            if last is None or abs(y - last) > 0.05:
                out.append((x, True, y))
                last = y
        # the volts of an unfed line matter where the load side feeds it back
        out.append((b, False, float(volts(np.array([b + 0.5]))[0]) - drop))
    return out


def _settle(
    net: Network, edges_b: np.ndarray, passes: int, v: np.ndarray | float = RATED_V
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    for _ in range(passes):
        net.conduct(v)
        e = net.slow(edges_b)
        v, i, alt = net.posts(e)
    net.inner["emf"] = e
    net.inner["alternator_a"] = alt
    return v, i, alt


def _block(net: Network, v: np.ndarray, current: np.ndarray) -> tuple[np.ndarray, ...]:
    """Stud, bus and feed current; capacitors across the block hold the stud up and draw a spike on closing."""
    inst, t, on = net.inst, net.t, net.closed
    load = np.where(on, v * net.g_block / (1 + (net.r_feed + net.r_ground) * net.g_block), 0.0)
    feed = np.where(on, v - net.r_feed * load, inst.leak_v)
    bus = net.r_ground * load
    if inst.block_f > 0:
        power = any(c.kind != "resistor" for c in inst.circuits)
        ri = net.r_feed + min(net.r_ground, 10.0) + inst.battery.r0
        turned, dt = np.diff(on.astype(int)), np.diff(t)
        opens = np.flatnonzero(turned < 0) + 1
        closes = np.append(np.flatnonzero(turned > 0) + 1, len(t))
        for s, e in zip(opens.tolist(), closes[np.searchsorted(closes, opens)].tolist(), strict=True):
            held = np.full(e - s, feed[s - 1] - bus[s - 1])
            for _ in range(10 if held[0] > 9.0 and power else 1):  # constant power draws more as the block falls
                g = sum(net.slots(held, slice(s, e))) + inst.block_f / inst.bleed_s
                area = np.concatenate(([0.0], np.cumsum(dt[s : e - 1] * (g[1:] + g[:-1]) / 2)))
                before, held = held, held[0] * np.exp(-area / inst.block_f)
                if (before == held).all():
                    break
            feed[s:e] = np.maximum(inst.leak_v, held)
            if e < len(t):
                j = int(np.searchsorted(t, t[e] + 10 * ri * inst.block_f))
                opened = int(np.searchsorted(opens, e))
                j = min(j, int(opens[opened])) if opened < len(opens) else j  # it ends as the contact opens
                spike = (v[e] - feed[e - 1]) / ri * np.exp(-(t[e:j] - t[e]) / (ri * inst.block_f))
                load[e:j] += spike
                feed[e:j] -= spike * (net.r_feed + inst.battery.r0)
                bus[e:j] += spike * min(net.r_ground, 10.0)
                v[e:j] -= spike * inst.battery.r0
                current[e:j] += spike
    bus = bus + inst.ground_shunt_ohm * current
    return feed, bus, load


def solve(inst: Install, script: Script, samples: np.ndarray, start: float, base_s: float) -> Solution:
    """Solve the whole session; `samples` are instants at which exact values are wanted."""
    switched = grid.edges(inst, script, start)
    edges_b = grid.bins(start, script, switched)
    spans = source_spans(inst, script, start)
    rough = [(a + 0.008, b + 0.008) for a, b in spans]
    coarse = 0.05 if script.end_s - start < 1500 else 5.0
    t = grid.build(start, script, np.array([]), switched, np.array([]), coarse)
    net = Network(inst, script, t, rough, 0.0)
    v, _, _ = _settle(net, edges_b, 2)
    rough_t = t
    inputs = _inputs(spans, script.crank, start, lambda x: np.interp(x, t, v), inst.key_drop_v)
    motion = move(inst.relay, inputs, script.end_s)
    whole = (start - 1.0, script.end_s + 1.0)
    closed = join(motion.bounced() + inst.forced_closed)
    closed = cut(closed, inst.forced_open)
    if inst.inverted:
        closed = cut([whole], closed)
    if inst.feed_open:
        closed = []
    contacts = np.unique(np.array([x for s in closed for x in s if start < x < script.end_s]))
    t = grid.build(start, script, samples, switched, np.concatenate((contacts, motion.t0[motion.t0 > start])), base_s)
    net = Network(inst, script, t, closed, motion.line_a(t))
    v, current, _ = _settle(net, edges_b, 1, np.interp(t, rough_t, v))
    feed, bus, load = _block(net, v, current)
    trigger = motion.trigger_v(t, v - inst.key_drop_v)
    u = np.where(net.closed, v - (net.r_feed + net.r_ground) * load, 0.0)
    values = {
        "battery_v": v + net.spike,
        "battery_a": current,
        "key_v": np.where(net.key_on, v - inst.key_drop_v, 0.0),
        "trigger_v": trigger,
        "feed_v": feed,
        "ground_v": bus,
        "feed_a": load,
    }
    for n, (g, c) in enumerate(zip(net.g_slots, inst.circuits, strict=True), 1):
        amps = u * g
        values[f"slot{n}_a"] = amps
        values[f"slot{n}_v"] = np.where(net.closed, feed - amps * c.wire_ohm, 0.0)
    net.inner["rpm"] = net.rpm
    return Solution(t, values, motion, closed, spans, net.inner)
