"""What is looked at before a guided test begins, and what a stopped one leaves."""

import json
import math
from datetime import datetime
from pathlib import Path

import pytest

from benchlog.bench.guided import resume
from benchlog.bench.guided.history import Before
from benchlog.bench.guided.leading import Setup, conclude, prepare
from benchlog.bench.guided.memory import Memory
from benchlog.commands.records import save_check
from benchlog.core.errors import BenchlogError
from benchlog.logger.model import load_logger
from benchlog.plan.model import load_plan
from benchlog.standin import SimulatedInstall, plan_toml_of

NOW = datetime(2026, 11, 25, 14, 12)


@pytest.fixture
def plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A plan in an empty folder that is the present one."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "larch.toml"
    path.write_text(plan_toml_of(SimulatedInstall()), encoding="utf-8")
    return path


def test_log_and_report_are_named_for_bike_and_date(plan: Path):
    """Without --out and --report both names carry the bike and the minute."""
    setup = prepare("/dev/null", plan, now=NOW)

    assert setup.log == Path("larch-2026-11-25-1412.csv")
    assert setup.report == Path("larch-2026-11-25-1412.html")
    assert setup.hands is None


def test_a_second_test_in_the_same_minute_gets_another_name(plan: Path):
    """A name that is taken is not used again."""
    Path("larch-2026-11-25-1412.csv").touch()
    Path("larch-2026-11-25-1412-2.html").touch()
    setup = prepare("/dev/null", plan, now=NOW)

    assert setup.log == Path("larch-2026-11-25-1412-2.csv")
    assert setup.report == Path("larch-2026-11-25-1412-2-2.html")


def test_a_bike_with_any_name_makes_a_plain_file_name(plan: Path):
    """Slashes and spaces in a bike's name stay out of the file's."""
    plan.write_text(plan_toml_of(SimulatedInstall(bike="../My Larch / 2")), encoding="utf-8")

    assert prepare("/dev/null", plan, now=NOW).log == Path("my-larch-2-2026-11-25-1412.csv")


@pytest.mark.parametrize("option", ["out", "report"])
def test_nothing_is_written_over(plan: Path, option: str):
    """A log or report that is there already refuses the test before it begins."""
    there = Path("there.csv")
    there.write_text("mine", encoding="utf-8")
    with pytest.raises(BenchlogError, match=rf"there\.csv: already exists and is not overwritten.*--{option}"):
        prepare("/dev/null", plan, **{option: there})  # type: ignore[arg-type]  # one of two paths

    assert there.read_text(encoding="utf-8") == "mine"


def test_a_folder_that_is_not_there_is_found_before_the_test(plan: Path):
    """Nobody stands at the bike for ten minutes for a report that cannot be written."""
    with pytest.raises(BenchlogError, match="its folder does not exist"):
        prepare("/dev/null", plan, report=Path("nowhere/a.html"))


def test_a_before_log_that_is_not_there_is_found_before_the_test(plan: Path):
    """The same for the log from before the install."""
    with pytest.raises(BenchlogError, match=r"old\.csv: no such log"):
        prepare("/dev/null", plan, before=Path("old.csv"))


def test_a_before_log_that_cannot_be_read_is_found_before_the_test(plan: Path):
    """One whose columns nobody knows would else stop the check after the whole test; its logger file tells them."""
    Path("old.csv").write_text("t,U,I\n0,12.7,0.1\n1,12.7,0.1\n", encoding="utf-8")
    with pytest.raises(BenchlogError, match=r"old\.csv, line 1: no column is known"):
        prepare("/dev/null", plan, before=Path("old.csv"))

    Path("old.logger.toml").write_text(
        '[[channel]]\ncolumn = "I"\nrole = "battery_a"\nunit = "A"\n[time]\ncolumn = "t"\nunit = "s"\n',
        encoding="utf-8",
    )
    assert prepare("/dev/null", plan, before=Path("old.csv")).before == Path("old.csv")


def test_the_named_logger_is_that_of_the_log_from_before_as_well(plan: Path, tmp_path: Path):
    """The recording lays a logger file beside its own log; that from before the install has the one that was named."""
    logger = """[logger]
name = "two clips"
[time]
column = "t"
unit = "s"
[[channel]]
column = "U"
role = "battery_v"
unit = "V"
[[channel]]
column = "I"
role = "battery_a"
unit = "A"
gain_error_pct = 0.1
offset_error = 0.00001
"""
    for name in ("mine.toml", "log.logger.toml"):
        Path(name).write_text(logger, encoding="utf-8")
    for name, drain_a in (("log.csv", 0.0009), ("old.csv", 0.0005)):
        rows = "".join(f"{n / 2},12.7,{drain_a if n < 1200 else 1.5}\n" for n in range(1300))
        Path(name).write_text(f"t,U,I\n{rows}", encoding="utf-8")
    setup = Setup("/dev/null", 115200, plan, load_plan(plan), load_logger(Path("mine.toml")), Path("log.csv"),
                  Path("log.html"), Path("old.csv"), None, None)  # fmt: skip

    result = conclude(setup)
    check = result.check("added_drain")

    assert check.measured == pytest.approx(0.4)
    assert check.uncertainty is not None
    assert not [note.text for note in result.notes if "beside it" in note.text]

    line = save_check(f"sqlite:///{tmp_path}/store.sqlite", result, plan=plan, logs=[setup.log], logger=setup.logger,
                      before=setup.before)  # fmt: skip
    assert "Saved as record 1 in " in line


def test_where_a_test_stopped_comes_back_as_it_was(tmp_path: Path):
    """Everything that a run must remember outlasts the stop; a value that is not known stays so."""
    memory = Memory(
        step="fuse_2_in",
        tries={"slot_1_on": 1},
        outcomes={"prepare": "done", "slot_1_on": "seen"},
        walk=True,
        key_off_s=101.5,
        before_crank=Before(60.0, {"battery_v": 12.5, "drain_a": math.nan}),
        fallen_a={2: 0.018, 3: math.nan},
    )
    log = tmp_path / "a.csv"
    resume.save(log, "Larch", memory)
    back = resume.load(log)

    assert (back.bike, back.log) == ("Larch", log)
    assert back.memory.step == "fuse_2_in"
    assert back.memory.tries == memory.tries
    assert back.memory.outcomes == memory.outcomes
    assert back.memory.walk
    assert back.memory.key_off_s == 101.5
    assert back.memory.before_crank == Before(60.0, {"battery_v": 12.5})
    assert back.memory.fallen_a == {2: 0.018}
    assert math.isnan(back.memory.wakes_every_s)


def test_the_newest_stopped_test_is_taken_up(plan: Path):
    """Without --out --resume goes on with the one that was stopped last in this folder."""
    resume.save(Path("old.csv").absolute(), "Larch", Memory(step="rest"))
    resume.save(Path("new.csv").absolute(), "Larch", Memory(step="key_on"))
    import os

    os.utime(resume.state_path(Path("old.csv")), (1, 1))
    setup = prepare("/dev/null", plan, go_on=True)

    assert setup.log.name == "new.csv"
    assert setup.stopped is not None
    assert setup.stopped.memory.step == "key_on"


def test_no_stopped_test_says_what_to_do(plan: Path):
    """Nothing to resume is one plain message, with and without --out."""
    with pytest.raises(BenchlogError, match="there is no stopped test here"):
        prepare("/dev/null", plan, go_on=True)
    with pytest.raises(BenchlogError, match=r"no stopped test with the log a\.csv.*without --resume"):
        prepare("/dev/null", plan, go_on=True, out=Path("a.csv"))


def test_another_bikes_test_is_not_taken_up(plan: Path):
    """The plan must be that of the stopped test's bike."""
    resume.save(Path("a.csv"), "Alder", Memory(step="rest"))
    with pytest.raises(BenchlogError, match='is for the bike "Alder", the plan for "Larch"'):
        prepare("/dev/null", plan, go_on=True, out=Path("a.csv"))


@pytest.mark.parametrize(
    "text",
    ["{", "[]", "null", json.dumps({"version": 99}), json.dumps({"version": 1, "bike": "L", "memory": {"step": 1}})],
)
def test_a_spoilt_state_is_one_plain_message(tmp_path: Path, text: str):
    """A state file that is broken or of another version is refused with its name."""
    log = tmp_path / "a.csv"
    resume.state_path(log).write_text(text, encoding="utf-8")
    with pytest.raises(BenchlogError, match=r"a\.steps\.json: .*start a new test without --resume"):
        resume.load(log)


def test_the_state_goes_with_the_end_of_the_test(tmp_path: Path):
    """A test that was checked cannot be resumed."""
    log = tmp_path / "a.csv"
    resume.save(log, "Larch", Memory())
    resume.forget(log)

    assert not resume.state_path(log).exists()


def test_the_logger_file_beside_the_log_is_used_again(plan: Path):
    """A test that goes on knows its channels without --logger: the recording laid them beside the log."""
    from benchlog.standin import fast_logger, to_logger_toml

    Path("a.logger.toml").write_text(to_logger_toml(fast_logger(50.0)), encoding="utf-8")
    resume.save(Path("a.csv"), "Larch", Memory(step="rest"))
    setup = prepare("/dev/null", plan, out=Path("a.csv"), go_on=True)

    assert setup.logger is not None
    assert "battery_v" in {channel.role for channel in setup.logger.channel}
