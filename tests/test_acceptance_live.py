"""The guided test on the live stand-in: two real processes and a pseudo-terminal for every fault, sped up."""

import os
import re
import signal
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import pytest
from conftest import few
from guided_bike import FAILS
from program import Started, start

import benchlog
from benchlog.analysis.bridge import HAND_S
from benchlog.commands.shared import EXIT_STATUS
from benchlog.standin import FAULTS, SimulatedInstall, plan_toml_of
from benchlog.store import open_store

#: Simulated seconds in one of the clock.
SPEED = 50.0
RATE_HZ = 100.0
#: At once: they mostly wait for the stream, so that more than the cores can run.
AT_ONCE = 4
PATIENCE_S = 150.0
LIMITS = {"settle_max_s": 60, "added_drain_ma": None, "pull_in_max_ms": 100}
#: The longest first, so that none is left over at the end.
ORDER = sorted([None, *FAULTS], key=lambda fault: fault != "waking_device")
#: One of each end, which are always run: all passes, one check fails, the fuses are walked, none fails; all of them are
#: led through in one process as well (``test_guided_session``).
ALWAYS = {None, "feed_resistance", "waking_device", "charging_while_off"}
#: Wakes every 15 s, so that fuses need not stay out for minutes; its device sits on the last slot as ever.
QUICK_WAKER = """
from dataclasses import replace
from benchlog.standin import faults
from benchlog.standin.install import WakeUps
usual = faults.FAULTS["waking_device"]
faults.FAULTS["waking_device"] = lambda good: replace(usual(good), wakeups=WakeUps(15.0, 1.0, 0.12, 4.0))
"""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one guided test left: exit status, both outputs, and its log."""

    status: int
    said: str
    errors: str
    log: Path


@contextmanager
def bench(fault: str | None, folder: Path, *behaviours: str) -> Iterator[Callable[..., Started]]:
    """A running stand-in with this fault and these behaviours; gives what starts the guided test, as a process."""
    folder.mkdir()
    plan = folder / "plan.toml"
    plan.write_text(plan_toml_of(SimulatedInstall(), LIMITS), encoding="utf-8")
    there = {"cwd": folder, "env": {**os.environ, "BENCHLOG_DATA": str(folder / "data")}}
    order = ["standin", "--speed", f"{SPEED:g}", "--rate", f"{RATE_HZ:g}", "--seed", "1"]
    order += ["--seconds", f"{PATIENCE_S:g}", *(["--fault", fault] if fault else [])]
    order += [word for name in behaviours for word in ("--behaviour", name)]
    stand_in = start(*order, first=QUICK_WAKER, **there)
    try:
        test = ["acceptance", _port(stand_in), "--plan", str(plan), "--out", str(folder / "a.csv")]
        yield lambda *more, keys=None: start(*test, *more, keys=keys, **there)
    finally:
        stand_in.kill(signal.SIGTERM)
        stand_in.end(20)


def ended(test: Started, folder: Path) -> Outcome:
    """Wait for a guided test's end."""
    ran = test.end(PATIENCE_S)
    return Outcome(ran.returncode, ran.stdout.decode(), ran.stderr.decode(), folder / "a.csv")


def lead_through(fault: str | None, folder: Path, *behaviours: str) -> Outcome:
    """The guided test on a stand-in with this fault and these behaviours, from its start to its end."""
    with bench(fault, folder, *behaviours) as begin:
        return ended(begin(), folder)


def test_the_result_is_saved_where_asked(tmp_path: Path):
    """With ``--save`` the test ends as a record with a copy of its log, and the record's verdict is the one told."""
    store = tmp_path / "records.sqlite"
    with bench(None, tmp_path / "saved") as begin:
        outcome = ended(begin("--save", "--store", str(store)), tmp_path / "saved")

    assert outcome.errors == ""
    assert "Saved as record 1 in" in outcome.said
    with open_store(str(store)) as opened:
        record = opened.record(1)
        assert EXIT_STATUS[record.result.verdict] == outcome.status != 1
        assert record.result.score.fail == 0
        assert opened.log_path(1, "a.csv") is not None
        assert opened.verify() == []
        # what proves the store later stands in the report, which is kept elsewhere
        assert opened.head()[1] in (tmp_path / "saved" / "a.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("at", few(["zero_back", "slot_3_on", "run"], {"slot_3_on"}))
def test_killed_test_goes_on_in_the_same_log(tmp_path: Path, at: str):
    """Killed at a step and taken up again: one whole log with every mark, and the verdicts of an unstopped test."""
    pytest.importorskip("termios", reason="the stand-in needs pseudo-terminals")
    folder = tmp_path / "killed"
    state = folder / "a.steps.json"
    with bench(None, folder) as begin:
        test, until = begin(), time.monotonic() + PATIENCE_S
        while not (state.exists() and f'"step": "{at}"' in state.read_text(encoding="utf-8")):
            assert time.monotonic() < until, "the test never came to that step"
            time.sleep(0.005)
        test.kill()
        test.end()
        outcome = ended(begin("--resume"), folder)
    log = outcome.log.read_text(encoding="utf-8")
    rows = [line.split(",") for line in log.splitlines() if not line.startswith("#")]
    times = [float(row[0]) for row in rows[1:]]
    marks = [row[-1] for row in rows[1:] if row[-1]]
    done = ["zero", "zero end", "key on", *(f"slot {n} on" for n in (1, 2, 3, 4)), "crank", "running", "key off"]

    result = benchlog.check(outcome.log, plan=folder / "plan.toml")
    short_of_pass = {check.id for check in result.checks if check.verdict in ("fail", "not proven", "not seen")}

    assert outcome.errors == ""
    # 100 samples a second never prove the absence of chatter
    assert short_of_pass == {"relay_chatter"}, outcome.said
    assert outcome.status == 3
    assert {len(row) for row in rows} == {len(rows[0])}
    assert all(later > earlier for earlier, later in pairwise(times))
    assert set(done) <= set(marks)
    assert any(mark.startswith("resumed at:") for mark in marks)
    assert "# note: the recording was stopped here and resumed" in log
    assert not state.exists()


def test_a_bridge_across_the_shunt_is_noted_by_a_key(tmp_path: Path):
    """With b pressed once the stand-in bridges its shunt and frees it as the engine runs; nothing fails for it."""
    pytest.importorskip("termios", reason="the stand-in needs pseudo-terminals")
    folder, (hand, terminal) = tmp_path / "bridged", os.openpty()
    state = folder / "a.steps.json"
    with bench(None, folder) as begin:
        test = begin(keys=terminal)
        until = time.monotonic() + PATIENCE_S
        while not (state.exists() and '"step": "all_on"' in state.read_text(encoding="utf-8")):
            assert time.monotonic() < until, "the test never came to that step"
            time.sleep(0.005)
        os.write(hand, b"b")
        outcome = ended(test, folder)
    os.close(hand)
    os.close(terminal)
    result = benchlog.check(outcome.log, plan=folder / "plan.toml")
    rows = [line.split(",") for line in outcome.log.read_text(encoding="utf-8").splitlines()]
    marks = {row[-1]: row[0] for row in rows if row[-1] in ("shunt bridged", "running", "shunt free", "key off")}
    balance = result.check("charging_balance")

    assert outcome.errors == ""
    assert list(marks) == ["shunt bridged", "running", "shunt free", "key off"]
    assert {check.id for check in result.checks if check.verdict == "fail"} == set()
    assert balance.verdict == "pass"
    assert "the shunt was bridged from" in balance.because
    assert balance.from_s == pytest.approx(float(marks["shunt free"]) + HAND_S, abs=0.5)


@pytest.mark.parametrize(
    ("fault", "failed"),
    [
        pytest.param(None, frozenset(), id="good", marks=pytest.mark.long),
        pytest.param("feed_resistance", frozenset({"feed_drop"}), id="poor feed"),
    ],
)
def test_the_guided_test_is_not_led_astray(tmp_path: Path, fault: str | None, failed: frozenset[str]):
    """Brake light, grips in pulses and a bouncing key beside it: every step is seen, and just what is wrong fails."""
    pytest.importorskip("termios", reason="the stand-in needs pseudo-terminals")
    outcome = lead_through(fault, tmp_path / "busy", "brake_light", "pulsed_grips", "key_bounce")
    assert outcome.log.exists(), outcome.errors or outcome.said
    result = benchlog.check(outcome.log, plan=outcome.log.with_name("plan.toml"))
    verdicts = {check.id: check.verdict for check in result.checks}

    assert outcome.errors == ""
    assert {check for check, verdict in verdicts.items() if verdict == "fail"} == failed
    # 100 samples a second never prove the absence of chatter
    assert {check for check, verdict in verdicts.items() if verdict in ("not proven", "not seen")} == {"relay_chatter"}
    assert [cause.id for cause in result.causes[:1]] == ([fault] if fault else [])
    assert outcome.status == (1 if fault else 3)


def _port(stand_in: Started) -> str:
    until = time.monotonic() + 60.0
    while time.monotonic() < until:
        if found := re.search(r"^\s*port\s+(\S+)$", stand_in.said(), re.MULTILINE):
            return found[1]
        time.sleep(0.05)
    raise AssertionError(f"the stand-in named no port: {stand_in.said()}")


@pytest.fixture(scope="module")
def outcomes(long: bool, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str | None, Future[Outcome]]]:
    """All runs that are asked for, a few at a time."""
    pytest.importorskip("termios", reason="the stand-in needs pseudo-terminals")
    folder = tmp_path_factory.mktemp("live")
    asked = ORDER if long else [fault for fault in ORDER if fault in ALWAYS]
    with ThreadPoolExecutor(AT_ONCE) as pool:
        yield {fault: pool.submit(lead_through, fault, folder / str(fault)) for fault in asked}


@pytest.mark.parametrize("fault", few(ORDER, ALWAYS))
def test_the_guided_test_finds_each_fault_by_itself(outcomes: dict[str | None, Future[Outcome]], fault: str | None):
    """From port to report: the fault's check fails and the exit status says so; without a fault nothing fails."""
    outcome = outcomes[fault].result()
    assert outcome.log.exists(), outcome.errors or outcome.said
    result = benchlog.check(outcome.log, plan=outcome.log.with_name("plan.toml"))
    failed = {check.id for check in result.checks if check.verdict == "fail"}

    assert outcome.errors == ""
    assert outcome.status == {"pass": 0, "fail": 1, "not proven": 3}[result.verdict]
    assert failed >= FAILS.get(fault or "", frozenset())
    assert bool(failed) == (fault is not None) or not FAILS.get(fault or "", {""})
    assert f"Report: {outcome.log.with_suffix('.html')}" in outcome.said
    assert outcome.log.with_suffix(".html").exists()
    assert not outcome.log.with_name("a.steps.json").exists()
    if fault is not None and not FAILS[fault]:
        # whether a relay of some milliseconds shows which clip moves first is chance at this rate
        named = [cause.id for cause in result.causes[:2]]
        assert fault in named or (fault == "clips_swapped" and not named)
    elif fault is not None:
        first = next(check.title for check in result.checks if check.id in FAILS[fault])
        assert re.search(rf"^── FAIL, {len(failed)} .*{re.escape(first)}", outcome.said, re.MULTILINE | re.DOTALL)
        assert fault in [cause.id for cause in result.causes[:2]]
