"""Causes from whole logs written by hand, sample by sample: what a logger of two channels, or of four, can name."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
import pytest

import benchlog
from benchlog.verdict.result import Result

PLAN = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "relay": {"coil_a": 0.14, "pull_in_max_ms": 30, "drop_out_max_ms": 60},
    "circuit": [
        {"slot": 1, "device": "vest", "planned_a": 4.0, "fuse_a": 7.5},
        {"slot": 2, "device": "lamp", "planned_a": 2.0, "fuse_a": 3},
    ],
    "limits": {"off_state_drain_ma": 60, "settle_max_s": 60, "resting_min_v": 12.2},
}
KEY_ON, SLOT_1, SLOT_2, KEY_OFF, END = 20.0, 26.0, 32.0, 44.0, 130.0
#: Before each circuit is switched off by hand, where it is.
OFF_1, OFF_2 = 40.0, 42.0
ERRORS = {
    "battery_v": (0.05, 0.005, 0.001),
    "battery_a": (0.2, 0.005, 0.001),
    "trigger_v": (0.05, 0.01, 0.005),
    "feed_v": (0.05, 0.01, 0.005),
}


def during(t: np.ndarray, from_s: float, to_s: float = END) -> np.ndarray:
    """1 from one time to another, else 0."""
    return ((t >= from_s) & (t < to_s)).astype(float)


def circuits(t: np.ndarray, until_1: float = KEY_OFF, until_2: float = KEY_OFF) -> np.ndarray:
    """What both circuits draw that are switched on one after the other, A."""
    return 4.0 * during(t, SLOT_1, until_1) + 2.0 * during(t, SLOT_2, until_2)


def logged(
    amps: np.ndarray, hz: float, lines: dict[str, np.ndarray] | None = None, switched_off: bool = False
) -> pd.DataFrame:
    """A log: the battery's current on top of 5 A of the bike with the key on, and whatever else is measured, V."""
    t = np.arange(len(amps)) / hz
    rng = np.random.default_rng(7)
    total = 0.001 + 5.0 * during(t, KEY_ON, KEY_OFF) + amps
    frame = pd.DataFrame({"time_s": t, "battery_v": 12.8 - 0.02 * total + rng.normal(0, 0.001, len(t))})
    frame["battery_a"] = np.round(total + rng.normal(0, 0.001, len(t)), 3)
    for role, volts in (lines or {}).items():
        frame[role] = volts + rng.normal(0, 0.003, len(t))
    marks = {KEY_ON: "key on", SLOT_1: "slot 1 on", SLOT_2: "slot 2 on", KEY_OFF: "key off"}
    marks |= {OFF_1: "slot 1 off", OFF_2: "slot 2 off"} if switched_off else {}
    frame["mark"] = ""
    for at_s, text in marks.items():
        frame.loc[int(np.searchsorted(t, at_s - 1e-9)), "mark"] = text
    return frame


def checked(frame: pd.DataFrame, errors: Mapping[str, tuple[float, float, float]] = ERRORS) -> Result:
    """The result for one log."""
    channels = [
        {"column": role, "role": role, "gain_error_pct": gain, "offset_error": offset, "resolution": step}
        for role, (gain, offset, step) in errors.items()
        if role in frame
    ]
    logger = {"logger": {"name": "two clips"}, "time": {"column": "time_s"}, "channel": channels}
    logger["channel"].append({"column": "mark", "role": "mark"})
    return benchlog.check(frame, plan=PLAN, logger=logger)


def named(frame: pd.DataFrame) -> set[str]:
    """The causes of one log."""
    return {cause.id for cause in checked(frame).causes}


T = np.arange(int(END * 10)) / 10
DEAD_ON = {"coil_open", "feed_open", "ground_open", "trigger_dead"}


def test_good_install_names_nothing():
    """On two channels, with the circuits left on or switched off by hand."""
    assert named(logged(circuits(T), 10)) == set()
    assert named(logged(circuits(T, OFF_1, OFF_2), 10, switched_off=True)) == set()


def test_no_step_after_any_mark_is_a_dead_feed():
    """Nothing draws with the key on, nor with it off though left switched on: four faults, named alike."""
    result = checked(logged(0 * T, 10))

    assert {cause.id for cause in result.causes} == DEAD_ON
    assert len({cause.fit for cause in result.causes}) == 1


def test_flashers_on_a_dead_feed_are_no_pulsed_trigger():
    """The bike's own 3.5 A flash at 1.5 Hz all the time that the key is on."""
    flash = 3.5 * ((T * 1.5) % 1 < 0.5) * during(T, KEY_ON + 1.0, KEY_OFF)

    assert "pulsed_trigger" not in named(logged(flash, 10))


def test_circuits_that_come_in_pulses_are_no_dead_feed():
    """The feed opens and closes three times in two seconds."""
    pulses = (T * 1.5) % 1 < 0.55

    causes = named(logged(circuits(T) * pulses, 10))

    assert not causes & DEAD_ON


def test_circuits_that_stay_on_hang_on_the_contact_and_with_more_on_the_coil():
    """The same 6 A before and after the key-off is the contact; 0.14 A of a coil and 0.5 A of lamps beside it a coil.

    Nothing flows before the key-on.
    """
    held = circuits(T, END, END) + 0.64 * during(T, KEY_OFF)

    assert named(logged(circuits(T, END, END), 10)) == {"welded_contact"}
    assert named(logged(held, 10)) == {"backfed_coil"}


def test_coil_that_the_logger_cannot_see_is_not_told_from_the_contact():
    """A channel that is good to 2 % says nothing of 0.14 A beside 6 A."""
    coarse = {**ERRORS, "battery_a": (2.0, 0.02, 0.002)}

    assert {cause.id for cause in checked(logged(circuits(T, END, END), 10), coarse).causes} == {
        "backfed_coil",
        "welded_contact",
    }


def test_coil_that_stays_on_alone_is_told_by_its_current():
    """Circuits switched off by hand first, and 0.14 A left: fed back, or never switched where it flowed before."""
    fed_back = circuits(T, OFF_1, OFF_2) + 0.14 * during(T, KEY_ON)
    always = circuits(T, OFF_1, OFF_2) + 0.14

    assert named(logged(fed_back, 10, switched_off=True)) == {"backfed_coil"}
    assert named(logged(always, 10, switched_off=True)) == {"trigger_always_live"}


def test_lamps_on_a_line_that_is_always_live_look_like_a_device_fed_around_the_relay():
    """0.9 A before and after is more than the coil: both are named."""
    frame = logged(circuits(T, OFF_1, OFF_2) + 0.9, 10, switched_off=True)

    assert named(frame) == {"trigger_always_live", "unswitched_device"}


def test_steady_drain_that_is_no_coil_is_a_device_fed_around_the_relay():
    """80 mA before and after."""
    assert named(logged(circuits(T) + 0.08, 10)) == {"unswitched_device"}


def test_charger_left_on_is_named_though_no_check_fails():
    """0.4 A into the battery with the key off."""
    result = checked(logged(circuits(T) - 0.4, 10))

    assert [check.id for check in result.checks if check.verdict == "fail"] == []
    assert [cause.id for cause in result.causes] == ["charging_while_off"]


def test_short_capture_of_a_key_on_names_nothing():
    """Two seconds of trigger and feed that come up and stay up are no suspicion."""
    t = np.arange(2000) / 1000
    frame = pd.DataFrame({"time_s": t, "battery_v": 12.6 + 0 * t, "battery_a": 5.0 * (t > 0.5)})
    frame["trigger_v"], frame["feed_v"] = 12.4 * (t > 0.5), 12.5 * (t > 0.512)
    frame["mark"] = ""

    result = checked(frame)

    assert result.causes == []
    assert not [note for note in result.notes if "possible" in note.text]


def lines(hz: float, pull_s: float, drop_s: float, fall_s: float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Time, trigger and feed, V: the contact follows by these times, the trigger falls with this time constant."""
    t = np.arange(int(END * hz)) / hz
    total = 5.0 * during(t, KEY_ON, KEY_OFF) + circuits(t)
    supply = 12.8 - 0.02 * total
    up = during(t, KEY_ON, KEY_OFF)
    after = np.exp(-np.maximum(t - KEY_OFF, 0.0) / fall_s) * (t >= KEY_OFF) if fall_s else 0.0 * t
    trigger = (supply - 0.2) * np.maximum(up, after)
    feed = (supply - 0.015 * circuits(t)) * during(t, KEY_ON + pull_s, KEY_OFF + drop_s)
    return t, trigger, feed


@pytest.mark.parametrize(("hz", "shift_s"), [(1000.0, 0.0), (100.0, 0.0), (100.0, 0.004)])
def test_clips_that_are_changed_over_are_named(hz, shift_s):
    """The "feed" moves 12 and 18 ms before the "trigger", which alone sinks with the load."""
    t, trigger, feed = lines(hz, 0.012 + shift_s, 0.018 + shift_s)

    assert named(logged(circuits(t), hz, {"trigger_v": feed, "feed_v": trigger})) == {"clips_swapped"}
    assert named(logged(circuits(t), hz, {"trigger_v": trigger, "feed_v": feed})) == set()


def test_clips_are_told_by_the_fall_where_the_lead_is_shorter_than_a_sample():
    """The contact follows between two samples: only that the "trigger" sinks with the load tells."""
    t, trigger, feed = lines(100, 0.0, 0.0)

    assert named(logged(circuits(t), 100, {"trigger_v": feed, "feed_v": trigger})) == {"clips_swapped"}
    assert named(logged(circuits(t), 100, {"trigger_v": trigger, "feed_v": feed})) == set()


def test_slow_fall_shows_that_the_key_did_not_bounce():
    """88 ms at 100 Hz: under a trigger that falls with 60 ms proven, under a steep one the key may have bounced."""
    t, slow, held = lines(100, 0.012, 0.130, fall_s=0.060)
    _, steep, feed = lines(100, 0.012, 0.088)

    assert named(logged(circuits(t), 100, {"trigger_v": slow, "feed_v": held})) == {"slow_trigger_decay"}
    assert named(logged(circuits(t), 100, {"trigger_v": steep, "feed_v": feed})) == set()


def test_late_contact_is_the_relay_or_its_trigger():
    """130 ms after a steep fall is the relay; 130 ms under a trigger that falls with 60 ms is the trigger."""
    t, trigger, feed = lines(1000, 0.012, 0.130)
    _, slow_trigger, _ = lines(1000, 0.012, 0.130, fall_s=0.060)

    assert named(logged(circuits(t), 1000, {"trigger_v": trigger, "feed_v": feed})) == {"slow_relay"}
    assert named(logged(circuits(t), 1000, {"trigger_v": slow_trigger, "feed_v": feed})) == {"slow_trigger_decay"}


@pytest.mark.parametrize("length_s", [0.02, 0.2])
def test_joint_that_opens_is_told_from_a_trigger_that_does(length_s):
    """Eight losses of the feed: with the trigger steady the joint, with the trigger going down first the trigger."""
    t, trigger, feed = lines(1000, 0.012, 0.018)
    gaps = np.zeros(len(t), dtype=bool)
    for at_s in np.arange(33.0, 40.0, 0.9):
        gaps |= (t >= at_s) & (t < at_s + length_s)
    pulsed = (t * 2.0) % 1 < 0.5
    load = circuits(t) * ~gaps

    lost = named(logged(load, 1000, {"trigger_v": trigger, "feed_v": feed * ~gaps}))
    with_trigger = named(
        logged(circuits(t) * pulsed, 1000, {"trigger_v": trigger * pulsed, "feed_v": feed * np.roll(pulsed, 15)})
    )

    assert lost == {"intermittent_feed"}
    assert "pulsed_trigger" in with_trigger
    assert "intermittent_feed" not in with_trigger


@pytest.mark.parametrize("hz", [100.0, 1000.0])
def test_coil_whose_line_gives_way_buzzes_and_is_no_pulsed_trigger(hz):
    """The trigger goes to 1 V while the contact is closed and comes back once it is open, 60 times a second."""
    t, trigger, feed = lines(hz, 0.012, 0.018)
    closed = (t * 61.3) % 1 < 0.5
    keyed = during(t, KEY_ON, KEY_OFF) > 0

    first = checked(
        logged(circuits(t) * closed, hz, {"trigger_v": np.where(closed & keyed, 1.0, trigger), "feed_v": feed * closed})
    ).causes[0]

    assert first.id == "weak_coil_supply"
    assert any("goes down as the contact closes" in text for text in first.evidence)


def test_capacitor_on_the_triggers_line_hides_the_coils_kick():
    """A trigger that falls in 12 ms along no straight logarithm and never below zero leaves coil and feed together."""
    t, trigger, feed = lines(1000, 0.012, 0.018)
    after = np.maximum(t - KEY_OFF, 0.0) / 0.004
    bent = np.where(t >= KEY_OFF, 12.4 * (1 + after) * np.exp(-after), trigger)

    assert named(logged(0 * t, 1000, {"trigger_v": bent, "feed_v": 0 * feed})) == {"coil_open", "feed_open"}


@pytest.mark.parametrize("fall_s", [0.005, 0.060])
def test_trigger_that_nothing_draws_down_has_no_coil(fall_s):
    """It falls as its own capacitance lets it, in a straight logarithm, or for longer than a good line does."""
    t, slow, feed = lines(1000, 0.012, 0.018, fall_s=fall_s)
    _, steep, _ = lines(1000, 0.012, 0.018)

    assert named(logged(0 * t, 1000, {"trigger_v": slow, "feed_v": 0 * feed})) == {"coil_open"}
    assert named(logged(0 * t, 1000, {"trigger_v": steep, "feed_v": 0 * feed})) == {"coil_open"}
