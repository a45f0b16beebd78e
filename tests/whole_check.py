"""Properties of the whole check on random logs of the second world: what no verdict may depend on.

    python tests/whole_check.py [--logs 500] [--seed 220000] [--jobs 2] [--property NAME ...]

prints each log that breaks a property, and how many do. A property is a function of one random
case; ``noise`` looks at all of them together. Seeds from 220000 on were not used while anything was tuned.
"""

from __future__ import annotations

import argparse
import copy
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
import pandas as pd
from world import Case, draw
from world_causes import frame_of, logger_of
from world_table import SIDES

import benchlog
from benchlog.core.errors import BenchlogError
from benchlog.verdict.result import Check, Result

PROVEN = ("pass", "fail")
#: What a shift of the clock may move of a figure, or of its uncertainty, as a share of the uncertainty: windows and
#: points of 0.1 s begin a sample elsewhere.
ROUNDING = 0.1
#: The clock is moved by up to this, s: a day, either way.
MOST_MOVED_S = 86_400.0
SEED = 220_000
#: More noise may prove more in one log by chance; not on average over so many.
AVERAGED = 50


def case_of(seed: int) -> Case:
    """A random session of some minutes, slow enough to be checked often."""
    return draw(seed, grade=("mid4", "slow2", "fast5")[seed % 3])


def result_of(frames: list[pd.DataFrame], plan: dict[str, Any], logger: dict[str, Any]) -> Result | None:
    """The result of these logs together; None where they are refused."""
    present = set(frames[0].columns)
    channels = [one for one in logger["channel"] if one["column"] in present]
    given = frames if len(frames) > 1 else frames[0]
    try:
        return benchlog.check(given, plan=plan, logger={**logger, "channel": channels})
    except BenchlogError:
        return None


def verdicts(result: Result) -> dict[str, str]:
    """Check -> verdict."""
    return {check.id: check.verdict for check in result.checks}


def _pairs(before: Result, after: Result) -> Iterator[tuple[Check, Check]]:
    later = {check.id: check for check in after.checks}
    return ((check, later[check.id]) for check in before.checks if check.id in later)


class Given:
    """One random log with its plan, its logger and its result."""

    def __init__(self, seed: int) -> None:
        """Draw it and check it once."""
        case = case_of(seed)
        self.seed = seed
        self.frame, self.plan, self.logger = frame_of(case), copy.deepcopy(case.plan), logger_of(case)
        self.result = result_of([self.frame], self.plan, self.logger)
        self.rng = np.random.default_rng(seed + 17)

    def again(self, *frames: pd.DataFrame, plan: dict[str, Any] | None = None) -> Result | None:
        """The result of other logs of the same bike."""
        return result_of(list(frames), plan or self.plan, self.logger)

    def halves(self) -> tuple[pd.DataFrame, pd.DataFrame]:
        """The log cut in two somewhere in its middle half."""
        at = int(len(self.frame) * self.rng.uniform(0.25, 0.75))
        return self.frame.iloc[:at].reset_index(drop=True), self.frame.iloc[at:].reset_index(drop=True)


def order(given: Given) -> list[str]:
    """Two logs make one result, whichever is named first."""
    first, second = given.halves()
    one, other = given.again(first, second), given.again(second, first)
    if one is None or other is None:
        return [] if one is other else ["refused in one order"]
    return [f"{a.id}: {a.verdict}, then {b.verdict}" for a, b in _pairs(one, other) if a.verdict != b.verdict]


def clock(given: Given) -> list[str]:
    """A constant added to every time changes no verdict and no cause, and figures only as far as windows move."""
    assert given.result is not None
    by_s = float(given.rng.choice([0.1, 1234.5, given.rng.uniform(-MOST_MOVED_S, MOST_MOVED_S)]))
    later = given.again(given.frame.assign(time_s=given.frame["time_s"] + by_s))
    if later is None:
        return [f"refused {by_s} s later"]
    found = [
        f"{a.id}: {a.verdict} {a.measured} ± {a.uncertainty}, {by_s} s later {b.verdict} {b.measured} ± {b.uncertainty}"
        for a, b in _pairs(given.result, later)
        if a.verdict != b.verdict or not _alike(a, b)
    ]
    causes, then = ([cause.id for cause in each.causes] for each in (given.result, later))
    return found if causes == then else [*found, f"causes {causes}, {by_s} s later {then}"]


def _alike(a: Check, b: Check) -> bool:
    most = max(ROUNDING * (a.uncertainty or 0.0), 1e-6 * abs(a.measured or 0.0))
    pairs = ((a.measured, b.measured), (a.uncertainty, b.uncertainty))
    return all((x is None) == (y is None) and abs((x or 0.0) - (y or 0.0)) <= most for x, y in pairs)


def halves(given: Given) -> list[str]:
    """A log's two halves together prove nothing against the whole."""
    return _cut(given, PROVEN)


def more_in_halves(given: Given) -> list[str]:
    """A log's two halves together prove nothing that the whole leaves open.

    It does not always hold: of two events the whole judges the worse one, and of two logs the one that is not sure
    counts neither way, so that a cut between them may prove what one slow log does not; and a half that begins after
    a key-off that the battery alone does not show is a parked bike.
    """
    return _cut(given, ("not proven", "not seen"))


def _cut(given: Given, whole_is: tuple[str, ...]) -> list[str]:
    assert given.result is not None
    together = given.again(*given.halves())
    if together is None:
        return []
    return [
        f"{whole.id}: {whole.verdict} whole, {cut.verdict} in halves ({whole.because} / {cut.because})"
        for whole, cut in _pairs(given.result, together)
        if whole.verdict in whole_is and cut.verdict in PROVEN and whole.verdict != cut.verdict
    ]


def tighter(given: Given) -> list[str]:
    """A tighter limit turns no failure into anything else."""
    assert given.result is not None
    plan = copy.deepcopy(given.plan)
    for table, key, side in SIDES.values():
        value = plan.get(table, {}).get(key)
        if isinstance(value, int | float):
            by = given.rng.uniform(0.02, 0.3) * (abs(value) or 1.0)
            plan[table][key] = value - by if side == "max" else value + by
    for circuit in plan.get("circuit", ()):
        circuit["tolerance_pct"] = 0.7 * circuit.get("tolerance_pct", 20.0)
    limits = plan.get("limits", {})
    if limits.get("charging_max_v", 99.0) <= limits.get("charging_min_v", 0.0):
        limits["charging_max_v"] = limits["charging_min_v"] + 0.05
    later = given.again(given.frame, plan=plan)
    if later is None:
        return []
    return [
        f"{a.id}: fail, then {b.verdict}" for a, b in _pairs(given.result, later) if a.verdict == "fail" != b.verdict
    ]


def without(given: Given) -> list[str]:
    """A channel that is left out turns no failure into a pass."""
    assert given.result is not None
    roles = [name for name in given.frame.columns if name not in ("time_s", "mark")]
    gone = str(given.rng.choice(roles))
    later = given.again(given.frame.drop(columns=gone))
    if later is None:
        return []
    return [
        f"{a.id}: fail, and pass without {gone} ({a.because} / {b.because})"
        for a, b in _pairs(given.result, later)
        if (a.verdict, b.verdict) == ("fail", "pass")
    ]


PROPERTIES: dict[str, Callable[[Given], list[str]]] = {
    "order": order,
    "clock": clock,
    "halves": halves,
    "tighter": tighter,
    "without": without,
}
#: Told, but no promise.
TOLD = {"more_in_halves": more_in_halves}
NAMES = (*PROPERTIES, *TOLD, "noise")


def breaks(name: str, given: Given) -> list[str]:
    """What of a log breaks a property; what is drawn for it depends on the log and the property alone."""
    given.rng = np.random.default_rng((given.seed, NAMES.index(name)))
    return {**PROPERTIES, **TOLD}[name](given)


def proven_with_noise(seed: int) -> tuple[int, int]:
    """How many checks a log proves, and how many with four times its noise added."""
    given = Given(seed)
    noisy = given.frame.copy()
    for role in noisy.columns:
        if role not in ("time_s", "mark"):
            x = noisy[role].to_numpy(dtype=float)
            step = np.diff(x)
            sigma = 1.4826 * float(np.nanmedian(np.abs(step - np.nanmedian(step)))) / np.sqrt(2)
            noisy[role] = x + given.rng.normal(0.0, 4 * max(sigma, 1e-6), len(x))
    later = given.again(noisy)
    if given.result is None or later is None:
        return 0, 0
    fewer, more = (sum(verdict in PROVEN for verdict in verdicts(each).values()) for each in (given.result, later))
    return fewer, more


def broken(seed: int, names: tuple[str, ...]) -> list[tuple[str, str]]:
    """(property, what broke it) of one random log."""
    given = Given(seed)
    if given.result is None:
        return []
    return [(name, f"seed {seed}: {what}") for name in names for what in breaks(name, given)]


def main() -> None:
    """Print the counts and each log that broke a property."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--logs", type=int, default=500)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--property", nargs="*", choices=NAMES, default=NAMES)
    asked = parser.parse_args()
    names = tuple(name for name in asked.property if name != "noise")
    seeds = range(asked.seed, asked.seed + asked.logs)
    with ProcessPoolExecutor(asked.jobs, mp_context=get_context("spawn")) as pool:
        logs: Counter[str] = Counter()
        for tried, found in enumerate(pool.map(broken, seeds, [names] * len(seeds)), start=1):
            logs.update({name for name, _ in found})
            for name, what in found:
                print(f"  {name} {what}", flush=True)
            if tried % 25 == 0 or tried == asked.logs:
                print(f"{tried} logs; broken by " + ", ".join(f"{name} {logs[name]}" for name in names), flush=True)
        if "noise" in asked.property:
            counts = list(pool.map(proven_with_noise, seeds))
            for at in range(0, len(counts), AVERAGED):
                fewer, more = (sum(each) for each in zip(*counts[at : at + AVERAGED], strict=True))
                print(f"noise, from seed {seeds[at]}: {fewer} checks proven, {more} with more noise", flush=True)


if __name__ == "__main__":
    main()
