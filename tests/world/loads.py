"""One load: when its switch is closed, what it draws, how it starts, how it pulses."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

RATED_V = 12.5  # the voltage at which a load's amperes are stated

Spans = list[tuple[float, float]]


@dataclass
class Load:
    """A device with its switch.

    `place` is "key" (behind the ignition switch), "battery" (fed directly), or "block" (a fuse-block circuit).
    `spans` are the times its own switch is closed; a pulsed load is up for `duty` of each period of `pulse_hz`.
    """

    name: str
    amps: float  # at RATED_V, while up
    place: str
    kind: str = "resistor"  # resistor | power | current
    spans: Spans = field(default_factory=list)
    inrush: float = 1.0  # first current over the steady one
    inrush_s: float = 0.02
    pulse_hz: float = 0.0
    duty: float = 1.0
    phase: float = 0.0
    wire_ohm: float = 0.0

    @property
    def mean_amps(self) -> float:
        """Mean over whole pulses, at RATED_V."""
        return self.amps * (self.duty if self.pulse_hz else 1.0)

    def up(self, t: np.ndarray) -> np.ndarray:
        """1 where the pulse is up (always, for a load that does not pulse)."""
        if not self.pulse_hz:
            return np.ones_like(t)
        return ((t * self.pulse_hz + self.phase) % 1.0 < self.duty).astype(float)

    def shape(self, t: np.ndarray, fed: Spans) -> np.ndarray:
        """Current over the steady current, for a device fed during the spans `fed`; includes inrush and pulses."""
        s = np.zeros_like(t)
        for a, b in meet(self.spans, fed):
            i, j = np.searchsorted(t, (a, b))
            if self.inrush > 1.0:
                s[i:j] = 1.0 + (self.inrush - 1.0) * np.exp(-(t[i:j] - a) / self.inrush_s)
            else:
                s[i:j] = 1.0
        return s * self.up(t) if self.pulse_hz else s

    def edges(self, start: float, end: float) -> list[float]:
        """Times at which the current jumps; those of fast pulses are left to the sampling."""
        out = [x for span in self.spans for x in span]
        if self.pulse_hz and self.pulse_hz <= 4.0:
            for a, b in meet(self.spans, [(start, end)]):
                n = np.arange(np.floor(a * self.pulse_hz) - 1, np.ceil(b * self.pulse_hz) + 2)
                for shift in (0.0, self.duty):
                    e = (n + shift - self.phase) / self.pulse_hz
                    out += [float(x) for x in e if a < x < b]
        return out


def meet(first: Spans, second: Spans) -> Spans:
    """The times covered by both lists of spans, each sorted and free of overlap."""
    out: Spans = []
    i = j = 0
    while i < len(first) and j < len(second):
        a = max(first[i][0], second[j][0])
        b = min(first[i][1], second[j][1])
        if a < b:
            out.append((a, b))
        if first[i][1] < second[j][1]:
            i += 1
        else:
            j += 1
    return out


def cut(spans: Spans, holes: Spans) -> Spans:
    """`spans` without the times of `holes`."""
    out = sorted(spans)
    for a, b in holes:
        rest: Spans = []
        for x, y in out:
            if b <= x or y <= a:
                rest.append((x, y))
                continue
            if x < a:
                rest.append((x, a))
            if b < y:
                rest.append((b, y))
        out = rest
    return out


def join(spans: Spans) -> Spans:
    """Sorted spans with overlaps merged."""
    out: Spans = []
    for a, b in sorted(spans):
        if out and a <= out[-1][1]:
            out[-1] = (out[-1][0], max(b, out[-1][1]))
        elif a < b:
            out.append((a, b))
    return out


def inside(t: np.ndarray, spans: Spans) -> np.ndarray:
    """True where t (sorted) lies in one of the spans (start included, end not)."""
    out = np.zeros(t.shape, dtype=bool)
    for i, j in np.searchsorted(t, np.array(spans, dtype=float).reshape(-1, 2)).tolist():
        out[i:j] = True
    return out
