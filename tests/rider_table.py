"""Guided sessions with a rider played at random: wrong verdicts, and sessions that ended by themselves.

    python tests/rider_table.py [--sessions N] [--seed S] [--workers N]

The rider is late by 0 to 300 s at each step, does something else first at one step in ten, and takes one in ten again.
Two sessions of three have one of the faults, seven of ten one of the behaviours. The session is the real one, in this
process; bike, lines and clock are simulated. A verdict is wrong where it contradicts the truth by more than two
expanded uncertainties.
"""

import argparse
import tempfile
import tomllib
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from guided_bike import FAILS
from random_rider import cases, played

from benchlog.plan.model import Plan, plan_from_mapping
from benchlog.standin import SimulatedInstall, plan_toml_of

LIMITS = {"settle_max_s": 60, "added_drain_ma": None, "pull_in_max_ms": 100}
#: At 50 samples a second these are never proven, whatever the rider does.
TOO_SLOW = ("relay_chatter", "crank_minimum")


@dataclass(frozen=True, slots=True)
class Row:
    """One session: its case, how it ended, how long it took, what was wrong and what stayed open."""

    seed: int
    fault: str
    behaviour: str
    ended: str
    lasted_s: float
    wrong: tuple[str, ...]
    open: tuple[str, ...]
    missed: tuple[str, ...]


def the_plan() -> Plan:
    """The stand-in's plan."""
    return plan_from_mapping(tomllib.loads(plan_toml_of(SimulatedInstall(), LIMITS)))


def one_session(case: tuple[int, str, str]) -> Row:
    """Play one session."""
    seed, fault, behaviour = case
    with tempfile.TemporaryDirectory() as folder:
        one = played(seed, fault, behaviour, the_plan(), Path(folder) / "a.csv")
    verdicts = {} if one.result is None else {check.id: check.verdict for check in one.result.checks}
    left = tuple(c for c, v in verdicts.items() if v in ("not proven", "not seen") and c not in TOO_SLOW)
    missed = tuple(sorted(c for c in FAILS.get(fault, ()) if verdicts.get(c) == "pass"))
    return Row(seed, fault, behaviour, one.ended, one.lasted_s, tuple(one.wrong), left, missed)


def figures(sessions: int, seed: int, workers: int = 2) -> list[Row]:
    """Play them all."""
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        return list(pool.map(one_session, cases(sessions, seed)))


def render(rows: Sequence[Row]) -> str:
    """The table in lines."""
    hours = sum(row.lasted_s for row in rows) / 3600
    lines = [
        f"{len(rows)} sessions, {hours:.0f} h at the bike; {len({row.fault for row in rows if row.fault})} faults, "
        f"{len({row.behaviour for row in rows if row.behaviour})} behaviours",
        f"ended by themselves, or never: {sum(row.ended != 'done' for row in rows)}",
        f"wrong verdicts: {sum(len(row.wrong) for row in rows)} in {sum(bool(row.wrong) for row in rows)} sessions",
        f"a fault's own check passed: {sum(len(row.missed) for row in rows)}",
        "open checks by id: "
        + ", ".join(f"{check} {n}" for check, n in Counter(c for row in rows for c in row.open).most_common()),
    ]
    for row in rows:
        if row.wrong or row.missed or row.ended != "done":
            lines.append(f"  seed {row.seed}, {row.fault or 'no fault'}, {row.behaviour or 'none'}: {row.ended}; "
                         f"{'; '.join((*row.wrong, *row.missed))}")  # fmt: skip
    return "\n".join(lines)


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description="Guided sessions with a rider played at random.")
    asked.add_argument("--sessions", type=int, default=200)
    asked.add_argument("--seed", type=int, default=7000)
    asked.add_argument("--workers", type=int, default=2)
    given = asked.parse_args()
    print(render(figures(given.sessions, given.seed, given.workers)))


if __name__ == "__main__":
    main()
