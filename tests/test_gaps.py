"""Gaps in the samples, as a lost connection leaves them: nothing was seen there, so nothing is timed or proven."""

import tomllib
from dataclasses import replace

import numpy as np
import pytest
from truth_table import canonical_logger

import benchlog
from benchlog.analysis.coarse import coarse, unseen_s
from benchlog.analysis.drain import drain
from benchlog.analysis.settling import Settled, settle
from benchlog.core.trace import Trace
from benchlog.core.uncertainty import Accuracy
from benchlog.log.overview import OverviewBuilder
from benchlog.standin import SimulatedInstall, Simulation, acceptance_script, fast_logger, key_cycles, simulate
from benchlog.verdict.result import Check, Result

EXACT = Accuracy(0.0, 0.0, 0.0)


def _overview(t, amps):
    builder = OverviewBuilder(["drain_a"])
    builder.add(Trace(t, {"drain_a": amps}, {}))
    return builder.finish()


def _without(sim: Simulation, from_s: float, to_s: float) -> Simulation:
    """The same log, the samples between two times lost."""
    lost = (sim.frame["time_s"] > from_s) & (sim.frame["time_s"] < to_s)
    return replace(sim, frame=sim.frame[~lost])


def _result(sim: Simulation) -> Result:
    return benchlog.check(sim.frame, plan=tomllib.loads(sim.plan_toml), logger=canonical_logger(sim.spec))


def _check(sim: Simulation, check_id: str) -> Check:
    return _result(sim).check(check_id)


def _acceptance(seed: int = 1, install: SimulatedInstall | None = None) -> tuple[Simulation, float]:
    """A log and the time of its key-off."""
    sim = simulate(
        install or SimulatedInstall(), acceptance_script(settle_s=300), fast_logger(200), np.random.default_rng(seed)
    )
    return sim, sim.script.times("key off")[0]


def _marked_times_only(sim: Simulation) -> Simulation:
    """The same with no marks, so that the lines alone tell."""
    return replace(sim, frame=sim.frame.assign(mark=""))


@pytest.mark.parametrize(
    ("from_s", "to_s", "lost"), [(0, 100, 30), (45, 100, 15), (0, 40, 10), (65, 100, 0), (0, 20, 0)]
)
def test_what_lies_in_a_gap_is_unseen(from_s, to_s, lost):
    """A gap of 30 s counts as far as it lies inside the stretch."""
    t = np.concatenate((np.arange(0, 30.01, 0.01), np.arange(60, 100, 0.01)))

    assert unseen_s(_overview(t, np.zeros(len(t))), from_s, to_s) == pytest.approx(lost, abs=0.1)


def test_no_point_reaches_across_a_gap():
    """Neighbours joined to points of 10 s stop at the gap and begin anew after it."""
    t = np.concatenate((np.arange(0, 33, 0.01), np.arange(60, 100, 0.01)))

    got = coarse(_overview(t, np.where(t < 50, 1.0, 2.0)), 0, 100, 10.0)

    assert set(got.mean["drain_a"].round(6)) == {1.0, 2.0}
    assert (got.end_s - got.start_s).max() < 10.1


def test_gap_in_a_settled_stretch_is_not_counted_as_seen():
    """300 s, settled at 20 s, 60 s of it lost: 220 s were seen."""
    t = np.concatenate((np.arange(0, 150, 0.1), np.arange(210, 300, 0.1)))

    got = settle(coarse(_overview(t, np.where(t < 20, 0.2, 6e-4)), 0, 300, 0.1), "drain_a", 0.0)

    assert got.from_s == pytest.approx(20, abs=0.11)
    assert got.lasts_s == pytest.approx(220, abs=0.5)
    assert got.latest_s == pytest.approx(got.from_s, abs=0.11)


def test_gap_longer_than_the_calm_before_it_may_hide_the_settling():
    """Calm at 20 s, lost from 25 s to 85 s: it may have woken and settled again as late as 85 s."""
    t = np.concatenate((np.arange(0, 25, 0.1), np.arange(85, 300, 0.1)))

    got = settle(coarse(_overview(t, np.where(t < 20, 0.2, 6e-4)), 0, 300, 0.1), "drain_a", 0.0)

    assert got.latest_s == pytest.approx(85, abs=0.11)


def test_settling_in_a_gap_is_as_vague_as_the_gap():
    """Still awake before a gap of 80 s and asleep after it: some time in between, and 120 s are still proven."""
    sim, off = _acceptance(install=SimulatedInstall(awake=((0.35, 41.0),)))

    check = _check(_without(sim, off + 20, off + 100), "settle_time")

    assert check.measured - check.uncertainty < 20.1
    assert check.measured + check.uncertainty > 99.9


def test_gap_widens_the_drain_by_what_it_may_hide():
    """A wake-up's current may have flowed for all of the gap: 10 mA for 20 s of 600 s, rectangular."""
    t = np.concatenate((np.arange(0, 200, 0.1), np.arange(220, 600, 0.1)))
    amps = np.where((t > 100) & (t < 104), 0.0106, 0.0006)
    settled = Settled(0.0, float(t[-1]), 0.1, 0.0006, ((100.1, 103.9),))
    whole = np.arange(0, 600, 0.1)
    whole_amps = np.where((whole > 100) & (whole < 104), 0.0106, 0.0006)

    got = drain(_overview(t, amps), "drain_a", settled, EXACT)
    complete = drain(_overview(whole, whole_amps), "drain_a", settled, EXACT)

    added = np.sqrt(got.type_a_u**2 - complete.type_a_u**2)
    assert added == pytest.approx(0.010 * 20.1 / 600 / np.sqrt(3), rel=0.05)
    assert got.mean_a == pytest.approx(complete.mean_a, rel=1e-3)


def test_relay_is_not_timed_across_a_gap():
    """The connection was lost as the key was turned off: no drop-out time, not a long one."""
    sim, off = _acceptance()

    check = _check(_without(sim, off - 0.02, off + 4), "relay_drop_out")

    assert check.verdict == "not seen"


def test_contact_that_opens_in_a_gap_is_not_timed():
    """The trigger's fall was seen, the feed's was not: the gap between them is no 2 s drop-out."""
    sim, off = _acceptance(install=SimulatedInstall(release_travel_ms=40.0))

    check = _check(_marked_times_only(_without(sim, off + 0.02, off + 4)), "relay_drop_out")

    assert check.verdict == "not seen"
    assert "gap" in check.because


def test_gap_after_the_trigger_fell_is_no_welded_contact():
    """Lost just after the key-off until the next key-on: the contact was not seen to stay closed."""
    sim = simulate(
        SimulatedInstall(release_travel_ms=40.0), key_cycles(2, off_s=30.0), fast_logger(200), np.random.default_rng(3)
    )
    first_off = sim.script.times("key off")[0]
    second_on = sim.script.times("key on")[1]

    check = _check(_marked_times_only(_without(sim, first_off + 0.02, second_on - 0.5)), "relay_drop_out")

    # the second key-off is seen and timed
    assert check.verdict == "pass"
    assert check.measured < 60


def test_gap_with_the_key_on_leaves_chatter_open():
    """Nobody saw the contact for 3 s with the key on, so that it never opened is not proven."""
    sim, off = _acceptance()

    plain, lost = _check(sim, "relay_chatter"), _check(_without(sim, off - 8, off - 5), "relay_chatter")

    assert plain.verdict == "pass"
    assert lost.verdict == "not proven"
    assert "3.0 s that the log lacks" in lost.because


@pytest.mark.parametrize("at_s", [-5.0, 60.0, 150.0], ids=["key on", "settled", "late"])
def test_short_loss_hurts_nothing_else(at_s):
    """A connection lost for 2 s away from any event changes no verdict but that of chatter."""
    sim, off = _acceptance()

    whole, lost = _result(sim), _result(_without(sim, off + at_s, off + at_s + 2))
    changed = {a.id for a, b in zip(whole.checks, lost.checks, strict=True) if a.verdict != b.verdict}

    assert changed <= {"relay_chatter"}


@pytest.mark.filterwarnings("error")
def test_a_feed_that_was_not_read_just_before_the_crank_is_taken_from_a_little_earlier():
    """Empty cells over the last second leave the loss in the crank measured, and print no warning of a library."""
    sim, _ = _acceptance()
    whole = _check(sim, "feed_in_crank")
    empty = sim.frame["time_s"].between(whole.from_s - 1.0, whole.from_s)

    check = _check(replace(sim, frame=sim.frame.assign(feed_v=sim.frame["feed_v"].mask(empty))), "feed_in_crank")

    assert whole.measured is not None
    assert check.measured == pytest.approx(whole.measured, abs=0.02)


@pytest.mark.filterwarnings("error")
def test_a_battery_that_is_read_now_and_then_is_examined_without_a_warning():
    """With one voltage a second a dip has points without any; nothing is taken from those."""
    sim, key_off_s = _acceptance()
    rows = np.arange(len(sim.frame))
    dips = (sim.frame["time_s"] > key_off_s + 20) & (rows % 4000 < 1000)
    volts = (sim.frame["battery_v"] - 2.0 * dips).where(rows % 200 == 0)

    result = _result(replace(sim, frame=sim.frame.assign(battery_v=volts)))

    assert result.check("relay_pull_in").measured is not None
