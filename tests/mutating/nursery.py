"""One process that has loaded the libraries and forks for each mutant: runs tests with one source changed.

Reads orders, one JSON object a line, and answers each with one line: how the tests ended and what CPU time they took.
Nothing of benchlog is loaded here, and no library has started a thread, so that a fork is safe.
"""

import contextlib
import gc
import importlib.abc
import importlib.machinery
import importlib.util
import io
import json
import os
import resource
import select
import signal
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

import hypothesis
import numpy
import pandas
import polars
import pydantic
import pytest
import scipy.stats

LOADED = (hypothesis, numpy, pandas, polars, pydantic, scipy.stats)
#: s by the clock after which a run that uses no CPU time is called hung.
HUNG_S = 900.0
PASSED = 0


class _Loader(importlib.machinery.SourceFileLoader):
    """Loads one module from a text in place of its file."""

    def __init__(self, name: str, path: str, text: str) -> None:
        super().__init__(name, path)
        self._text = text

    def get_code(self, fullname: str) -> CodeType:  # noqa: ARG002 importlib's signature
        """Compile the text."""
        return compile(self._text, self.path, "exec")


class Changed(importlib.abc.MetaPathFinder):
    """Finds one module with another text, and leaves all others alone."""

    def __init__(self, module: str, path: str, text: str) -> None:
        """Change this module, whose file is at this path."""
        self._module, self._path, self._text = module, path, text

    def find_spec(
        self,
        fullname: str,
        path: Sequence[str] | None,  # noqa: ARG002 importlib's signature
        target: ModuleType | None = None,  # noqa: ARG002 importlib's signature
    ) -> importlib.machinery.ModuleSpec | None:
        """The changed module's spec."""
        if fullname != self._module:
            return None
        return importlib.util.spec_from_file_location(
            fullname, self._path, loader=_Loader(fullname, self._path, self._text)
        )


class Chosen:
    """Keeps the named tests alone, in the order in which they are named."""

    def __init__(self, names: Sequence[str]) -> None:
        """These tests."""
        self._rank = {name: n for n, name in enumerate(names)}

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Drop all others."""
        kept = [item for item in items if item.nodeid in self._rank]
        items[:] = sorted(kept, key=lambda item: self._rank[item.nodeid])


def run_tests(order: dict[str, Any]) -> int:
    """Run the tests of one order in this process, a list after the other; pytest's first exit status that is not 0."""
    if order.get("module"):
        sys.meta_path.insert(0, Changed(order["module"], order["path"], order["text"]))
    seconds = int(order["cpu_s"])
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
    for names in order["tests"]:
        files = list(dict.fromkeys(name.partition("::")[0] for name in names))
        words = ["-q", "-x", "--no-header", "--tb=line", "-p", "no:cacheprovider", *files]
        ended = int(pytest.main(words, plugins=[Chosen(names)]))
        if ended != PASSED:
            return ended
    return PASSED


def _watch(pid: int) -> tuple[str, float]:
    """Wait for a child: ``passed``, ``failed``, ``cpu`` (out of CPU time), ``hung``; and the CPU time it took, s."""
    handle = os.pidfd_open(pid)
    ready, _, _ = select.select([handle], [], [], HUNG_S)
    os.close(handle)
    if not ready:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(pid, signal.SIGKILL)
    _, status, used = os.wait4(pid, 0)
    cpu_s = used.ru_utime + used.ru_stime
    if not ready:
        return "hung", cpu_s
    if os.WIFSIGNALED(status):
        return ("cpu" if os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL) else "failed"), cpu_s
    return ("passed" if os.WEXITSTATUS(status) == PASSED else "failed"), cpu_s


def main() -> None:
    """Answer orders until there are no more."""
    os.chdir(Path(__file__).parent.parent.parent)
    sys.path[:0] = [str(Path.cwd()), str(Path.cwd() / "tests")]
    # pytest loads what it needs once, here
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # what they load takes longer than most tests
    with tempfile.TemporaryDirectory() as empty, contextlib.redirect_stdout(io.StringIO()):
        pytest.main(["-q", "--noconftest", "-p", "no:cacheprovider", empty])
    gc.freeze()
    for line in sys.stdin:
        order = json.loads(line)
        pid = os.fork()
        if pid == 0:
            os.setpgid(0, 0)
            silent = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(silent, stream)
            ended = 70
            try:
                ended = run_tests(order)
            finally:
                os._exit(ended)
        ended_as, cpu_s = _watch(pid)
        print(json.dumps({"ended": ended_as, "cpu_s": round(cpu_s, 2)}), flush=True)


if __name__ == "__main__":
    main()
