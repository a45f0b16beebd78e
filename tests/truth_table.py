"""False verdicts, proven verdicts and coverage over simulated installs whose truth is known.

    python tests/truth_table.py [--installs N] [--seed S]

Every install and logger is drawn at random. Limits are then laid around the truth of each check: *tight*, within a
few uncertainties, where a bare comparison of the measured value with the limit is often wrong, and *wide*, up to
30 % off. The script prints, for each check, how many verdicts are false, how many are proven, how often the
expanded uncertainty (k = 2) covers the truth, and beside them what a bare comparison would have got wrong.
"""

import argparse
import tomllib
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from multiprocessing import get_context

import limit_sides
import numpy as np
from counts import ProvenCounts

import benchlog
from benchlog.core.errors import BenchlogError
from benchlog.standin import LoggerSpec, SimulatedInstall, Simulation, WakeUps, acceptance_script, fast_logger, simulate

#: check id -> (plan key, which side the limit is on); no log of these is compared with one from before the install.
SIDES = {check: (key, side) for check, (_, key, side) in limit_sides.SIDES.items() if check != "added_drain"}
SLOTS = ("slot_1_current", "slot_2_current", "slot_3_current", "slot_4_current")
COUNTED = ("relay_chatter", "feed_in_crank")
#: Tight limits lie within this many expanded uncertainties of the truth.
TIGHT_U = 2.0
WIDE = 0.30


@dataclass
class Tally(ProvenCounts):
    """Counts for one check."""

    bare_wrong: int = 0


@dataclass
class Table:
    """Tallies by check id."""

    rows: dict[str, Tally] = field(default_factory=dict)

    def row(self, check_id: str) -> Tally:
        """The tally of one check."""
        return self.rows.setdefault("slot_N_current" if check_id in SLOTS else check_id, Tally())

    def add(self, other: "Table") -> None:
        """Add another table's counts."""
        for check_id, tally in other.rows.items():
            self.rows.setdefault(check_id, Tally()).add(tally)

    def total(self) -> Tally:
        """All checks together."""
        total = Tally()
        for tally in self.rows.values():
            total.add(tally)
        return total


def draw_install(rng: np.random.Generator) -> SimulatedInstall:
    """A random install, some with wake-ups, some that chatter or lose the feed while cranking."""
    good = SimulatedInstall()
    circuits = tuple(
        replace(c, actual_a=c.planned_a * rng.uniform(0.75, 1.25), inrush=rng.uniform(0.0, 2.0)) for c in good.circuits
    )
    wakes = WakeUps(period_s=rng.uniform(8, 25), length_s=rng.uniform(0.5, 2.5), height_a=10 ** rng.uniform(-3, -1.7))
    return replace(
        good,
        emf_v=rng.uniform(12.3, 12.95),
        source_mohm=rng.uniform(12, 60),
        slow_mohm=rng.uniform(0.2, 2.5),
        drain_a=10 ** rng.uniform(-4.0, -2.3),
        wakeups=wakes if rng.random() < 0.4 else None,
        awake=((rng.uniform(0.1, 0.4), rng.uniform(5, 60)),),
        bike_a=rng.uniform(2, 7),
        pull_travel_ms=rng.uniform(2, 25),
        release_travel_ms=rng.uniform(1, 80),
        feed_mohm=rng.uniform(8, 50),
        ground_mohm=rng.uniform(3, 30),
        feed_leak_v=rng.uniform(0.02, 0.9),
        trigger_fall_tau_s=10 ** rng.uniform(-4, -2),
        starter_peak_a=rng.uniform(60, 120),
        regulated_v=rng.uniform(13.2, 15.2),
        charge_a=rng.uniform(0.5, 4),
        charge_tau_s=rng.uniform(2, 6),
        charge_floor_a=rng.uniform(0.2, 2),
        chatter=((rng.uniform(1, 3), rng.uniform(0.008, 0.03)),) if rng.random() < 0.15 else (),
        trigger_drops_in_crank=bool(rng.random() < 0.25),
        circuits=circuits,
    )


def draw_logger(rng: np.random.Generator) -> LoggerSpec:
    """A random logger of 100 Hz to 2 kHz whose errors are a third to three times the usual."""
    spec = fast_logger(float(rng.choice([100, 200, 500, 1000, 1000, 2000])))
    for one in spec.channels:
        scale = 3 ** rng.uniform(-1, 1)
        spec = spec.changed(
            one.role,
            gain_error_pct=one.gain_error_pct * scale,
            offset_error=one.offset_error * scale,
            resolution=one.resolution * 3 ** rng.uniform(-1, 1),
            noise=one.noise * 3 ** rng.uniform(-1, 1),
        )
    return spec


def canonical_logger(spec: LoggerSpec) -> dict[str, object]:
    """The logger as a mapping for a frame whose columns are roles in canonical units."""
    return {
        "logger": {"name": spec.name},
        "time": {"column": "time_s"},
        "channel": [
            {
                "column": one.role,
                "role": one.role,
                "gain_error_pct": one.gain_error_pct,
                "offset_error": one.offset_error * one.factor,
                "resolution": one.resolution * one.factor,
            }
            for one in spec.channels
        ]
        + [{"column": "mark", "role": "mark"}],
    }


def one_install(seed: int) -> tuple[Table, Table]:
    """Tight and wide tallies of one drawn install."""
    rng = np.random.default_rng(seed)
    install, spec = draw_install(rng), draw_logger(rng)
    script = acceptance_script(rest_s=15, slot_every_s=4, all_on_s=6, running_s=20, settle_s=200, marks=True)
    sim = simulate(install, script, spec, rng)
    tables = []
    widths = _widths(sim)
    for tight in (True, False):
        # the planned currents carry the slots' limits, so they are laid first; the load's truth follows from them
        planned = {}
        for circuit in install.circuits:
            side = rng.choice([0.8, 1.2])
            off = _off(rng, tight, widths.get(f"slot_{circuit.slot}_current"), circuit.actual_a * side)
            planned[circuit.slot] = circuit.actual_a / side * (1 + off)
        scale = sum(planned.values()) / install.planned_a
        truth = {
            key: value * (scale if key in ("battery_sag", "feed_drop", "ground_lift") and value is not None else 1)
            for key, value in sim.truth.values.items()
            if value is not None
        }
        limits = {}
        for check_id, (key, _) in SIDES.items():
            if check_id in truth:
                limits[key] = truth[check_id] + abs(truth[check_id]) * _off(
                    rng, tight, widths.get(check_id), abs(truth[check_id])
                )
        tables.append(_tally(sim, truth, limits, planned))
    return tables[0], tables[1]


def _off(rng: np.random.Generator, tight: bool, width: float | None, truth: float) -> float:
    most = WIDE if not tight else min(TIGHT_U * (width or 0.0) / max(truth, 1e-9), WIDE)
    return float(rng.uniform(-most, most))


def _plan(sim: Simulation, limits: Mapping[str, float], planned: Mapping[int, float]) -> dict[str, object]:
    plan = tomllib.loads(sim.plan_toml)
    plan["limits"].update({key: value for key, value in limits.items() if key in plan["limits"]})
    # the settled stretch that must be logged follows settle_max_s; it is shorter than the log here
    plan["limits"]["charging_min_v"] = 1.0
    plan["limits"]["feed_in_crank"] = "hold"
    for table, key in (
        ("relay", "pull_in_max_ms"),
        ("relay", "drop_out_max_ms"),
        ("feed", "drop_max_v"),
        ("ground", "lift_max_v"),
    ):
        if key in limits:
            plan[table][key] = limits[key]
    for circuit in plan["circuit"]:
        circuit["planned_a"] = planned[circuit["slot"]]
        circuit.pop("fuse_a", None)
    return plan


def _widths(sim: Simulation) -> dict[str, float]:
    """Expanded uncertainties of a first look, to know how far *tight* reaches."""
    planned = {c.slot: c.actual_a for c in sim.install.circuits}
    try:
        result = benchlog.check(sim.frame, plan=_plan(sim, {}, planned), logger=canonical_logger(sim.spec))
    except BenchlogError:
        return {}
    return {c.id: c.uncertainty for c in result.checks if c.uncertainty}


def _tally(
    sim: Simulation, truth: Mapping[str, float], limits: Mapping[str, float], planned: Mapping[int, float]
) -> Table:
    table = Table()
    result = benchlog.check(sim.frame, plan=_plan(sim, limits, planned), logger=canonical_logger(sim.spec))
    for check in result.checks:
        true = truth.get(check.id)
        if check.id not in (*SIDES, *SLOTS, *COUNTED) or check.verdict == "not planned":
            continue
        if check.id == "relay_chatter" and true is None:
            continue
        row = table.row(check.id)
        row.judged += 1
        row.proven += check.verdict in ("pass", "fail")
        conforms = _conforms(check.id, true, check.limit)
        row.false_pass += check.verdict == "pass" and conforms is not True
        row.false_fail += check.verdict == "fail" and conforms is True
        if true is None or check.measured is None:
            continue
        row.bare_wrong += _conforms(check.id, check.measured, check.limit) != conforms
        if check.uncertainty is not None and check.id not in COUNTED:
            row.with_u += 1
            row.covered += abs(check.measured - true) <= check.uncertainty
    return table


def _conforms(check_id: str, value: float | None, limit: object) -> bool | None:
    if value is None:
        # a relay that never opens: there is no time, and the check must not pass
        return False if check_id == "relay_drop_out" else None
    low, high = getattr(limit, "min", None), getattr(limit, "max", None)
    return bool((low is None or value >= low) and (high is None or value <= high))


def figures(installs: int, seed: int, workers: int = 2) -> tuple[Table, Table]:
    """Tallies over many installs."""
    tight, wide = Table(), Table()
    # forked workers could inherit a lock that one of polars' threads holds
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        for one, other in pool.map(one_install, range(seed, seed + installs), chunksize=4):
            tight.add(one)
            wide.add(other)
    return tight, wide


def render(title: str, table: Table) -> str:
    """The table as text."""
    lines = [
        title,
        f"{'check':<20}{'judged':>7}{'false pass':>12}{'false fail':>12}{'proven':>9}{'covered':>9}{'bare wrong':>12}",
    ]
    for name, row in [*sorted(table.rows.items()), ("all", table.total())]:
        n = max(row.judged, 1)
        covered = f"{row.covered / row.with_u:.1%}" if row.with_u else "-"
        lines.append(
            f"{name:<20}{row.judged:>7}{row.false_pass / n:>12.1%}{row.false_fail / n:>12.1%}"
            f"{row.proven / n:>9.1%}{covered:>9}{row.bare_wrong / n:>12.1%}"
        )
    return "\n".join(lines)


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description="false verdicts, proven verdicts and coverage on simulated installs")
    parser.add_argument("--installs", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1000)
    given = parser.parse_args()
    tight, wide = figures(given.installs, given.seed)
    print(render(f"limits within {TIGHT_U:g} expanded uncertainties of the truth, {given.installs} installs", tight))
    print()
    print(render(f"limits up to {WIDE:.0%} off the truth, the same installs", wide))


if __name__ == "__main__":
    main()
