"""The guided test on the live stand-in: two real processes and a pseudo-terminal for every fault, sped up."""

import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import pytest
from guided_bike import FAILS

import benchlog
from benchlog.standin import FAULTS, Install, plan_toml_of

#: Simulated seconds in one of the clock.
SPEED = 50.0
RATE_HZ = 100.0
#: At once: they mostly wait for the stream, so that more than the cores can run.
AT_ONCE = 4
PATIENCE_S = 150.0
LIMITS = {"settle_max_s": 60, "added_drain_ma": None, "pull_in_max_ms": 100}
#: The longest first, so that none is left over at the end.
ORDER = sorted([None, *FAULTS], key=lambda fault: fault != "waking_device")
RUN = "from benchlog.cli import main; main()"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one guided test left: exit status, both outputs, and its log."""

    status: int
    said: str
    errors: str
    log: Path


def lead_through(fault: str | None, folder: Path) -> Outcome:
    """Start a stand-in with this fault, and the guided test on its port; wait for the test's end."""
    folder.mkdir()
    plan = folder / "plan.toml"
    plan.write_text(plan_toml_of(Install(), LIMITS), encoding="utf-8")
    environment = {**os.environ, "BENCHLOG_DATA": str(folder / "data"), "PYTHONPATH": str(Path(__file__).parents[1])}
    order = [sys.executable, "-c", RUN, "standin", "--speed", f"{SPEED:g}", "--rate", f"{RATE_HZ:g}", "--seed", "1"]
    order += ["--seconds", f"{PATIENCE_S:g}", *(["--fault", fault] if fault else [])]
    with (folder / "standin.txt").open("w+", encoding="utf-8") as told:
        stand_in = subprocess.Popen(
            order, stdin=subprocess.DEVNULL, stdout=told, stderr=subprocess.STDOUT, env=environment, cwd=folder
        )
        try:
            port = _port(folder / "standin.txt")
            test = subprocess.run(
                [sys.executable, "-c", RUN, "acceptance", port, "--plan", str(plan), "--out", str(folder / "a.csv")],
                stdin=subprocess.DEVNULL,
                capture_output=True,
                text=True,
                timeout=PATIENCE_S,
                env=environment,
                cwd=folder,
                check=False,
            )
        finally:
            stand_in.terminate()
            stand_in.wait(timeout=20)
    return Outcome(test.returncode, test.stdout, test.stderr, folder / "a.csv")


def _port(told: Path) -> str:
    until = time.monotonic() + 60.0
    while time.monotonic() < until:
        if found := re.search(r"^\s*port\s+(\S+)$", told.read_text(encoding="utf-8"), re.MULTILINE):
            return found[1]
        time.sleep(0.05)
    raise AssertionError(f"the stand-in named no port: {told.read_text(encoding='utf-8')}")


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str | None, Future[Outcome]]]:
    """All runs, a few at a time."""
    pytest.importorskip("termios", reason="the stand-in needs pseudo-terminals")
    folder = tmp_path_factory.mktemp("live")
    with ThreadPoolExecutor(AT_ONCE) as pool:
        yield {fault: pool.submit(lead_through, fault, folder / str(fault)) for fault in ORDER}


@pytest.mark.parametrize("fault", ORDER)
def test_the_guided_test_finds_each_fault_by_itself(outcomes: dict[str | None, Future[Outcome]], fault: str | None):
    """From port to report: the fault's check fails and the exit status says so; without a fault nothing fails."""
    outcome = outcomes[fault].result()
    assert outcome.log.exists(), outcome.errors or outcome.said
    result = benchlog.check(outcome.log, plan=outcome.log.with_name("plan.toml"))
    failed = {check.id for check in result.checks if check.verdict == "fail"}

    assert outcome.errors == ""
    assert outcome.status == {"pass": 0, "fail": 1, "not proven": 3}[result.verdict]
    assert failed >= FAILS.get(fault or "", frozenset())
    assert bool(failed) == (fault is not None)
    assert f"Report: {outcome.log.with_suffix('.html')}" in outcome.said
    assert outcome.log.with_suffix(".html").exists()
    assert not outcome.log.with_name("a.steps.json").exists()
    if fault is not None:
        first = next(check.title for check in result.checks if check.id in FAILS[fault])
        assert re.search(rf"^── FAIL, {len(failed)} .*{re.escape(first)}", outcome.said, re.MULTILINE | re.DOTALL)
        assert fault in [cause.id for cause in result.causes[:2]]
