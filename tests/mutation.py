"""How many small faults put into one room do the tests notice?

``python tests/mutation.py --module causes`` draws mutants of one module (``all`` for every one) and tries each against
the tests that reach its line, quickest first, in two processes; it prints a table by file and each survivor's diff.
Which test reaches which line is measured once a test file and kept in ``.mutation/``. A mutant that runs out of CPU
time counts as noticed. ``--only benchlog/analysis/drain.py`` (or ``…drain.py:40-60``) tries every mutant there.
"""

import argparse
import json
import math
import os
import random
import subprocess
import sys
import threading
import time
import tomllib
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from queue import Empty, Queue
from typing import IO, Any

from mutating.mutants import Mutant, mutant_of, mutants_of
from mutating.reach import ROOT, Reach, lines_with

#: Module -> the sources that belong to it.
MODULES: dict[str, tuple[str, ...]] = {
    "analysis": ("benchlog/analysis/*.py",),
    "examine": ("benchlog/examine/*.py",),
    "verdict": ("benchlog/verdict/*.py", "benchlog/verdict/registry/*.py", "benchlog/core/uncertainty.py"),
    "causes": ("benchlog/verdict/causes/*.py",),
    "season": ("benchlog/season/*.py",),
    "find": ("benchlog/find/*.py",),
    "plan": ("benchlog/plan/*.py",),
}
#: Test files that start browsers, servers, other processes or serial lines, or tell of the store, the bench, the faces
#: and the stand-in: they are not asked, so that the share is what the quick tests notice.
AWAY = (
    *("acceptance", "bad_input", "bucket", "cli", "cluster", "course", "ctrl_c", "docs", "every_system", "exit"),
    *("architecture", "figures", "firmware", "first_look", "folder_saved", "foreign", "full_disks", "guided"),
    *("hard_knocks", "legend", "live", "log", "log_parts", "logger", "lines", "many", "messages", "mutation"),
    *("new_plan", "overview", "packaging", "pages", "probe", "process", "readers", "recheck", "recording", "report"),
    *("run", "season_browser", "standin", "stopping", "store", "table_text", "truth_table", "world", "spread"),
    *(
        "avr",
        "bounds",
        "by_hand",
        "listening",
        "find_port",
        "hearing",
        "meter_table",
        "outside",
        "plan_page",
        "plan_questions",
        "reader",
        "sources",
    ),
    "whole_check",
)
#: s of CPU time that the tests of one mutant may take in all, by what they took under coverage.
MOST_S = 40.0
EQUIVALENT = ROOT / "tests" / "mutation_equivalent.toml"
NAMED = ROOT / "tests" / "mutation_named.toml"


def test_files() -> list[str]:
    """The test files that are asked."""
    return sorted(
        f"tests/{path.name}"
        for path in (ROOT / "tests").glob("test_*.py")
        if not any(path.stem == f"test_{name}" or path.stem.startswith(f"test_{name}_") for name in AWAY)
    )


def sources_of(module: str) -> dict[str, str]:
    """Path from the root -> text, of one module's sources."""
    paths = sorted(path for pattern in MODULES[module] for path in ROOT.glob(pattern))
    return {str(path.relative_to(ROOT)): path.read_text(encoding="utf-8") for path in paths}


def equivalents() -> list[dict[str, str]]:
    """Changes that change nothing that benchlog promises, each with its reason."""
    return list(tomllib.loads(EQUIVALENT.read_text(encoding="utf-8"))["equivalent"])


def is_equivalent(mutant: Mutant, known: Sequence[dict[str, str]], text: str) -> bool:
    """Whether a change of a file's text is in the list: anywhere in the file, or in an entry's one ``line``."""
    line = text.splitlines()[mutant.line - 1].strip()
    return any(
        (mutant.file, mutant.was, mutant.becomes) == (each["file"], each["was"], each["becomes"])
        and each.get("line", line) == line
        for each in known
    )


def carried_by(names: Sequence[str], text: str) -> tuple[str, ...]:
    """Names at a file's top whose value depends on these, and these themselves."""
    import ast

    known = set(names)
    statements = [each for each in ast.parse(text).body if isinstance(each, ast.Assign | ast.AnnAssign)]
    for _ in statements:
        for each in statements:
            targets = each.targets if isinstance(each, ast.Assign) else [each.target]
            if any(isinstance(node, ast.Name) and node.id in known for node in ast.walk(each)):
                known |= {node.id for target in targets for node in ast.walk(target) if isinstance(node, ast.Name)}
    return tuple(sorted(known))


def tests_for(mutant: Mutant, reach: Reach, sources: dict[str, str], texts: dict[str, str]) -> list[str]:
    """The tests to try: those that reach the line, those of little else first, then the others of their files."""
    own, files = reach.tests(mutant.file, range(mutant.lines[0], mutant.lines[1] + 1))
    if mutant.names:
        names = carried_by(mutant.names, sources[mutant.file])
        for file, line in lines_with(names, sources):
            more, more_files = reach.tests(file, range(line, line + 1))
            own, files = own | more, files | more_files
        public = [name for name in names if not name.startswith("_")]
        files |= {file for file, _ in lines_with(public, texts)}
    rest = {test for file in files for test in reach.of_file(file)} - own
    stem = f"test_{Path(mutant.file).stem}"
    order = [
        *sorted(own, key=lambda name: (stem not in name, reach.breadth[name], reach.seconds[name])),
        *sorted(rest, key=lambda name: reach.seconds[name]),
    ]
    chosen, total_s = [], 0.0
    for name in order:
        total_s += reach.seconds[name]
        if total_s <= MOST_S:
            chosen.append(name)
    return chosen


def in_two(tests: Sequence[str]) -> list[list[str]]:
    """Those of the first three files, and the rest: most mutants are noticed before the others need be collected."""
    first = list(dict.fromkeys(name.partition("::")[0] for name in tests))[:3]
    halves = [[name for name in tests if (name.partition("::")[0] in first) is near] for near in (True, False)]
    return [half for half in halves if half]


class Trial:
    """Mutants, tried in some processes at once.

    Attributes:
        ended: mutant -> ``passed`` (a survivor), ``failed``, ``cpu``, ``hung`` or ``unreached``.
        sound: tests pass here while nothing is changed.
    """

    def __init__(self, mutants: Sequence[Mutant], sources: dict[str, str], reach: Reach) -> None:
        """Try these."""
        texts = {file: (ROOT / file).read_text(encoding="utf-8") for file in test_files()}
        self.ended: dict[Mutant, str] = {}
        self.sound = True
        self._until_s = math.inf
        self._first = list({name.partition("::")[0]: name for name in reversed(reach.seconds)}.values())
        self._orders: Queue[tuple[Mutant, dict[str, Any]]] = Queue()
        for mutant in mutants:
            tests = tests_for(mutant, reach, sources, texts)
            cpu_s = 15 + 3 * sum(reach.seconds[name] for name in tests)
            module = mutant.file.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
            text = mutant.put_into(sources[mutant.file])
            order = {
                "module": module,
                "path": str(ROOT / mutant.file),
                "text": text,
                "tests": in_two(tests),
                "cpu_s": cpu_s,
            }
            self._orders.put((mutant, order))

    def run(self, at_once: int, minutes: float = math.inf) -> None:
        """Try them all, or as many as so many minutes allow."""
        self._until_s = time.monotonic() + 60 * minutes
        workers = [threading.Thread(target=self._work) for _ in range(at_once)]
        for worker in workers:
            worker.start()
        for worker in workers:
            worker.join()

    def _work(self) -> None:
        environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "POLARS_MAX_THREADS": "1"}
        with subprocess.Popen(
            [sys.executable, str(ROOT / "tests" / "mutating" / "nursery.py")],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            env=environment,
        ) as nursery:
            assert nursery.stdin is not None
            assert nursery.stdout is not None
            ask = partial(_ask, nursery.stdin, nursery.stdout)
            self.sound = self.sound and ask({"tests": [self._first], "cpu_s": 600}) == "passed"
            while self.sound and time.monotonic() < self._until_s:
                try:
                    mutant, order = self._orders.get_nowait()
                except Empty:
                    break
                self.ended[mutant] = ask(order) if order["tests"] else "unreached"
                if sys.stderr.isatty():
                    print(f"\r{len(self.ended)} tried", end="", file=sys.stderr, flush=True)
            nursery.stdin.close()


def _ask(to: IO[str], back: IO[str], order: dict[str, Any]) -> str:
    """How the tests of one order ended."""
    to.write(json.dumps(order) + "\n")
    to.flush()
    return str(json.loads(back.readline())["ended"])


def survivors(ended: dict[Mutant, str]) -> list[Mutant]:
    """What no test noticed."""
    left = (mutant for mutant, how in ended.items() if how in ("passed", "unreached"))
    return sorted(left, key=lambda each: (each.file, each.start, each.becomes))


def table(ended: dict[Mutant, str], module_of: dict[str, str]) -> Iterator[str]:
    """The shares by file and by module, in Markdown."""
    yield "| module | file | tried | noticed | share |"
    yield "| --- | --- | --- | --- | --- |"
    tried, missed = Counter[str](), Counter[str]()
    for mutant in ended:
        for key in (mutant.file, module_of[mutant.file], "all"):
            tried[key] += 1
    for mutant in survivors(ended):
        for key in (mutant.file, module_of[mutant.file], "all"):
            missed[key] += 1
    files = sorted({mutant.file for mutant in ended}, key=lambda file: (module_of[file], file))
    for key in (*files, *sorted({module_of[file] for file in files}), "all"):
        share = 100 * (1 - missed[key] / tried[key])
        module, file = (module_of[key], key) if key in module_of else (f"**{key}**", "")
        yield f"| {module} | {file} | {tried[key]} | {tried[key] - missed[key]} | {share:.1f} % |"


def asked_of() -> argparse.Namespace:
    """The command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--module", choices=(*MODULES, "all"), default="all")
    parser.add_argument("--count", type=int, default=100, help="mutants to draw; 0 for all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--at-once", type=int, default=2)
    parser.add_argument("--only", help="every mutant of one file, or of some lines of it: FILE or FILE:FIRST-LAST")
    parser.add_argument("--minutes", type=float, default=math.inf, help="begin no more mutants after so long")
    parser.add_argument("--named", action="store_true", help="the changes written down in mutation_named.toml")
    parser.add_argument("--tests", nargs="*", help="these test files alone")
    return parser.parse_args()


def main() -> None:
    """Print the table and the survivors."""
    asked = asked_of()
    every = {name: sources_of(name) for name in MODULES}
    module_of = {file: name for name, sources in every.items() for file in sources}
    sources = {file: text for texts in every.values() for file, text in texts.items()}
    drawn_from = sources if asked.module == "all" else every[asked.module]
    known = equivalents()
    possible = [each for file, text in drawn_from.items() for each in mutants_of(file, text)]
    wanted = [each for each in possible if not is_equivalent(each, known, sources[each.file])]
    if asked.named:
        changes = tomllib.loads(NAMED.read_text(encoding="utf-8"))["change"]
        chosen = [mutant_of(each["file"], sources[each["file"]], each) for each in changes]
    elif asked.only:
        file, _, lines = asked.only.partition(":")
        first, _, last = lines.partition("-")
        span = range(int(first), int(last or first) + 1) if lines else range(1, 10**6)
        chosen = [each for each in wanted if each.file == file and each.line in span]
    else:
        count = min(asked.count, len(wanted)) if asked.count else len(wanted)
        chosen = random.Random(asked.seed).sample(wanted, count)
    reach = Reach(asked.tests or test_files())
    trial = Trial(chosen, sources, reach)
    trial.run(asked.at_once, asked.minutes)
    if not trial.sound:
        raise SystemExit("a test fails in the mutants' process without any mutant")
    print(f"{len(trial.ended)} of {len(wanted)} mutants, {len(possible) - len(wanted)} equivalent ones left out\n")
    print("\n".join(table(trial.ended, module_of)), "\n")
    for mutant in survivors(trial.ended):
        why = " (no test reaches it)" if trial.ended[mutant] == "unreached" else ""
        print(f"{mutant.name}{why}\n{mutant.diff(sources[mutant.file])}")


if __name__ == "__main__":
    main()
