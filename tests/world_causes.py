"""How often the right fault is named first, over logs of a world that shares no code with benchlog.

    python tests/world_causes.py [--installs N] [--seed S] [--grade NAME ...] [--fault NAME ...]
                                  [--healthy N] [--jobs N] [--verbose] [--write]

Each install is drawn with every fault in turn and without one. Only runs of which a fault can be asked count (see
``world_shown``): there it shows in the noise-free log, and a check fails that an ideal prover would fail. What is
named first is right where it holds the fault and nothing but what this log cannot part from it, by the noise-free logs
of the same install; what is named wrongly counts in every run. The healthy installs come with behaviours. ``--write``
keeps the figures in ``world_figures.json``.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import pandas as pd
from world.case import Case, draw
from world.faults import FAULTS
from world_pages import keep
from world_shown import alike, asked, clean, differ, truly_fails

import benchlog
from benchlog.core.errors import BenchlogError
from benchlog.verdict.result import Result

NAMES = tuple(fault.name for fault in FAULTS)
GRADES = ("fast5", "mid4", "slow2")
#: Behaviours that are a fault of their own, or break a limit truly: silence would be wrong.
FAULTY = ("charger_left_on", "feed_opens", "relay_sticks_once", "park_light", "never_sleeps")


@dataclass(frozen=True)
class Run:
    """One install with one fault, or without one.

    Attributes:
        shown: the fault shows in the noise-free log. asked: and a check truly fails.
        group: the faults that this log cannot part from it. first: what stood in the first place.
        fails, truly: checks that benchlog fails, that an ideal prover would fail.
        line: the run in words.
    """

    grade: str
    fault: str | None
    shown: bool
    asked: bool
    group: frozenset[str]
    first: tuple[str, ...]
    fails: tuple[str, ...]
    truly: tuple[str, ...]
    line: str

    @property
    def counts(self) -> bool:
        """Whether the fault can be asked of this log, or something else was named all the same."""
        return (self.shown and self.asked) or (bool(self.first) and not set(self.first) <= self.group)

    @property
    def right(self) -> bool:
        """The fault is first, and beside it nothing that the log parts from it."""
        return self.fault in self.first and set(self.first) <= self.group

    @property
    def kind(self) -> str:
        """What became of a run that counts."""
        if self.right:
            return "right"
        if not self.first:
            return "none" if self.fails else "no fail"
        return "large" if self.fault in self.first else "wrong"


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


def one_install(seed: int, grade: str, faults: Sequence[str]) -> list[Run]:
    """Every fault in one install."""
    without = draw(seed, grade=grade, behaviours=())
    healthy = clean(without)
    logs, found = {}, []
    for fault in faults:
        try:
            case = draw(seed, fault=fault, grade=grade, behaviours=())
        except ValueError:  # it does not fit the session
            continue
        logs[fault] = clean(case)
        result, truly, may_ask = checked(case), tuple(truly_fails(case)), asked(case)
        case.logs[0].solution = None  # type: ignore[assignment]  # its memory is needed for the others
        found.append((case, result, truly, may_ask))
    return [
        _run(case, result, truly, may_ask, logs, differ(case, logs[case.fault], healthy))
        for case, result, truly, may_ask in found
    ]


def _run(
    case: Case, result: Result | str, truly: tuple[str, ...], may_ask: bool, logs: dict, shows: Sequence[str]
) -> Run:
    fails = () if isinstance(result, str) else tuple(c.id for c in result.checks if c.verdict == "fail")
    first, grade = tuple(first_of(result)), case.logs[0].spec.log_name
    assert case.fault is not None
    group = alike(case.fault, logs, case)
    marks = "marked" if "mark" in case.frame.columns else "unmarked"
    named = result if isinstance(result, str) else [(cause.id, cause.fit) for cause in result.causes]
    line = (
        f"{grade} {case.seed} {case.logs[0].script.template} {marks} {case.fault}: {named}, alike "
        f"{sorted(group - {case.fault})}, fails {list(fails)}, truly {list(truly)}"
    )
    return Run(grade, case.fault, bool(shows), may_ask, group, first, fails, truly, line)


def one_healthy(seed: int, grade: str) -> Run | None:
    """A healthy install with behaviours; None where one of these breaks a limit."""
    case = draw(seed, grade=grade)
    if set(case.behaviours) & set(FAULTY):
        return None
    result = checked(case)
    fails = () if isinstance(result, str) else tuple(c.id for c in result.checks if c.verdict == "fail")
    truly = tuple(check for check in fails if case.verdict(check) == "fail")
    line = f"healthy {grade} {seed} {case.behaviours}: {first_of(result)}, fails {list(fails)}, truly {list(truly)}"
    return Run(grade, None, False, False, frozenset(), tuple(first_of(result)), fails, truly, line)


def _task(task: tuple) -> list[Run]:
    seed, grade, faults = task
    if faults is not None:
        return one_install(seed, grade, faults)
    run = one_healthy(seed, grade)
    return [] if run is None else [run]


def runs_of(tasks: Sequence[tuple], jobs: int) -> Iterator[list[Run]]:
    """The tasks' runs, in order."""
    if jobs == 1:
        yield from map(_task, tasks)
        return
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        yield from pool.map(_task, tasks)


def figures(runs: Sequence[Run]) -> dict:
    """What the documentation quotes of one grade."""
    counted = [run for run in runs if run.counts]
    kinds = Counter(run.kind for run in counted)
    n = max(len(counted), 1)
    return {
        "runs": len(runs),
        "shown": sum(run.shown for run in runs),
        "failed": len(counted),
        "first_pct": round(100 * kinds["right"] / n, 1),
        "wrong_pct": round(100 * (kinds["wrong"] + kinds["large"]) / n, 1),
        "groups": groups(counted),
    }


def groups(runs: Sequence[Run]) -> dict[str, list[str]]:
    """Fault -> what some install's log cannot part from it."""
    out = {fault: sorted({one for run in runs if run.fault == fault for one in run.group} - {fault}) for fault in NAMES}
    return {fault: others for fault, others in out.items() if others}


def print_grade(grade: str, runs: Sequence[Run]) -> None:
    """What the grade can show, and the confusion among these."""
    print(f"\n{grade}\n{'fault':<22}{'runs':>5}{'shown':>7}{'asked':>7}{'right':>7}{'large':>7}  instead")
    for fault in NAMES:
        own = [run for run in runs if run.fault == fault]
        counted = [run for run in own if run.counts]
        kinds = Counter(run.kind for run in counted)
        instead = Counter("+".join(run.first) or run.kind for run in counted if run.kind != "right")
        words = ", ".join(f"{name} {count}" for name, count in instead.most_common(3))
        shown = sum(run.shown for run in own)
        print(f"{fault:<22}{len(own):>5}{shown:>7}{len(counted):>7}{kinds['right']:>7}{kinds['large']:>7}  {words}")
    print({name: value for name, value in figures(runs).items() if name != "groups"})
    print(Counter(run.kind for run in runs if run.counts), flush=True)


def main() -> None:
    """Print what was asked for."""
    parser = argparse.ArgumentParser(description="how often the right fault is named first, in a world of its own")
    parser.add_argument("--installs", type=int, nargs="+", default=[5], help="for all grades, or for each")
    parser.add_argument("--healthy", type=int, default=0, help="healthy installs with behaviours, over all grades")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--grade", nargs="+", choices=GRADES, default=list(GRADES))
    parser.add_argument("--fault", nargs="+", choices=NAMES, default=list(NAMES))
    parser.add_argument("--verbose", action="store_true", help="one line a run that is not right")
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    known: dict = {"seed": given.seed, "grades": {}}
    for number, grade in enumerate(given.grade):
        installs = given.installs[min(number, len(given.installs) - 1)]
        tasks = [(given.seed + k, grade, tuple(given.fault)) for k in range(installs)]
        runs = []
        for some in runs_of(tasks, given.jobs):
            runs += some
            if given.verbose:
                for run in some:
                    if run.kind != "right":
                        word = run.kind if run.counts else "not asked" if run.shown else "not shown"
                        print(f"  {word}: {run.line}", flush=True)
        print_grade(grade, runs)
        known["grades"][grade] = figures(runs)
    tasks = [(given.seed + k, given.grade[k % len(given.grade)], None) for k in range(given.healthy)]
    healthy = [run for some in runs_of(tasks, given.jobs) for run in some] if tasks else []
    named = [run for run in healthy if run.first and not run.truly]
    print(f"healthy with behaviours: {len(healthy)} runs, {len(named)} name a cause where nothing truly failed")
    for run in healthy:
        if run.first:
            print("  ", run.line)
    known |= {"healthy": len(healthy), "named": len(named)}
    if given.write:
        keep("causes", known)


if __name__ == "__main__":
    main()
