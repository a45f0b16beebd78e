"""From logs to a result: what two logs say together, marks nobody can read, and arguments of the wrong kind."""

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scenarios
from truth_table import canonical_logger

import benchlog
from benchlog.core.errors import BenchlogError
from benchlog.core.marks import mark_notes
from benchlog.core.trace import Mark
from benchlog.standin import Simulation, slow_logger
from benchlog.verdict.result import Check


def parked(drain_a: float = 0.0006, seed: int = 3) -> Simulation:
    """A short parked log on a slow logger."""
    return scenarios.parked(0.5, drain_a=drain_a, seed=seed)


def added(now: Simulation, before: Simulation) -> Check:
    """The check of the added drain."""
    plan, logger = tomllib.loads(now.plan_toml), canonical_logger(now.spec)

    return benchlog.check(now.frame, plan=plan, logger=logger, before=before.frame).check("added_drain")


def with_gap(sim: Simulation) -> Simulation:
    """The same log with most of its middle lost."""
    keep = (sim.frame["time_s"] < 400) | (sim.frame["time_s"] > 1500)
    return replace(sim, frame=sim.frame[keep])


def bypassed(sim: Simulation) -> Simulation:
    """The same log with a shunt that sees nothing."""
    rng = np.random.default_rng(5)
    return replace(sim, frame=sim.frame.assign(drain_a=rng.normal(0, 1e-6, len(sim.frame))))


def test_added_drain_of_two_good_logs_is_proven():
    """0.1 mA more than before against 0.2 mA allowed, read by loggers of one kind."""
    check = added(parked(0.0006), parked(0.0005, seed=4))

    assert check.measured == pytest.approx(0.1, abs=0.05)


@pytest.mark.parametrize("where", ["now", "before"])
@pytest.mark.parametrize("harm", [with_gap, bypassed], ids=["gap", "bypassed"])
def test_added_drain_is_no_better_than_its_logs(where, harm):
    """A doubt of either log, now or before, leaves the difference not proven."""
    now, before = parked(0.0006), parked(0.0006, seed=4)

    check = added(harm(now), before) if where == "now" else added(now, harm(before))

    assert check.verdict == "not proven"


def test_log_cannot_be_its_own_before(tmp_path: Path):
    """The same file as log and as before is refused, by whatever name it is given."""
    log, plan = scenarios.write_files(parked(), tmp_path)

    with pytest.raises(BenchlogError, match="this log is also checked"):
        benchlog.check(log, plan=plan, before=tmp_path / "." / log.name)


def test_misspelt_key_off_is_named_and_fails_nothing():
    """The trigger shows the key-off that the mark missed, and a note says what was meant."""
    sim = scenarios.healthy(500)
    frame = sim.frame.assign(mark=sim.frame["mark"].replace("key off", "keyoff"))

    result = benchlog.check(frame, plan=tomllib.loads(sim.plan_toml), logger=canonical_logger(sim.spec))

    assert [event.to for event in result.key_events] == ["on", "off"]
    assert result.check("relay_chatter").verdict == "pass"
    assert any('"keyoff"' in note.text and 'did you mean "key off"?' in note.text for note in result.notes)


def test_mark_of_an_unplanned_slot_is_named():
    """A slot that the plan does not have is told."""
    sim = scenarios.healthy(500)
    frame = sim.frame.assign(mark=sim.frame["mark"].replace("slot 4 on", "slot 7 on"))

    result = benchlog.check(frame, plan=tomllib.loads(sim.plan_toml), logger=canonical_logger(sim.spec))

    assert any("names a slot that the plan does not have" in note.text for note in result.notes)


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("key_on", "key on"),
        ("Key-Off", "key off"),
        ("ignition on", "key on"),
        ("cranking", "crank"),
        ("engine on", "running"),  # not engine off, which is spelt more alike
        ("Engine running", "running"),
        ("slot_1_on", "slot 1 on"),
        ("Slot1on", "slot 1 on"),
        ("circuit 2 off", "slot 2 off"),
        ("fuse 3 pulled", "fuse 3 out"),
        ("fuse 3 off", None),
        ("KEY ON", None),
        ("slot 1 on", None),
        ("start", None),
        ("fog over the yard", None),
    ],
)
def test_mark_that_was_meant_is_named(text: str, meant: str | None):
    """A mark in other words, or spelt with a dash or without a space, is told with the one to write."""
    notes = mark_notes([Mark(1.0, text)], [1, 2, 3])

    assert notes == ([f'the mark "{text}" at 1.0 s was not understood; did you mean "{meant}"?'] if meant else [])


def test_free_text_is_no_mistake():
    """A remark in the mark column is left alone."""
    sim = parked()
    frame = sim.frame.assign(mark=["fog over the yard", *[""] * (len(sim.frame) - 1)])

    result = benchlog.check(frame, plan=tomllib.loads(sim.plan_toml), logger=canonical_logger(sim.spec))

    assert not any("mark" in note.text and "fog" in note.text for note in result.notes)


@pytest.mark.parametrize("log", [".", "/", ""])
def test_folder_as_log_is_named(log):
    """A folder, however short its name, is refused in one sentence."""
    with pytest.raises(BenchlogError, match="there is no log in this folder; name a log file"):
        benchlog.check(log, plan={"install": {"bike": "Larch"}, "battery": {"chemistry": "agm", "capacity_ah": 11}})


def test_arguments_of_the_wrong_kind_are_named():
    """A number as log, plan or logger is said to be none."""
    plan = {"install": {"bike": "Larch"}, "battery": {"chemistry": "agm", "capacity_ah": 11}}

    with pytest.raises(BenchlogError, match="123 is not a log"):
        benchlog.check(123, plan=plan)
    with pytest.raises(BenchlogError, match="None is not a plan"):
        benchlog.check(parked().frame, plan=None)
    with pytest.raises(BenchlogError, match="5 is not a logger"):
        benchlog.check(parked().frame, plan=plan, logger=5)


def test_named_logger_is_not_dropped_in_silence(tmp_path: Path):
    """Where a logger file lies beside the log, a note says that another one that was named was not used."""
    log, plan = scenarios.write_files(parked(), tmp_path)
    text = log.with_suffix(".logger.toml").read_text(encoding="utf-8")
    same, other = tmp_path / "same.toml", tmp_path / "other.toml"
    same.write_text(f"# as it came\n{text}", encoding="utf-8")
    other.write_text(re.sub('name = ".*"', 'name = "another one"', text), encoding="utf-8")

    by_other, by_same = (benchlog.check(log, plan=plan, logger=one) for one in (other, same))

    assert any("beside it was used" in note.text for note in by_other.notes)
    assert not any("beside it was used" in note.text for note in by_same.notes)


def test_slow_logger_is_what_the_parked_log_has():
    """The parked log of these tests has the drain channel that they harm."""
    assert "drain_a" in slow_logger(10.0).roles


def test_every_check_of_the_registry_is_examined():
    """Each check gets a finding from the log, or a reason of its own; none is left without an examination."""
    sim = scenarios.healthy(50, seed=2)

    result = benchlog.check(sim.frame, plan=tomllib.loads(sim.plan_toml), logger=canonical_logger(sim.spec))

    assert [check.id for check in result.checks if check.because == "No log shows it."] == []
