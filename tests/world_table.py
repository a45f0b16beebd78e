"""False verdicts, coverage and proven verdicts in the second world (`tests/world`), whose truth comes from a circuit.

    python tests/world_table.py [--logs N] [--seed S] [--jobs N] [--behaviour NAME ...] [--grade NAME] [--list]
                                [--write]

Every case is drawn at random: install, session, logger, 0 to 3 behaviours on top of each other. Limits are laid around
the truth twice: *tight*, within two of the result's own expanded uncertainties, and *wide*, up to 30 % off; always
beyond what the definition of the check itself leaves open (the world's ``slack``), so that every verdict is right or
wrong. A value for something that the session does not hold counts as wrong where it is judged. *Proven* is held against
an ideal prover who knows the logger's limits of error and its true noise; who cannot tell an unmarked circuit's step
from another's either, where another circuit's plan could be it (see ``_told_apart``). ``--list`` names every false
verdict, ``--write`` keeps the figures in ``world_figures.json``, which the documentation quotes.
"""

from __future__ import annotations

import argparse
import copy
import math
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import combinations
from multiprocessing import get_context
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from counts import ProvenCounts
from limit_sides import SIDES
from world import BEHAVIOURS, Case, draw
from world_pages import keep

import benchlog
from benchlog.core.errors import BenchlogError

#: Their truth grows with the planned load.
SCALED = ("battery_sag", "feed_drop", "ground_lift")
#: A limit of the plan that says yes or no, so that none is laid.
COUNTED = ("relay_chatter", "feed_in_crank")
#: Tight limits lie within this many expanded uncertainties of the truth.
TIGHT_U, WIDE = 2.0, 0.30
#: Plans that lie within this factor of an unmarked circuit's true current could be its own: as far off as wide limits
#: and tolerances of 20 % lay them.
COULD_BE = 1.6
#: An ideal prover proves what lies this many expanded uncertainties off: 1.645 standard ones.
PROVABLE_U = 1.645 / 2


@dataclass
class Tally(ProvenCounts):
    """Counts of one row."""

    provable: int = 0


@dataclass
class Table:
    """Tallies by heading and row, and what was wrong."""

    rows: dict[tuple[str, str], Tally] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)

    def at(self, heading: str, row: str) -> Tally:
        """One tally."""
        return self.rows.setdefault((heading, row), Tally())

    def add(self, other: Table) -> None:
        """Add another's."""
        for key, tally in other.rows.items():
            self.rows.setdefault(key, Tally()).add(tally)
        self.wrong += other.wrong


@dataclass(frozen=True)
class Asked:
    """What is drawn."""

    behaviours: tuple[str, ...] | None = None
    grade: str | None = None


def one_case(seed: int, asked: Asked) -> Table:
    """The tallies of one drawn case, with tight and with wide limits."""
    rng = np.random.default_rng([seed, 77])
    case = draw(
        seed,
        behaviours=asked.behaviours,
        grade=asked.grade,
        night=bool(rng.random() < 0.12),
        before=bool(rng.random() < 0.12),
    )
    table = Table()
    with _given(case) as logs:
        first = _checked(logs, case.plan)
        if isinstance(first, str):
            return _refused(table, case, first)
        widths = {check.id: check.uncertainty for check in first.checks if check.uncertainty}
        for tight in (True, False):
            plan, scale = _plan(case, rng, widths, tight)
            result = _checked(logs, plan)
            if isinstance(result, str):
                return _refused(table, case, result)
            # the limit says as well for how long a key-off must be watched, and so which of them count
            limited = case.limited(plan["limits"]["settle_max_s"]) if "settle_max_s" in plan["limits"] else case
            _count(table, limited, plan, scale, result, tight)
    return table


def _refused(table: Table, case: Case, why: str) -> Table:
    """A log of a bike that can be: refusing it is a miss of its own."""
    table.at("refused", "refused").judged += 1
    table.wrong.append(f"seed {case.seed} {case.grade} {'+'.join(case.behaviours) or '-'} refused: {why}")
    return table


class _given:  # noqa: N801  # reads as a with-statement's words
    """The case's logs as files, as a user has them; a single one as a frame."""

    def __init__(self, case: Case) -> None:
        self.case, self.folder = case, tempfile.TemporaryDirectory()

    def __enter__(self) -> dict:
        case = self.case
        # a frame is in amperes and volts throughout; a logger in mA has to write its file
        plain = all(channel.get("unit") in ("A", "V") for channel in case.logger["channel"])
        if len(case.logs) == 1 and case.before is None and plain:
            return {"logs": case.frame, "logger": case.logger}
        paths = [str(path) for path in case.write(self.folder.name)]
        before = paths.pop() if case.before is not None else None
        return {"logs": paths, "before": before}

    def __exit__(self, *_: object) -> None:
        self.folder.cleanup()


def _checked(given: Mapping, plan: dict) -> benchlog.Result | str:
    """The result, or why the logs were refused."""
    try:
        return benchlog.check(**given, plan=plan)
    except BenchlogError as problem:
        return str(problem)
    except Exception as problem:  # the table goes on, and counts and names it
        return f"BROKE: {problem!r}"


def _plan(case: Case, rng: np.random.Generator, widths: Mapping[str, float], tight: bool) -> tuple[dict, float]:
    """The plan with limits laid around the truth, and how far the planned load is from the world's own."""
    plan = copy.deepcopy(case.plan)
    truth, slack = case.truth, case.slack

    def laid(check: str, value: float, gap: float) -> float:
        width = widths.get(check) or case.ideal_u(check) or 0.0
        most = TIGHT_U * width if tight else WIDE * abs(value)
        off = gap + rng.uniform(0, most)
        return value + off * rng.choice([-1.0, 1.0])

    old = sum(c["planned_a"] for c in plan["circuit"])
    for circuit in plan["circuit"]:
        check = f"slot_{circuit['slot']}_current"
        value = truth.get(check)
        share = circuit["tolerance_pct"] / 100
        circuit["fuse_a"] = 100.0  # the tolerance is what is held; the fuse's own share is not the question here
        if value is not None and math.isfinite(value) and value > 0.1:
            side = 1 + share * rng.choice([-1.0, 1.0])
            circuit["planned_a"] = max(laid(check, value, slack[check]) / side, 0.05)
    scale = sum(c["planned_a"] for c in plan["circuit"]) / old
    for check, (section, key, side) in SIDES.items():
        value = truth.get(check)
        if value is None or not math.isfinite(value) or key not in plan[section]:
            continue
        times = scale if check in SCALED else 1.0
        if check in case.both:  # at idle and revved, and one limit of the plan at the one or the other
            value = case.both[check][1 if side == "max" else 0]
        limit = laid(check, value * times, slack[check] * times)
        # plans take no limit at or below zero where nothing can be below it
        if key != "charging_balance_min_a":
            limit = max(limit, 1e-3)
        plan[section][key] = float(limit)
    if truth.get("charging_voltage") is not None:
        plan["limits"]["charging_min_v"] = 1.0
    if "charging_voltage" in case.both and rng.random() < 0.5:
        low = case.both["charging_voltage"][0]
        plan["limits"] |= {"charging_min_v": laid("charging_voltage", low, slack["charging_voltage"])}
        plan["limits"] |= {"charging_max_v": 40.0}
    plan["limits"]["feed_in_crank"] = str(rng.choice(["hold", "drop"]))
    return plan, scale


def _right(case: Case, plan: dict, scale: float, check: str) -> str | None:
    """The true verdict by the laid limits: ``pass``, ``fail``, ``not seen``; None where it is open."""
    value = case.truth.get(check)
    if value is None:
        return None if check in case.soft else "not seen"
    if math.isinf(value):
        return "fail"
    slack = case.slack.get(check, 0.0)
    if check in case.both:
        low, high = _window(plan, check)
        room = min(min(x - low, high - x) for x in case.both[check])
        return "pass" if room >= slack * (1 - 1e-9) else "fail" if room <= -slack * (1 - 1e-9) else None
    if check == "relay_chatter":
        return "pass" if value + slack < 0.5 else "fail" if value >= 1 else None
    if check == "feed_in_crank":
        lost = value > 0 and value > slack
        if not lost and value + slack > 0 and value > 0:
            return None
        return ("pass" if lost else "fail") if plan["limits"]["feed_in_crank"] == "drop" else "fail" if lost else "pass"
    if check.startswith("slot_"):
        circuit = next(c for c in plan["circuit"] if c["slot"] == int(check.split("_")[1]))
        share = circuit["tolerance_pct"] / 100
        room = min(value - circuit["planned_a"] * (1 - share), circuit["planned_a"] * (1 + share) - value)
    else:
        section, key, side = SIDES[check]
        times = scale if check in SCALED else 1.0
        room = (plan[section][key] - value * times) * (1 if side == "max" else -1)
        slack *= times
    if room >= slack * (1 - 1e-9):
        return "pass"
    return "fail" if room <= -slack * (1 - 1e-9) else None


def _count(table: Table, case: Case, plan: dict, scale: float, result: benchlog.Result, tight: bool) -> None:
    word = "tight" if tight else "wide"
    for check in result.checks:
        if check.id not in case.truth or check.verdict == "not planned":
            continue
        right = _right(case, plan, scale, check.id)
        kind = "slot_N_current" if check.id.startswith("slot_") else check.id
        tally = Tally(judged=1)
        if right is not None and check.verdict == "pass" and right != "pass":
            tally.false_pass = 1
        if right is not None and check.verdict == "fail" and right != "fail":
            tally.false_fail = 1
        truth = case.truth[check.id]
        ideal = case.ideal_u(check.id)
        times = scale if check.id in SCALED else 1.0
        slack = case.slack.get(check.id, 0.0) * times
        if truth is not None and math.isfinite(truth):
            if check.measured is not None and check.uncertainty:
                tally.with_u = 1
                low, high = case.both.get(check.id, (truth * times, truth * times))
                off = max(low - check.measured, check.measured - high, 0.0)
                tally.covered = int(off <= check.uncertainty * (1 + 1e-9) + slack)
            if not tight and ideal and kind not in COUNTED and right in ("pass", "fail"):
                values = case.both.get(check.id, (truth * times,))
                gap = min(abs(_limit(plan, check.id, x) - x) for x in values)
                tally.provable = int(gap > PROVABLE_U * ideal * times + slack and _told_apart(case, plan, check.id))
                tally.proven = int(tally.provable and check.verdict == right)
        for heading, row in _rows(case, kind, word):
            table.at(heading, row).add(tally)
        if tally.false_pass or tally.false_fail:
            table.wrong.append(
                f"seed {case.seed} {case.grade} {'+'.join(case.behaviours) or '-'} {word}: {check.id} {check.verdict}, "
                f"truth {truth if truth is None else truth * times:.5g} ± {slack:.2g} ({right}); {check.because}"
                if truth is not None
                else f"seed {case.seed} {case.grade} {'+'.join(case.behaviours) or '-'} {word}: {check.id} "
                f"{check.verdict}, not in the session; {check.because}"
            )
        if tally.with_u and not tally.covered:
            table.wrong.append(
                f"    uncovered: seed {case.seed} {case.grade} {'+'.join(case.behaviours) or '-'} {word}: {check.id} "
                f"{check.measured:.5g} ± {check.uncertainty:.2g}, truth {truth * times:.5g} ± {slack:.2g}"
            )


def _told_apart(case: Case, plan: dict, check: str) -> bool:
    """Whether anything but its size tells a circuit from the others, or its size does.

    A mark as it came on or a channel of its own tells; the size does where no other circuit's plan, as laid, could be
    it: beyond that, two circuits that changed places look the same in every channel.
    """
    if not check.startswith("slot_"):
        return True
    slot = int(check.split("_")[1])
    log = case.logs[0].frame
    marked = "mark" in log.columns and f"slot {slot} on" in [str(mark).lower() for mark in log["mark"]]
    if marked or f"slot{slot}_a" in log.columns:
        return True
    others = [c["planned_a"] for c in plan["circuit"] if c["slot"] != slot]
    return all(abs(math.log(planned / case.truth[check])) > math.log(COULD_BE) for planned in others)


def _window(plan: dict, check: str) -> tuple[float, float]:
    """The least and the most that a check of the running engine may show."""
    limits = plan["limits"]
    if check == "charging_balance":
        return limits["charging_balance_min_a"], math.inf
    return limits["charging_min_v"], limits["charging_max_v"]


def _limit(plan: dict, check: str, value: float) -> float:
    if check == "charging_voltage":
        return min(_window(plan, check), key=lambda side: abs(side - value))
    if not check.startswith("slot_"):
        section, key, _ = SIDES[check]
        return float(plan[section][key])
    circuit = next(c for c in plan["circuit"] if c["slot"] == int(check.split("_")[1]))
    share = circuit["tolerance_pct"] / 100
    sides = [circuit["planned_a"] * (1 - share), circuit["planned_a"] * (1 + share)]
    return min(sides, key=lambda side: abs(side - value))


def _rows(case: Case, kind: str, word: str) -> Iterator[tuple[str, str]]:
    yield f"check, {word} limits", kind
    yield "all", word
    yield "grade", case.grade
    for name in case.behaviours or ("none",):
        yield "behaviour", name
    for pair in combinations(sorted(case.behaviours), 2):
        yield "pair", " + ".join(pair)


def run(seeds: Sequence[int], asked: Asked, jobs: int = 2) -> Table:
    """All cases, on so many processes."""
    total = Table()
    if jobs == 1:
        for seed in seeds:
            total.add(one_case(seed, asked))
        return total
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        for number, table in enumerate(pool.map(one_case, seeds, [asked] * len(seeds), chunksize=2), start=1):
            total.add(table)
            if number % 100 == 0:
                print(f"{number} of {len(seeds)} logs", file=sys.stderr, flush=True)
    return total


def undercovered(table: Table, level: float = 0.05) -> list[str]:
    """Checks whose coverage lies significantly below 95 % (one-sided binomial test, Holm's correction)."""
    from scipy.stats import binom

    rows = {row: t for (heading, row), t in table.rows.items() if heading == "check, tight limits" and t.with_u}
    p = sorted((float(binom.cdf(t.covered, t.with_u, 0.95)), row) for row, t in rows.items())
    found = []
    for number, (chance, row) in enumerate(p):
        if chance > level / (len(p) - number):
            break
        found.append(row)
    return found


def figures(table: Table) -> dict:
    """What the documentation quotes."""
    total = Tally()
    for word in ("tight", "wide"):
        total.add(table.rows.get(("all", word), Tally()))
    tight, wide = (table.rows.get(("all", word), Tally()) for word in ("tight", "wide"))
    each = [t for (heading, _), t in table.rows.items() if heading == "check, tight limits" and t.judged]
    worst = max((max(t.false_pass, t.false_fail) / t.judged for t in each), default=0.0)
    return {
        "verdicts": total.judged,
        "tight": {**_false(tight), "covered_pct": _pct(tight.covered, tight.with_u)},
        "wide": {**_false(wide), "proven_pct": _pct(wide.proven, wide.provable)},
        "worst_check_pct": round(100 * worst, 2),
        "undercovered": undercovered(table),
        "refused": table.rows.get(("refused", "refused"), Tally()).judged,
    }


def _false(tally: Tally) -> dict[str, float | None]:
    return {
        "false_pass_pct": _pct(tally.false_pass, tally.judged),
        "false_fail_pct": _pct(tally.false_fail, tally.judged),
    }


def _pct(part: int, whole: int) -> float | None:
    return round(100 * part / whole, 2) if whole else None


def show(table: Table) -> None:
    """Print the tables."""
    head = f"{'':<34} {'verdicts':>8} {'false pass':>11} {'false fail':>11} {'proven':>8} {'k=2 covers':>11}"
    for heading in ("all", "check, tight limits", "check, wide limits", "grade", "behaviour", "pair"):
        rows = [(row, t) for (h, row), t in table.rows.items() if h == heading]
        if heading == "pair":
            rows = sorted(rows, key=lambda r: -(r[1].false_pass + r[1].false_fail) / max(r[1].judged, 1))[:12]
        print(f"\n{heading}\n{head}")
        for row, t in sorted(rows) if heading != "pair" else rows:
            print(
                f"{row:<34} {t.judged:>8} {_text(t.false_pass, t.judged):>11} {_text(t.false_fail, t.judged):>11} "
                f"{_text(t.proven, t.provable):>8} {_text(t.covered, t.with_u):>11}"
            )
    refused = table.rows.get(("refused", "refused"), Tally()).judged
    print(f"\nrefused: {refused}; coverage significantly below 95 %: {', '.join(undercovered(table)) or 'none'}")


def _text(part: int, whole: int) -> str:
    return f"{100 * part / whole:.2f} %" if whole else "-"


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description="verdicts in the second world")
    parser.add_argument("--logs", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--behaviour", action="append", choices=[b.name for b in BEHAVIOURS])
    parser.add_argument("--grade")
    parser.add_argument("--list", action="store_true")
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    asked = Asked(tuple(given.behaviour) if given.behaviour else None, given.grade)
    table = run(range(given.seed, given.seed + given.logs), asked, given.jobs)
    show(table)
    if given.list:
        print("\n".join(table.wrong))
        print(Counter(line.split(": ")[1].split()[0] for line in table.wrong if not line.startswith("    ")))
    if given.write:
        keep("verdicts", {"logs": given.logs, "seed": given.seed, **figures(table)})


if __name__ == "__main__":
    main()
