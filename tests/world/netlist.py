"""The same install as an ngspice deck, over one short window of the session.

Nothing of the numpy solution enters but the state at the window's start: battery branches, coil current, armature,
capacitors. Switches, loads and the relay are circuit elements; the relay's contact closes when ngspice says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from .install import Install
from .loads import RATED_V, Load, inside, meet
from .network import Network
from .script import Script
from .solve import Solution, source_spans

# tried in this order until one converges through the switches
OPTIONS = (
    ".options reltol=1e-4 abstol=1e-9 chgtol=1e-6 method=gear",
    ".options reltol=1e-4 abstol=1e-9 method=trap",
    ".options reltol=1e-4 abstol=1e-6 vntol=1e-5 trtol=1 itl4=100 method=gear",
)


@dataclass(frozen=True)
class Window:
    """A stretch of the session, s, and what happens in it."""

    kind: str  # key_on | step | crank | key_off
    start: float
    stop: float
    step_s: float


def windows(script: Script, drop_out_s: float) -> list[Window]:
    """One window of each kind that the session holds."""
    out = []
    on, off = script.key[-1]
    out.append(Window("key_on", on - 0.005, on + 0.08, 1e-5))
    steps = [x for s in script.slots for x, _ in s if on < x < off]
    if steps:
        out.append(Window("step", steps[-1] - 0.02, steps[-1] + 0.4, 1e-4))
    for a, b in script.crank[:1]:
        out.append(Window("crank", a - 0.05, min(b - 0.05, a + 1.5), 2e-4))
    if not script.run and off < script.end_s:
        out.append(Window("key_off", off - 0.01, off + max(0.06, 2.5 * drop_out_s), 1e-5))
    return out


def _pwl(name: str, t: np.ndarray, y: np.ndarray) -> str:
    # ngspice searches a PWL from its start each time: leave out what a straight line gives as well
    flat = np.zeros(len(t), dtype=bool)
    flat[1:-1] = (y[1:-1] == y[:-2]) & (y[1:-1] == y[2:])
    t, y = t[~flat], y[~flat]
    pairs = [f"{x:.9g} {v:.9g}" for x, v in zip(t.tolist(), y.tolist(), strict=True)]
    lines = [f"{name} {name[1:]} 0 PWL("]
    lines += ["+ " + " ".join(pairs[k : k + 8]) for k in range(0, len(pairs), 8)]
    return "\n".join([*lines, "+ )"])


def _net(w: Window, edges: list[float], inrush_s: float = 0.0) -> np.ndarray:
    """The window's ends, each edge with a ramp of 5 µs before it, and after it a decay's points."""
    near = np.array([-5e-6, 0.0])
    if inrush_s:
        near = np.concatenate((near, np.geomspace(0.01, 9.0, 70) * inrush_s))
    parts = [np.array([w.start, w.stop]), *[e + near for e in edges if w.start - 1.0 <= e <= w.stop]]
    t = np.unique(np.concatenate(parts))
    return t[(t >= w.start) & (t <= w.stop)]


def _shape(load: Load, t: np.ndarray, key: list) -> np.ndarray:
    """Switch and inrush of one load, from the session alone (a step takes the value after it)."""
    reach = meet(load.spans, key) if load.place == "key" else load.spans
    s = inside(t, reach).astype(float)
    starts = [x for x, _ in reach] if load.inrush > 1 else []
    for a, later in pairwise([*starts, np.inf]):
        part = (t >= a) & (t < later)
        s[part] *= 1 + (load.inrush - 1) * np.exp(-np.minimum((t[part] - a) / load.inrush_s, 50.0))
    return s


def _battery(inst: Install, sol: Solution, w: Window) -> list[str]:
    """Inner voltage, ohmic part, two branches; over a whole session also acceptance, surface charge and charge."""
    bat = inst.battery

    def start(name: str) -> float:
        return float(np.interp(w.start, sol.t, sol.inner[name]))

    v1, v2 = start("v1"), start("v2")
    emf = start("emf") + v1 + v2
    out = [
        f"R1 n1 n2 {bat.r1:.9g}",
        f"C1 n1 n2 {bat.tau1 / bat.r1:.9g} ic={v1:.9g}",
        f"R2 n2 n3 {bat.r2:.9g}",
        f"C2 n2 n3 {bat.tau2 / bat.r2:.9g} ic={v2:.9g}",
    ]
    if w.kind != "whole":
        return [f"Vemf n0 0 {emf:.9g}", f"R0 n0 n1 {bat.r0:.9g}", *out]
    surface, charge = start("surface"), start("charge")
    slope = (bat.open_circuit_v(charge) - bat.open_circuit_v(charge - 0.02)) / 0.02
    i = "I(Vbat)"
    return [
        f"Bemf n0 0 V = {emf - surface:.9g} + V(surf) + {slope:.9g} * V(gone)",
        f"B0 n0 n1 I = V(n0,n1) > 0 ? V(n0,n1) / {bat.r0:.9g} : V(n0,n1) / {bat.r0 + bat.accept_ohm:.9g}",
        *out,
        f"Csurf surf 0 1 ic={surface:.9g}",
        f"Bsurf 0 surf I = -V(surf) / {bat.surface_tau:.9g} - ({i} > 0 ? V(surf) * {i} / {bat.surface_as:.9g} : "
        f"({bat.surface_max_v:.9g} - V(surf)) * {i} / {bat.surface_as:.9g})",
        "Cgone gone 0 1 ic=0",
        f"Bgone 0 gone I = -{i} / {bat.capacity_ah * 3600:.9g}",
    ]


def _engine(inst: Install, script: Script, w: Window) -> list[str]:
    """The alternator: current-limited, at the regulator's voltage within 0.1 mΩ."""
    parts = [np.array([w.start, w.stop])]
    for a, b in script.run:
        parts.append(np.arange(a - 0.01, min(b + 2.0, w.stop), 0.02))
    for a, b, *_ in inst.chargers:
        parts.append(np.array([a, a + 1e-3, b, b + 1e-3]))
    t = np.unique(np.concatenate(parts))
    net = Network(inst, script, t[(t >= w.start) & (t <= w.stop)], [], 0.0)
    return [
        _pwl("Vcap", net.t - w.start, net.cap),
        _pwl("Vvreg", net.t - w.start, net.vreg),
        "Balt 0 bat I = min(max((V(vreg) - V(bat)) * 10000, 0), V(cap))",
    ]


def deck(inst: Install, script: Script, sol: Solution, w: Window) -> str:
    """The ngspice deck; times in it count from the window's start."""
    bat, r = inst.battery, inst.relay

    def start(values: np.ndarray) -> float:
        return float(np.interp(w.start, sol.t, values))

    emf = start(sol.inner["emf"]) + start(sol.inner["v1"]) + start(sol.inner["v2"])
    rising, falling, shuts, opens = r.travel
    closed = any(a <= w.start < b for a, b in sol.closed)
    fed = inside(np.array([w.start]), script.key)[0]
    coil0 = float(sol.motion.coil_a(np.array([w.start]))[0])
    trig0 = start(sol.values["trigger_v"])
    key = script.key_raw or script.key
    out = [
        f"* one install, {w.kind}",
        *_battery(inst, sol, w),
        "Vbat n3 bat 0",
        # the trigger's line: source at the key's voltage, its current drawn from the battery
        f"Bsrc src 0 V = V(bat) - {inst.key_drop_v:.9g}",
        "Vsrc src sw1 0",
        "Bline bat 0 I = I(Vsrc)",
        "Skey sw1 line key 0 skey",
        ".model skey sw(vt=0.5 vh=0.01 ron=1u roff=1e9)",
        f"Rs line t86 {r.rs:.9g}",
        f"Ct t86 0 {max(r.c, 1e-9):.9g} ic={trig0:.9g}",
        f"Rp t86 0 {r.rp:.9g}",
        f"Lc t86 c1 {r.coil_h:.9g} ic={coil0:.9g}",
        f"Rc c1 c2 {1e9 if r.coil_open else r.coil_ohm:.9g}",
        "Vc c2 0 0",
        f"Bclamp t86 0 I = V(t86) < {-r.clamp_v:.9g} ? (V(t86) + {r.clamp_v:.9g}) * 20 : 0",
        # armature: commanded between hold and pull current, then a lag, then the contact at two positions
        "Vone one 0 1",
        "Wcmd one cmd Vc wcmd",
        f".model wcmd csw(it={(r.pull_a + r.hold_a) / 2:.9g} ih={(r.pull_a - r.hold_a) / 2:.9g} ron=1m roff=1e12)",
        "Rcmd cmd 0 1k",
        f"Blag 0 x I = (V(cmd) - V(x)) / (V(cmd) > 0.5 ? {rising:.9g} : {falling:.9g})",
        f"Clag x 0 1 ic={1.0 if closed else 0.0}",
        "Vfeed bat f00 0",
        f"Rfeed f00 f30 {1e9 if inst.feed_open else inst.feed_ohm:.9g}",
        "Scon f30 feed x 0 scon",
        f".model scon sw(vt={(shuts + opens) / 2:.9g} vh={(shuts - opens) / 2:.9g} ron=1u roff=1e9)",
        f"Rstud feed 0 {1e7 if inst.block_f else 1e4:.9g}",
        f"Rbus bus 0 {1e5 if inst.ground_open else inst.ground_ohm:.9g}",
    ]
    if inst.block_f:
        hold = start(sol.values["feed_v"]) - start(sol.values["ground_v"])
        out.append(f"Cblock feed bus {inst.block_f:.9g} ic={hold:.9g}")
        out.append(f"Rbleed feed bus {inst.bleed_s / inst.block_f:.9g}")
    line = source_spans(inst, script, min(w.start, 0.0) - 10.0)
    t = _net(w, [x for s in line for x in s])
    out.append(_pwl("Vkey", t - w.start, inside(t, line).astype(float)))
    keyed = [x for s in key for x in s]
    for n, load in enumerate(x for x in (*inst.bike, *inst.circuits) if x.spans):
        edges = load.edges(w.start - 1.0, w.stop) + (keyed if load.place == "key" else [])
        t = _net(w, edges, load.inrush_s if load.inrush > 1 else 0.0)
        s = _shape(load, t, key) * load.amps
        if not s.any():
            continue
        name = f"l{n}"
        out.append(_pwl(f"V{name}", t - w.start, s))
        plus, minus = "bat", "0"
        if load.place == "block":
            plus, minus = f"d{n}", "bus"
            out.append(f"Rw{n} feed d{n} {max(load.wire_ohm, 1e-6):.9g}")
        across = f"V({plus},{minus})" if minus != "0" else f"V({plus})"
        if load.kind == "current" and load.place != "block":
            out.append(f"B{name} {plus} {minus} I = V({name})")
        elif load.kind == "resistor":
            out.append(f"B{name} {plus} {minus} I = V({name}) * {across} / {RATED_V}")
        else:
            out.append(f"B{name} {plus} {minus} I = V({name}) * {RATED_V} * {across} / pow(max({across}, 9), 2)")
    rest = bat.open_circuit_v(bat.charge)
    for n, (a, b) in enumerate(script.crank):
        if b <= w.start or a >= w.stop:
            continue
        st = inst.starter
        fine = np.arange(max(a, w.start), min(b, w.stop), 2e-3)
        g = np.unique(np.concatenate((fine, [w.start, w.stop, b], [e - 5e-6 for e in (a, b) if w.start < e < w.stop])))
        x = np.maximum(g - a, 0.0)
        back = rest * st.back * (1 - np.exp(-x / st.spin_s)) * (1 + st.ripple * np.sin(2 * np.pi * st.ripple_hz * x))
        out.append(_pwl(f"Von{n}", g - w.start, ((g >= a) & (g < b)).astype(float)))
        out.append(_pwl(f"Vback{n}", g - w.start, back))
        out.append(f"Bst{n} bat 0 I = V(on{n}) * (V(bat) - V(back{n})) / {st.ohm:.9g}")
    if w.kind == "whole":
        out += _engine(inst, script, w)
    half = start(sol.values["trigger_v"]) / 2 if fed else (emf - inst.key_drop_v) * r.level / 2
    if w.kind == "key_on":
        out.append(f".meas tran pull_in TRIG V(t86) VAL={half:.6g} RISE=1 TARG V(feed) VAL={emf / 2:.6g} RISE=1")
    if w.kind == "key_off":
        x_open = f"TARG V(x) VAL={opens:.9g} FALL=1"
        out.append(f".meas tran drop_out TRIG V(t86) VAL={half:.6g} FALL=1 {x_open}")
    out += [
        OPTIONS[0],
        f".tran {w.step_s:.9g} {w.stop - w.start:.9g} 0 {w.step_s:.9g} uic",
        ".save v(bat) i(Vbat) v(t86) v(feed) v(bus) i(Vfeed) i(Vc) v(x)",
        ".control",
        "run",
        "set filetype=binary",
        "write a.raw v(bat) i(Vbat) v(t86) v(feed) v(bus) i(Vfeed) i(Vc) v(x)",
        "quit",
        ".endc",
        ".end",
    ]
    return "\n".join(out) + "\n"
