"""The second world holds what it promises: seeds, truth, behaviours, faults, loggers and files."""

from __future__ import annotations

import math
import tomllib
from functools import cache

import numpy as np
import polars as pl
import pytest
from world import BEHAVIOURS, FAULTS, GRADES, check_ids, draw, draw_only_logger
from world import logger as logging
from world.ideal import ideal_u

NAMES = [b.name for b in BEHAVIOURS]
#: The same case each time, for tests that only look at it.
seen = cache(draw)
CAUSES = {
    "trigger_always_live", "backfed_coil", "welded_contact", "inverted_contact", "coil_open", "feed_open",
    "feed_resistance", "ground_resistance", "ground_open", "slot_dead", "slot_overload", "unswitched_device",
    "waking_device", "slow_to_sleep", "slow_trigger_decay", "weak_coil_supply", "weak_battery", "no_charge",
    "overcharge", "load_exceeds_charging", "trigger_dead", "slow_relay", "pulsed_trigger", "intermittent_feed",
    "charging_while_off", "clips_swapped",
}  # fmt: skip
SURE = {"seed": 5, "template": "session", "marks": True, "grade": "fast_all"}


def test_every_cause_of_the_contract_is_a_fault_here():
    """Under the causes' own ids, each once."""
    assert len(FAULTS) == len(CAUSES)
    assert {f.name for f in FAULTS} == CAUSES


@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_a_seed_is_a_case(seed: int):
    """The same seed gives the same rows, plan and truth; another seed gives others."""
    a, b, other = draw(seed), draw(seed), draw(seed + 100)
    assert a.frame.equals(b.frame, null_equal=True)
    assert (a.plan, a.truth, a.behaviours) == (b.plan, b.truth, b.behaviours)
    assert a.plan != other.plan


def test_a_faultless_bike_conforms(long: bool):
    """Without a fault, and without a behaviour that truly fails something, no check's true verdict is fail."""
    allowed = {b.name: set(b.fails) for b in BEHAVIOURS}
    wrong = []
    for seed in range(40 if long else 12):
        case = draw(seed, grade="mid6")
        excused = set().union(*(allowed[n] for n in case.behaviours))
        wrong += [(seed, c) for c in case.truth if case.verdict(c) == "fail" and c not in excused]
    assert wrong == []


@pytest.mark.parametrize("fault", sorted(CAUSES))
def test_a_fault_fails_what_it_says(fault: str, long: bool):
    """In a whole, marked session, at least one of a fault's own checks truly fails, clear of all slack.

    Clips changed over are a fault of the measurement: the circuit's truth stays as it was.
    """
    fails = next(f for f in FAULTS if f.name == fault).fails
    for seed in (5, 11) if long else (5,):
        case = draw(**(SURE | {"seed": seed}), behaviours=(), fault=fault)
        failed = {c for c in case.truth if case.verdict(c) == "fail"}
        ids = {
            c
            for f in fails
            for c in check_ids(case.plan)
            if c == f or (f == "slot_N_current" and c.startswith("slot_"))
        }
        if fault == "charging_while_off":
            assert case.truth["off_state_drain"] < -10
            assert case.verdict("off_state_drain") == "not proven"
        elif fault == "clips_swapped":
            assert failed == set()
        else:
            assert failed & ids, (fault, seed, case.truth)


@pytest.mark.parametrize("name", NAMES)
def test_a_behaviour_changes_the_log_and_fails_only_what_it_says(name: str, long: bool):
    """Each behaviour alters the log of its session; true failures are those that it declares."""
    template = "night" if name == "wake_clips_fine_range" else "session"
    grade = "night" if template == "night" else "fast5"
    twist = next(b for b in BEHAVIOURS if b.name == name)
    differs = list[bool]()
    for seed in (3, 9, 21):
        if any(differs) and not long:
            break
        base = seen(seed, behaviours=(), grade=grade, template=template, marks=True)
        case = draw(seed, behaviours=(name,), grade=grade, template=template, marks=True)
        if not case.behaviours:
            continue
        # one log that differs is enough: the rows of the others are not even made
        differs.append(
            not any(differs)
            and (case.logger != base.logger or case.plan != base.plan or not same_rows(case.frame, base.frame))
        )
        assert {c for c in case.truth if case.verdict(c) == "fail"} <= set(twist.fails)
    assert any(differs)


def same_rows(a: pl.DataFrame, b: pl.DataFrame) -> bool:
    """Whether two logs hold the same, nothing being equal to nothing."""
    return a.equals(b, null_equal=True)


def test_what_a_session_does_not_hold_has_no_truth():
    """No crank, no engine, no fast channel, no key-off: the checks that need them are None, the others are not."""
    park = draw(1, behaviours=(), template="no_engine", grade="fast_all", marks=True).truth
    assert (
        park["crank_minimum"] is park["charging_voltage"] is park["charging_balance"] is park["feed_in_crank"] is None
    )
    assert None not in (park["battery_sag"], park["relay_pull_in"], park["settle_time"], park["feed_drop"])
    slow = draw(1, behaviours=(), template="session", grade="slow2").truth
    assert slow["relay_pull_in"] is slow["feed_drop"] is slow["ground_lift"] is slow["relay_chatter"] is None
    assert None not in (slow["battery_sag"], slow["off_state_drain"], slow["crank_minimum"])
    pushed = draw(1, behaviours=("push_start",), template="session", grade="fast5", marks=True).truth
    assert pushed["crank_minimum"] is None
    assert pushed["charging_voltage"] is not None
    night = draw(1, behaviours=(), grade="night").truth
    assert night["off_state_drain"] is not None
    assert night["relay_drop_out"] is night["battery_sag"] is None


def test_what_never_happens_is_infinite():
    """A relay that never opens and a feed that never comes fail without a number."""
    assert draw(**SURE, behaviours=(), fault="welded_contact").truth["relay_drop_out"] == math.inf
    assert draw(**SURE, behaviours=(), fault="coil_open").truth["relay_pull_in"] == math.inf
    assert draw(**SURE, behaviours=("park_light",)).truth["settle_time"] == math.inf


def test_resistances_are_the_circuit_s_own():
    """Feed drop and ground lift are true resistance times planned load; `parts` lets any plan be computed."""
    case = seen(**SURE, behaviours=())
    planned = sum(c["planned_a"] for c in case.plan["circuit"])
    assert case.truth["feed_drop"] == pytest.approx(case.parts["feed_ohm"] * planned)
    assert case.truth["ground_lift"] == pytest.approx(case.parts["ground_ohm"] * planned)
    low, high = case.span("source_resistance")
    assert low <= case.parts["r0_ohm"] * 1000 <= case.truth["source_resistance"] <= high


def test_a_noise_free_log_shows_the_truth():
    """Read without errors, a fast log's own median drop over current is the feed's resistance."""
    case = draw(**SURE, behaviours=(), noise=False)
    rows = case.frame.filter(pl.col("feed_a") > 2.0)
    r = ((rows["battery_v"] - rows["feed_v"]) / rows["feed_a"]).median()
    assert r == pytest.approx(case.parts["feed_ohm"], rel=1e-3)


def test_noise_changes_the_rows_and_not_the_truth():
    """`noise=False` is the same case: same truth, same times, other readings."""
    noisy, clean = seen(**SURE, behaviours=()), draw(**SURE, behaviours=(), noise=False)
    assert noisy.truth == clean.truth
    assert noisy.frame["time_s"].equals(clean.frame["time_s"])
    assert not noisy.frame["battery_v"].equals(clean.frame["battery_v"])


@pytest.mark.parametrize("grade", [*GRADES, "random"])
def test_a_logger_s_errors_stay_within_what_it_states(grade: str):
    """Gain, bend, offset, drift and wander together never leave the stated half-widths."""
    for seed in range(12):
        spec = draw_only_logger(seed, grade, ("offset_drift",) if seed % 2 else ("shunt_zero_drift",))
        for c in spec.channels:
            assert abs(c.gain_true) + abs(c.bend_true) <= c.gain_pct / 100 * (1 + 1e-9)
            assert abs(c.offset_true) + abs(c.drift_true) + abs(c.wander_true) <= c.offset * (1 + 1e-9)


def test_noise_has_the_memory_it_says():
    """Slow noise of memory τ correlates by e^(−1) over τ; white noise does not."""
    c = logging.Channel("battery_v", "V", 0.1, 0.004, 0.001, white=0.0, slow=1.0, memory_s=0.5)
    x = logging._noise(np.random.default_rng(1), c, 400_000, 100.0)
    assert np.std(x) == pytest.approx(1.0, rel=0.05)
    assert np.corrcoef(x[:-50], x[50:])[0, 1] == pytest.approx(math.exp(-1), abs=0.05)


def test_habits_of_loggers_show_in_the_rows():
    """Repeats stand still, averages spread a step, packets bunch their stamps, gaps leave rows out."""
    plain = seen(**SURE, behaviours=())
    twins = draw(**SURE, behaviours=("repeated_readings",))
    n = twins.logs[0].spec.repeat
    v = twins.frame["battery_a"].to_numpy()
    assert (v[: len(v) // n * n].reshape(-1, n)[:, :-1] == v[: len(v) // n * n].reshape(-1, n)[:, 1:]).all()
    mean = draw(**SURE, behaviours=("averaged_readings",), noise=False)
    over = mean.logs[0].spec.average_s
    t, y = mean.frame["time_s"].to_numpy(), mean.frame["feed_v"].to_numpy()
    rise = (y > 1.0) & (y < 10.0)
    assert rise.any()
    first = t[rise][0]
    assert t[rise & (t < first + 1)][-1] - first == pytest.approx(over * 9 / 12.5, rel=0.25)
    packets = draw(**SURE, behaviours=("packet_stamps",)).frame["time_s"].diff().drop_nulls()
    assert (packets < 2e-5).mean() > 0.7
    assert draw(**SURE, behaviours=("gaps",)).frame.height < plain.frame.height


def test_a_silent_clip_stands_at_its_highest_figure_and_a_declared_one_says_so():
    """While cranking the current is beyond the range: a number at the top, or over range."""
    silent = draw(**SURE, behaviours=("clipped_silent",))
    top = next(c.top for c in silent.logs[0].spec.channels if c.role == "battery_a")
    assert silent.frame["battery_a"].max() == pytest.approx(top)
    assert (silent.frame["battery_a"] == silent.frame["battery_a"].max()).sum() > 20
    assert draw(**SURE, behaviours=("clipped_declared",)).frame["battery_a"].is_nan().sum() > 20


def test_an_unsuppressed_coil_shows_its_kick():
    """At key-off the trigger goes to −24 V or deeper for about a millisecond."""
    case = draw(4, behaviours=("no_suppression",), grade="burst5", template="no_engine", noise=False)
    low = case.frame.filter(pl.col("trigger_v") < -20)
    assert 1 <= low.height <= 8
    assert low["trigger_v"].min() < -24


def test_the_charge_s_share_is_worst_at_idle_where_it_charges_only_above():
    """A bike that charges only when revved is judged by its idle."""
    case = draw(**SURE, behaviours=("charges_only_above_idle",))
    assert case.parts["revs_v"] > case.parts["idle_v"] + 0.2
    assert case.truth["charging_voltage"] == pytest.approx(case.parts["idle_v"], abs=1e-9)


def test_several_logs_make_one_case(tmp_path):
    """A night and a log before the install come with the main one, and the added drain is their difference."""
    case = draw(6, behaviours=(), grade="fast5", template="session", night=True, before=True)
    assert [x.name for x in case.logs] == ["fast5", "night"]
    added = case.inst.added_a * 1000
    assert case.truth["added_drain"] == pytest.approx(added, abs=0.02)
    assert len(case.write(tmp_path)) == 3


def test_files_hold_the_case(tmp_path):
    """Plan and logger files are TOML; the CSV gives the frame back, in the channels' units, over range as text."""
    case = draw(3, behaviours=("wake_clips_fine_range", "wakes_rarely"), grade="night")
    (path,) = case.write(tmp_path)
    assert tomllib.loads((tmp_path / "plan.toml").read_text()) == case.plan
    stated = tomllib.loads((tmp_path / "night.logger.toml").read_text())
    assert stated == case.logger
    read = pl.read_csv(path, null_values=["OL"])
    assert read.height == case.frame.height
    got = read["drain_a"].cast(pl.Float64).to_numpy() / 1000
    want = case.frame["drain_a"].to_numpy()
    both = ~np.isnan(got) & ~np.isnan(want)
    assert np.abs(got - want)[both].max() < 1e-6


def test_marks_stand_at_the_row_where_the_tester_pressed():
    """Each mark sits in the first row at or after its event; without marks there is no column."""
    case = seen(**SURE, behaviours=())
    marked = case.frame.filter(pl.col("mark").is_not_null())
    when = dict(zip(marked["mark"], marked["time_s"], strict=True))
    for t, text in case.logs[0].script.marks:
        assert when[text] == pytest.approx(t, abs=2e-3)
    assert "mark" not in draw(**(SURE | {"marks": False}), behaviours=()).frame.columns


def test_an_ideal_prover_is_never_worse_with_a_better_logger():
    """Halving every stated half-width and all noise cannot raise an ideal uncertainty."""
    import copy

    from world.ideal import ideal_u

    case = seen(**SURE, behaviours=())
    log = case.logs[0]
    better = copy.deepcopy(log.spec)
    for c in better.channels:
        for name in ("gain_pct", "offset", "resolution", "white", "slow"):
            setattr(c, name, getattr(c, name) / 2)
    one, two = log.ideal, ideal_u(better, log.truth, case.plan, 10.0)
    amps = ideal_u(log.spec, log.truth, case.plan, 10.0)
    assert set(one) == set(two)
    assert all(two[k] <= amps[k] + 1e-12 for k in two)


@pytest.mark.parametrize("seed", range(3))
def test_night_of_a_bike_draws_what_its_session_settles_to(seed: int):
    """The same bike, hours after: what falls asleep after a key-off sleeps, so both logs have one drain."""
    case = draw(seed, behaviours=(), night=True, before=True)
    session, night = (log.truth.value["off_state_drain"] for log in case.logs)
    assert night == pytest.approx(session, rel=0.02)
    assert case.before.truth.value["off_state_drain"] <= night


def test_settling_spans_its_fair_bands():
    """Above 10 mA a tracker's end is the one fair time; below it, so is the control unit's end before."""
    for seed in (0, 3, 6):
        case = draw(seed, behaviours=(), template="no_engine", grade="fast5")
        low, _ = case.span("settle_time")
        tail = case.parts["tail_s"] if case.parts["tail_a"] < 0.01 else 0.0
        assert case.truth["settle_time"] - low == pytest.approx(tail, abs=0.2)


def test_nobody_proves_a_tail_below_the_noise():
    """A channel whose noise hides the tracker over all of its time has no ideal uncertainty for settling."""
    case = draw(0, behaviours=(), template="no_engine", grade="fast5")
    log = case.logs[0]
    for channel in log.spec.channels:
        channel.white, channel.slow = 0.0, 0.0
    fine = ideal_u(log.spec, log.truth, case.plan, log.amps)["settle_time"]
    for channel in log.spec.channels:
        channel.white = 10.0
    assert fine < 1.0
    assert math.isnan(ideal_u(log.spec, log.truth, case.plan, log.amps)["settle_time"])


def test_another_settling_limit_leaves_what_the_engine_showed():
    """Idle and revved, each judged by itself, stay two values under a plan with another settling limit."""
    case = draw(82171, behaviours=("charges_only_above_idle",), grade="fast5")
    low, high = case.both["charging_voltage"]

    assert high - low > 1.0
    assert case.limited(45.0).both == case.both
