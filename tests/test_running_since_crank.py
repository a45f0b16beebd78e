"""An engine that is marked as running after a crank has turned since that crank, however late the mark."""

from pathlib import Path

import numpy as np
import pytest

import benchlog
from benchlog.standin import Action, Script, SimulatedInstall, acceptance_script, plan_toml_of, simulate, write_csv
from benchlog.standin.behaving import with_behaviours
from benchlog.standin.logger import live_logger
from benchlog.verdict.result import Check


def charging(tmp_path: Path, late_s: float, stops: bool = False) -> Check:
    """Of a bike that charges only from 10 s after its start on; ``running`` is marked so long after the crank."""
    install = with_behaviours(SimulatedInstall(), ["idle_no_charge"])
    usual = acceptance_script(running_s=40.0, settle_s=80.0)
    (crank_s,) = usual.times("crank")
    kept = [act for act in usual.actions if act.do != "running"]
    marks = [Action(crank_s + late_s, "running")]
    if stops:
        marks.append(Action(crank_s + late_s - 1.0, "note", text="engine off"))
    script = Script(usual.end_s, (*kept, *marks))
    log = write_csv(simulate(install, script, live_logger(50.0), np.random.default_rng(5)), tmp_path / "a.csv")
    plan = tmp_path / "plan.toml"
    plan.write_text(plan_toml_of(install, {"added_drain_ma": None}), encoding="utf-8")
    (check,) = [one for one in benchlog.check(log, plan=plan).checks if one.id == "charging_voltage"]
    return check


@pytest.mark.parametrize("late_s", [5.0, 8.0])
def test_idling_before_the_mark_counts(late_s: float, tmp_path: Path):
    """Ten seconds without charging before the revs fail the charging voltage, though the mark came in their midst."""
    check = charging(tmp_path, late_s)

    assert check.verdict == "fail"
    assert check.measured == pytest.approx(12.7, abs=0.1)


def test_what_was_marked_as_stopped_is_another_run(tmp_path: Path):
    """Where ``engine off`` stands between the crank and the mark, the time before it says nothing of this run."""
    check = charging(tmp_path, 8.0, stops=True)

    assert check.from_s is not None
    assert check.from_s > 50.0 + 8.0
