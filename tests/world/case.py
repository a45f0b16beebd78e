"""One case: an install, a session, a logger, and the truth behind them; drawn from a seed alone."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import polars as pl

from . import logger as logging
from .faults import FAULTS
from .grades import GRADES
from .ideal import ideal_u
from .install import Install
from .logger import Logger
from .plan import to_toml
from .script import Script
from .setting_out import BEHAVIOURS, set_out
from .solve import Solution, solve
from .truth import Truth, check_ids, find_truth, rest_again
from .verdict import true_verdict


@dataclass
class Log:
    """One recording of the case: its frame, logger, and the truth as far as this log holds it."""

    name: str
    noise: bool
    logger: dict
    truth: Truth
    ideal: dict[str, float]
    script: Script
    solution: Solution
    spec: Logger
    inst: Install
    amps: float = 0.0
    numpy_solution: Solution | None = None  # beside a log that ngspice solved

    @cached_property
    def frame(self) -> pl.DataFrame:
        """The rows, read once somebody looks at them."""
        return _frame(self.spec, self.solution, self.script, self.noise)


@dataclass
class Case:
    """What `draw` returns; the first log is the main one."""

    seed: int
    plan: dict
    logs: list[Log]
    inst: Install
    behaviours: tuple[str, ...]
    fault: str | None
    grade: str
    notes: dict[str, float] = field(default_factory=dict)
    before: Log | None = None

    @property
    def frame(self) -> pl.DataFrame:
        """The main log with canonical columns: time_s, roles in A and V, and `mark` where the tester noted."""
        return self.logs[0].frame

    @property
    def logger(self) -> dict:
        """The main log's logger file."""
        return self.logs[0].logger

    @property
    def truth(self) -> dict[str, float | None]:
        """True values by check id, the worst over the logs that show the condition."""
        out: dict[str, float | None] = {}
        for check in check_ids(self.plan):
            found = [x.truth.value.get(check) for x in self.logs]
            values = [x for x in found if x is not None]
            low = check in ("resting_voltage", "crank_minimum", "charging_balance")
            out[check] = (min(values) if low else max(values)) if values else None
        if self.before and out["off_state_drain"] is not None:
            own = self.before.truth.value.get("off_state_drain")
            out["added_drain"] = None if own is None else out["off_state_drain"] - own
        return out

    @property
    def slack(self) -> dict[str, float]:
        """How far fair readings of each definition may lie from `truth`."""
        return {c: max((x.truth.slack.get(c, 0.0) for x in self.logs), default=0.0) for c in check_ids(self.plan)}

    @property
    def both(self) -> dict[str, tuple[float, float]]:
        """The values at idle and revved of the checks whose pass must hold for both, and which either fails."""
        out: dict[str, tuple[float, float]] = {}
        for x in self.logs:
            out |= x.truth.both
        return out

    def span(self, check: str) -> tuple[float, float]:
        """The lowest and highest value by any fair reading of the definition; (nan, nan) where there is no value."""
        found = [x.truth.span[check] for x in self.logs if check in x.truth.span]
        if check == "added_drain" and self.truth[check] is not None:
            value = self.truth[check]
            found = [(value - 0.01, value + 0.01)]
        return (min(a for a, _ in found), max(b for _, b in found)) if found else (math.nan, math.nan)

    @property
    def soft(self) -> set[str]:
        """Checks for which a value and "not seen" are both defensible."""
        return set().union(*(x.truth.soft for x in self.logs))

    @property
    def parts(self) -> dict[str, float]:
        """Further true values: resistances in ohms, idle and revs voltages, openings."""
        out: dict[str, float] = {}
        for x in self.logs:
            out |= x.truth.parts
        return out

    def ideal_u(self, check: str) -> float | None:
        """Expanded uncertainty (k = 2) of an ideal prover, or None where there is nothing to prove."""
        found = [x.ideal[check] for x in self.logs if check in x.ideal and math.isfinite(x.ideal[check])]
        return min(found) if found else None

    def verdict(self, check: str, margin: float = 0.0) -> str:
        """`pass`, `fail`, `not seen`, `not planned`, or `either` where span and `margin` straddle the limit.

        `not proven` stands for a drain that is truly below zero (something charges the battery).
        """
        return true_verdict(self, check, margin)

    def limited(self, settle_max_s: float) -> Case:
        """The same case under a plan with another settling limit, which says for how long a key-off must be watched."""
        plan = {**self.plan, "limits": {**self.plan["limits"], "settle_max_s": settle_max_s}}

        def again(x: Log) -> Log:
            roles = {c.role for c in x.spec.channels}
            tr = rest_again(x.truth, x.inst, x.script, x.solution, roles, settle_max_s)
            return replace(x, truth=tr, ideal=ideal_u(x.spec, tr, plan, x.amps))

        before = self.before and again(self.before)
        return replace(self, plan=plan, logs=[again(x) for x in self.logs], before=before)

    @property
    def story(self) -> list[tuple[float, str]]:
        """What truly happened, in seconds of the main log."""
        return sorted(self.logs[0].script.story)

    def write(self, folder: str | Path) -> list[Path]:
        """Write plan.toml, each log as CSV and its logger file; returns the CSV paths (`before` last)."""
        folder = Path(folder)
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "plan.toml").write_text(to_toml(self.plan), encoding="utf-8")
        out = []
        for log in [*self.logs, *([self.before] if self.before else [])]:
            path = folder / f"{log.name}.csv"
            path.write_text(csv_text(log), encoding="utf-8")
            (folder / f"{log.name}.logger.toml").write_text(to_toml(log.logger), encoding="utf-8")
            out.append(path)
        return out


def csv_text(log: Log) -> str:
    """The log as its logger writes it: in the channels' units, at their resolution, with over-range texts."""
    cols = [pl.col("time_s").round(7)]
    for c in log.spec.channels:
        unit = 1000.0 if c.unit == "mA" else 1.0
        digits = max(0, -math.floor(math.log10(c.resolution)) + 1)
        text = (pl.col(c.role) * unit).round(digits).cast(pl.String)
        cols.append(pl.when(pl.col(c.role).is_nan()).then(pl.lit(c.over_text or "")).otherwise(text).alias(c.role))
    if "mark" in log.frame.columns:
        cols.append(pl.col("mark"))
    return log.frame.select(cols).write_csv()


def _frame(spec: Logger, sol: Solution, script: Script, noise: bool) -> pl.DataFrame:
    rows = logging.read(spec, sol, script.end_s, clean=not noise)
    frame = pl.DataFrame(rows)
    if not script.marked:
        return frame
    marks: list[str | None] = [None] * frame.height
    t = frame["time_s"].to_numpy()
    for x, text in sorted(script.marks):
        k = int(np.searchsorted(t, x))
        while k < len(marks) and marks[k] is not None:
            k += 1
        if 0 <= x <= script.end_s and k < len(marks):
            marks[k] = text
    return frame.with_columns(pl.Series("mark", marks, dtype=pl.String))


def record(
    inst: Install, script: Script, spec: Logger, plan: dict, start: float, noise: bool, name: str, solver: str = "numpy"
) -> Log:
    """Solve the circuit for one session and read it with one logger."""
    pulses = any(x.pulse_hz > 4 for x in (*inst.bike, *inst.circuits))
    long = script.end_s - start > 1500
    base = 1.0 if long else 0.02
    if spec.average_s and pulses:
        base = 0.001
    elif spec.rate_hz >= 200 and not spec.average_s:
        base = 0.0  # the samples themselves are dense enough
    sol = solve(inst, script, spec.instants(script.end_s), start, base)
    other = None
    if solver == "ngspice":
        from .spice_session import solve_session

        other, sol = sol, solve_session(inst, script, sol, start)
    roles = {c.role for c in spec.channels}
    # the truth is the circuit's: ngspice's own errors at rest (mA) are no part of it
    tr = find_truth(inst, script, other or sol, roles, plan)
    load = max((sol.mean("feed_a", a, b) for a, b in script.all_on if 0 <= a < b <= script.end_s), default=0.0)
    ideal = ideal_u(spec, tr, plan, load)
    return Log(name, noise, logging.as_toml(spec), tr, ideal, script, sol, spec, inst, load, other)


def draw(
    seed: int,
    *,
    behaviours: tuple[str, ...] | None = None,
    n_behaviours: tuple[int, int] = (0, 3),
    fault: str | None = None,
    grade: str | None = None,
    template: str | None = None,
    marks: bool | None = None,
    night: bool = False,
    before: bool = False,
    noise: bool = True,
    solver: str = "numpy",
) -> Case:
    """Draw one case; the same arguments give the same case.

    Args:
        seed: the case's number.
        behaviours: names from `BEHAVIOURS`, or None for a random few (`n_behaviours`, least and most).
        fault: a cause id from `FAULTS`, or None.
        grade: a name from `GRADES`, "random", or None for a random one.
        template: a session's template (`script.draw_script`), or None.
        marks: whether the tester's marks are written; None for a random choice.
        night: add a second log, key off overnight, with a fine drain channel.
        before: add a log taken before the install, for `added_drain`.
        solver: "numpy", or "ngspice" for samples that ngspice solved (some seconds; see `spice_session`).
        noise: False reads the same case with a noise-free, error-free logger of the same rate and channels.
    """
    made = set_out(seed, behaviours, n_behaviours, fault, grade, template, marks)
    bench = made.bench
    inst, script, spec, plan, grade = bench.inst, bench.script, bench.logger, bench.plan, made.grade
    if solver == "ngspice":
        from .spice_session import fits, simplify

        if not fits(inst):
            raise ValueError("this install has parts that the ngspice deck does not hold")
        simplify(bench)
    logs = [record(inst, script, spec, plan, made.start, noise, grade, solver)]
    extra = np.random.default_rng(seed + 7_000_003)
    case = Case(seed, plan, logs, inst, made.applied, fault, grade, bench.notes)
    if night or before:
        from .nights import add_nights

        add_nights(case, extra, night=night, before=before, noise=noise)
    return case


__all__ = ["BEHAVIOURS", "FAULTS", "GRADES", "Case", "Log", "draw"]
