"""The random rider before real processes over pseudo-terminals: one short session of ``rider_pty.py``."""

from pathlib import Path

import pytest
from random_rider import Case
from rider_bench import Replayed
from rider_pty import play

from benchlog.standin import SimulatedInstall
from benchlog.standin.behaving import with_behaviours


@pytest.mark.long  # a mark stands as much later as the machine is busy, times the clock's speed
def test_a_session_between_real_processes_ends_by_its_rider_and_has_no_wrong_verdict(tmp_path: Path):
    """Stand-in and guided test each its own process; its clock is fast while nobody acts, and the verdicts are true."""
    one = play(Case(20002, "feed_resistance", "several_cranks"), 10.0, tmp_path)

    assert one.row.ended == "done"
    assert one.row.verdicts is not None
    assert (one.row.verdicts.wrong, one.row.verdicts.passed, one.row.verdicts.unproven) == ((), (), ())
    assert len(one.story) > 8
    assert max(one.lags_s) < 10.0


def test_a_bike_is_replayed_as_it_was_ridden():
    """What was done in another process, at the times it answered with, makes the same course of events here."""
    bike = Replayed(with_behaviours(SimulatedInstall(), ["kill_switch"]))
    for text, done_s in (("key on", 10.0), ("key on", 12.0), ("slot 2 on", 15.0), ("crank", 30.0), ("key off", 64.0)):
        bike.done(text, done_s)

    assert [(act.do, act.time_s) for act in bike.actions] == [
        *(("key on", 10.0), ("slot on", 15.0), ("crank", 30.0)),
        *(("engine off", pytest.approx(60.0)), ("key off", pytest.approx(64.0))),
    ]
    assert bike.runs_at(50.0)
    assert not bike.runs_at(62.0)
