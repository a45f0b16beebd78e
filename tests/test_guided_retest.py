"""A retest of single checks: which steps each of them needs, and what is said of it at its end."""

from pathlib import Path

import pytest
from guided_bike import Bench
from test_guided_session import plan

import benchlog
from benchlog.bench.guided import resume
from benchlog.bench.guided.ending import can_be_found, ending_words, verdict_of
from benchlog.bench.guided.leading import Setup
from benchlog.bench.guided.retest import NEEDS, checks_named, steps_for
from benchlog.bench.guided.screen import PlainScreen
from benchlog.bench.guided.session import run_session
from benchlog.bench.guided.steps import steps_of
from benchlog.standin import SimulatedInstall, fast_logger, with_fault
from benchlog.verdict.registry.table import CHECKS
from benchlog.verdict.result import Result

PLAN = plan(pull_in_max_ms=100, feed_in_crank="hold")


def retested(only: tuple[str, ...], log: Path, fault: str = "") -> tuple[Result, list[str], float]:
    """A retest by a stand-in's hands: the result, the steps that were taken, and how long it lasted, s."""
    install = with_fault(SimulatedInstall(), fault) if fault else SimulatedInstall()
    bench = Bench(install, spec=fast_logger(200.0), chunk_s=0.5)
    ended = run_session(bench, PLAN, PlainScreen(lambda _: None), lambda: [], log=log, ask=bench.act, only=only)

    assert ended == "done"
    return benchlog.check(bench.write(log), plan=PLAN), [step.id for step in bench.steps], bench.now_s


def setup(log: Path, only: tuple[str, ...] = ()) -> Setup:
    """What the test was made with."""
    return Setup(
        "/dev/port", 115200, Path("my plan.toml"), PLAN, None, log, log.with_suffix(".html"), None, None, None, only
    )


def test_every_check_that_a_step_shows_has_its_steps():
    """Each check of the table but the fuses' has its entry, and every step that is named in one exists."""
    ids = {step.id for step in steps_of(PLAN)} | {"slots"}

    assert set(NEEDS) == {kind.id for kind in CHECKS if kind.from_plan is None}
    assert {step for steps in NEEDS.values() for step in steps} <= ids


@pytest.mark.parametrize(
    ("check", "steps"),
    [
        ("off_state_drain", ["prepare", "zero", "zero_back", "key_on", "key_off", "sleep"]),
        ("feed_drop", ["prepare", "key_on", *(f"slot_{n}_on" for n in (1, 2, 3, 4)), "all_on", "key_off"]),
        ("slot_2_current", ["prepare", "key_on", "slot_2_on", "key_off"]),
        ("feed_in_crank", ["prepare", "key_on", "crank", "key_off"]),
        ("resting_voltage", ["prepare", "rest"]),
        ("relay_drop_out", ["prepare", "key_on", "key_off"]),
    ],
)
def test_a_check_taken_again_alone_passes_on_a_mended_bike(check: str, steps: list[str], tmp_path: Path):
    """Just the steps that it needs are taken, in under two minutes, and they are enough for its verdict."""
    result, taken, lasted_s = retested((check,), tmp_path / "a.csv")

    assert taken == steps
    assert lasted_s < 120
    assert result.check(check).verdict == "pass"
    assert verdict_of(result, (check,)) == "pass"
    assert result.verdict == "not proven"


def test_a_check_taken_again_on_a_bike_that_is_not_mended_fails(tmp_path: Path):
    """The retest ends with its verdict, the next test, and where the search for the place begins."""
    result, _, _ = retested(("feed_drop",), tmp_path / "a.csv", "feed_resistance")
    lines = ending_words(setup(tmp_path / "a.csv", ("feed_drop",)), result).splitlines()

    assert verdict_of(result, ("feed_drop",)) == "fail"
    assert can_be_found(result, ("feed_drop",))
    assert lines[0] == "Retest of Larch"
    assert lines[1].startswith("▲ FAIL Feed drop: ")
    assert len([line for line in lines if "Off-state drain" in line]) == 0
    assert lines[-5] == "▲ FAIL for what was taken again; all else is not judged by this log"
    assert lines[-4].startswith("Next test: ")
    assert lines[-3] == f"To the faulty place: benchlog find {tmp_path}/a.csv --plan 'my plan.toml'"
    assert lines[-2:] == [f"Log: {tmp_path}/a.csv", f"Report: {tmp_path}/a.html"]


def test_what_is_open_at_the_end_can_be_taken_again(tmp_path: Path):
    """A test in which checks stay open ends with the command that takes just these again."""
    result, _, _ = retested(("crank_minimum",), tmp_path / "a.csv")
    lines = ending_words(setup(tmp_path / "a.csv"), result).splitlines()
    again = lines[-3]

    assert again.startswith("What is open, again: benchlog acceptance /dev/port --plan 'my plan.toml' --only ")
    assert "off_state_drain" in again
    assert "crank_minimum" not in again
    assert checks_named(PLAN, [again.rsplit(" ", 1)[1]])


def test_checks_are_named_with_commas_or_one_by_one():
    """Both ways name the same, in the order of a result, each once; none names the whole test."""
    whole = steps_of(PLAN)

    assert checks_named(PLAN, ["feed_drop,off_state_drain", " feed_drop"]) == ("off_state_drain", "feed_drop")
    assert steps_for(whole, checks_named(PLAN, [])) == whole


def test_a_stopped_retest_goes_on_as_one(tmp_path: Path):
    """What is taken again stands in the state beside the log."""
    log = tmp_path / "a.csv"
    bench = Bench(SimulatedInstall(), chunk_s=0.5)
    run_session(bench, PLAN, PlainScreen(lambda _: None), lambda: ["quit"], log=log, ask=bench.act, only=("feed_drop",))

    assert resume.load(log).memory.only == ("feed_drop",)
