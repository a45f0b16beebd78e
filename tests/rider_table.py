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
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from random_rider import Case, cases
from rider_play import played
from rider_truth import Verdicts

from benchlog.plan.model import Plan, plan_from_mapping
from benchlog.standin import SimulatedInstall, plan_toml_of

LIMITS = {"settle_max_s": 60, "added_drain_ma": None, "pull_in_max_ms": 100}


@dataclass(frozen=True, slots=True)
class Row:
    """One session: its case, how it ended, how long it took (s of the stream), and its verdicts beside the truth."""

    case: Case
    ended: str
    lasted_s: float
    verdicts: Verdicts | None

    @property
    def told(self) -> str:
        """What is to be looked at; "" where nothing is."""
        found = [] if self.ended == "done" else [self.ended]
        if self.verdicts is not None:
            found += [
                *self.verdicts.wrong,
                *(f"{check}: passed, though the fault breaks it" for check in self.verdicts.passed),
            ]
        return "; ".join(found)


def the_plan() -> Plan:
    """The stand-in's plan."""
    return plan_from_mapping(tomllib.loads(plan_toml_of(SimulatedInstall(), LIMITS)))


def one_session(case: Case) -> Row:
    """Play one session."""
    with tempfile.TemporaryDirectory() as folder:
        one = played(*case, the_plan(), Path(folder) / "a.csv")
    return Row(case, one.ended, one.lasted_s, one.verdicts)


def render(rows: Sequence[Row]) -> str:
    """The table in lines."""
    verdicts = [row.verdicts for row in rows if row.verdicts is not None]
    faults, behaviours = {row.case.fault for row in rows} - {""}, {row.case.behaviour for row in rows} - {""}
    lines = [
        f"{len(rows)} sessions, {sum(row.lasted_s for row in rows) / 3600:.0f} h at the bike; {len(faults)} faults, "
        f"{len(behaviours)} behaviours",
        f"ended by themselves, or never: {sum(row.ended != 'done' for row in rows)}",
        f"wrong verdicts: {sum(len(one.wrong) for one in verdicts)}, in "
        f"{sum(bool(one.wrong) for one in verdicts)} sessions",
        f"a fault's own check passed: {sum(len(one.passed) for one in verdicts)}",
        f"a fault's own check not proven: {_counted(one.unproven for one in verdicts)}",
        f"other checks not proven: {_counted(one.open for one in verdicts)}",
    ]
    return "\n".join([*lines, *(f"  {row.case.words}: {row.told}" for row in rows if row.told)])


def _counted(found: Iterable[Sequence[str]]) -> str:
    counts = Counter(check for checks in found for check in checks)
    return f"{counts.total()}" + (
        f" ({', '.join(f'{check} {n}' for check, n in counts.most_common())})" if counts else ""
    )


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description="Guided sessions with a rider played at random.")
    asked.add_argument("--sessions", type=int, default=200)
    asked.add_argument("--seed", type=int, default=7000)
    asked.add_argument("--workers", type=int, default=2)
    given = asked.parse_args()
    with ProcessPoolExecutor(given.workers, mp_context=get_context("spawn")) as pool:
        print(render(list(pool.map(one_session, cases(given.sessions, given.seed)))))


if __name__ == "__main__":
    main()
