"""The same install as an ngspice deck, over one short window of the session.

Nothing of the numpy solution enters but the state at the window's start: battery branches, coil current, armature,
capacitors. Switches, loads and the relay are circuit elements; the relay's contact closes when ngspice says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .install import Install
from .loads import RATED_V, Load, inside, meet
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
    pairs = [f"{x:.9g} {v:.9g}" for x, v in zip(t.tolist(), y.tolist(), strict=True)]
    lines = [f"{name} {name[1:]} 0 PWL("]
    lines += ["+ " + " ".join(pairs[k : k + 8]) for k in range(0, len(pairs), 8)]
    return "\n".join([*lines, "+ )"])


def _net(w: Window, edges: list[float]) -> np.ndarray:
    near = np.concatenate(([-5e-6, 0.0], np.geomspace(1e-5, 2.0, 120)))
    parts = [np.array([w.start, w.stop]), *[e + near for e in edges if w.start <= e <= w.stop]]
    t = np.unique(np.concatenate(parts))
    return t[(t >= w.start) & (t <= w.stop)]


def _shape(load: Load, t: np.ndarray, key: list) -> np.ndarray:
    """Switch and inrush of one load, from the session alone (a step takes the value after it)."""
    reach = meet(load.spans, key) if load.place == "key" else load.spans
    s = inside(t, reach).astype(float)
    for a, _ in reach if load.inrush > 1 else []:
        after = t >= a
        s[after] *= 1 + (load.inrush - 1) * np.exp(-np.minimum((t[after] - a) / load.inrush_s, 50.0))
    return s


def deck(inst: Install, script: Script, sol: Solution, w: Window) -> str:
    """The ngspice deck; times in it count from the window's start."""
    bat, r = inst.battery, inst.relay

    def start(values: np.ndarray) -> float:
        return float(np.interp(w.start, sol.t, values))

    v1, v2 = start(sol.inner["v1"]), start(sol.inner["v2"])
    emf = start(sol.inner["emf"]) + v1 + v2
    rising, falling, shuts, opens = r.travel
    closed = any(a <= w.start < b for a, b in sol.closed)
    fed = inside(np.array([w.start]), script.key)[0]
    coil0 = float(sol.motion.coil_a(np.array([w.start]))[0])
    trig0 = start(sol.values["trigger_v"])
    key = script.key
    out = [
        f"* one install, {w.kind}",
        f"Vemf n0 0 {emf:.9g}",
        f"R0 n0 n1 {bat.r0:.9g}",
        f"R1 n1 n2 {bat.r1:.9g}",
        f"C1 n1 n2 {bat.tau1 / bat.r1:.9g} ic={v1:.9g}",
        f"R2 n2 n3 {bat.r2:.9g}",
        f"C2 n2 n3 {bat.tau2 / bat.r2:.9g} ic={v2:.9g}",
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
        f"Rc c1 c2 {r.coil_ohm:.9g}",
        "Vc c2 0 0",
        f"Bclamp t86 0 I = V(t86) < {-r.clamp_v:.9g} ? (V(t86) + {r.clamp_v:.9g}) * 20 : 0",
        # armature: commanded between hold and pull current, then a lag, then the contact at two positions
        "Vone one 0 1",
        "Wcmd one cmd Vc wcmd",
        f".model wcmd csw(it={(r.pull_a + r.hold_a) / 2:.9g} ih={(r.pull_a - r.hold_a) / 2:.9g} ron=1m roff=1e12)",
        "Rcmd cmd 0 1k",
        f"Blag 0 x I = (V(cmd) - V(x)) / (V(cmd) > 0.5 ? {rising:.9g} : {falling:.9g})",
        f"Clag x 0 1 ic={1.0 if closed else 0.0}",
        f"Rfeed bat f30 {inst.feed_ohm:.9g}",
        "Scon f30 feed x 0 scon",
        f".model scon sw(vt={(shuts + opens) / 2:.9g} vh={(shuts - opens) / 2:.9g} ron=1u roff=1e9)",
        f"Rstud feed 0 {1e7 if inst.block_f else 1e4:.9g}",
        f"Rbus bus 0 {inst.ground_ohm:.9g}",
    ]
    if inst.block_f:
        hold = start(sol.values["feed_v"]) - start(sol.values["ground_v"])
        out.append(f"Cblock feed bus {inst.block_f:.9g} ic={hold:.9g}")
        out.append(f"Rbleed feed bus {inst.bleed_s / inst.block_f:.9g}")
    edges = [x for s in key for x in s] + [x for s in script.crank for x in s]
    loads = [x for x in (*inst.bike, *inst.circuits) if x.spans]
    edges += [x for load in loads for x in load.edges(w.start, w.stop)]
    t = _net(w, edges)
    line = source_spans(inst, script, min(w.start, 0.0) - 10.0)
    out.append(_pwl("Vkey", t - w.start, inside(t, line).astype(float)))
    for n, load in enumerate(loads):
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
    for a, b in script.crank:
        if b <= w.start or a >= w.stop:
            continue
        st = inst.starter
        g = np.unique(np.concatenate((np.arange(max(a, w.start), min(b, w.stop), 5e-4), t)))
        x = np.maximum(g - a, 0.0)
        back = rest * st.back * (1 - np.exp(-x / st.spin_s)) * (1 + st.ripple * np.sin(2 * np.pi * st.ripple_hz * x))
        out.append(_pwl("Von", g - w.start, ((g >= a) & (g < b)).astype(float)))
        out.append(_pwl("Vback", g - w.start, back))
        out.append(f"Bst bat 0 I = V(on) * (V(bat) - V(back)) / {st.ohm:.9g}")
    half = start(sol.values["trigger_v"]) / 2 if fed else (emf - inst.key_drop_v) * r.level / 2
    if w.kind == "key_on":
        out.append(f".meas tran pull_in TRIG V(t86) VAL={half:.6g} RISE=1 TARG V(feed) VAL={emf / 2:.6g} RISE=1")
    if w.kind == "key_off":
        x_open = f"TARG V(x) VAL={opens:.9g} FALL=1"
        out.append(f".meas tran drop_out TRIG V(t86) VAL={half:.6g} FALL=1 {x_open}")
    out += [
        OPTIONS[0],
        f".tran {w.step_s:.9g} {w.stop - w.start:.9g} 0 {w.step_s:.9g} uic",
        ".save v(bat) i(Vbat) v(t86) v(feed) v(bus) i(Vc) v(x)",
        ".control",
        "run",
        "set filetype=binary",
        "write a.raw v(bat) i(Vbat) v(t86) v(feed) v(bus) i(Vc) v(x)",
        "quit",
        ".endc",
        ".end",
    ]
    return "\n".join(out) + "\n"
