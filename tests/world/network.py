"""The network on one net of instants: conductances of all loads, the posts' voltage, the battery's slow states.

The network is resistive at every instant; its memory sits in the battery (polarisation, surface charge, charge). The
battery's states are advanced on a coarse net of bins with the mean conductance of each, exactly for constant current.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from .install import Install
from .loads import RATED_V, Load, Spans, inside, join, meet
from .script import Script


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

    def slots(self, across: np.ndarray | float, part: slice = slice(None)) -> list[np.ndarray]:
        """Each circuit's conductance with `across` between stud and bus.

        Constant power is a conductance of power over the device's voltage squared, from 9 V up; below it stays.
        """
        out = []
        for c, s in zip(self.inst.circuits, self.shapes, strict=True):
            amps = s[part]
            g = amps / RATED_V
            for _ in range(2 if c.kind != "resistor" else 0):
                g = amps * RATED_V / np.maximum(across / (1.0 + c.wire_ohm * g), 9.0) ** 2
            out.append(g / (1.0 + c.wire_ohm * g))
        return out

    def conduct(self, v: np.ndarray | float) -> np.ndarray:
        """Sum of conductances at the posts, for post voltages v; sets the block's own."""
        power = any(c.kind != "resistor" for c in self.inst.circuits)
        across: np.ndarray | float = v
        for _ in range(3 if power else 1):
            self.g_slots = self.slots(across)
            g_block = np.sum(self.g_slots, axis=0)
            across = v / (1.0 + (self.r_feed + self.r_ground) * g_block)
        self.g_block = g_block
        through = np.where(self.closed, g_block / (1.0 + (self.r_feed + self.r_ground) * g_block), 0.0)
        self.g = self.g_bike + self.p_bike / np.maximum(v, 9.0) ** 2 + through
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
