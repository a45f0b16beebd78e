"""How often the search names the right place, by kind of fault: ``python tests/find_table.py [--faults N] [--seed N]``.

2,000 random faults over all places and kinds of the plan of the sample bike, on networks that ngspice solves, with a
tester who errs and skips; "mean" is tests and minutes. The last four columns are the same in a world without errors:
of the best decision tree of all, of this search's one-step look-ahead, of a half-split and of a fixed checklist.
"""

import argparse
import json
import time
from collections import defaultdict
from dataclasses import asdict
from pathlib import Path
from statistics import median

import numpy as np
from find_bike import every_fault
from find_policies import by_kind
from find_trial import Trial, search

from benchlog.find.beliefs import Knowledge
from benchlog.plan.model import load_plan

PLAN = Path(__file__).parent.parent / "sample_data" / "larch.plan.toml"


def trials(count: int, seed: int, most_s: float = float("inf"), kept: Path | None = None) -> list[Trial]:
    """Searches for random faults; fewer where the time is up before.

    Args:
        count: how many. seed: of faults, bikes and testers. most_s: s.
        kept: a file that each is added to, so that a run that stopped is taken up where it was.
    """
    until = time.monotonic() + most_s
    knowledge = Knowledge(load_plan(PLAN))
    faults = every_fault(knowledge.plan)
    draw = np.random.default_rng(seed)
    lines = kept.read_text(encoding="utf-8").splitlines() if kept is not None and kept.exists() else []
    done = [Trial(**json.loads(line)) for line in lines[:count]]
    drawn = [faults[int(draw.integers(len(faults)))] for _ in range(count)]
    for n in range(len(done), count):
        done.append(search(knowledge, *drawn[n], seed * 100_000 + n))
        if kept is not None:
            with kept.open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(done[-1])) + "\n")
        if time.monotonic() > until:
            break
    return done


def table(done: list[Trial], knowledge: Knowledge) -> str:
    """By kind of fault: how the searches ended, and what they took beside other ways to choose the next test."""
    kinds: dict[str, list[Trial]] = defaultdict(list)
    for trial in done:
        kinds[trial.kind].append(trial)
        kinds["all"].append(trial)
    others = by_kind(knowledge)
    ways = ("full search", "this search", "half-split", "checklist")
    heads = ["kind", "faults", "right", "wrong", "open", "tests, median (90 %)", "minutes, median", "mean", *ways]
    lines = [f"| {' | '.join(heads)} |", "| --- " * len(heads) + "|"]
    for kind in sorted(kinds, key=lambda name: (name == "all", name)):
        each = kinds[kind]
        ended = [100 * sum(trial.ended == how for trial in each) / len(each) for how in ("right", "wrong", "open")]
        tests = [trial.tests for trial in each]
        cells = [kind, str(len(each)), *(f"{share:.1f} %" for share in ended)]
        cells += [f"{median(tests):g} ({np.quantile(tests, 0.9):g})", f"{median(t.minutes for t in each):g}"]
        cells.append(f"{np.mean(tests):.1f} · {np.mean([trial.minutes for trial in each]):.1f}")
        cells += [
            "–" if (cost := others[kind][way]) is None else f"{cost.tests:.1f} · {cost.minutes:.1f}" for way in ways
        ]
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def main() -> None:
    """Print the table, and every search that did not end right."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--faults", type=int, default=2000)
    options.add_argument("--seed", type=int, default=90)
    options.add_argument("--minutes", type=float, default=60.0, help="stop then, and show what there is")
    options.add_argument("--bad", action="store_true", help="list the searches that did not end right")
    options.add_argument("--kept", type=Path, help="a file that each search is added to; a stopped run goes on from it")
    given = options.parse_args()
    done = trials(given.faults, given.seed, 60 * given.minutes, given.kept)
    print(table(done, Knowledge(load_plan(PLAN))))
    print(f"slowest next test: {max(trial.slowest_s for trial in done):.3f} s")
    if given.bad:
        for trial in done:
            if trial.ended != "right":
                print(trial)


if __name__ == "__main__":
    main()
