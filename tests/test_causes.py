"""Causes: each fault by its own traces, what the log cannot part, two at once, and silence where all is well."""

import html
import re
import tomllib
from dataclasses import replace

import numpy as np
import pytest
import scenarios
from truth_table import canonical_logger

import benchlog
from benchlog.report.written import render_html, render_text
from benchlog.standin import FAULTS as STAND_IN_FAULTS
from benchlog.standin import SimulatedInstall, Simulation, acceptance_script, fast_logger, simulate, with_fault
from benchlog.verdict.causes.faults import FAULTS, by_id
from benchlog.verdict.causes.fit import find_causes
from benchlog.verdict.causes.seen import QUANTITIES, Seen, merged, misfit
from benchlog.verdict.registry.table import CHECKS
from benchlog.verdict.result import Check, Result

IDS = [fault.id for fault in FAULTS]


def checked(sim: Simulation) -> Result:
    """The result for one simulated log."""
    return benchlog.check(sim.frame, plan=tomllib.loads(sim.plan_toml), logger=canonical_logger(sim.spec))


def failed(check_id: str) -> Check:
    """A failed check."""
    return Check(id=check_id, title="t", verdict="fail", unit="V", because="b")


def test_stand_in_shows_every_fault_and_no_other():
    """What can be named can be shown, and the other way round."""
    assert sorted(IDS) == sorted(STAND_IN_FAULTS)


@pytest.mark.parametrize("name", IDS)
def test_fault_is_named_first(name):
    """One fault put into the good install stands first, alone or beside what the log cannot part from it."""
    result = checked(scenarios.fault(name, rate_hz=500))

    best = [cause.id for cause in result.causes if cause.fit == result.causes[0].fit]
    assert name in best
    cause = next(cause for cause in result.causes if cause.id == name)
    failed_ids = {check.id for check in result.checks if check.verdict == "fail"}
    assert failed_ids & set(cause.explains) or name in ("charging_while_off", "clips_swapped")
    assert re.search(r"\d", " ".join(cause.evidence))
    assert by_id(name).tests[0] in cause.next_test


def test_good_install_has_no_cause():
    """Where nothing failed nothing is explained, whatever was not seen."""
    for sim in (scenarios.healthy(500), scenarios.cut_short(), scenarios.at_10_hz(), scenarios.parked(1.0)):
        assert checked(sim).causes == []


def test_coil_and_feed_open_stand_side_by_side():
    """Samples 10 ms apart miss the coil's kick at the key-off, so both are named alike, with what parts them."""
    causes = checked(scenarios.fault("coil_open", rate_hz=100)).causes

    assert {cause.id for cause in causes} == {"coil_open", "feed_open"}
    assert causes[0].fit == causes[1].fit <= 0.5
    assert all("listen or feel at the relay" in cause.next_test.split(";")[0] for cause in causes)


@pytest.mark.parametrize("name", ["coil_open", "feed_open"])
def test_the_coils_kick_parts_coil_and_feed(name):
    """A coil that carried current takes the trigger below zero as it is let go; at 500 Hz that is seen."""
    causes = checked(scenarios.fault(name, rate_hz=500)).causes

    assert [cause.id for cause in causes] == [name]
    assert any("below zero as it is let go" in text for text in causes[0].evidence)


def test_two_faults_are_both_named():
    """A poor feed and a device fed around the relay leave traces that do not overlap."""
    install = with_fault(with_fault(SimulatedInstall(), "feed_resistance"), "unswitched_device")
    sim = simulate(install, acceptance_script(), fast_logger(500), np.random.default_rng(4))

    causes = {cause.id: cause.explains for cause in checked(sim).causes}

    assert causes == {"feed_resistance": ["feed_drop"], "unswitched_device": ["off_state_drain"]}


def test_trigger_that_stays_up_without_marks_is_no_suspicion():
    """It may be a log taken with the key on, and no check failed: nothing is named."""
    result = checked(scenarios.fault("trigger_always_live", rate_hz=500, marks=False))

    assert [check.id for check in result.checks if check.verdict == "fail"] == []
    assert result.causes == []


@pytest.mark.parametrize("name", ["welded_contact", "backfed_coil", "feed_resistance", "ground_open"])
def test_two_channels_leave_no_certainty(name):
    """Without trigger, feed and ground no fault of theirs is named with more than even odds."""
    sim = scenarios.fault(name, rate_hz=500)
    frame = sim.frame[["time_s", "battery_v", "battery_a", "mark"]]
    logger = canonical_logger(sim.spec.only("battery_v", "battery_a"))

    result = benchlog.check(frame, plan=tomllib.loads(sim.plan_toml), logger=logger)

    lines = {fault.id for fault in FAULTS if any(q.startswith(("trigger", "feed", "bus")) for q in fault.predicts)}
    assert [cause.id for cause in result.causes if cause.id in lines and cause.fit > 0.5] == []


def test_dead_slot_is_named_with_its_device():
    """The words say which circuit, and what hangs on it."""
    (cause,) = checked(scenarios.fault("slot_dead", rate_hz=500)).causes

    assert cause.text == "a circuit draws nothing: slot 2 (heated grips)"
    assert cause.explains == ["slot_2_current"]


def test_misfit_is_half_the_squared_distance_in_uncertainties():
    """Inside the interval nothing, outside by three uncertainties 4.5, and never more than 12."""
    soft = QUANTITIES["charge_over_v"].softness
    u = 0.02
    sigma = (u**2 + soft**2) ** 0.5

    assert misfit("charge_over_v", Seen(-1.0, u, ""), float("-inf"), 0.0) == 0
    assert misfit("charge_over_v", Seen(3 * sigma, u, ""), float("-inf"), 0.0) == pytest.approx(4.5)
    assert misfit("charge_over_v", Seen(9.0, u, ""), float("-inf"), 0.0) == 12


def test_contradicting_quantity_rules_a_fault_out():
    """A steady drain with the feed live is no device fed around the relay."""
    seen = {"drain_base": Seen(9.0, 0.01, "9 mA"), "feed_off": Seen(0.02, 0.01, "dead")}

    dead = find_causes(seen, [failed("off_state_drain")], {})
    live = find_causes({**seen, "feed_off": Seen(1.0, 0.01, "live")}, [failed("off_state_drain")], {})

    assert [cause.id for cause in dead] == ["unswitched_device"]
    assert "unswitched_device" not in [cause.id for cause in live]


def test_missing_channel_halves_the_fit():
    """Half of what a fault predicts is known, so half is the most it can have."""
    (cause,) = find_causes({"drain_base": Seen(9.0, 0.01, "9 mA")}, [failed("off_state_drain")], {})

    assert cause.fit == pytest.approx(0.5)


def test_nothing_failed_means_no_cause():
    """A quantity out of its range explains nothing where no check failed."""
    passed = replace_verdict(failed("off_state_drain"), "pass")

    assert find_causes({"drain_base": Seen(9.0, 0.01, "9 mA")}, [passed], {}) == []


def replace_verdict(check: Check, verdict: str) -> Check:
    """The same check, ended otherwise."""
    return check.model_copy(update={"verdict": verdict})


def test_worse_of_two_logs_counts():
    """Of one quantity in two logs the one further from healthy is kept."""
    good, bad = Seen(0.4, 0.01, "good"), Seen(1.6, 0.01, "bad")

    together = merged([{"feed_path": good, "source": good}, {"feed_path": bad}])

    assert together == {"feed_path": bad, "source": good}


def test_faults_predict_known_quantities_and_explain_known_checks():
    """Every name in a fault exists."""
    quantities = {name for f in FAULTS for name in (*f.predicts, *f.either, *f.hints, *f.also)}
    explained = {check_id for fault in FAULTS for check_id in fault.explains}

    assert quantities <= {*QUANTITIES, "slot", "slots"}
    assert explained <= {spec.id for spec in CHECKS}
    assert all(fault.tests for fault in FAULTS)


def test_reports_show_cause_test_and_caution():
    """Text and page carry the words of the fault, its next test and its caution."""
    result = checked(scenarios.fault("feed_resistance", rate_hz=500))
    fault = by_id("feed_resistance")

    text, page = re.sub(r"\s+", " ", render_text(result)), render_html(result)

    for words in (fault.text, fault.tests[0], fault.caution):
        assert words in text
        assert words.lower() in html.unescape(page).lower()


def test_frame_of_a_log_keeps_no_state_between_runs():
    """The same log gives the same causes twice."""
    sim = scenarios.fault("overcharge", rate_hz=500)

    assert checked(sim).causes == checked(replace(sim)).causes
