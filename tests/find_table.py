"""How often the search names the right place, by kind of fault: ``python tests/find_table.py [--faults N] [--seed N]``.

2,000 random faults over all places and kinds of the plan of the sample bike, on networks that ngspice solves.
"""

import argparse
import time
from collections import defaultdict
from pathlib import Path
from statistics import median

import numpy as np
from find_bike import every_fault
from find_trial import Trial, search

from benchlog.find.beliefs import Knowledge
from benchlog.plan.model import load_plan

PLAN = Path(__file__).parent.parent / "sample_data" / "larch.plan.toml"


def trials(count: int, seed: int, most_s: float = float("inf")) -> list[Trial]:
    """Searches for random faults; fewer where the time is up before."""
    until = time.monotonic() + most_s
    knowledge = Knowledge(load_plan(PLAN))
    faults = every_fault(knowledge.plan)
    draw = np.random.default_rng(seed)
    done = []
    for n in range(count):
        done.append(search(knowledge, *faults[int(draw.integers(len(faults)))], seed * 100_000 + n))
        if time.monotonic() > until:
            break
    return done


def table(done: list[Trial]) -> str:
    """By kind of fault: how many, right, wrong, open, tests and minutes."""
    kinds: dict[str, list[Trial]] = defaultdict(list)
    for trial in done:
        kinds[trial.kind].append(trial)
        kinds["all"].append(trial)
    lines = ["| kind | faults | right | wrong | open | tests, median (90 %) | minutes, median |", "| --- " * 7 + "|"]
    for kind in sorted(kinds, key=lambda name: (name == "all", name)):
        each = kinds[kind]
        ended = [100 * sum(trial.ended == how for trial in each) / len(each) for how in ("right", "wrong", "open")]
        tests = [trial.tests for trial in each]
        lines.append(
            f"| {kind} | {len(each)} | "
            + " | ".join(f"{share:.1f} %" for share in ended)
            + f" | {median(tests):g} ({np.quantile(tests, 0.9):g}) | {median(t.minutes for t in each):g} |"
        )
    return "\n".join(lines)


def main() -> None:
    """Print the table, and every search that did not end right."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--faults", type=int, default=2000)
    options.add_argument("--seed", type=int, default=90)
    options.add_argument("--minutes", type=float, default=60.0, help="stop then, and show what there is")
    options.add_argument("--bad", action="store_true", help="list the searches that did not end right")
    given = options.parse_args()
    done = trials(given.faults, given.seed, 60 * given.minutes)
    print(table(done))
    print(f"slowest next test: {max(trial.slowest_s for trial in done):.3f} s")
    if given.bad:
        for trial in done:
            if trial.ended != "right":
                print(trial)


if __name__ == "__main__":
    main()
