"""How many small faults put into the analysis, the checks and the uncertainty do the tests see?

``python tests/mutation.py --sample 400`` copies the project to a temporary folder, lets mutmut make every mutant of
``analysis/``, ``checks.py`` and ``uncertainty.py``, tries a random sample of them (all with ``--sample 0``), and prints
a Markdown table by file and the survivors. mutmut is needed beside the test tools: ``pip install mutmut``.
"""

import argparse
import json
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parent.parent
COPIED = ("benchlog", "dashboards", "firmware_notes", "sample_data", "tests", "README.md", "DEVELOPERS.md")
SOURCES = ("benchlog/uncertainty.py", "benchlog/checks.py", "benchlog/analysis")
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
SURVIVED, SEEN = 0, 1  # mutmut keeps pytest's exit status; a timeout or a crash is seen as well


def settings() -> str:
    """What is added to the copy's pyproject.toml."""
    chosen = [f"tests/test_{name}.py" for name in TESTS]
    deselected = [f"--deselect=tests/{name}" for name in LEFT_OUT]
    return (
        "\n[tool.mutmut]\ntimeout_multiplier = 10.0\ntimeout_constant = 10.0\n"
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


def states(folder: Path) -> dict[str, int | None]:
    """Mutant -> pytest's exit status; None where it was not tried."""
    found: dict[str, int | None] = {}
    for path in sorted((folder / "mutants" / "benchlog").rglob("*.meta")):
        found |= json.loads(path.read_text(encoding="utf-8"))["exit_code_by_key"]
    return found


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sample", type=int, default=400, help="mutants to try; 0 for all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--children", type=int, default=2)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="benchlog-mutants-") as name:
        folder = Path(name)
        for part in COPIED:
            source = ROOT / part
            (shutil.copytree if source.is_dir() else shutil.copy)(source, folder / part)
        text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
        (folder / "pyproject.toml").write_text(text + settings(), encoding="utf-8")
        mutmut(folder, "run", "benchlog.uncertainty.x_combine__mutmut_1")
        names = sorted(states(folder))
        chosen = names if not asked.sample else random.Random(asked.seed).sample(names, min(asked.sample, len(names)))
        mutmut(folder, "run", "--max-children", str(asked.children), *chosen)
        ended = states(folder)
        show(folder, {each: ended[each] for each in chosen}, len(names))


def show(folder: Path, ended: dict[str, int | None], of: int) -> None:
    """The table by file, and each survivor's change."""
    tried, seen = Counter[str](), Counter[str]()
    for each, state in ended.items():
        file = re.sub(r"\.x.?_.*", "", each)
        tried[file] += 1
        seen[file] += state not in (SURVIVED, None)
    print(f"{len(ended)} of {of} mutants\n\n| file | tried | seen | share |\n| --- | --- | --- | --- |")
    for file in sorted(tried):
        print(f"| {file} | {tried[file]} | {seen[file]} | {100 * seen[file] / tried[file]:.0f} % |")
    share = 100 * sum(seen.values()) / sum(tried.values())
    print(f"| **all** | {sum(tried.values())} | {sum(seen.values())} | **{share:.1f} %** |\n")
    for each, state in sorted(ended.items()):
        if state in (SURVIVED, None):
            changed = [line for line in mutmut(folder, "show", each).splitlines() if re.match(r"[-+] ", line)]
            print(each, *changed, sep="\n    ")


if __name__ == "__main__":
    main()
