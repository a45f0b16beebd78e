"""Whole logs of loads that a bike has beside the test, built from Ohm's law alone: verdicts of circuits and paths."""

import numpy as np
import pandas as pd
import pytest

import benchlog
from benchlog.verdict.result import Result

EMF_V, SOURCE_OHM, FEED_OHM, GROUND_OHM = 12.9, 0.022, 0.016, 0.005
BIKE_A = 6.0
KEY_S, END_S = 8.0, 60.0

PLAN = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "feed": {"fuse_a": 20, "conductor": "4 mm2", "length_m": 1.5, "drop_max_v": 0.30},
    "ground": {"conductor": "4 mm2", "length_m": 1.6, "lift_max_v": 0.10},
    "circuit": [
        {"slot": 1, "device": "lamp", "planned_a": 4.5, "fuse_a": 7.5},
        {"slot": 2, "device": "charger", "planned_a": 1.8, "fuse_a": 3},
        {"slot": 3, "device": "grips", "planned_a": 3.0, "fuse_a": 7.5},
    ],
    "limits": {"source_resistance_max_mohm": 40, "battery_sag_max_v": 0.6},
}
LOGGER = {
    "logger": {"name": "bench logger"},
    "channel": [
        {"column": role, "role": role, "unit": role[-1].upper()} | how
        for role, how in {
            "battery_v": {"gain_error_pct": 0.05, "offset_error": 0.005, "resolution": 0.001},
            "battery_a": {"gain_error_pct": 0.2, "offset_error": 0.02, "resolution": 0.005},
            "trigger_v": {"gain_error_pct": 0.1, "offset_error": 0.01, "resolution": 0.001},
            "feed_v": {"gain_error_pct": 0.05, "offset_error": 0.005, "resolution": 0.001},
            "ground_v": {"gain_error_pct": 0.05, "offset_error": 0.002, "resolution": 0.0005},
        }.items()
    ],
}


def _on(t, amps, *spans):
    """A load that is on over some spans, s."""
    return amps * sum(((t >= a) & (t < b)).astype(float) for a, b in spans)


def _pulsed(t, amps, hz, duty, from_s, to_s=END_S):
    return _on(t, amps, (from_s, to_s)) * (((t - from_s) * hz) % 1 < duty)


def _checked(circuits, bike, marks=(), without=(), rate=100, seed=4) -> Result:
    """One key-on without a start, and its end; circuits and the bike's own further loads as functions of time."""
    t = np.arange(0, END_S + 3.0, 1 / rate)
    key = (t >= KEY_S) & (t < END_S)
    block = np.sum([circuit(t) for circuit in circuits], axis=0) * key
    amps = (BIKE_A + block + np.sum([load(t) for load in bike], axis=0)) * key + 0.001
    volts = EMF_V - SOURCE_OHM * amps
    rng = np.random.default_rng(seed)
    columns = {
        "battery_v": volts,
        "battery_a": amps,
        "trigger_v": np.where(key, volts - 0.1, 0.0),
        "feed_v": np.where(key, volts - FEED_OHM * block, 0.0),
        "ground_v": GROUND_OHM * block,
    }
    steps = {"battery_v": 0.001, "battery_a": 0.005, "trigger_v": 0.001, "feed_v": 0.001, "ground_v": 0.0005}
    frame = pd.DataFrame(
        {"time_s": t}
        | {
            role: np.round((x + rng.normal(0, steps[role], len(t))) / steps[role]) * steps[role]
            for role, x in columns.items()
            if role not in without
        }
    )
    if marks:
        frame["mark"] = ""
        for at, text in marks:
            frame.loc[int(at * rate), "mark"] = text
    logger = LOGGER | {"channel": [channel for channel in LOGGER["channel"] if channel["role"] not in without]}
    return benchlog.check(frame, plan=PLAN, logger=logger)


def _verdicts(result: Result) -> list[str]:
    return [result.check(f"slot_{slot}_current").verdict for slot in (1, 2, 3)]


def lamp(t):
    """Slot 1, as planned."""
    return _on(t, 4.4, (14, END_S))


def charger(t):
    """Slot 2, as planned."""
    return _on(t, 1.8, (22, END_S))


def grips(t):
    """Slot 3, as planned."""
    return _on(t, 3.05, (30, END_S))


def nothing(t):
    """A dead circuit."""
    return 0.0 * t


MARKS = ((14, "slot 1 on"), (22, "slot 2 on"), (30, "slot 3 on"))
BRAKE = [lambda t: _on(t, 1.8, (17, 19), (25, 26.5), (33, 36))]
FLASHER = [lambda t: _pulsed(t, 3.5, 1.4, 0.5, 20.0, 42.0)]
FAN_AND_PUMP = [lambda t: _on(t, 7.0, (18, 27), (38, 46)), lambda t: _on(t, 3.0, (KEY_S, 11))]


BIKES = {"brake": BRAKE, "flasher": FLASHER, "fan and pump": FAN_AND_PUMP, "all": BRAKE + FAN_AND_PUMP}


@pytest.mark.parametrize("bike", BIKES.values(), ids=BIKES)
@pytest.mark.parametrize("marks", [(), MARKS], ids=["unmarked", "marked"])
def test_bikes_own_loads_change_no_verdict_and_no_resistance(bike, marks):
    """Brake light, flasher, fan or pump amid the steps: circuits pass, feed 16 mΩ, return 5 mΩ, source 22 mΩ."""
    result = _checked([lamp, charger, grips], bike, marks)

    assert _verdicts(result) == ["pass"] * 3
    for check_id, true in (
        ("feed_drop", 9.3 * FEED_OHM),
        ("ground_lift", 9.3 * GROUND_OHM),
        ("source_resistance", 22.0),
    ):
        check = result.check(check_id)
        assert check.verdict == "pass"
        assert abs(check.measured - true) <= check.uncertainty
        assert check.measured == pytest.approx(true, rel=0.06)


@pytest.mark.parametrize("marks", [(), MARKS], ids=["unmarked", "marked"])
def test_dead_circuit_is_not_passed_with_the_brake_lights_current(marks):
    """Slot 2 of 1.8 A is dead, and the brake light of 1.8 A is pressed as it should come on."""
    result = _checked([lamp, nothing, grips], [lambda t: _on(t, 1.8, (22.4, 25))], marks)

    assert _verdicts(result) == ["pass", "fail", "pass"]
    assert result.check("slot_2_current").measured == pytest.approx(0.0, abs=0.05)


def test_without_witness_or_mark_a_step_off_the_plan_proves_nothing():
    """A clamp at the battery alone, unmarked: 3 A on the plan and 4.2 A drawn may be any load."""
    result = _checked(
        [lamp, charger, lambda t: _on(t, 4.2, (30, END_S))], [], without=("feed_v", "ground_v", "trigger_v")
    )

    assert result.check("slot_3_current").verdict in ("not proven", "not seen")


def test_unmarked_overload_is_proven_by_feed_and_ground():
    """Slot 3 draws 60 % too much: its step is the fuse block's, and no other circuit's."""
    result = _checked([lamp, charger, lambda t: _on(t, 4.8, (30, END_S))], BRAKE)

    assert _verdicts(result) == ["pass", "pass", "fail"]


@pytest.mark.parametrize("hz", [0.6, 1.5, 2.9, 30.0])
@pytest.mark.parametrize("marks", [(), MARKS], ids=["unmarked", "marked"])
def test_pulsed_grips_pass_with_their_mean(hz, marks):
    """4.9 A at 60 % duty are 2.94 A of 3 A planned; their RMS of 3.8 A stays below 80 % of 7.5 A."""
    result = _checked([lamp, charger, lambda t: _pulsed(t, 4.9, hz, 0.6, 30)], [], marks, rate=500)

    check = result.check("slot_3_current")
    assert check.verdict == "pass"
    assert check.measured == pytest.approx(2.94, abs=0.12)
    assert result.check("slot_1_current").verdict == "pass"


def test_pulsed_circuit_whose_rms_is_too_much_for_its_fuse_fails():
    """14 A at 21.4 % duty are 3 A of 3 A planned, and 6.5 A RMS on a fuse of 7.5 A."""
    result = _checked([lamp, charger, lambda t: _pulsed(t, 14.0, 1.5, 0.214, 30)], [], MARKS, rate=500)

    check = result.check("slot_3_current")
    assert check.verdict == "fail"
    assert "RMS" in check.because


def test_circuit_that_goes_off_and_on_is_no_second_circuit():
    """Slot 1 drops out and comes back, slot 3 of like size is dead: it does not pass with slot 1's return."""
    plan_like = [lambda t: _on(t, 3.1, (14, 24), (40, END_S)), charger, nothing]

    result = _checked(plan_like, [], MARKS)

    assert result.check("slot_3_current").verdict == "fail"


def test_two_circuits_switched_at_once_are_neither_overload_nor_dead():
    """Slots 1 and 3 in one step of 7.5 A."""
    result = _checked([lambda t: _on(t, 4.4, (30, END_S)), charger, grips], [])

    assert result.check("slot_2_current").verdict == "pass"
    assert {result.check(f"slot_{slot}_current").verdict for slot in (1, 3)} == {"not seen"}


def _two(monkeypatch, first, second):
    """The plan with two circuits of these currents, A."""
    planned = [{"slot": n, "device": "lamp", "planned_a": amps, "fuse_a": 7.5} for n, amps in ((1, first), (2, second))]
    monkeypatch.setitem(PLAN, "circuit", planned)


def test_unmarked_circuit_that_fits_no_step_is_dead(monkeypatch):
    """One step of 2.29 A for circuits of 2.5 and 3.5 A: whichever it is, the second draws nothing or too little."""
    _two(monkeypatch, 2.5, 3.5)

    result = _checked([lambda t: _on(t, 2.29, (20, END_S))], [nothing])

    assert result.check("slot_2_current").verdict == "fail"
    assert result.check("slot_1_current").verdict != "fail"
    assert [cause.id for cause in result.causes] == ["slot_dead"]


def test_unmarked_circuit_that_fits_by_neither_step_is_overloaded(monkeypatch):
    """2.86 and 3.54 A for circuits of 2.9 and 1.9 A: the second is overloaded by either, the first perhaps not."""
    _two(monkeypatch, 2.9, 1.9)

    result = _checked([lambda t: _on(t, 2.86, (20, END_S)), lambda t: _on(t, 3.54, (30, END_S))], [nothing])

    assert result.check("slot_2_current").verdict == "fail"
    assert result.check("slot_1_current").verdict == "not proven"
    assert [cause.id for cause in result.causes] == ["slot_overload"]


def test_bus_at_the_feeds_voltage_has_no_return(monkeypatch):
    """12 V on the ground bus with the feed live, and no mark: no load lifts it so far along a wire."""
    t = np.arange(0, END_S, 0.01)
    monkeypatch.setitem(PLAN, "relay", {"pull_in_max_ms": 30})
    key = t >= KEY_S
    volts = EMF_V - SOURCE_OHM * BIKE_A * key
    frame = pd.DataFrame({"time_s": t, "battery_v": volts, "battery_a": BIKE_A * key + 0.001})
    frame["trigger_v"] = np.where(key, volts - 0.1, 0.0)
    frame["feed_v"] = np.where(key, volts, 0.0)
    frame["ground_v"] = np.where(t >= 20, volts - 0.01, 0.0)

    result = benchlog.check(frame, plan=PLAN, logger=LOGGER)

    assert result.check("ground_lift").verdict == "fail"
    assert [cause.id for cause in result.causes] == ["ground_open"]
