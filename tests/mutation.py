"""How many small faults put into the analysis, the checks and the uncertainty do the tests see?

``python tests/mutation.py --sample 400`` copies the project to a temporary folder, lets mutmut make every mutant of
``analysis/``, ``checks.py`` and ``uncertainty.py``, tries a random sample of them (all with ``--sample 0``), and prints
a Markdown table by file and the survivors. mutmut is needed beside the test tools: ``pip install mutmut``.
"""

import argparse
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).parent.parent
COPIED = ("benchlog", "dashboards", "firmware_notes", "sample_data", "tests", "README.md", "DEVELOPERS.md")
SOURCES = ("benchlog/core/uncertainty.py", "benchlog/verdict/checks.py", "benchlog/analysis")
TESTS = (
    *("uncertainty", "checks", "levels", "switched", "key_state", "cranking", "running", "drain", "relay"),
    *("plateaus", "slopes", "slots", "coarse", "zero", "fuse_walk", "gaps"),
)
#: Too slow to be run for each mutant: they look at coverage over many simulated logs.
LEFT_OUT = (
    "test_fuse_walk.py::test_draws_are_covered",
    "test_zero.py::test_drain_is_covered_with_and_without_zero",
    "test_zero.py::test_zero_proves_what_the_stated_offset_cannot",
    "test_slots.py::test_twelve_slots_with_many_steps_are_matched_exactly",
)
PATIENCE_S = 240.0


def settings() -> str:
    """What is added to the copy's pyproject.toml."""
    chosen = [f"tests/test_{name}.py" for name in TESTS]
    deselected = [f"--deselect=tests/{name}" for name in LEFT_OUT]
    return (
        "\n[tool.mutmut]\n"
        f"source_paths = {json.dumps(SOURCES)}\npytest_add_cli_args_test_selection = {json.dumps(chosen)}\n"
        f"pytest_add_cli_args = {json.dumps(deselected)}\nalso_copy = {json.dumps(COPIED)}\n"
    )


def mutmut(folder: Path, *words: str) -> str:
    """Run mutmut in the copy; what it prints.

    Raises:
        SystemExit: it failed.
    """
    program = shutil.which("mutmut") or str(Path(sys.executable).with_name("mutmut"))
    done = subprocess.run([program, *words], cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode and "show" not in words:
        raise SystemExit(f"mutmut {words[0]} ended with {done.returncode}:\n{done.stdout[-2000:]}{done.stderr[-2000:]}")
    return done.stdout


def names_in(folder: Path) -> list[str]:
    """Every mutant that mutmut made."""
    found: set[str] = set()
    for path in (folder / "mutants" / "benchlog").rglob("*.meta"):
        found |= set(json.loads(path.read_text(encoding="utf-8"))["exit_code_by_key"])
    return sorted(found)


def is_seen(folder: Path, mutant: str) -> bool:
    """Whether the tests of its own file, or else all of them, fail on it or never end.

    Each run is a process of its own: mutmut's forks hang where a test uses threads.
    """
    own = f"test_{module_of(mutant).rpartition('.')[2]}.py"
    files = [f"test_{name}.py" for name in TESTS]
    left_out = [f"--deselect=tests/{name}" for name in LEFT_OUT]
    stages = [[own], [name for name in files if name != own]] if own in files else [files]
    for stage in stages:
        order = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *left_out]
        try:
            done = subprocess.run(
                [*order, *(f"tests/{name}" for name in stage)],
                cwd=folder / "mutants",
                env={**os.environ, "MUTANT_UNDER_TEST": mutant, "PYTHONPATH": "."},
                capture_output=True,
                timeout=PATIENCE_S,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return True
        if done.returncode:
            return True
    return False


def module_of(mutant: str) -> str:
    """The file that a mutant is in."""
    return re.sub(r"\.x[ǁ_].*", "", mutant)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sample", type=int, default=400, help="mutants to try; 0 for all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--at-once", type=int, default=2)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="benchlog-mutants-") as name:
        folder = Path(name)
        for part in COPIED:
            source = ROOT / part
            (shutil.copytree if source.is_dir() else shutil.copy)(source, folder / part)
        text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
        (folder / "pyproject.toml").write_text(text + settings(), encoding="utf-8")
        mutmut(folder, "run", "benchlog.core.uncertainty.x_combine__mutmut_1")
        names = names_in(folder)
        chosen = names if not asked.sample else random.Random(asked.seed).sample(names, min(asked.sample, len(names)))
        if is_seen(folder, ""):
            raise SystemExit("the tests fail without any mutant; mend them first")
        with ThreadPoolExecutor(asked.at_once) as pool:
            seen = dict(zip(chosen, pool.map(lambda each: is_seen(folder, each), chosen), strict=True))
        show(folder, seen, len(names))


def show(folder: Path, ended: dict[str, bool], of: int) -> None:
    """The table by file, and each survivor's change."""
    tried, seen = Counter[str](), Counter[str]()
    for each, was_seen in ended.items():
        tried[module_of(each)] += 1
        seen[module_of(each)] += was_seen
    print(f"{len(ended)} of {of} mutants\n\n| file | tried | seen | share |\n| --- | --- | --- | --- |")
    for file in sorted(tried):
        print(f"| {file} | {tried[file]} | {seen[file]} | {100 * seen[file] / tried[file]:.0f} % |")
    share = 100 * sum(seen.values()) / sum(tried.values())
    print(f"| **all** | {sum(tried.values())} | {sum(seen.values())} | **{share:.1f} %** |\n")
    for each in sorted(each for each, was_seen in ended.items() if not was_seen):
        changed = [line for line in mutmut(folder, "show", each).splitlines() if re.match(r"[-+] ", line)]
        print(each, *changed, sep="\n    ")


if __name__ == "__main__":
    main()
