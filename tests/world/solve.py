"""The circuit solved: posts, feed, ground bus and circuits, from the relay's motion and the loads' conductances.

The network is resistive at every instant; its memory sits in the battery (polarisation, surface charge, charge)
and in the capacitors across the fuse block. The battery's states are advanced on a coarse net of bins with the
mean conductance of each, exactly for constant current; all else is solved sample by sample, vectorised.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from . import grid
from .coil import Motion, move
from .install import Install
from .loads import RATED_V, Load, Spans, cut, inside, join, meet
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


def _device(load: Load, t: np.ndarray, fed: Spans) -> np.ndarray:
    """Current over the steady one if fed: switch, pulses, and inrush from the moments the feed or switch closed."""
    s = inside(t, load.spans).astype(float)
    if load.pulse_hz:
        s *= load.up(t)
    if load.inrush > 1.0:
        starts = [a for a, _ in meet(load.spans, fed)]
        for a, later in pairwise([*starts, math.inf]):
            if math.isfinite(a):
                i, j = np.searchsorted(t, (a, min(later, a + 8 * load.inrush_s)))
                s[i:j] *= 1.0 + (load.inrush - 1.0) * np.exp(-(t[i:j] - a) / load.inrush_s)
    return s


def _joined(spans: Spans, gap: float) -> Spans:
    return [(a, b - gap) for a, b in join([(a, b + gap) for a, b in spans])]


class Network:
    """All conductances on one net of instants, solved for the posts' voltage."""

    def __init__(self, inst: Install, script: Script, t: np.ndarray, closed: Spans, coil_a: np.ndarray | float) -> None:
        self.inst, self.script, self.t = inst, script, t
        key = script.key_raw or script.key
        self.key_on = inside(t, key)
        self.closed = inside(t, closed)
        fed = _joined(closed, 0.01)
        self.shapes = [_device(c, t, fed) * c.amps for c in inst.circuits]
        self.g_bike = np.zeros_like(t)
        self.p_bike = np.zeros_like(t)
        self.j = np.zeros_like(t) + coil_a
        for load in inst.bike:
            reach = load.spans if load.place == "battery" else meet(load.spans, key)
            s = _device(Load(**{**load.__dict__, "spans": reach}), t, reach) * load.amps
            if load.kind == "current":
                self.j += s
            elif load.kind == "power":
                self.p_bike += s * RATED_V
            else:
                self.g_bike += s / RATED_V
        self.r_feed = inst.feed_ohm
        self.r_ground = 1e5 if inst.ground_open else inst.ground_ohm
        self._engine()

    def _engine(self) -> None:
        inst, s, t = self.inst, self.script, self.t
        rest = inst.battery.open_circuit_v(inst.battery.charge)
        self.gs, self.gseb = np.zeros_like(t), np.zeros_like(t)
        for a, b in s.crank:
            on = (t >= a) & (t < b)
            st, x = inst.starter, t[on] - a
            back = (
                rest * st.back * (1 - np.exp(-x / st.spin_s)) * (1 + st.ripple * np.sin(2 * np.pi * st.ripple_hz * x))
            )
            self.gs[on] = 1 / st.ohm
            self.gseb[on] = back / st.ohm
        ch = inst.charging
        rpm = s.rpm(t, ch.idle_rpm, ch.rev_rpm, ch.rundown_s) if s.run else np.zeros_like(t)
        self.rpm = rpm
        self.cap = ch.full_a * np.clip((rpm - ch.cut_in_rpm) / (ch.full_rpm - ch.cut_in_rpm), 0.0, 1.0)
        self.vreg = ch.regulated_v + ch.hunt_v * np.sin(2 * np.pi * ch.hunt_hz * t)
        for a, b, amps, volts in inst.chargers:
            on = (t >= a) & (t < b) & (rpm == 0)
            self.cap[on], self.vreg[on] = amps, volts
        turns = np.concatenate(([0.0], np.cumsum(np.diff(t) * (rpm[1:] + rpm[:-1]) / 120.0)))
        self.ripple = ch.ripple * np.sin(2 * np.pi * turns) * (rpm > 0)
        self.spike = np.where((rpm > 0) & ((turns * 0.5) % 1.0 < 1e-4 * rpm / 120.0), ch.spike_v, 0.0)

    def conduct(self, v: np.ndarray | float) -> np.ndarray:
        """Sum of conductances at the posts, for post voltages v; sets the block's own.

        Constant power is a conductance of power over the device's voltage squared (from 9 V up), found in two steps.
        """
        low = np.maximum(v, 9.0)
        power = any(c.kind != "resistor" for c in self.inst.circuits)
        at: np.ndarray | float = v
        for last in (False, True) if power else (True,):
            g_block = np.zeros_like(self.t)
            self.g_slots = []
            for c, s in zip(self.inst.circuits, self.shapes, strict=True):
                g = s / RATED_V if c.kind == "resistor" else s * RATED_V / np.maximum(at - s * c.wire_ohm, 9.0) ** 2
                g = g / (1.0 + c.wire_ohm * g)
                self.g_slots.append(g)
                g_block += g
            if not last:
                at = v / (1.0 + (self.r_feed + self.r_ground) * g_block)
        self.g_block = g_block
        through = np.where(self.closed, g_block / (1.0 + (self.r_feed + self.r_ground) * g_block), 0.0)
        self.g = self.g_bike + self.p_bike / low**2 + through
        return self.g

    def posts(self, e: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Posts' voltage, battery current, alternator current, for an inner voltage e."""
        bat = self.inst.battery
        load, push = self.g + self.gs, self.gseb - self.j

        def through(r: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
            den = 1 / r + load
            num = e / r + push
            alt = np.clip((self.vreg - num / den) * den, 0.0, self.cap) * (1 + self.ripple)
            return (num + alt) / den, alt

        v, alt = through(bat.r0)
        charging = v > e
        if charging.any():
            r = np.where(charging, bat.r0 + bat.accept_ohm, bat.r0)
            v, alt = through(r)
            return v, (e - v) / r, alt
        return v, (e - v) / bat.r0, alt

    def slow(self, edges_b: np.ndarray) -> np.ndarray:
        """The inner voltage (rest + surface − polarisation) on the net, from one pass over the bins."""
        t, bat = self.t, self.inst.battery

        def binned(y: np.ndarray) -> list[float]:
            area = np.concatenate(([0.0], np.cumsum((y[1:] + y[:-1]) / 2 * np.diff(t))))
            return (np.diff(np.interp(edges_b, t, area)) / np.diff(edges_b)).tolist()

        g, j, gs, gseb = binned(self.g), binned(self.j), binned(self.gs), binned(self.gseb)
        cap, vreg, dts = binned(self.cap), binned(self.vreg), np.diff(edges_b).tolist()
        r0, r1, r2, q = bat.r0, bat.r1, bat.r2, bat.capacity_ah * 3600
        rc = r0 + bat.accept_ohm
        ocv_x = [bat.open_circuit_v(x) for x in np.linspace(0, 1, 101)]
        v1 = v2 = 0.0
        vs, soc = bat.surface_v, bat.charge
        v1s, v2s, vss, socs = [v1], [v2], [vs], [soc]
        for k, dt in enumerate(dts):
            x = min(max(soc, 0.0), 0.9999) * 100
            n = int(x)
            e = ocv_x[n] + (ocv_x[n + 1] - ocv_x[n]) * (x - n) + vs - v1 - v2
            den = 1 / r0 + g[k] + gs[k]
            v = (e / r0 - j[k] + gseb[k]) / den
            if cap[k] > 0:
                v += min(max((vreg[k] - v) * den, 0.0), cap[k]) / den
            i = (e - v) / r0
            if i < 0:
                den = 1 / rc + g[k] + gs[k]
                v = (e / rc - j[k] + gseb[k]) / den
                if cap[k] > 0:
                    v += min(max((vreg[k] - v) * den, 0.0), cap[k]) / den
                i = (e - v) / rc
            a1, a2 = math.exp(-dt / bat.tau1), math.exp(-dt / bat.tau2)
            v1 = v1 * a1 + r1 * i * (1 - a1)
            v2 = v2 * a2 + r2 * i * (1 - a2)
            vs *= math.exp(-dt / bat.surface_tau)
            if i < 0:
                vs += (bat.surface_max_v - vs) * (1 - math.exp(i * dt / bat.surface_as))
            else:
                vs *= math.exp(-i * dt / bat.surface_as)
            soc -= i * dt / q
            v1s.append(v1)
            v2s.append(v2)
            vss.append(vs)
            socs.append(soc)
        self.inner = {
            k: np.interp(t, edges_b, y) for k, y in (("v1", v1s), ("v2", v2s), ("surface", vss), ("charge", socs))
        }
        ocv = np.interp(self.inner["charge"], np.linspace(0, 1, 101), ocv_x)
        return ocv + self.inner["surface"] - self.inner["v1"] - self.inner["v2"]


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
        ri = net.r_feed + min(net.r_ground, 10.0) + inst.battery.r0
        k = np.flatnonzero(np.diff(on.astype(int)) != 0)
        starts = k[~on[k + 1]] + 1
        for s in starts:
            e = s + int(np.argmax(on[s:])) if on[s:].any() else len(t)
            area = np.concatenate(
                ([0.0], np.cumsum(np.diff(t[s:e]) * (net.g_block[s : e - 1] + inst.block_f / inst.bleed_s)))
            )
            held = (feed[s - 1] - bus[s - 1]) * np.exp(-area / inst.block_f)
            feed[s:e] = np.maximum(inst.leak_v, held)
            if e < len(t):
                j = np.searchsorted(t, t[e] + 10 * ri * inst.block_f)
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
