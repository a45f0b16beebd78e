"""What a real bike does beside the test, shown by the stand-in: its mark in the stream, its truth, what check makes."""

import math
import tomllib
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from test_standin_live import drive
from truth_table import canonical_logger

import benchlog
from benchlog.core.trace import Array
from benchlog.standin import (
    BEHAVIOURS,
    FAULTS,
    LIMITS,
    ChannelSpec,
    LiveBike,
    LoggerSpec,
    NoSuchBehaviour,
    Script,
    SimulatedInstall,
    Simulation,
    acceptance_script,
    fast_logger,
    key_cycles,
    live_logger,
    plan_toml_of,
    simulate,
    with_behaviours,
    with_fault,
)
from benchlog.standin.channels import true_values
from benchlog.standin.deeds import as_done
from benchlog.standin.relay import rise_s
from benchlog.standin.timeline import SimulatedTimeline, timeline_of

ROLES = ("battery_v", "battery_a", "drain_a", "key_v", "trigger_v", "feed_v", "ground_v", "feed_a", "slot2_a")
ON_S, CRANK_S, OFF_S = 30.0, 56.0, 83.5  # of the usual acceptance test


def perfect(rate_hz: float) -> LoggerSpec:
    """A logger without errors, noise, steps or range."""
    return LoggerSpec(rate_hz, tuple(ChannelSpec(role, "V" if role.endswith("_v") else "A") for role in ROLES))


def course(*names: str, script: Script | None = None) -> SimulatedTimeline:
    """What the acceptance test makes of the good install with these behaviours."""
    install = with_behaviours(SimulatedInstall(), names)
    return timeline_of(install, as_done(install, script or acceptance_script()))


def values(line: SimulatedTimeline, from_s: float, to_s: float, *roles: str, step_s: float = 1e-3) -> tuple[Array, ...]:
    """Times and true values on a fine grid."""
    time = np.arange(from_s, to_s, step_s)
    true = true_values(line, time, roles)
    return (time, *(true[role] for role in roles))


def more(name: str, from_s: float, to_s: float, step_s: float = 1e-3) -> Array:
    """The battery's current above that of the good install, A."""
    _, with_it = values(course(name), from_s, to_s, "battery_a", step_s=step_s)
    _, without = values(course(), from_s, to_s, "battery_a", step_s=step_s)
    return with_it - without


def changes(up: np.ndarray) -> int:
    """How often a state changes."""
    return int((np.diff(up.astype(int)) != 0).sum())


# The mark in the stream


def test_kill_switch_stops_the_engine_before_the_key():
    """For 4 s before the key-off the battery gives the load, while surface charge holds it above its rest."""
    line = course("kill_switch")
    off_s = line.key.times_s[-1]
    _, volts, amps = values(line, off_s - 2.5, off_s - 0.1, "battery_v", "battery_a")
    _, rest_v = values(course("stall"), OFF_S - 0.2, OFF_S - 0.1, "battery_v")

    assert off_s == OFF_S + 4.0
    assert line.runs == [(CRANK_S + 1.2, OFF_S)]
    assert amps.min() > 13
    assert volts.min() > rest_v.max() + 0.02


def test_a_key_turned_off_without_the_engine_is_off_at_once():
    """The kill switch is for an engine that runs."""
    line = course("kill_switch", script=acceptance_script(crank=False))

    assert line.key.times_s[-1] == OFF_S - 27.5


def test_stall_ends_the_run_by_itself():
    """The engine turns for 9 s after the first start; a second crank is then a run that lasts."""
    live = LiveBike(with_behaviours(SimulatedInstall(), ["stall"]), perfect(100), np.random.default_rng(1))
    first = drive(live, (("key on", 5), ("crank", 20)))
    second = drive(live, (("crank", 60), ("key off", 5)))

    charged_s = (first["battery_a"] < 0).sum() / 100
    assert charged_s == pytest.approx(9.0 + 1.0, abs=1.0)
    assert first["battery_a"].iloc[-1] > 4
    assert (second["battery_a"] < 0).sum() / 100 > 55


def test_pulsed_grips_draw_in_pulses_of_their_mean():
    """Slot 2 switches 1.5 times a second, is up for 60 % of the time, and its mean is its true current."""
    line = course("pulsed_grips")
    _, amps = values(line, ON_S + 10.0, ON_S + 20.0, "slot2_a")

    assert changes(amps > 1.0) == pytest.approx(2 * 1.5 * 10, abs=1)
    assert np.mean(amps > 1.0) == pytest.approx(0.6, abs=0.01)
    assert amps.mean() == pytest.approx(0.93 * 3.05, rel=0.01)
    assert amps.min() == 0.0


def test_key_contact_bounces_for_43_ms():
    """Key line and trigger close four times at the key-on; the contact closes once, and the event is one."""
    line = course("key_bounce")
    _, key_v, trigger_v, feed_v = values(line, ON_S - 0.01, ON_S + 0.2, "key_v", "trigger_v", "feed_v", step_s=1e-4)
    up = np.nonzero(np.diff((key_v > 6).astype(int)) == 1)[0] * 1e-4

    assert changes(key_v > 6) == changes(trigger_v > 6) == 7
    assert up[-1] - up[0] == pytest.approx(0.043, abs=2e-4)
    assert changes(feed_v > 6) <= 1 + len(SimulatedInstall().close_bounce_ms)
    assert simulated("key_bounce").truth.key_events == simulated("").truth.key_events


def test_flashers_blink():
    """3.6 A more, 1.4 times a second, for 9 s."""
    extra = more("flashers", ON_S + 6.0, ON_S + 16.0)

    assert extra.max() == pytest.approx(3.6 * 2.5, rel=0.02)
    assert changes(extra > 1.0) == pytest.approx(2 * 1.4 * 9.0, abs=1)
    assert np.abs(more("flashers", ON_S + 0.1, ON_S + 6.1)).max() < 1e-9


def test_brake_light_comes_and_goes():
    """Three touches of the brake in 17.3 s, and again after that."""
    extra = more("brake_light", ON_S, ON_S + 22.0)

    assert changes(extra > 1.0) == 2 * (3 + 1)
    assert extra[extra > 1.0].min() == pytest.approx(1.8, abs=0.01)


def test_fan_runs_with_the_engine_and_after_the_key():
    """It comes on 6 s after the start, and stays for 25 s after the key-off."""
    run = more("fan", CRANK_S + 1.2 + 8.0, OFF_S - 0.1)
    after = more("fan", OFF_S + 1.3, OFF_S + 30.0)  # the engine has coasted down
    line = course("fan")

    assert line.bike_loads[0].spans(line.end_s) == [(CRANK_S + 1.2 + 6.0, OFF_S)]
    # the alternator carries it
    assert np.abs(run).max() < 0.01
    assert (after > 3.4).sum() * 1e-3 == pytest.approx(25.0 - 1.3, abs=0.01)


def test_fuel_pump_primes_for_three_seconds():
    """3.2 A more for 3 s after the key-on, with a motor's inrush."""
    extra = more("fuel_pump", ON_S - 1.0, ON_S + 4.0)

    assert (extra > 3.0).sum() * 1e-3 == pytest.approx(3.0, abs=0.01)
    assert extra.max() == pytest.approx(3 * 3.2, rel=0.02)


def test_park_light_stays_on_with_the_key_off():
    """0.42 A to the end of the log, and none before the first key-on."""
    _, before = values(course("park_light"), 0.0, ON_S - 0.1, "battery_a")
    _, after = values(course("park_light"), OFF_S + 45.0, OFF_S + 299.0, "battery_a", step_s=0.1)

    assert before.max() == pytest.approx(0.0006)
    assert after == pytest.approx(0.4206)


def test_charger_left_on_holds_the_battery_up():
    """With the key off current flows in and the voltage stands well above rest; that fades with the key on."""
    _, volts, amps = values(course("charger_left_on"), 0.0, ON_S - 0.1, "battery_v", "battery_a")
    _, on_v = values(course("charger_left_on"), ON_S + 23.0, ON_S + 25.0, "battery_v")
    _, good_v = values(course(), ON_S + 23.0, ON_S + 25.0, "battery_v")

    assert amps == pytest.approx(-0.3994)
    assert volts.min() > 12.85 + 0.4
    assert 0.3 < (on_v - good_v).mean() < 0.4


def test_failed_crank_leaves_the_lamps_out():
    """Trigger and feed go with the first press, stay away while the starter rests, and come back with the engine."""
    line = course("failed_crank")
    _, trigger_v, feed_v = values(line, CRANK_S + 1.5, CRANK_S + 5.9, "trigger_v", "feed_v")
    back_s = line.runs[0][0]

    assert len(line.cranks) == 2
    assert back_s == pytest.approx(CRANK_S + 6.0 + 1.2)
    assert trigger_v.max() < 0.1
    assert feed_v.max() < 0.1
    assert values(line, back_s + 0.1, back_s + 0.2, "trigger_v")[1].min() > 12


def test_lamps_that_stay_out_return_with_the_key():
    """Where no engine runs, the key turned off and on again brings the trigger back."""
    live = LiveBike(with_behaviours(SimulatedInstall(), ["failed_crank"]), perfect(100), np.random.default_rng(1))

    got = drive(live, (("key on", 2), ("crank", 3), ("key off", 2), ("key on", 2)))

    assert got["trigger_v"][250:500].max() < 0.1
    assert got["trigger_v"][550:690].max() < 0.1
    assert got["trigger_v"][710:].min() > 12


def test_several_cranks_before_the_engine_fires():
    """Three presses of the starter, four seconds apart; the first two are let go before it fires."""
    line = course("several_cranks")
    time, amps = values(line, CRANK_S - 0.5, CRANK_S + 11.0, "battery_a")
    begins = time[np.nonzero(np.diff((amps > 40).astype(int)) == 1)[0]]

    assert begins == pytest.approx([CRANK_S, CRANK_S + 4.0, CRANK_S + 8.0], abs=0.01)
    assert len(line.runs) == 1


def test_lamp_test_pulses_on_the_dead_trigger():
    """With the key off 12 V stand on the trigger for 1.5 ms every 4 s; the relay stays where it is."""
    install = with_behaviours(SimulatedInstall(), ["lamp_test"])
    _, trigger_v, feed_v, amps = values(course("lamp_test"), 1.0, 29.0, "trigger_v", "feed_v", "battery_a", step_s=1e-4)

    assert changes(trigger_v > 6) == 2 * 7
    assert (trigger_v > 6).sum() * 1e-4 == pytest.approx(7 * 0.0015, rel=0.15)
    assert feed_v.max() < 0.1
    assert amps.max() < install.pull_in_a


def test_lamp_test_is_too_short_for_the_armature():
    """The coil's current needs longer to the level that moves the armature than a pulse lasts."""
    install = with_behaviours(SimulatedInstall(), ["lamp_test"])
    assert install.lamp_test is not None

    assert rise_s(install.pull_in_a, install.coil_a, install.coil_h / install.coil_ohm) > install.lamp_test[1]


def test_sticking_relay_lets_go_late_once():
    """The first key-off's opening comes 0.4 s later than the others'."""
    script = key_cycles(3)
    late, good = (course(*names, script=script) for names in (("sticking_relay",), ()))
    opens = [float(t) for t, closed in zip(late.contact.times_s, late.contact.values[1:], strict=True) if not closed]
    usual = [float(t) for t, closed in zip(good.contact.times_s, good.contact.values[1:], strict=True) if not closed]
    delays = np.round(np.array(opens) - np.array(usual), 6)

    assert set(delays[delays > 0]) == {0.4}
    off_s = script.times("key off")
    assert all(off_s[0] < time < off_s[0] + 0.1 for time, delay in zip(usual, delays, strict=True) if delay)


def test_a_contact_that_sticks_past_the_next_key_on_stays_closed():
    """Turned on again within those 0.4 s, the relay never opens in between, and later as ever."""
    live = LiveBike(with_behaviours(SimulatedInstall(), ["sticking_relay"]), perfect(1000), np.random.default_rng(1))

    got = drive(live, (("key on", 2), ("key off", 0.2), ("key on", 2), ("key off", 1)))

    assert got["feed_v"][100:4190].min() > 12
    assert got["feed_v"][4250:].max() < 0.1


def test_opening_feed_opens_while_running():
    """Three openings within the run, none without the engine, and the trigger stays up."""
    line = course("opening_feed")
    _, feed_v, trigger_v = values(line, CRANK_S + 1.3, OFF_S - 0.1, "feed_v", "trigger_v")
    _, before = values(line, ON_S + 0.1, CRANK_S, "feed_v")

    assert changes(feed_v > 6) == 2 * 3
    assert trigger_v.min() > 12
    assert before.min() > 12


def test_idling_alternator_does_not_charge():
    """For 10 s after the start the battery gives current; revved it takes some."""
    start = CRANK_S + 1.2
    _, idle = values(course("idle_no_charge"), start + 2.0, start + 9.9, "battery_a")
    _, revved = values(course("idle_no_charge"), start + 10.1, OFF_S, "battery_a")

    assert idle.min() > 4
    assert revved.max() < 0


def test_seldom_wakes_once_in_four_minutes():
    """12 mA for 2 s in the whole log of the acceptance test."""
    extra = more("seldom_wakes", 0.0, 383.0, step_s=0.01)

    assert changes(extra > 0.001) == 2
    assert extra.sum() * 0.01 == pytest.approx(0.024, rel=0.01)


def test_a_device_that_wakes_already_wakes_as_it_did():
    """A fault keeps its own wake-ups."""
    bad = with_fault(SimulatedInstall(), "waking_device")

    assert with_behaviours(bad, ["seldom_wakes"]) == bad


def test_no_suppression_kicks_the_trigger_below_ground():
    """At each key-off the trigger lies at -24 V for a millisecond, and nowhere else."""
    line = course("no_suppression", script=key_cycles(2))
    time, trigger_v = values(line, 0.0, 40.0, "trigger_v", step_s=1e-4)
    low = time[trigger_v < -20]

    assert trigger_v.min() == -24.0
    for off_s in line.key.times_s[1::2]:
        assert ((low >= off_s) & (low < off_s + 0.0011)).sum() == pytest.approx(10, abs=1)
    assert len(low) == pytest.approx(20, abs=2)


# Windows


LONGER = (
    ("", 1.0),
    *((f"slot {slot} on", 0.1) for slot in (1, 2, 3, 4)),
    ("key on", 9.0),
    ("crank", 0.4),  # the key ends it
    ("key off", 0.7),
    ("key on", 3.0),
    ("crank", 17.0),
    ("key off", 1.0),  # taken back where the rider's key comes later than the switch
    ("key on", 2.0),
    ("slot 2 off", 0.7),
    ("crank", 5.0),
    ("slot 2 on", 4.0),
    ("engine off", 3.0),
    ("key off", 0.2),
    ("key on", 0.7),
    ("key off", 30.0),
)


@pytest.mark.parametrize(
    ("name", "fault"), [*((name, "") for name in BEHAVIOURS), ("all", ""), ("all", "weak_coil_supply")]
)
def test_windows_are_the_whole_simulation_in_pieces(name, fault):
    """With each behaviour, and with all at once, windows cut anywhere hold what one look at the end finds."""
    good = replace(SimulatedInstall(), awake=((0.35, 0.8), (0.1, 1.9)))
    names = list(BEHAVIOURS) if name == "all" else [name]
    install = with_behaviours(with_fault(good, fault) if fault else good, names)
    live = LiveBike(install, perfect(1000), np.random.default_rng(1))
    steps = [
        # a second crank is refused where the first has made the engine run
        (text, wait_s)
        for text, wait_s in LONGER
        if text != "crank" or wait_s != 5.0 or name not in ("kill_switch", "all")
    ]

    got = drive(live, steps, np.random.default_rng(2))

    time = got["time_s"].to_numpy()
    whole = true_values(timeline_of(install, Script(live.time_s + 1.0, live.remembered)), time, ROLES)
    for role in ROLES:
        np.testing.assert_allclose(got[role], whole[role], atol=1e-9, err_msg=role)


def test_flashers_cost_no_more_after_a_day():
    """A key left on for a day keeps no more blinking than that of its surroundings."""
    install = with_behaviours(SimulatedInstall(), ["flashers", "brake_light"])
    live = LiveBike(install, perfect(0.5), np.random.default_rng(1))
    live.act("key on")
    live.samples(43_200)
    live.samples(60)

    assert live._line is not None
    assert len(live._line.changes_s()) < 1500


def test_several_presses_under_way_can_be_given_up():
    """While they go on another crank is refused; the key turned off ends them, and nothing comes after it."""
    live = LiveBike(with_behaviours(SimulatedInstall(), ["several_cranks"]), perfect(100), np.random.default_rng(1))
    drive(live, (("key on", 2), ("crank", 2)))
    with pytest.raises(benchlog.BenchlogError, match="the starter turns already; wait until the engine runs"):
        live.act("crank")

    after = drive(live, (("key off", 20), ("key on", 20)))

    assert after["battery_a"].max() < 10


def test_key_off_is_answered_with_its_own_time():
    """Where the switch comes first, the answer is when the key is turned, so that its mark is not early."""
    live = LiveBike(with_behaviours(SimulatedInstall(), ["kill_switch"]), perfect(100), np.random.default_rng(1))
    drive(live, (("key on", 2), ("crank", 10)))

    at = live.act("key off")
    got = drive(live, (("", 10),))

    assert at == pytest.approx(12.0 + 4.0, abs=0.02)
    assert got["time_s"][got["key_v"] < 6].iloc[0] == pytest.approx(at, abs=0.02)


# The truth


def test_truth_of_the_drain_counts_tests_and_lamps():
    """The true drain is the mean of a fine reading of the settled stretch, for each behaviour with the key off."""
    for name in ("lamp_test", "seldom_wakes", "park_light", "fan"):
        truth, line = simulated(name).truth, course(name)
        start, stop = truth.settled[-1]
        from_s, to_s = start + 4.0 - start % 4.0, stop - stop % 4.0  # whole periods of the lamps' test
        if name == "lamp_test":
            to_s = from_s + 40.0
        _, amps = values(line, from_s, to_s, "battery_a", step_s=1e-4 if name == "lamp_test" else 0.01)

        assert truth["off_state_drain"] == pytest.approx(amps.mean() * 1e3, rel=0.02), name


def test_truth_of_settling_knows_what_goes_on_with_the_key_off():
    """A fan of 25 s ends before the bike sleeps at 41 s; a park light never ends."""
    assert simulated("fan").truth["settle_time"] == 41.0
    assert simulated("park_light").truth["settle_time"] == math.inf


def test_truth_of_the_relay_is_that_of_the_good_one_but_where_it_sticks():
    """Bounce, pulses and grips leave pull-in, drop-out and chatter as they are; the sticking contact adds its 0.4 s."""
    good = simulated("").truth
    for name in ("key_bounce", "lamp_test", "pulsed_grips", "failed_crank", "kill_switch"):
        truth = simulated(name).truth
        assert truth["relay_pull_in"] == pytest.approx(good["relay_pull_in"], abs=0.3), name
        assert truth["relay_drop_out"] == pytest.approx(good["relay_drop_out"], abs=0.01), name
        assert truth["relay_chatter"] == 0.0, name

    assert simulated("sticking_relay").truth["relay_drop_out"] == pytest.approx(good["relay_drop_out"] + 400, abs=0.01)
    assert simulated("opening_feed").truth["relay_chatter"] == 3.0
    assert simulated("no_suppression").truth["relay_drop_out"] < good["relay_drop_out"]


def test_truth_of_the_feed_while_cranking_lasts_until_it_is_back():
    """Lamps that stay out take the feed from the first press until the engine runs, 7.2 s after it."""
    assert simulated("failed_crank").truth["feed_in_crank"] == pytest.approx(7.2 - 0.02, abs=0.02)


def test_truth_of_charging_is_the_worse_of_idle_and_revs():
    """Idling decides where it charges less, as long as both last for 5 s."""
    truth, good = simulated("idle_no_charge").truth, simulated("").truth

    assert truth["charging_voltage"] < 13 < good["charging_voltage"]
    assert truth["charging_balance"] < 0 < good["charging_balance"]


MOST = {
    "off_state_drain": "off_state_drain_ma",
    "settle_time": "settle_max_s",
    "feed_off_voltage": "feed_off_max_v",
    "relay_pull_in": "pull_in_max_ms",
    "relay_drop_out": "drop_out_max_ms",
    "battery_sag": "battery_sag_max_v",
    "feed_drop": "drop_max_v",
    "ground_lift": "lift_max_v",
    "source_resistance": "source_resistance_max_mohm",
    "charging_voltage": "charging_max_v",
}
LEAST = {
    "resting_voltage": "resting_min_v",
    "crank_minimum": "crank_min_v",
    "charging_voltage": "charging_min_v",
    "charging_balance": "charging_balance_min_a",
}


def broken(truth: dict[str, float | None]) -> set[str]:
    """The checks whose true value lies beyond the usual plan's limits."""
    most = {check for check, key in MOST.items() if (truth[check] or 0.0) > LIMITS[key]}
    least = {check for check, key in LEAST.items() if truth[check] is not None and truth[check] < LIMITS[key]}
    slots = {
        f"slot_{circuit.slot}_current"
        for circuit in SimulatedInstall().circuits
        if abs(truth[f"slot_{circuit.slot}_current"] / circuit.planned_a - 1) > 0.2
    }
    return most | least | slots | ({"relay_chatter"} if truth["relay_chatter"] else set())


# What the check makes of it


_simulated: dict[str, Simulation] = {}


def simulated(name: str) -> Simulation:
    """The acceptance test on a good install with this behaviour ("" for none), marked, through the fast logger."""
    if name not in _simulated:
        install = with_behaviours(SimulatedInstall(), [name] if name else [])
        script = acceptance_script()
        _simulated[name] = simulate(
            install, script, replace(fast_logger(1000), random_phase=False), np.random.default_rng(1)
        )
    return _simulated[name]


@pytest.mark.parametrize("name", BEHAVIOURS)
def test_behaviour_says_which_limits_it_truly_breaks(name):
    """The true values beyond the usual plan's limits are those that the behaviour names."""
    assert broken(dict(simulated(name).truth.values)) == BEHAVIOURS[name].fails


#: Behaviours whose broken limits a single log proves; idling and a load that came on cannot be told apart by one.
PROVEN = ("park_light", "sticking_relay", "opening_feed")


@pytest.mark.parametrize("name", BEHAVIOURS)
def test_check_of_a_good_install_blames_no_behaviour(name):
    """No check fails and no cause is named but what the behaviour truly brings, and that never passes."""
    sim = simulated(name)
    plan = tomllib.loads(plan_toml_of(SimulatedInstall(), {"added_drain_ma": None}))
    result = benchlog.check(sim.frame, plan=plan, logger=canonical_logger(sim.spec))
    verdicts = {check.id: check.verdict for check in result.checks}
    failed = {check for check, verdict in verdicts.items() if verdict == "fail"}

    assert failed == (BEHAVIOURS[name].fails if name in PROVEN else set())
    assert {cause.id for cause in result.causes} <= BEHAVIOURS[name].causes
    assert {verdicts[check] for check in BEHAVIOURS[name].fails} <= {"fail", "not proven"}


def acceptance() -> list[tuple[str, float]]:
    """The acceptance test's order, done by hand on the live bike."""
    each = [(f"slot {slot} on", 10.0 if slot == 4 else 4.0) for slot in (1, 2, 3, 4)]
    return [
        ("zero", 5.0),
        ("zero end", 20.0),
        ("key on", 4.0),
        *each,
        ("crank", 2.5),
        ("running", 30.0),
        ("key off", 200.0),
    ]


@pytest.mark.parametrize("fault", ["feed_resistance", "welded_contact", "slot_dead"])
def test_fault_is_found_among_behaviours(fault):
    """With the flashers, the brake light and a bouncing key beside it, the fault is still the cause named first."""
    install = with_behaviours(with_fault(SimulatedInstall(), fault), ["flashers", "brake_light", "key_bounce"])
    live = LiveBike(install, live_logger(400), np.random.default_rng(1))
    frame: pd.DataFrame = drive(live, acceptance())

    plan = tomllib.loads(plan_toml_of(SimulatedInstall()))
    result = benchlog.check(frame, plan=plan, logger=canonical_logger(live.spec))

    assert result.verdict == "fail"
    assert result.causes[0].id == fault


# Names


def test_unknown_behaviour_is_refused():
    """What is asked, which names there are, and where their meaning stands."""
    with pytest.raises(NoSuchBehaviour, match="behaviour: 'gremlins' is not known; use one of kill_switch, stall"):
        with_behaviours(SimulatedInstall(), ["flashers", "gremlins"])


def test_behaviours_are_no_faults():
    """No name is that of a fault, and each changes the install."""
    assert not set(BEHAVIOURS) & set(FAULTS)
    assert all(with_behaviours(SimulatedInstall(), [name]) != SimulatedInstall() for name in BEHAVIOURS)


def test_install_without_circuits_bears_every_behaviour():
    """A plan without circuits makes a bike that behaves as well."""
    bare = replace(SimulatedInstall(), circuits=())

    assert with_behaviours(bare, BEHAVIOURS).circuits == ()
