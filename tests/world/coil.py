"""The relay, event by event: coil current and trigger voltage as exponentials, armature travel, contact.

Between events every input is constant, so coil current and trigger voltage are sums of at most two exponentials
and are solved exactly; nothing is stepped. The trigger node: a source behind `rs`, a parallel resistance `rp`
(lamp, suppression resistor), a capacitance `c` (left out below 1 uF), and the coil R-L to battery negative, with a
clamp below zero (a diode, or the arc and winding that limit an unsuppressed coil).
The armature is pulled while the current is above the hold current, once it passed the pull current; its position
follows with a lag, and the contact closes and opens at two positions.
"""

from __future__ import annotations

import cmath
import math
from bisect import bisect_right
from dataclasses import dataclass, field

import numpy as np

from .loads import Spans, join

OPEN_OHM = 1e6


@dataclass
class Relay:
    """Coil, armature and contact of one relay, and the line to its terminal 86."""

    coil_ohm: float
    coil_h: float
    suppression: str  # none | resistor | diode
    clamp_v: float  # depth of the coil's kick that the diode or the arc allows, V
    resistor_ohm: float
    pull_a: float
    hold_a: float
    rise_s: float  # armature travel to closing
    fall_s: float  # armature travel to opening
    rs: float  # series resistance of the trigger line
    lamp_ohm: float  # lamp circuit that hangs on the same line; OPEN_OHM for none
    c: float  # capacitance of the line, F
    bounce: list[tuple[float, float]] = field(default_factory=list)  # openings after the first closing, s
    coil_open: bool = False
    shared: float = 1.0  # the trigger source's share that is left once the contact is closed
    backfed: bool = False

    def rings(self, mode: str) -> bool:
        """Whether the line's capacitance counts: when large, or when nothing damps the opened coil."""
        return self.c >= 1e-6 or (mode == "off" and self.suppression == "none" and self.lamp_ohm > 1e4)

    @property
    def rp(self) -> float:
        """Parallel resistance at terminal 86 without the coil."""
        g = 1.0 / self.lamp_ohm + 1.0 / OPEN_OHM
        return 1.0 / (g + (1.0 / self.resistor_ohm if self.suppression == "resistor" else 0.0))

    @property
    def travel(self) -> tuple[float, float, float, float]:
        """Lags of the armature, pulled and released, and the positions at which the contact closes and opens."""
        return self.rise_s / 1.2, self.fall_s / 1.2, 1.0 - math.exp(-1.2), math.exp(-1.2)

    @property
    def level(self) -> float:
        """Steady share of the source voltage at 86."""
        down = 1.0 / (1.0 / self.rp + (0.0 if self.coil_open else 1.0 / self.coil_ohm))
        return down / (down + self.rs)


class Piece:
    """Coil current and trigger voltage from one event to the next: a0 + a1·e^(l1·t) + a2·e^(l2·t), likewise b.

    `vs` is what stands behind `rs`, `share` the part of the line's source that this is.
    """

    __slots__ = ("a", "b", "l", "on", "share", "t0", "vs")

    def __init__(self, t0: float, a: tuple, b: tuple, lam: tuple, on: bool, vs: float) -> None:
        self.t0, self.a, self.b, self.l, self.on, self.vs = t0, a, b, lam, on, vs
        self.share = 1.0

    def at(self, coefs: tuple, dt: float) -> float:
        """Value dt seconds in."""
        e1, e2 = cmath.exp(self.l[0] * dt), cmath.exp(self.l[1] * dt) if coefs[2] else 0.0
        return (coefs[0] + coefs[1] * e1 + coefs[2] * e2).real

    def crossing(self, coefs: tuple, level: float, rising: bool, span: float) -> float:
        """First dt in (0, span] at which the value passes `level` in that direction; inf if it does not."""
        if coefs[2] == 0:  # one exponential: closed form
            a0, a1, lam = coefs[0].real, coefs[1].real, self.l[0].real
            start, goal = a0 + a1, a0
            if (rising and not start < level < goal) or (not rising and not start > level > goal):
                return math.inf
            dt = math.log((level - a0) / a1) / lam
            return dt if dt <= span else math.inf
        end = min(span, 30.0 / min(-self.l[0].real, -self.l[1].real))
        grid = np.concatenate(([0.0], np.geomspace(1e-6, end, 160)))
        y = (coefs[0] + coefs[1] * np.exp(self.l[0] * grid) + coefs[2] * np.exp(self.l[1] * grid)).real - level
        hit = (y[:-1] < 0) & (y[1:] >= 0) if rising else (y[:-1] > 0) & (y[1:] <= 0)
        if not hit.any():
            return math.inf
        k = int(np.argmax(hit))
        lo, hi = float(grid[k]), float(grid[k + 1])
        for _ in range(40):
            mid = (lo + hi) / 2
            if (self.at(coefs, mid) >= level) == rising:
                hi = mid
            else:
                lo = mid
        return hi


def _piece(r: Relay, t: float, i: float, v: float, mode: str, vs: float) -> Piece:
    """The exponentials that start from coil current i and trigger voltage v."""
    z = complex(0.0)
    if r.coil_open:
        goal = vs * r.level if mode == "on" else 0.0
        g = (1.0 / r.rs if mode == "on" else 0.0) + 1.0 / r.rp
        lam = complex(-g / max(r.c, 1e-8))
        return Piece(t, (z, z, z), (complex(goal), complex(v - goal), z), (lam, z), mode == "on", vs)
    if mode == "clamp":
        lam, goal = complex(-r.coil_ohm / r.coil_h), -r.clamp_v / r.coil_ohm
        return Piece(t, (complex(goal), complex(i - goal), z), (complex(-r.clamp_v), z, z), (lam, z), False, vs)
    rsrc = r.rs if mode == "on" else OPEN_OHM * 1e3
    source = vs if mode == "on" else 0.0
    par = 1.0 / (1.0 / rsrc + 1.0 / r.rp)
    if not r.rings(mode):
        lam = complex(-(r.coil_ohm + par) / r.coil_h)
        free = source / rsrc * par
        goal = free / (r.coil_ohm + par)
        a = (complex(goal), complex(i - goal), z)
        b = (complex(free - par * goal), complex(-par * (i - goal)), z)
        return Piece(t, a, b, (lam, z), mode == "on", vs)
    # two states: v' = (free/par - v/par - i)/c ; i' = (v - R i)/L
    free = source / rsrc * par
    goal_i = free / (r.coil_ohm + par)
    goal_v = goal_i * r.coil_ohm
    m = ((-1.0 / (par * r.c), -1.0 / r.c), (1.0 / r.coil_h, -r.coil_ohm / r.coil_h))
    half = (m[0][0] + m[1][1]) / 2
    root = cmath.sqrt(half * half - (m[0][0] * m[1][1] - m[0][1] * m[1][0]))
    # half is negative: the slow one as the quotient of two that do not cancel; both apart where they meet
    l2 = half - (root if root.real > 0 or root.imag else complex(abs(half) * 1e-9))
    l1 = (m[0][0] * m[1][1] - m[0][1] * m[1][0]) / l2
    di, dv = i - goal_i, v - goal_v
    # i(t) = c1 e^l1 t + c2 e^l2 t, i'(0) = (dv - R di)/L
    slope = (dv - r.coil_ohm * di) / r.coil_h
    c2 = (slope - l1 * di) / (l2 - l1)
    c1 = di - c2
    w1, w2 = r.coil_ohm + r.coil_h * l1, r.coil_ohm + r.coil_h * l2
    return Piece(t, (complex(goal_i), c1, c2), (complex(goal_v), c1 * w1, c2 * w2), (l1, l2), mode == "on", vs)


@dataclass
class Motion:
    """What the relay did: its pieces, and the spans in which its contact was closed (bounce included)."""

    pieces: list[Piece]
    closed: Spans  # without bounce
    relay: Relay

    def __post_init__(self) -> None:
        self.t0 = np.array([p.t0 for p in self.pieces])
        self._a = np.array([p.a for p in self.pieces], dtype=complex)
        self._b = np.array([p.b for p in self.pieces], dtype=complex)
        self._l = np.array([p.l for p in self.pieces], dtype=complex)
        self._on = np.array([p.on for p in self.pieces])
        self._vs = np.array([p.vs for p in self.pieces])
        self._share = np.array([p.share for p in self.pieces])

    def _values(self, t: np.ndarray, coefs: np.ndarray) -> np.ndarray:
        k = np.clip(np.searchsorted(self.t0, t, side="right") - 1, 0, None)
        out = np.ascontiguousarray(coefs[:, 0].real)[k]
        dt = t - self.t0[k]
        slowest = np.minimum(-self._l[:, 0].real, np.where(self._l[:, 1] == 0, np.inf, -self._l[:, 1].real))
        alive = dt * slowest[k] < 60.0
        kk, d = k[alive], np.maximum(dt[alive], 0.0)
        out[alive] = (
            coefs[kk, 0] + coefs[kk, 1] * np.exp(self._l[kk, 0] * d) + coefs[kk, 2] * np.exp(self._l[kk, 1] * d)
        ).real
        return out

    def coil_a(self, t: np.ndarray) -> np.ndarray:
        """Coil current, A."""
        return self._values(t, self._a)

    def trigger_v(self, t: np.ndarray, source_v: np.ndarray | None = None) -> np.ndarray:
        """Volts at 86; with `source_v` the line's small movements between the solver's events are followed."""
        out = self._values(t, self._b)
        if source_v is not None:
            k = np.clip(np.searchsorted(self.t0, t, side="right") - 1, 0, None)
            out = out + np.where(self._on[k], (source_v * self._share[k] - self._vs[k]) * self.relay.level, 0.0)
        return out

    def line_a(self, t: np.ndarray) -> np.ndarray:
        """What the trigger's line takes from its source: coil, lamp circuit and suppression resistor."""
        k = np.clip(np.searchsorted(self.t0, t, side="right") - 1, 0, None)
        return np.where(self._on[k], self.coil_a(t) + self.trigger_v(t) / self.relay.rp, 0.0)

    def bounced(self) -> Spans:
        """The closed spans with each closing's bounce cut out."""
        out: Spans = []
        for a, b in self.closed:
            start = a
            for lo, hi in self.relay.bounce:
                if a + hi < b:
                    out.append((start, a + lo))
                    start = a + hi
            out.append((start, b))
        return out


def move(r: Relay, inputs: list[tuple[float, bool, float]], end: float) -> Motion:
    """Run the relay over `inputs`: (time, source connected, source volts), sorted; the first settles the start."""
    rising, falling, shuts, opens = r.travel
    times = [x[0] for x in inputs]
    t = times[0]
    i = v = 0.0
    pulled = closed = False
    x, xt = 0.0, t  # armature position at time xt
    pieces: list[Piece] = []
    spans: Spans = []
    since = t
    while t < end:
        k = bisect_right(times, t) - 1
        on, vs = inputs[k][1], inputs[k][2]
        until = min(times[k + 1] if k + 1 < len(times) else end, end)
        if closed:
            vs *= r.shared
            on = on or r.backfed
        mode = "on" if on else "off"
        if not on and not r.coil_open:
            low = v if r.rings("off") else -i * r.rp
            if low <= -r.clamp_v * (1 - 1e-9) and i * r.rp > r.clamp_v * (1 + 1e-9):
                mode = "clamp"
        p = _piece(r, t, i, v, mode, vs)
        p.share = r.shared if closed else 1.0
        span = until - t
        nearest, what = span, "input"
        dt = p.crossing(p.a, r.hold_a if pulled else r.pull_a, not pulled, span)
        if dt < nearest:
            nearest, what = dt, "armature"
        if mode == "clamp":
            dt = p.crossing(p.a, r.clamp_v / r.rp, False, span)
            if dt < nearest:
                nearest, what = dt, "clamp"
        elif mode == "off" and r.rings("off") and not r.coil_open:
            dt = p.crossing(p.b, -r.clamp_v, False, span)
            if dt < nearest:
                nearest, what = dt, "clamp"
        goal, tau = (1.0, rising) if pulled else (0.0, falling)
        now = goal + (x - goal) * math.exp(-(t - xt) / tau)
        edge = opens if closed else shuts
        if (pulled and not closed and now < edge) or (not pulled and closed and now > edge):
            dt = tau * math.log((now - goal) / (edge - goal))
            if dt < nearest:
                nearest, what = dt, "contact"
        pieces.append(p)
        nearest = max(nearest, 1e-9)
        i, v = p.at(p.a, nearest), p.at(p.b, nearest)
        t = t + nearest
        if what == "armature":
            x, xt = goal + (x - goal) * math.exp(-(t - xt) / tau), t
            pulled = not pulled
        elif what == "contact":
            if closed:
                spans.append((since, t))
            closed, since = not closed, t
    if closed:
        spans.append((since, end))
    return Motion(pieces, join(spans), r)
