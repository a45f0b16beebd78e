"""Which test reaches which line, kept outside the version control until the test file changes.

Where a source has changed since, its lines are followed to where they stand now.

``python tests/mutating/reach.py tests/test_drain.py …`` runs test files under coverage and prints one JSON line a file;
``Reach`` starts it for what it does not know yet.
"""

import difflib
import functools
import hashlib
import json
import re
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import coverage
import pytest

ROOT = Path(__file__).parent.parent.parent
KEPT = ROOT / ".mutation"


class _Watcher:
    """A pytest plug-in: names the test that runs as coverage's context, and times it.

    What runs before a test's own body (fixtures, which tests share) is put down to every test of its file.
    """

    def __init__(self, cov: coverage.Coverage) -> None:
        self.cov = cov
        self.seconds: dict[str, float] = {}
        self.failed: list[str] = []

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_setup(self) -> Iterator[None]:
        """Fixtures."""
        self.cov.switch_context("shared")
        return (yield)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Iterator[None]:
        """The test itself."""
        self.cov.switch_context(item.nodeid)
        start = time.process_time()
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] = round(time.process_time() - start, 3)
            self.cov.switch_context("shared")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note what fails without any mutant."""
        if report.failed:
            self.failed.append(report.nodeid)


def measure(test_file: str) -> dict[str, Any]:
    """Run one test file: seconds and failures by test, and by context the lines of each source that it reached."""
    cov = coverage.Coverage(data_file=None, source=[str(ROOT / "benchlog")], config_file=False)
    watcher = _Watcher(cov)
    cov.start()
    cov.switch_context("shared")
    pytest.main(["-q", "--no-header", "-p", "no:cacheprovider", "-p", "no:xdist", test_file], plugins=[watcher])
    cov.stop()
    data = cov.get_data()
    reached: dict[str, dict[str, list[int]]] = {}
    for path in data.measured_files():
        file = str(Path(path).relative_to(ROOT))
        for line, contexts in data.contexts_by_lineno(path).items():
            for context in contexts:
                reached.setdefault(context, {}).setdefault(file, []).append(line)
    return {"seconds": watcher.seconds, "failed": watcher.failed, "reached": reached}


class Reach:
    """What is known of the tests of some files.

    Attributes:
        seconds: test -> CPU time it takes, s (under coverage, which is more than without).
        breadth: test -> how many lines it reaches in all.
    """

    def __init__(self, files: Sequence[str]) -> None:
        """Read what is kept, and measure the rest.

        Raises:
            SystemExit: a test fails without any mutant.
        """
        KEPT.mkdir(exist_ok=True)
        self.seconds: dict[str, float] = {}
        self.breadth: Counter[str] = Counter()
        self._of_line: dict[tuple[str, int], set[str]] = {}
        self._shared: dict[tuple[str, int], set[str]] = {}
        for file in files:
            self._add(file, _known(file))

    def _add(self, file: str, known: dict[str, Any]) -> None:
        if known["failed"]:
            raise SystemExit(f"these tests fail without any mutant; mend them first: {', '.join(known['failed'])}")
        self.seconds |= known["seconds"]
        self.breadth.update({name: sum(map(len, files.values())) for name, files in known["reached"].items()})
        for context, files in known["reached"].items():
            for source, lines in files.items():
                for line in _where_now(known["sources"], source, lines):
                    if context in known["seconds"]:
                        self._of_line.setdefault((source, line), set()).add(context)
                    elif context:
                        self._shared.setdefault((source, line), set()).add(file)

    def tests(self, source: str, lines: range) -> tuple[set[str], set[str]]:
        """Tests that reach these lines themselves, and test files that reach them in any way."""
        own = set().union(*(self._of_line.get((source, line), set()) for line in lines))
        shared = set().union(*(self._shared.get((source, line), set()) for line in lines))
        return own, shared | {name.partition("::")[0] for name in own}

    def of_file(self, test_file: str) -> list[str]:
        """Every test of one file."""
        return [name for name in self.seconds if name.startswith(f"{test_file}::")]


def lines_with(names: Sequence[str], sources: dict[str, str]) -> Iterator[tuple[str, int]]:
    """Where these names stand in the sources."""
    if names:
        wanted = re.compile(rf"\b(?:{'|'.join(map(re.escape, names))})\b")
        for file, text in sources.items():
            for number, line in enumerate(text.splitlines(), start=1):
                if wanted.search(line):
                    yield file, number


def _keep_sources() -> str:
    """Keep every source as it is now; the name of what was kept."""
    paths = sorted((ROOT / "benchlog").rglob("*.py"))
    texts = {str(path.relative_to(ROOT)): path.read_text(encoding="utf-8") for path in paths}
    text = json.dumps(texts)
    name = hashlib.sha256(text.encode()).hexdigest()[:16]
    kept = KEPT / f"sources_{name}.json"
    if not kept.exists():
        kept.write_text(text, encoding="utf-8")
    return name


@functools.cache
def _kept_sources(name: str) -> dict[str, str]:
    found: dict[str, str] = json.loads((KEPT / f"sources_{name}.json").read_text(encoding="utf-8"))
    return found


@functools.cache
def _moved(kept: str, source: str) -> dict[int, range]:
    """Line as it was -> the lines that stand there now, where a source has changed."""
    then, path = _kept_sources(kept).get(source, ""), ROOT / source
    now = path.read_text(encoding="utf-8") if path.exists() else ""
    moved = {}
    for tag, a, b, c, d in difflib.SequenceMatcher(
        None, then.splitlines(), now.splitlines(), autojunk=False
    ).get_opcodes():
        for n in range(a, b):
            moved[n + 1] = range(c + n - a + 1, c + n - a + 2) if tag == "equal" else range(c + 1, d + 1)
    return moved


def _where_now(kept: str, source: str, lines: Sequence[int]) -> list[int]:
    moved = _moved(kept, source)
    return [now for line in lines for now in moved.get(line, ())]


def _known(file: str) -> dict[str, Any]:
    key = hashlib.sha256((ROOT / file).read_bytes()).hexdigest()
    kept = KEPT / f"{Path(file).stem}.json"
    if kept.exists():
        found: dict[str, Any] = json.loads(kept.read_text(encoding="utf-8"))
        if found["key"] == key:
            return found
    print(f"looking what {file} reaches", file=sys.stderr, flush=True)
    sources = _keep_sources()
    done = subprocess.run(
        [sys.executable, __file__, file], cwd=ROOT, capture_output=True, text=True, check=True, encoding="utf-8"
    )
    found = {"key": key, "sources": sources, **json.loads(done.stdout.splitlines()[-1])}
    kept.write_text(json.dumps(found), encoding="utf-8")
    return found


if __name__ == "__main__":
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
    for each in sys.argv[1:]:
        print("\n" + json.dumps(measure(each)))
