"""The session: what the tester does and when."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .loads import Spans, inside


@dataclass
class Script:
    """Spans in seconds of the log; `marks` is what the tester noted, `story` what truly happened."""

    end_s: float = 0.0
    key: Spans = field(default_factory=list)
    key_raw: Spans = field(default_factory=list)  # with the contact's bounce
    slots: list[Spans] = field(default_factory=list)
    crank: Spans = field(default_factory=list)
    run: Spans = field(default_factory=list)
    revs: Spans = field(default_factory=list)
    stumbles: Spans = field(default_factory=list)
    all_on: Spans = field(default_factory=list)
    marks: list[tuple[float, str]] = field(default_factory=list)
    marked: bool = True
    run_marked: bool = True
    story: list[tuple[float, str]] = field(default_factory=list)
    settle_max_s: float = 30.0
    template: str = "session"

    def say(self, t: float, text: str, mark: bool = False) -> None:
        """Add to the story, and to the marks where the tester notes it."""
        self.story.append((round(t, 4), text))
        if mark:
            self.marks.append((t, text))

    def off(self) -> Spans:
        """Key-off spans within the log."""
        out, t = [], 0.0
        for a, b in self.key:
            if a > t:
                out.append((t, a))
            t = b
        if t < self.end_s:
            out.append((t, self.end_s))
        return out

    def rpm(self, t: np.ndarray, idle: float, rev: float, rundown_s: float) -> np.ndarray:
        """Engine speed, running down after each stop."""
        out = np.zeros_like(t)
        for a, b in self.run:
            on = (t >= a) & (t < b)
            out[on] = idle * np.minimum(1.0, 0.5 + (t[on] - a) / 0.6)
            down = t >= b
            out[down] = np.maximum(out[down], idle * np.maximum(0.0, 1.0 - (t[down] - b) / rundown_s))
        for a, b in self.revs:
            up = (t >= a) & (t < b)
            ramp = np.clip(np.minimum((t[up] - a) / 0.8, (b - t[up]) / 0.8), 0.0, 1.0)
            out[up] = np.where(inside(t[up], self.run), idle + (rev - idle) * ramp, out[up])
        out[inside(t, self.stumbles)] *= 0.4
        return out


def draw_script(rng: np.random.Generator, slots: int, settle_s: float, template: str | None = None) -> Script:
    """A session of 150 to 400 s: rest, key on, slots one by one, all on, crank, run, key off, settle watch.

    Templates: "session" (the whole), "no_engine" (no crank), "engine_only" (slots stay on throughout),
    "two_keys" (a second, short key-on first), "night" (key off throughout).
    """
    s = Script(slots=[[] for _ in range(slots)])
    s.template = template or str(
        rng.choice(["session", "no_engine", "engine_only", "two_keys"], p=[0.6, 0.15, 0.1, 0.15])
    )
    s.settle_max_s = float(rng.choice([20.0, 30.0, 45.0, 60.0]))
    watch = max(settle_s * 1.1 + 2.0, 4.0) + s.settle_max_s * float(rng.uniform(1.15, 1.5))
    if s.template == "night":
        s.end_s = float(rng.uniform(1.5, 8.0)) * 3600
        return s
    t = s.settle_max_s * float(rng.uniform(1.1, 1.4)) if rng.random() < 0.5 else float(rng.uniform(6.0, 25.0))
    if s.template == "two_keys":
        on = float(rng.uniform(4.0, 10.0))
        s.key.append((t, t + on))
        s.say(t, "key on", True)
        s.say(t + on, "key off", True)
        t += on + float(rng.uniform(3.0, 10.0))
    key_on = t
    s.say(t, "key on", True)
    t += float(rng.uniform(2.5, 7.0))
    order = rng.permutation(slots)
    if s.template == "engine_only":
        for k in range(slots):
            s.slots[k].append((-100.0, np.inf))
    else:
        for k in order:
            s.slots[k].append((t, np.inf))
            s.say(t, f"slot {k + 1} on", True)
            t += float(rng.uniform(2.5, 7.0))
    all_from = t
    t += float(rng.uniform(7.0, 16.0))
    if s.template != "no_engine":
        crank = float(rng.uniform(0.6, 3.0))
        s.all_on.append((all_from, t))
        s.crank.append((t, t + crank))
        s.say(t, "crank", True)
        t += crank
        run = float(rng.uniform(25.0, 60.0))
        s.run.append((t, t + run))
        s.say(t, "running", True)
        if rng.random() < 0.6:
            a = t + run * float(rng.uniform(0.3, 0.5))
            s.revs.append((a, t + run * float(rng.uniform(0.75, 0.9))))
        s.all_on.append((t, t + run))
        t += run
    else:
        s.all_on.append((all_from, t))
    if s.template != "engine_only" and rng.random() < 0.4:
        s.all_on[-1] = (s.all_on[-1][0], t)
        for k in rng.permutation(slots):
            s.slots[k][-1] = (s.slots[k][-1][0], t)
            s.say(t, f"slot {k + 1} off", True)
            t += float(rng.uniform(0.6, 2.0))
        if s.run:
            s.run[-1] = (s.run[-1][0], t)
    s.key.append((key_on, t))
    s.say(t, "key off", True)
    s.end_s = t + watch
    s.key_raw = list(s.key)
    s.marked = bool(rng.random() < 0.6)
    return s
