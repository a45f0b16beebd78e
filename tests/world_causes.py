"""How often the right fault is named first, over logs of a world that shares no code with benchlog.

    python tests/world_causes.py [--installs N] [--seed S] [--grade NAME ...] [--fault NAME ...]
                                  [--healthy N] [--verbose] [--shown]

First comes what a log of each grade can show at all: a fault shows in an install where its noise-free log differs from
that of the same install without it, in any channel and beyond the logger's limits, for ten samples or more. Then the
confusion: each fault in N installs, the healthy installs with behaviours beside them. Faults with one fit share their
place; a first place that holds more than one of the groups of ``ALIKE`` is counted as too large.
"""

import argparse
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from world.case import Case, draw
from world.faults import FAULTS

import benchlog
from benchlog.errors import BenchlogError
from benchlog.result import Result

NAMES = tuple(fault.name for fault in FAULTS)
GRADES = ("fast5", "mid4", "slow2")
#: Behaviours that are a fault of their own, or break a limit truly: silence would be wrong.
FAULTY = ("charger_left_on", "feed_opens", "relay_sticks_once", "park_light", "never_sleeps")
#: Samples that must differ beyond the limits for a fault to show, and that many limits.
SAMPLES, LIMITS_APART = 10, 2.0
COIL_OR_FEED = frozenset(("coil_open", "feed_open"))
#: What logs of these channels may not part, whatever their rate. The coil's current hides in the bike's own. On two
#: channels a contact the wrong way round shows only in circuits left on at the key-off, and lamps on a line that is
#: always live look like a device fed around the relay.
ALIKE: dict[str, tuple[frozenset[str], ...]] = {
    "fast5": (COIL_OR_FEED,),
    "mid4": (COIL_OR_FEED,),
    "slow2": (
        frozenset(("coil_open", "feed_open", "trigger_dead", "ground_open", "inverted_contact")),
        frozenset(("trigger_always_live", "backfed_coil", "welded_contact", "inverted_contact")),
        frozenset(("trigger_always_live", "unswitched_device")),
        frozenset(("pulsed_trigger", "weak_coil_supply")),
    ),
}


@dataclass
class Row:
    """Counts over the runs with one fault (or none).

    Attributes:
        runs, failed, first, large, none: how many; with a failed check; with the true fault in the first place; with
            faults beside it there that this grade parts; that named nothing.
        instead: what stood first where it was not the true fault.
    """

    runs: int = 0
    failed: int = 0
    first: int = 0
    large: int = 0
    none: int = 0
    instead: Counter[str] = field(default_factory=Counter)


def frame_of(case: Case) -> pd.DataFrame:
    """The main log as pandas has it."""
    columns = {name: case.frame[name].to_numpy() for name in case.frame.columns if name != "mark"}
    frame = pd.DataFrame(columns)
    if "mark" in case.frame.columns:
        frame["mark"] = ["" if text is None else text for text in case.frame["mark"].to_list()]
    return frame


def logger_of(case: Case) -> dict[str, object]:
    """The logger as a mapping for a frame in canonical units."""
    thousandth = {"uV": 1e-6, "mV": 1e-3, "uA": 1e-6, "mA": 1e-3}
    channels = []
    for one in case.logger["channel"]:
        factor = thousandth.get(one["unit"], 1.0)
        channels.append(
            {
                "column": one["column"],
                "role": one["role"],
                "gain_error_pct": one["gain_error_pct"],
                "offset_error": one["offset_error"] * factor,
                "resolution": one["resolution"] * factor,
            }
        )
    if "mark" in case.frame.columns:
        channels.append({"column": "mark", "role": "mark"})
    return {"logger": {"name": "bench logger"}, "time": {"column": "time_s"}, "channel": channels}


def checked(case: Case) -> Result | str:
    """The result for the main log; the reason where it is refused."""
    try:
        return benchlog.check(frame_of(case), plan=case.plan, logger=logger_of(case))
    except BenchlogError as refused:
        return str(refused)


def first_of(result: Result | str) -> list[str]:
    """The causes that share the first place."""
    if isinstance(result, str) or not result.causes:
        return []
    return [cause.id for cause in result.causes if cause.fit == result.causes[0].fit]


def drawn(seed: int, grade: str, fault: str | None, **kwargs: object) -> Case | None:
    """A case, or None where the fault does not fit its session."""
    try:
        return draw(seed, fault=fault, grade=grade, **kwargs)  # type: ignore[arg-type]  # the world's own keywords
    except ValueError:
        return None


def seeds_of(seed: int, installs: int, grade: str, fault: str, **kwargs: object) -> Iterator[tuple[int, Case]]:
    """The first ``installs`` cases that the fault fits."""
    found, number = 0, 0
    while found < installs and number < 4 * installs:
        case = drawn(seed + number, grade, fault, **kwargs)
        number += 1
        if case is not None:
            found += 1
            yield seed + number - 1, case


def shows(seed: int, grade: str, fault: str, marks: bool) -> list[str]:
    """The channels in which the noise-free log with the fault differs from that without it."""
    with_it = drawn(seed, grade, fault, behaviours=(), noise=False, marks=marks)
    without = drawn(seed, grade, None, behaviours=(), noise=False, marks=marks)
    if with_it is None or without is None:
        return []
    n = min(len(with_it.frame), len(without.frame))
    found = []
    for one in logger_of(with_it)["channel"]:  # type: ignore[attr-defined]  # a list of mappings
        role = one["role"]
        if role == "mark":
            continue
        a, b = (case.frame[role].to_numpy()[:n] for case in (with_it, without))
        limit = one["offset_error"] + one["gain_error_pct"] / 100 * np.abs(b) + one["resolution"]
        with np.errstate(invalid="ignore"):
            apart = (np.abs(a - b) > LIMITS_APART * limit) | (np.isnan(a) != np.isnan(b))
        if apart.sum() >= SAMPLES:
            found.append(role)
    return found


def print_shown(seed: int, installs: int, grades: Sequence[str]) -> None:
    """Part one: what each grade can show at all."""
    print(f"share of {installs} noise-free installs in which the fault shows in any channel")
    print(f"{'fault':<22}" + "".join(f"{grade:>10}" for grade in grades))
    for fault in NAMES:
        shares = []
        for grade in grades:
            hits = [bool(shows(one, grade, fault, True)) for one in range(seed, seed + installs)]
            shares.append(sum(hits) / installs)
        print(f"{fault:<22}" + "".join(f"{share:>10.0%}" for share in shares), flush=True)


def add(row: Row, case: Case, grade: str, verbose: bool) -> None:
    """One run into its row."""
    result = checked(case)
    first = first_of(result)
    failed = [] if isinstance(result, str) else [check.id for check in result.checks if check.verdict == "fail"]
    groups = [group for group in ALIKE[grade] if case.fault in group] or [frozenset((case.fault,))]
    row.runs += 1
    row.failed += bool(failed)
    row.none += not first
    row.first += case.fault in first
    row.large += case.fault in first and not any(set(first) <= group for group in groups)
    if case.fault not in first:
        row.instead["refused" if isinstance(result, str) else "+".join(first) or "none"] += 1
    if verbose:
        causes = [] if isinstance(result, str) else [(cause.id, cause.fit) for cause in result.causes]
        marks = "marked" if "mark" in case.frame.columns else "unmarked"
        template = case.logs[0].script.template
        print(f"  {case.seed} {template} {marks} {case.fault} {case.behaviours}: {causes} fails {failed}")
        if isinstance(result, str):
            print("   ", result)


def print_grade(seed: int, installs: int, grade: str, faults: Sequence[str], verbose: bool) -> None:
    """Part two: the confusion of one grade."""
    print(
        f"\n{grade}: {installs} installs a fault\n{'fault':<22}{'runs':>5}{'fails':>7}{'first':>7}{'large':>7}  instead"
    )
    total = Row()
    for fault in faults:
        row = Row()
        for _, case in seeds_of(seed, installs, grade, fault, behaviours=()):
            add(row, case, grade, verbose)
        n = max(row.runs, 1)
        instead = ", ".join(f"{name} {count}" for name, count in row.instead.most_common(3))
        print(
            f"{fault:<22}{row.runs:>5}{row.failed / n:>7.0%}{row.first / n:>7.0%}{row.large / n:>7.0%}  {instead}",
            flush=True,
        )
        for name in ("runs", "failed", "first", "large", "none"):
            setattr(total, name, getattr(total, name) + getattr(row, name))
    n = max(total.runs, 1)
    wrong = total.runs - total.first - total.none
    print(
        f"{'all':<22}{total.runs:>5}{total.failed / n:>7.0%}{total.first / n:>7.0%}{total.large / n:>7.0%}"
        f"  none named {total.none / n:.0%}, another first {wrong / n:.1%}"
    )


def print_healthy(seed: int, count: int, grades: Sequence[str], verbose: bool) -> None:
    """Part three: healthy installs with behaviours, by turns of every grade; none is to name a cause."""
    named: Counter[str] = Counter()
    runs = 0
    for number in range(count):
        grade = grades[number % len(grades)]
        case = drawn(seed + number, grade, None)
        if case is None or set(case.behaviours) & set(FAULTY):
            continue
        runs += 1
        result = checked(case)
        if isinstance(result, str) or not result.causes:
            continue
        ids = "+".join(cause.id for cause in result.causes)
        named[ids] += 1
        truly = [c.id for c in result.checks if c.verdict == "fail" and case.verdict(c.id) == "fail"]
        if verbose:
            fails = [check.id for check in result.checks if check.verdict == "fail"]
            print(f"  healthy {case.seed} {grade} {case.behaviours}: {ids}, fails {fails}, truly {truly}", flush=True)
    print(f"healthy with behaviours: {runs} runs, {sum(named.values())} name a cause: {dict(named)}")


def main() -> None:
    """Print what was asked for."""
    parser = argparse.ArgumentParser(description="how often the right fault is named first, in a world of its own")
    parser.add_argument("--installs", type=int, default=5, help="for each fault and grade")
    parser.add_argument("--healthy", type=int, default=0, help="healthy installs with behaviours, over all grades")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--grade", nargs="+", choices=list(ALIKE), default=list(GRADES))
    parser.add_argument("--fault", nargs="+", choices=NAMES, default=list(NAMES))
    parser.add_argument("--verbose", action="store_true", help="one line a run")
    parser.add_argument("--shown", action="store_true", help="print what each grade can show, first")
    given = parser.parse_args()
    if given.shown:
        print_shown(given.seed, given.installs, given.grade)
    if given.installs:
        for grade in given.grade:
            print_grade(given.seed, given.installs, grade, given.fault, given.verbose)
    if given.healthy:
        print_healthy(given.seed, given.healthy, given.grade, given.verbose)


if __name__ == "__main__":
    main()
