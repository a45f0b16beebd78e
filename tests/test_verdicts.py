"""Verdicts on simulated logs whose truth is known, from files on disk to the result.

The tables are written by hand from what was simulated: P pass, F fail, N not proven, U not seen, X not planned.
Two letters stand where the limit lies so near, or the logger is so coarse, that either is right; a verdict that
the truth contradicts is never among them.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest
import scenarios
from conftest import Samples, acceptance, parked
from jsonschema import Draft202012Validator
from scenarios import write_damaged, write_files

import benchlog
from benchlog.core.errors import BadLog
from benchlog.standin import (
    FAULTS,
    LIMITS,
    Action,
    LoggerSpec,
    SimulatedInstall,
    Simulation,
    WrittenForm,
    acceptance_script,
    fast_logger,
    parked_script,
    plan_toml_of,
    simulate,
    slow_logger,
    with_fault,
)
from benchlog.standin.logger import DrawnErrors
from benchlog.verdict.result import Result
from benchlog.verdict.schemas import schema_of

WORDS = {"P": "pass", "F": "fail", "N": "not proven", "U": "not seen", "X": "not planned"}


def each(ids: tuple[str, ...], letters: str) -> dict[str, str]:
    """The same verdict for several checks."""
    return dict.fromkeys(ids, letters)


#: What the plan says of its own fuses, whatever the log shows.
FUSES = ("feed_fuse", "slot_1_fuse", "slot_2_fuse", "slot_3_fuse", "slot_4_fuse")
#: Every check of a result, with what the good install gets on a fast logger.
GOOD = {
    **each(FUSES, "P"),
    "off_state_drain": "P",
    "added_drain": "U",  # no log from before the install
    "settle_time": "P",
    "feed_off_voltage": "P",
    "relay_pull_in": "P",
    "relay_drop_out": "P",
    "relay_chatter": "P",
    "battery_sag": "P",
    "feed_drop": "P",
    "ground_lift": "P",
    "slot_1_current": "P",
    "slot_2_current": "P",
    "slot_3_current": "P",
    "slot_4_current": "P",
    "resting_voltage": "P",
    "source_resistance": "P",
    "crank_minimum": "P",
    "feed_in_crank": "X",  # "any"
    "charging_voltage": "P",
    "charging_balance": "P",
}
SLOTS = ("slot_1_current", "slot_2_current", "slot_3_current", "slot_4_current")
KEY_OFF = ("off_state_drain", "settle_time", "feed_off_voltage")
UNDER_LOAD = ("battery_sag", "feed_drop", "ground_lift", *SLOTS)
ENGINE = ("crank_minimum", "charging_voltage", "charging_balance")


@dataclass(frozen=True)
class Case:
    """One simulated log and what differs from ``GOOD``.

    Attributes:
        make: the log. differs: check id -> letters. limits: changes to the plan's limits.
        form: how the file is written. untrue: checks whose simulated truth does not hold for this log.
    """

    make: Callable[[], Simulation]
    differs: Mapping[str, str] = field(default_factory=dict)
    limits: Mapping[str, float | str | None] = field(default_factory=dict)
    form: WrittenForm | None = None
    untrue: tuple[str, ...] = ()


def faulty(name: str) -> Callable[[], Simulation]:
    """The acceptance run with one of the stand-in's faults."""
    return lambda: acceptance(with_fault(SimulatedInstall(), name), 290.0 if name == "slow_to_sleep" else 200.0)


def with_logger(change: Callable[[LoggerSpec], LoggerSpec]) -> Callable[[], Simulation]:
    """The acceptance run of the good install on another logger."""
    return lambda: scenarios._log(None, acceptance_script(settle_s=200.0), change(fast_logger(500)))


def begins_with_key_on() -> Simulation:
    """The log begins 2 s after the key was turned on."""
    sim = scenarios._log(None, acceptance_script(settle_s=200.0, marks=False), fast_logger(500))
    late = sim.frame["time_s"].to_numpy() >= 32.0
    over = {role: flags[late] for role, flags in sim.over.items()}
    return replace(sim, frame=sim.frame[late].reset_index(drop=True), over=over)


def short_key_off_first() -> Simulation:
    """The key is on for 8 s, off for 12 s, and only then the acceptance run begins."""
    script = acceptance_script(rest_s=50.0, settle_s=200.0)
    first = (Action(30.0, "key on"), Action(38.0, "key off"))
    return scenarios._log(script=replace(script, actions=(*first, *script.actions)), spec=fast_logger(500))


def bouncing_inrush() -> Simulation:
    """Loads with five times their current at switch-on behind a contact that bounces for 4.4 ms."""
    circuits = tuple(replace(c, inrush=4.0, inrush_tau_s=0.1) for c in SimulatedInstall().circuits)
    install = SimulatedInstall(circuits=circuits, close_bounce_ms=(0.9, 1.3, 1.0, 1.2))
    return scenarios._log(install, acceptance_script(settle_s=200.0), fast_logger(1000, scenarios.ALL_ROLES))


CASES: dict[str, Case] = {
    "healthy": Case(scenarios.healthy),
    "without marks": Case(lambda: scenarios.healthy(500.0, marks=False)),
    "every role logged": Case(scenarios.every_role),
    "another seed": Case(lambda: acceptance(seed=7)),
    # the loads stay on after the key-off, fed by a contact that never opens
    "relay that latches": Case(
        scenarios.latching_relay,
        # with 9 A still flowing the bike is awake, however steady they are
        {"relay_drop_out": "F", "off_state_drain": "F", "feed_off_voltage": "F", "settle_time": "F"},
        untrue=("settle_time", "off_state_drain", "feed_off_voltage"),
    ),
    "slow drop-out, 110 ms": Case(scenarios.slow_drop_out, {"relay_drop_out": "F"}),
    # 0.3 mA + 10 mA * 2 s / 60 s = 0.63 mA
    "wake-ups within the limit": Case(scenarios.waking_drain),
    # 0.3 mA + 30 mA * 2 s / 60 s = 1.3 mA
    "wake-ups beyond the limit": Case(lambda: scenarios.waking_drain(0.030), {"off_state_drain": "F"}),
    # 100 ms between samples tell nothing of 30 and 60 ms, nor of 10 ms while cranking
    "10 Hz": Case(scenarios.at_10_hz, each(("relay_pull_in", "relay_drop_out", "relay_chatter", "crank_minimum"), "N")),
    # a slot is on for four samples; the starter turns for one
    "1 Hz": Case(
        scenarios.at_1_hz,
        {
            **each(("relay_pull_in", "relay_drop_out", "relay_chatter"), "N"),
            "crank_minimum": "NU",
            **each((*UNDER_LOAD, "source_resistance"), "PN"),
        },
    ),
    # 0.1 A of offset against 1 mA; 0.1 V of resolution and offset against 0.1 V
    "coarse logger": Case(
        scenarios.coarse_logger,
        {
            "off_state_drain": "N",
            # what stays awake with less than half a step of 0.1 A does not show
            "settle_time": "N",
            **each(("feed_drop", "ground_lift", "resting_voltage", "source_resistance", *SLOTS), "PN"),
        },
    ),
    # times, counts and states are judged, levels are not
    "no accuracy stated": Case(
        scenarios.no_accuracy_stated,
        each(
            (
                "off_state_drain",
                "feed_off_voltage",
                "resting_voltage",
                "source_resistance",
                *UNDER_LOAD,
                *ENGINE,
            ),
            "N",
        ),
    ),
    # 30 mOhm * 9.3 A = 0.28 V of 0.10
    "poor ground": Case(scenarios.poor_ground, {"ground_lift": "F"}),
    # 48 mOhm * 9.3 A = 0.45 V of 0.30
    "poor feed": Case(scenarios.poor_feed, {"feed_drop": "F"}),
    "feed drops in crank, any": Case(scenarios.dropping_while_cranking),
    "feed drops in crank, hold": Case(
        scenarios.dropping_while_cranking, {"feed_in_crank": "F"}, {"feed_in_crank": "hold"}
    ),
    "feed drops in crank, drop": Case(
        scenarios.dropping_while_cranking, {"feed_in_crank": "P"}, {"feed_in_crank": "drop"}
    ),
    "feed holds in crank, hold": Case(acceptance, {"feed_in_crank": "P"}, {"feed_in_crank": "hold"}),
    "feed holds in crank, drop": Case(acceptance, {"feed_in_crank": "F"}, {"feed_in_crank": "drop"}),
    # 13.0 V of 13.5, yet more than the 12.85 V at rest
    "undercharging": Case(scenarios.undercharging, {"charging_voltage": "F"}),
    "never starts": Case(scenarios.never_starts, each(("charging_voltage", "charging_balance"), "U")),
    # the key never turns, so nothing but the off state shows
    "parked": Case(
        lambda: scenarios.parked(1.0, 10.0),
        {
            **each(("settle_time", "relay_pull_in", "relay_drop_out", "relay_chatter"), "U"),
            **each((*UNDER_LOAD, "source_resistance", *ENGINE), "U"),
        },
    ),
    # 120 s must stay settled: neither 30 s at the start nor 20 s at the end do
    "cut short": Case(scenarios.cut_short, each(KEY_OFF, "U")),
    "decimal commas, counter wraps": Case(acceptance, form=scenarios.WRAPPING_COMMA),
    "counter wraps": Case(acceptance, form=scenarios.WRAPPING),
    "charging called positive": Case(scenarios.charge_positive),
    "zeroed first": Case(scenarios.zeroed),
    # what the by-passed channel shows is no drain, and no settling either
    "bypassed drain shunt": Case(
        scenarios.bypassed_drain_shunt, {"off_state_drain": "N", "settle_time": "PN"}, untrue=("off_state_drain",)
    ),
    # the charge falls over the run, and only its end is measured
    "bridged for the crank": Case(scenarios.bridged, untrue=("charging_balance",)),
    "begins with the key on": Case(
        # the key-on is not whole in it
        begins_with_key_on,
        {"resting_voltage": "U", "relay_pull_in": "U", "relay_chatter": "N"},
        untrue=("resting_voltage",),
    ),
    "short key-off first": Case(short_key_off_first),
    # neither the contact's bounce nor the loads' inrush is a fault or a load
    "bounce and inrush": Case(bouncing_inrush),
    # without the loads' own currents, four at once cannot be told apart
    "key cycles": Case(scenarios.many_cycles, {**each(SLOTS, "UN"), **each(ENGINE, "U")}),
    # 55 to 85 A at the starter, 40 A at most on the channel; nothing else needs those samples
    "over range while cranking": Case(
        with_logger(lambda spec: spec.changed("battery_a", full_scale=40.0)), {"charging_balance": "P"}
    ),
    "two openings with the key on": Case(
        lambda: acceptance(SimulatedInstall(chatter=((1.2, 0.03), (2.7, 0.02)))), {"relay_chatter": "F"}
    ),
    "only a battery": Case(
        scenarios.battery_only,
        {
            # 30 mA of offset against 1 mA
            "off_state_drain": "N",
            **each(("feed_off_voltage", "relay_pull_in", "relay_drop_out", "relay_chatter"), "U"),
            **each(("feed_drop", "ground_lift"), "U"),
            # the bike's own load comes and goes with the key, and may be taken for a slot
            **each(SLOTS, "PNU"),
            # the key is only guessed from the current
            "settle_time": "PN",
        },
    ),
    "surface charge": Case(
        scenarios.surface_charged,
        {
            "resting_voltage": "N",
            **each(("settle_time", "relay_pull_in", "relay_drop_out", "relay_chatter"), "U"),
            **each((*UNDER_LOAD, "source_resistance", *ENGINE), "U"),
        },
        # it still falls, so it has no one true value
        untrue=("resting_voltage",),
    ),
}

#: The stand-in's faults. What a fault leaves without its condition is U; a dead circuit that was marked on is F.
DEAD_FEED = {
    **each(("relay_pull_in",), "F"),
    **each(("relay_drop_out", "feed_drop", "ground_lift"), "U"),
    "relay_chatter": "PU",
    **each(SLOTS, "FU"),
}
STAYS_LIVE = each(("off_state_drain", "feed_off_voltage", "relay_drop_out", "settle_time"), "F")
FAULT_CASES: dict[str, dict[str, str]] = {
    "trigger_always_live": {**STAYS_LIVE, "relay_pull_in": "U", "relay_chatter": "PU"},
    "backfed_coil": STAYS_LIVE,
    "welded_contact": {**STAYS_LIVE, "relay_pull_in": "U", "relay_chatter": "PU"},
    # live with the trigger down: the loads draw with the key off, and nothing with it on
    "inverted_contact": {
        **DEAD_FEED,
        "relay_pull_in": "FU",
        "off_state_drain": "F",
        "feed_off_voltage": "F",
        "settle_time": "F",
        "relay_drop_out": "FU",
    },
    "coil_open": DEAD_FEED,
    "feed_open": DEAD_FEED,
    "feed_resistance": {"feed_drop": "F"},
    "ground_resistance": {"ground_lift": "F"},
    "ground_open": {"feed_drop": "U", "ground_lift": "FU", **each(SLOTS, "F")},
    "slot_dead": {"slot_2_current": "F"},
    # 2.7 A of 2.16
    "slot_overload": {"slot_3_current": "F"},
    "unswitched_device": {"off_state_drain": "F"},
    # 120 mA * 2 s / 60 s = 4 mA
    "waking_device": {"off_state_drain": "F"},
    # 160 s of 120
    "slow_to_sleep": {"settle_time": "F"},
    # tau 0.25 s: half at 0.17 s, the coil lets go at ln(130 mA / 30 mA) * 0.25 s = 0.37 s
    "slow_trigger_decay": {"relay_drop_out": "F"},
    "weak_coil_supply": {"relay_chatter": "F", "relay_pull_in": "F"},
    # 78 mOhm * 9.3 A = 0.73 V of 0.6; 12.45 V of 12.6; 12.45 V - 0.072 Ohm * 60 A = 8.1 V of 9.6
    "weak_battery": each(("battery_sag", "source_resistance", "resting_voltage", "crank_minimum"), "F"),
    "no_charge": each(("charging_voltage", "charging_balance"), "F"),
    "overcharge": {"charging_voltage": "F"},
    "load_exceeds_charging": each(("charging_voltage", "charging_balance"), "F"),
    # a trigger that never rises starts no pull-in
    "trigger_dead": {**DEAD_FEED, "relay_pull_in": "FU"},
    # 105 ms of travel
    "slow_relay": {"relay_drop_out": "F"},
    # two openings a second; what draws in pulses shows no steady step, and may hide the crank
    "pulsed_trigger": {
        "relay_chatter": "F",
        **each(("relay_pull_in", "relay_drop_out", "feed_drop", "ground_lift", "crank_minimum"), "PNU"),
        # every load comes and goes with the contact, so few steps are left to tell it from
        **each(("source_resistance", "battery_sag"), "PN"),
        **each(SLOTS, "FNU"),
    },
    "intermittent_feed": {"relay_chatter": "F"},
    # what flows into the battery hides when the bike fell asleep, and it does not rest
    "charging_while_off": each(("off_state_drain", "settle_time", "resting_voltage"), "N"),
    # the feed that moves first is the trigger
    "clips_swapped": {
        **each(("relay_pull_in", "relay_drop_out", "relay_chatter"), "PFNU"),
        "feed_drop": "PNU",
    },
}
#: With 9 A still flowing nothing has settled, and the last stretch of the span is judged, where the simulated truth
#: takes the whole; the feed is highest before the loads come on; the simulated truth counts a circuit as fed with
#: the key off.
UNTRUE: dict[str, tuple[str, ...]] = dict.fromkeys(
    ("trigger_always_live", "backfed_coil", "welded_contact", "inverted_contact"),
    ("settle_time", "off_state_drain", "feed_off_voltage"),
)
UNTRUE["inverted_contact"] += SLOTS
UNTRUE["clips_swapped"] = ("relay_pull_in", "relay_drop_out", "relay_chatter", "feed_off_voltage", "feed_drop")
# which of its openings fall to crank and key-off depends on when these are taken to be
UNTRUE["pulsed_trigger"] = (*SLOTS, "relay_chatter")
CASES.update({name: Case(faulty(name), differs, untrue=UNTRUE.get(name, ())) for name, differs in FAULT_CASES.items()})


@dataclass(frozen=True)
class Run:
    """A case that was run: the simulated log without its samples, when it begins, and the result from its files."""

    sim: Simulation
    begins_s: float
    result: Result


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Run]:
    """Case name -> its run, each made once."""
    done: dict[str, Run] = {}
    folder = tmp_path_factory.mktemp("verdicts")

    def run(name: str) -> Run:
        if name not in done:
            case = CASES[name]
            sim = case.make()
            log, plan = write_files(sim, folder, "a", case.form)
            plan.write_text(plan_toml_of(sim.install, case.limits), encoding="utf-8")
            # the samples are no longer needed, and those of all cases together are large
            result = Result.model_validate_json(benchlog.check(log, plan=plan).to_json())
            begins_s = float(sim.frame["time_s"].iloc[0])
            done[name] = Run(replace(sim, frame=sim.frame.iloc[:0].copy(), over={}), begins_s, result)
        return done[name]

    return run


def figures_of(run: Run, case: Case) -> list[tuple[str, float, float, float]]:
    """Check id, measured value, its uncertainty and the truth, wherever there are all three."""
    return [
        (check.id, check.measured, check.uncertainty, true)
        for check in run.result.checks
        for true in [run.sim.truth.values[check.id]]
        if check.measured is not None and check.uncertainty is not None and true is not None
        if check.id not in case.untrue
    ]


def wrong(result: Result, differs: Mapping[str, str]) -> list[str]:
    """Each verdict that is not the expected one, with its reason."""
    expected = {**GOOD, **differs}
    return [
        f"{check.id}: {check.verdict}, expected {' or '.join(WORDS[x] for x in expected[check.id])}: {check.because}"
        for check in result.checks
        if check.verdict not in [WORDS[x] for x in expected[check.id]]
    ]


@pytest.mark.parametrize("name", CASES)
def test_verdicts_are_those_of_the_truth(runs: Callable[[str], Run], name: str):
    """Each check ends as what was simulated demands."""
    run = runs(name)

    assert wrong(run.result, CASES[name].differs) == []


@pytest.mark.parametrize("name", CASES)
def test_table_agrees_with_the_simulated_truth(runs: Callable[[str], Run], name: str):
    """The tables above contradict no true value: P lies within its limit, F outside or is never measured."""
    case, run = CASES[name], runs(name)
    contradicted = []
    for check in run.result.checks:
        letters, true = {**GOOD, **case.differs}[check.id], run.sim.truth.values[check.id]
        if true is None or check.limit is None or check.id in case.untrue or check.id == "feed_in_crank":
            continue
        low, high = check.limit.min, check.limit.max
        conforms = (low is None or true >= low) and (high is None or true <= high)
        if ("P" in letters and not conforms) or ("F" in letters and conforms):
            contradicted.append(f"{check.id}: {letters}, but the truth is {true:g} {check.unit}")

    assert contradicted == []


@pytest.mark.parametrize("name", CASES)
def test_measured_values_lie_near_the_truth(runs: Callable[[str], Run], name: str):
    """No measured value lies further from the truth than one and a half times its uncertainty."""
    off = [
        f"{check_id}: {value:g} ± {u:g}, the truth is {true:g}"
        for check_id, value, u, true in figures_of(runs(name), CASES[name])
        if abs(value - true) > 1.5 * u + 1e-9
    ]

    assert off == []


def test_uncertainty_covers_the_truth(runs: Callable[[str], Run]):
    """Over all cases the expanded uncertainty, k = 2, covers at least 95 % of the true values."""
    within = [
        abs(value - true) <= u + 1e-9
        for name, case in CASES.items()
        for _, value, u, true in figures_of(runs(name), case)
    ]

    assert len(within) > 400
    assert np.mean(within) >= 0.95


@pytest.mark.parametrize("name", CASES)
def test_every_check_stands_once(runs: Callable[[str], Run], name: str):
    """A result holds every check once, in a fixed order, each planned slot with its own."""
    run = runs(name)

    assert [check.id for check in run.result.checks] == list(GOOD)


@pytest.mark.parametrize("name", CASES)
def test_result_fits_its_schema(runs: Callable[[str], Run], name: str):
    """The JSON is what ``benchlog schema result`` describes, and its figures agree with each other."""
    import json

    data = json.loads(runs(name).result.to_json())
    verdicts = [check["verdict"] for check in data["checks"]]
    counts = {word: verdicts.count(word) for word in WORDS.values()}
    planned = len(verdicts) - counts["not planned"]

    assert list(Draft202012Validator(schema_of("result")).iter_errors(data)) == []
    assert {key.replace("_", " "): n for key, n in data["score"].items() if key not in ("percent", "closest")} == counts
    assert data["score"]["percent"] == pytest.approx(100 * counts["pass"] / planned, abs=0.051)
    open_ = counts["not proven"] + counts["not seen"]
    assert data["verdict"] == ("fail" if counts["fail"] else "not proven" if open_ else "pass")


@pytest.mark.parametrize("name", CASES)
def test_key_events_are_those_simulated(runs: Callable[[str], Run], name: str):
    """Each turn of the key inside the log is found, at its time by the log's own clock, and no other."""
    case, run = CASES[name], runs(name)
    starts_s = case.form.start / 1e6 if case.form else 0.0
    if run.sim.spec.rate_hz < 5 or name == "only a battery":
        slack_s = 1.5  # as far apart as the samples, or guessed from the current
    else:
        slack_s = 0.15 if run.sim.spec.rate_hz < 50 else 0.02
    if name in ("slow_trigger_decay", "pulsed_trigger"):
        slack_s = 0.25  # the trigger passes half of its level only then, or went down with a pulse before
    true = [event for event in run.sim.truth.key_events if event[0] > run.begins_s]
    true_s = [starts_s + time_s for time_s, _ in true]

    assert [event.to for event in run.result.key_events] == [to for _, to in true]
    assert [event.time_s for event in run.result.key_events] == pytest.approx(true_s, abs=slack_s)


def test_every_fault_of_the_stand_in_is_in_the_table():
    """A new fault needs its expected verdicts."""
    assert set(FAULT_CASES) == set(FAULTS)


def test_relay_that_never_opens_has_no_time(runs: Callable[[str], Run]):
    """A drop-out that never came is a failure without a figure."""
    check = runs("relay that latches").result.check("relay_drop_out")

    assert (check.verdict, check.measured, check.uncertainty) == ("fail", None, None)


@pytest.mark.parametrize("name", ["no accuracy stated", "10 Hz", "cut short", "bypassed drain shunt", "key cycles"])
def test_open_checks_say_why(runs: Callable[[str], Run], name: str):
    """Each check left open gives a reason of its own, as one sentence."""
    checks = [c for c in runs(name).result.checks if c.verdict in ("not proven", "not seen")]

    assert checks
    assert [c.id for c in checks if len(c.because) < 25 or not c.because.endswith(".")] == []


def test_slow_logger_says_what_rate_would_do(runs: Callable[[str], Run]):
    """A relay time that 10 samples a second cannot prove names the rate that would."""
    because = runs("10 Hz").result.check("relay_drop_out").because

    assert "samples a second" in because


def test_cut_short_says_how_much_longer(runs: Callable[[str], Run]):
    """A key-off that is too short names the seconds that are missing."""
    because = runs("cut short").result.check("off_state_drain").because

    assert "longer with the key off" in because


# ---- logs that are damaged or lie


def test_bad_rows_change_no_verdict(tmp_path: Path):
    """A few unreadable rows are left out and reported with their count and first line."""
    sim = acceptance()
    _, plan = write_files(sim, tmp_path)
    lines = write_damaged(sim, tmp_path / "a.csv", lines=40)

    result = benchlog.check(tmp_path / "a.csv", plan=plan)
    told = [note for note in result.notes if note.line is not None]

    assert wrong(result, {}) == []
    assert told
    assert min(note.line for note in told if note.line) in lines
    assert any(char.isdigit() for note in told for char in note.text)


def test_reversed_shunt_is_refused(tmp_path: Path):
    """Voltage and current that rise together over load steps are no measurement."""
    log, plan = write_files(scenarios.reversed_shunt(), tmp_path)

    with pytest.raises(BadLog, match=r"a\.csv: battery_a and battery_v rise together.*reversed"):
        benchlog.check(log, plan=plan)


@pytest.mark.parametrize("seed", range(1, 7))
def test_bypassed_shunt_never_passes(tmp_path: Path, seed: int):
    """A low-range shunt that the current passes by proves no drain, whatever its offset."""
    sim = scenarios._log(
        script=acceptance_script(settle_s=200.0), spec=fast_logger(100).changed("drain_a", bypassed=True), seed=seed
    )
    log, plan = write_files(sim, tmp_path)

    assert benchlog.check(log, plan=plan).check("off_state_drain").verdict == "not proven"


# ---- several logs


def slow_with(drain_a: float, name: str = "slow stand-in logger", offset_ma: float = 0.01) -> Simulation:
    """Half an hour with the key off, on a logger whose drain channel reads ``offset_ma`` too high."""
    drawn = {"drain_a": DrawnErrors(1.0, offset_ma)}
    spec = replace(slow_logger(5.0), name=name)
    return simulate(SimulatedInstall(drain_a=drain_a), parked_script(0.5), spec, np.random.default_rng(4), drawn=drawn)


def test_each_check_comes_from_the_log_that_proves_it(tmp_path: Path):
    """A slow log proves the drain, a fast one cut short the rest; each check names its log."""
    fast, plan = write_files(acceptance(settle_s=20.0), tmp_path, "fast")
    slow, _ = write_files(parked(0.0006), tmp_path, "slow")

    result = benchlog.check([fast, slow], plan=plan)
    other = benchlog.check([slow, fast], plan=plan)
    logs = {check.id: check.log for check in result.checks}

    assert wrong(result, {"settle_time": "U"}) == []
    assert [check.verdict for check in other.checks] == [check.verdict for check in result.checks]
    assert {id_ for id_, log in logs.items() if log == "slow.csv"} >= {"off_state_drain", "feed_off_voltage"}
    assert {logs[id_] for id_ in (*UNDER_LOAD, *ENGINE, "relay_pull_in", "relay_drop_out")} == {"fast.csv"}
    assert {event.log for event in result.key_events} == {"fast.csv"}


def test_failure_in_one_of_several_logs_fails(tmp_path: Path):
    """A drain too high overnight is not outweighed by a good one in the fast log."""
    fast, plan = write_files(acceptance(), tmp_path, "fast")
    slow, _ = write_files(parked(0.0015), tmp_path, "slow")

    result = benchlog.check([fast, slow], plan=plan)

    assert wrong(result, {"off_state_drain": "F"}) == []
    assert result.check("off_state_drain").log == "slow.csv"


@pytest.mark.parametrize(("now_ma", "letters"), [(0.55, "P"), (0.65, "P"), (0.75, "F"), (0.9, "F")])
def test_added_drain_is_the_difference(tmp_path: Path, now_ma: float, letters: str):
    """The drain less that of the log from before the install, against 0.2 mA; one logger's offset cancels."""
    after, plan = write_files(slow_with(now_ma / 1000), tmp_path, "after")
    before, _ = write_files(slow_with(0.0005), tmp_path, "before")

    result = benchlog.check(after, plan=plan, before=before)
    added, drain = result.check("added_drain"), result.check("off_state_drain")

    assert added.uncertainty is not None
    assert drain.uncertainty is not None
    assert added.verdict == WORDS[letters]
    assert added.measured == pytest.approx(now_ma - 0.5, abs=added.uncertainty)
    assert added.uncertainty < 0.5 * drain.uncertainty


def test_two_loggers_do_not_share_an_offset(tmp_path: Path):
    """With another logger for the log before, 0.18 mA of 0.2 is not proven, for its offset does not cancel."""
    after, plan = write_files(slow_with(0.00068), tmp_path, "after")
    same, _ = write_files(slow_with(0.0005), tmp_path, "same")
    other, _ = write_files(slow_with(0.0005, "another logger"), tmp_path, "other")

    one = benchlog.check(after, plan=plan, before=same).check("added_drain")
    two = benchlog.check(after, plan=plan, before=other).check("added_drain")

    assert one.uncertainty is not None
    assert two.uncertainty is not None
    assert (one.verdict, two.verdict) == ("pass", "not proven")
    assert two.uncertainty > 2 * one.uncertainty


def test_everything_together_passes(samples: Samples):
    """A fast log, a slow one and one from before the install prove every check of a good install."""
    result = benchlog.check([samples.log, samples.slow], plan=samples.plan, before=samples.before)

    assert wrong(result, {"added_drain": "P"}) == []
    assert (result.verdict, result.score.percent) == ("pass", 100.0)


# ---- what the plan leaves out


def test_plan_without_limits_plans_nothing_but_what_follows(tmp_path: Path, samples: Samples):
    """Without limits, those of the wires and circuits and the relay's chatter are left; the rest is not planned."""
    bare = plan_toml_of(SimulatedInstall(), dict.fromkeys(LIMITS))
    plan = tmp_path / "bare.toml"
    plan.write_text(bare, encoding="utf-8")

    result = benchlog.check(samples.log, plan=plan)
    judged = [check.id for check in result.checks if check.verdict != "not planned"]

    assert judged == [*FUSES, "relay_chatter", "feed_drop", "ground_lift", *SLOTS]
    assert result.verdict == "pass"
    assert list(GOOD) == [check.id for check in result.checks]


def test_plan_of_two_tables_judges_nothing(samples: Samples):
    """The least plan has no slot and no limit; every check is not planned, and nothing is proven."""
    plan = {"install": {"bike": "Larch"}, "battery": {"chemistry": "agm", "capacity_ah": 11.2}}

    result = benchlog.check(samples.log, plan=plan)

    assert {check.verdict for check in result.checks} == {"not planned"}
    assert [check.id for check in result.checks] == [id_ for id_ in GOOD if id_ not in (*SLOTS, *FUSES[1:])]
    assert result.verdict == "not proven"
    assert result.score.percent is None


def test_frame_is_the_table_of_checks(samples: Samples):
    """``to_frame`` gives one row a check, in order."""
    result = benchlog.check(samples.log, plan=samples.plan)

    assert result.to_frame()["id"].tolist() == list(GOOD)
