"""A bridged shunt: between its marks no current is measured, so that a bridge falsifies no check."""

import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import scenarios
from truth_table import canonical_logger

import benchlog
from benchlog.analysis.bridge import HAND_S, Bridge, bridges_of
from benchlog.core.trace import Mark, Overview, Trace
from benchlog.examine.bridged import bridged_overview, bridged_trace
from benchlog.log.log import Log
from benchlog.log.overview import OverviewBuilder
from benchlog.standin import (
    Action,
    LoggerSpec,
    SimulatedInstall,
    Simulation,
    WakeUps,
    acceptance_script,
    fast_logger,
    simulate,
    with_fault,
)
from benchlog.standin.channels import true_values
from benchlog.standin.timeline import timeline_of
from benchlog.verdict.result import Check, Result
from dashboards.kept_samples import KeptSamples
from dashboards.shelf import LookedAt

#: Put on before the crank at 56 s, taken off with the engine running; the key goes off at 98.5 s.
ON_S, OFF_S = 52.0, 70.0
NO_FEED = ("battery_v", "battery_a", "drain_a", "trigger_v", "feed_v", "ground_v")


def _simulated(
    *bridges: tuple[float, float | None],
    marked: bool = True,
    install: SimulatedInstall | None = None,
    spec: LoggerSpec | None = None,
    more: Sequence[Action] = (),
    marks: bool = True,
    all_on_s: float = 10.0,
    seed: int = 1,
) -> Simulation:
    """The acceptance run with the shunt bridged from ... to ..., with or without the marks that say so."""
    acts = [
        Action(t, do, mark=marked)
        for a, b in bridges
        for t, do in ((a, "shunt bridged"), (b, "shunt free"))
        if t is not None
    ]
    script = acceptance_script(all_on_s=all_on_s, running_s=40, settle_s=200, marks=marks)
    script = replace(script, actions=(*acts, *more, *script.actions))
    return simulate(install or SimulatedInstall(), script, spec or fast_logger(100), np.random.default_rng(seed))


def _checked(sim: Simulation, **low_side_mohm: float) -> Result:
    logger = canonical_logger(sim.spec)
    for one in logger["channel"]:
        if one["role"] in low_side_mohm:
            one["low_side_mohm"] = low_side_mohm[one["role"]]
    return benchlog.check(sim.frame, plan=tomllib.loads(sim.plan_toml), logger=logger)


def _true_balance_a(sim: Simulation, check: Check) -> float:
    """What really flowed into the battery over the stretch that the check names."""
    time_s = np.arange(check.from_s, check.to_s, 0.01)
    return -float(true_values(timeline_of(sim.install, sim.script), time_s, ["battery_a"])["battery_a"].mean())


def _covers(check: Check, truth: float) -> bool:
    return abs(check.measured - truth) <= check.uncertainty


def _notes(result: Result) -> str:
    return "\n".join(note.text for note in result.notes)


def _overview(trace: Trace, max_buckets: int | None = None) -> Overview:
    builder = OverviewBuilder(trace.values, max_buckets)
    builder.add(trace)
    return builder.finish()


def _noise(seconds: float = 60.0, hz: float = 20.0, **roles: float) -> Trace:
    time_s = np.arange(0, seconds, 1 / hz)
    rng = np.random.default_rng(3)
    return Trace(time_s, {role: rng.normal(x, 0.1, len(time_s)) for role, x in roles.items()}, {})


# marks


def test_a_bridge_lies_between_its_marks_and_a_hand_s_reach_around_them():
    """From one mark to the other, however they are written, the current does not count, nor 5 s before and after."""
    texts = [(10.0, "Shunt  Bridged"), (20.0, "key on"), (30.0, " shunt free ")]

    (bridge,), faults = bridges_of([Mark(t, text) for t, text in texts])

    assert (bridge.begun_s, bridge.ended_s) == (10.0, 30.0)
    assert (bridge.from_s, bridge.to_s) == (10.0 - HAND_S, 30.0 + HAND_S)
    assert faults == ()


@pytest.mark.parametrize(
    ("marks", "words", "note"),
    [
        (
            [(10.0, "shunt bridged")],
            ["from 10.0 s to the end of the log"],
            'the mark "shunt bridged" at 10.0 s has no "shunt free" after it, so the shunt counts as bridged to the '
            'end of the log; mark "shunt free" where the bridge comes off',
        ),
        (
            [(10.0, "shunt free")],
            ["from the start of the log to 10.0 s"],
            'the mark "shunt free" at 10.0 s has no "shunt bridged" before it, so the shunt counts as bridged from the '
            'start of the log; mark "shunt bridged" where the bridge is put on',
        ),
        (
            [(5.0, "shunt bridged"), (10.0, "shunt free"), (40.0, "shunt free")],
            ["from 5.0 s to 10.0 s"],
            'the mark "shunt free" at 40.0 s has no "shunt bridged" before it, so it was not used; '
            'mark "shunt bridged" where the bridge is put on',
        ),
        (
            [(5.0, "shunt bridged"), (7.0, "shunt bridged"), (10.0, "shunt free")],
            ["from 5.0 s to 10.0 s"],
            'the mark "shunt bridged" at 7.0 s came while the shunt was bridged already (from 5.0 s); '
            'mark "shunt free" where the bridge comes off',
        ),
    ],
    ids=["no end", "no start", "end twice", "start twice"],
)
def test_a_mark_without_its_other_hides_rather_than_shows(marks, words, note):
    """What is not marked free stays bridged, what is freed first was bridged from the start; a note says so."""
    bridges, faults = bridges_of([Mark(t, text) for t, text in marks])

    assert [bridge.words for bridge in bridges] == words
    assert faults == (note,)


# samples


@pytest.mark.parametrize("max_buckets", [None, 128], ids=["single samples", "joined"])
def test_an_overview_without_bridged_current_is_that_of_the_samples_left(max_buckets):
    """Outside the bridge every figure is as before, inside there is none, and the charge is that of the two sides."""
    trace = _noise(battery_a=2.0, drain_a=0.1, battery_v=12.5, feed_a=2.0)
    before = _overview(trace, max_buckets)

    got = bridged_overview(before, [Bridge(20.0, 30.0)])
    inside = (got.end_s >= 15.0) & (got.start_s <= 35.0)

    for role in ("battery_a", "drain_a"):
        band, was = got.bands[role], before.bands[role]
        assert np.isnan(band.mean[inside]).all()
        assert band.mean[~inside] == pytest.approx(was.mean[~inside])
        assert band.weight_s.sum() == pytest.approx(60 - 20, abs=3 * float(np.max(got.end_s - got.start_s)) + 0.2)
        assert band.area.sum() / band.weight_s.sum() == pytest.approx(np.nanmean(band.mean), abs=0.02)


def test_only_the_battery_s_shunts_are_bridged():
    """Voltages, the feed's own current and all times stay as they were, so that nothing else has a gap."""
    trace = _noise(battery_a=2.0, battery_v=12.5, feed_a=2.0, slot1_a=1.0)
    before = _overview(trace)

    got = bridged_overview(before, [Bridge(20.0, 30.0)])
    samples = bridged_trace(trace, [Bridge(20.0, 30.0)])

    for role in ("battery_v", "feed_a", "slot1_a"):
        assert got.bands[role] is before.bands[role]
        assert samples.values[role] is trace.values[role]
    assert (got.gap_s == before.gap_s).all()
    assert (samples.time_s == trace.time_s).all()
    assert np.isnan(samples.values["battery_a"]).sum() == 20 * 20 + 1


def test_charge_does_not_reach_across_a_bridge_to_a_channel_that_is_sampled_less_often():
    """With every tenth cell filled the first valid sample after the bridge brings no charge from before it."""
    trace = _noise(drain_a=0.1)
    trace.values["drain_a"][np.arange(len(trace)) % 10 != 0] = np.nan

    got = bridged_overview(_overview(trace), [Bridge(20.0, 30.0)])
    band, band_s = got.bands["drain_a"], got.start_s
    after = int(np.flatnonzero(np.isfinite(band.mean) & (band_s > 35.0))[0])

    assert band.weight_s[after] == 0
    assert band.weight_s[after + 10] == pytest.approx(0.5)


def test_what_was_over_range_while_bridged_is_missing_and_no_more():
    """A starter's share beyond the channel's range says nothing of the range."""
    trace = _noise(battery_a=2.0)
    over = (trace.time_s > 22) & (trace.time_s < 23)
    trace.values["battery_a"][over] = np.nan

    got = bridged_trace(Trace(trace.time_s, trace.values, {"battery_a": over}), [Bridge(20.0, 30.0)])

    assert got.over == {}


def _as_kept(sim: Simulation, folder: Path) -> None:
    """Write a copy of a log as the store keeps it."""
    columns = {name: sim.frame[name].to_list() for name in sim.frame}
    pl.DataFrame(columns).write_parquet(folder / "kept.parquet")


@pytest.mark.parametrize("kept", [False, True], ids=["fresh", "kept"])
def test_a_zoom_shows_no_more_than_the_overview(tmp_path, kept):
    """Single samples of a log, open or from its kept copy, have the same hole as the whole log's drawing."""
    sim = _simulated((ON_S, OFF_S))
    (evidence,) = _checked(sim).evidence.logs
    _as_kept(sim, tmp_path)
    with Log.from_frame(sim.frame) as log:
        samples = KeptSamples(tmp_path / "kept.parquet", evidence.overview) if kept else log
        drawn = LookedAt(evidence, samples).drawn(OFF_S - 0.1, OFF_S + 0.1)
        after = LookedAt(evidence, samples).drawn(OFF_S + 2 * HAND_S, OFF_S + 2 * HAND_S + 0.2)

    assert np.isnan(drawn["battery_a"].value).all()
    assert np.isfinite(drawn["battery_v"].value).all()
    assert np.isfinite(after["battery_a"].value).all()


@pytest.mark.parametrize("kept", [False, True], ids=["fresh", "kept"])
def test_a_zoom_is_less_the_zero(tmp_path, kept):
    """What a zero took off the whole log is off its single samples too."""
    sim = scenarios.zeroed()
    (evidence,) = _checked(sim).evidence.logs
    _as_kept(sim, tmp_path)
    at_s = 50.0
    with Log.from_frame(sim.frame) as log:
        samples = KeptSamples(tmp_path / "kept.parquet", evidence.overview) if kept else log
        drawn = LookedAt(evidence, samples).drawn(at_s, at_s + 0.1)["battery_a"]
        raw = log.trace(at_s - 1, at_s + 1, ["battery_a"])

    at_them = np.interp(drawn.time_s, raw.time_s, raw.values["battery_a"])
    assert abs(evidence.zero_offsets["battery_a"]) > 1e-4
    assert drawn.value == pytest.approx(at_them - evidence.zero_offsets["battery_a"], abs=1e-5)


# what it does to the checks


def test_an_unmarked_bridge_falsifies_the_charging_balance_and_a_marked_one_does_not():
    """Unmarked, the first seconds' current is a fiftieth of the truth; marked, it counts from the free shunt on."""
    unmarked, marked = _simulated((ON_S, OFF_S), marked=False), _simulated((ON_S, OFF_S))
    wrong, right = (_checked(sim).check("charging_balance") for sim in (unmarked, marked))

    assert not _covers(wrong, _true_balance_a(unmarked, wrong))
    assert abs(wrong.measured - _true_balance_a(unmarked, wrong)) > 0.3
    assert _covers(right, _true_balance_a(marked, right))
    assert right.from_s == pytest.approx(OFF_S + HAND_S, abs=0.5)
    assert "the shunt was bridged from 52.0 s to 70.0 s" in right.because


def test_an_unmarked_bridge_falsifies_the_source_resistance_and_a_marked_one_does_not():
    """A load that seems to go while the voltage stays makes a battery look better than it is."""
    unmarked, marked = _simulated((ON_S, OFF_S), marked=False), _simulated((ON_S, OFF_S))
    wrong, right = (_checked(sim).check("source_resistance") for sim in (unmarked, marked))

    assert not _covers(wrong, unmarked.truth["source_resistance"])
    assert _covers(right, marked.truth["source_resistance"])


def test_a_bridge_left_on_passes_a_drain_unless_it_is_marked():
    """5 mA through a bridged shunt read as 0.1 mA and pass 1 mA; with the mark they are not seen, and why is said."""
    thirsty = SimulatedInstall(drain_a=0.005)
    wrong = _checked(_simulated((ON_S, None), marked=False, install=thirsty)).check("off_state_drain")
    result = _checked(_simulated((ON_S, None), install=thirsty))

    assert wrong.verdict == "pass"
    for check_id in ("off_state_drain", "settle_time", "charging_balance"):
        check = result.check(check_id)
        assert check.verdict == "not seen"
        assert "the shunt was bridged from 52.0 s to the end of the log" in check.because


@pytest.mark.parametrize("marked", [True, False])
def test_no_bridge_anywhere_wins_a_pass(marked):
    """Bridges at 30 random places over an install that breaks two limits: marked none passes, unmarked some do."""
    rng = np.random.default_rng(7)
    bad = SimulatedInstall(drain_a=0.004, source_mohm=45.0)
    passed = []
    for seed in range(30):
        begin = rng.uniform(0, 250)
        end = None if seed % 3 == 0 else begin + rng.uniform(1, 150)
        result = _checked(
            _simulated((begin, end), marked=marked, install=bad, spec=fast_logger(20, NO_FEED), seed=seed)
        )
        passed += [
            check_id
            for check_id in ("off_state_drain", "source_resistance")
            if result.check(check_id).verdict == "pass"
        ]

    assert bool(passed) is not marked, passed


def test_a_run_that_ends_with_the_bridge_on_has_no_balance():
    """Freed 2 s before the key-off there is too little left to judge by, though it was not nothing."""
    check = _checked(_simulated((ON_S, 90.0))).check("charging_balance")

    assert check.verdict == "not seen"
    assert "take the bridge off and let it run for 20 s or more after that" in check.because
    assert "the shunt was bridged from 52.0 s to 90.0 s" in check.because


def test_voltages_are_judged_as_ever():
    """Charging voltage, cranking minimum, relay and feed need no battery current and keep their values to the digit."""
    plain, bridged = _checked(_simulated()), _checked(_simulated((ON_S, OFF_S)))

    for check_id in (
        "charging_voltage",
        "crank_minimum",
        "relay_pull_in",
        "relay_drop_out",
        "feed_drop",
        "ground_lift",
    ):
        assert bridged.check(check_id).measured == plain.check(check_id).measured
        assert bridged.check(check_id).verdict == plain.check(check_id).verdict == "pass"


@pytest.mark.parametrize("marks", [True, False])
def test_a_bridge_is_no_turn_of_the_key(marks):
    """Where the key is read from the battery's current it stays on while that is not measured, and so is the crank."""
    sim = _simulated((ON_S, OFF_S), marks=marks, spec=fast_logger(100).only("battery_v", "battery_a"))

    result = _checked(sim)

    assert [event.to for event in result.key_events] == ["on", "off"]
    assert result.check("crank_minimum").verdict == "pass"
    assert _covers(result.check("charging_balance"), _true_balance_a(sim, result.check("charging_balance")))


def test_a_slot_switched_on_while_bridged_is_not_seen_rather_than_dead():
    """Marked on without a step is a failure, but not where nobody could have seen the step; the others count."""
    result = _checked(_simulated((40.5, 43.0), spec=fast_logger(100, NO_FEED)))
    hidden = result.check("slot_3_current")

    assert hidden.verdict == "not seen"
    assert "slot 3 was switched on while battery_a was not measured" in hidden.because.lower()
    assert result.check("slot_1_current").verdict == "pass"
    assert not any(check.verdict == "fail" for check in result.checks)
    assert [cause.id for cause in result.causes] == []


def test_a_slot_that_nobody_could_see_is_not_named_with_a_dead_one():
    """Slot 2 is dead, and the step of slot 4 came while the shunt was bridged: the cause names slot 2 alone."""
    dead = with_fault(SimulatedInstall(), "slot_dead")

    result = _checked(_simulated((48.0, 49.0), spec=fast_logger(100, NO_FEED), install=dead))
    (cause,) = result.causes

    assert result.check("slot_2_current").verdict == "fail"
    assert result.check("slot_4_current").verdict == "not seen"
    assert cause.explains == ["slot_2_current"]
    assert not any("slot 4" in text for text in cause.evidence)


def test_a_load_that_went_and_came_while_bridged_does_not_mix_with_what_was_measured():
    """Slot 1 was off for most of the time with all loads on, unseen: the voltage of that time is in no sag."""
    away = (Action(53.0, "slot off", 1), Action(79.0, "slot on", 1))
    sim = _simulated((57.0, 75.0), more=away, spec=fast_logger(100, NO_FEED), all_on_s=40.0)
    result = _checked(sim)

    assert _covers(result.check("battery_sag"), sim.truth["battery_sag"])
    assert _covers(result.check("source_resistance"), sim.truth["source_resistance"])


def test_a_bike_that_settles_while_bridged_may_have_settled_at_any_time_of_it():
    """Bridged from before the key-off until it slept: the settling time is open over all of it, its truth inside."""
    sim = _simulated((90.0, 150.0))

    check = _checked(sim).check("settle_time")

    assert _covers(check, sim.truth["settle_time"])
    assert check.measured - check.uncertainty < 0.5
    assert check.measured + check.uncertainty > 55


def test_a_wake_up_behind_a_bridge_does_not_count_as_calm():
    """The drain is averaged over what was measured of the sleep alone, wake-ups included."""
    install = SimulatedInstall(wakeups=WakeUps(period_s=20.0, length_s=2.0, height_a=0.004, first_s=5.0))
    sim = _simulated((180.0, 200.0), install=install)

    check = _checked(sim).check("off_state_drain")

    assert _covers(check, sim.truth["off_state_drain"])


def test_a_log_bridged_from_end_to_end_measures_no_current():
    """Every check that needs the battery's current is not seen and says why; the others stand."""
    result = _checked(_simulated((0.5, None), spec=fast_logger(100, NO_FEED)))
    blind = (
        *("off_state_drain", "settle_time", "battery_sag", "source_resistance", "feed_drop", "ground_lift"),
        *("slot_1_current", "slot_4_current", "charging_balance"),
    )

    for check_id in blind:
        check = result.check(check_id)
        assert check.verdict == "not seen"
        assert "the shunt was bridged from 0.5 s to the end of the log" in check.because
    for check_id in ("relay_pull_in", "crank_minimum", "charging_voltage"):
        assert result.check(check_id).verdict == "pass"


@pytest.mark.parametrize("bridge", [(36.0, 110.0), (57.0, 75.0)], ids=["until it runs", "for a while"])
def test_a_low_side_shunt_lifts_by_an_unknown_drop_while_bridged(bridge):
    """Where the shunt's own drop cannot be taken off, the ground lift is taken from elsewhere, and stays the same."""
    install = SimulatedInstall(low_side_shunt_mohm=5.0)
    plain, bridged = (
        _checked(_simulated(*some, install=install, all_on_s=40.0), battery_a=5.0).check("ground_lift")
        for some in ((), (bridge,))
    )

    assert plain.verdict == bridged.verdict == "pass"
    assert bridged.measured == pytest.approx(plain.measured, abs=bridged.uncertainty + plain.uncertainty)


# with zeros, and what is told


def test_a_zero_beside_a_bridge_is_used_and_one_within_it_is_not():
    """A share of the current still passes a bridged shunt, so that is no zero; the feed's own channel has one."""
    zero = (Action(5.0, "zero"), Action(15.0, "zero end"))
    beside, within = _simulated((ON_S, OFF_S), more=zero), _simulated((2.0, 20.0), (ON_S, OFF_S), more=zero)

    told = _notes(_checked(within))

    assert "corrected battery_a by " in _notes(_checked(beside))
    assert "battery_a: the shunt was bridged in it" in told
    assert "corrected feed_a by " in told
    assert _checked(beside).check("off_state_drain").verdict == "pass"


def test_the_result_tells_of_the_bridge():
    """A note says from when to when and which channels do not count; none where no such channel is logged."""
    result = _checked(_simulated((ON_S, OFF_S)))
    blind = _checked(_simulated((ON_S, OFF_S), spec=fast_logger(100).only("battery_v", "feed_v")))

    assert "the shunt was bridged from 52.0 s to 70.0 s, so battery_a and drain_a do not count there" in _notes(result)
    assert "bridged" not in _notes(blind)
    assert not any("bridged" in check.because for check in blind.checks)


def test_the_drawing_shows_the_bridge():
    """The stretch without current stands among the states, so that a hole in the curve explains itself."""
    (log,) = _checked(_simulated((ON_S, OFF_S))).evidence.logs
    spans = [(span.from_s, span.to_s) for span in log.spans if span.kind == "shunt bridged"]

    assert spans == [(pytest.approx(ON_S - HAND_S, abs=0.02), pytest.approx(OFF_S + HAND_S, abs=0.02))]


def test_a_misspelt_mark_is_named():
    """A mark that looks like one of the two is not passed over."""
    told = _notes(_checked(_simulated((ON_S, OFF_S), more=[Action(40.0, "note", text="shunt bridge")])))

    assert 'the mark "shunt bridge" at 40.0 s was not understood; did you mean "shunt bridged"?' in told
