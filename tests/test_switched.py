"""Coarse states of a switched line."""

import numpy as np
import pytest

from benchlog.analysis.coarse import Coarse
from benchlog.analysis.switched import drop_short, hold_state, line_state

STEP_S = 0.05


def _table(volts, role="trigger_v", lows=None):
    """One sample a point, but where ``lows`` are given."""
    x = np.asarray(volts, dtype=float)
    low = x if lows is None else np.asarray(lows, dtype=float)
    t = np.arange(len(x)) * STEP_S
    return Coarse(t, t, {role: x}, {role: low}, {role: x}, {role: np.zeros(len(x), dtype=np.int64)})


def _held_one_by_one(x, lower, upper):
    """The same rule in a plain loop."""
    states, state = [], None
    for value in x:
        state = True if value >= upper else False if value <= lower else state
        states.append(state)
    first = next((s for s in states if s is not None), False)
    return [first if s is None else s for s in states]


def test_line_with_two_levels_moves():
    """Up where the key feeds it, down elsewhere; the levels are those of the line."""
    volts = np.repeat([0.1, 12.4, 0.1], [100, 300, 50]) + np.random.default_rng(1).normal(0, 0.05, 450)

    line = line_state(_table(volts), "trigger_v")

    assert line.role == "trigger_v"
    assert line.moves
    assert list(line.up) == [False] * 100 + [True] * 300 + [False] * 50
    assert (line.levels.low, line.levels.high) == pytest.approx((0.1, 12.4), abs=0.1)


@pytest.mark.parametrize(("volts", "up"), [(12.5, True), (5.1, True), (4.9, False), (0.0, False)])
def test_line_with_one_level_is_up_above_5_v(volts, up):
    """A line that never moves has one state, no levels and no key events."""
    noise = np.random.default_rng(2).normal(0, 0.02, 200)

    line = line_state(_table(volts + noise), "trigger_v")

    assert not line.moves
    assert line.levels is None
    assert list(line.up) == [up] * 200


def test_sag_and_charging_are_no_second_level():
    """A live line that the engine moves by less than 3 V stays up."""
    volts = np.repeat([12.4, 11.6, 14.3], 100)

    line = line_state(_table(volts), "trigger_v")

    assert not line.moves
    assert line.up.all()


def test_swing_of_3_v_is_the_least():
    """A line that moves by 3.2 V has two states, by 2.8 V one."""
    assert line_state(_table(np.repeat([0.0, 3.2], 50)), "trigger_v").moves
    assert not line_state(_table(np.repeat([0.0, 2.8], 50)), "trigger_v").moves


def test_dips_within_points_are_no_state():
    """A line that drops for a few ms in some points has a low level, but is never down for a whole point."""
    volts, lows = np.full(200, 12.0), np.full(200, 12.0)
    lows[50:100], volts[50:100] = 0.0, 11.0

    line = line_state(_table(volts, lows=lows), "trigger_v")

    assert line.levels.low == 0.0
    assert line.up.all()
    assert not line.moves


def test_absent_or_empty_channel_has_no_state():
    """No such channel, or no valid sample in it."""
    table = _table([12.0, 0.0])

    assert line_state(table, "feed_v") is None
    assert line_state(_table([np.nan, np.nan]), "trigger_v") is None


def test_state_does_not_depend_on_voltage_level():
    """A line that loses a third of its voltage switches at the same points."""
    volts = np.repeat([0.0, 12.0, 0.0, 12.0], [40, 60, 20, 30])

    full, low = (line_state(_table(share * volts), "trigger_v") for share in (1.0, 0.67))

    assert list(full.up) == list(low.up)
    assert full.moves
    assert low.moves


@pytest.mark.parametrize("seed", range(6))
def test_hold_state_equals_a_plain_loop(seed):
    """Random values, some missing: above, below, or as before."""
    rng = np.random.default_rng(seed)
    x = np.where(rng.random(300) < 0.1, np.nan, rng.uniform(0, 10, 300))
    x[:3] = 5.0

    assert list(hold_state(x, 4.0, 6.0)) == _held_one_by_one(x, 4.0, 6.0)


def test_hold_state_on_its_bounds_and_undecided():
    """The bounds themselves decide; what never decides is down."""
    assert list(hold_state(np.array([5.0, 6.0, 5.0, 4.0, 5.0]), 4.0, 6.0)) == [True, True, True, False, False]
    assert list(hold_state(np.array([5.0, 5.0]), 4.0, 6.0)) == [False, False]


def test_short_changes_are_dropped_long_ones_kept():
    """A dwell of 40 ms is chatter, one of 60 ms is a state, whichever way it goes."""
    t = np.arange(100) * 0.010
    for state in (True, False):
        up = np.full(100, state)
        up[20:24] = not state
        up[50:56] = not state
        kept = drop_short(up, t, 0.050)

        assert list(np.flatnonzero(kept != state)) == [50, 51, 52, 53, 54, 55]
        assert up[20] != state


def test_changes_that_touch_an_end_are_kept():
    """Nothing tells how long a state lasted that the log cuts off."""
    up = np.array([True] + [False] * 20 + [True])

    assert list(drop_short(up, np.arange(22) * 0.01, 0.050)) == list(up)


def test_burst_of_chatter_is_one_change():
    """Contacts that chatter for 60 ms while closing make one change."""
    t = np.arange(200) * 0.005
    up = np.repeat([False, True, False, True, False, True], [50, 3, 4, 3, 2, 138])

    kept = drop_short(up, t, 0.050)

    assert np.count_nonzero(np.diff(kept)) == 1


def _beside(line, battery):
    """A trigger and the battery, one sample a point."""
    t = np.arange(len(line)) * STEP_S
    values = {"trigger_v": np.asarray(line, dtype=float), "battery_v": np.asarray(battery, dtype=float)}
    return Coarse(t, t, values, values, values, {role: np.zeros(len(t), dtype=np.int64) for role in values})


def test_line_that_goes_with_the_battery_was_never_off():
    """The key on throughout: 12 V, 10.4 V while the starter turns, 14 V as it charges are one state, up."""
    battery = np.repeat([12.2, 10.6, 14.2], [160, 20, 400]) + np.random.default_rng(3).normal(0, 0.02, 580)

    line = line_state(_beside(battery - 0.2, battery), "trigger_v")

    assert line.up.all()
    assert not line.moves
    assert line.levels is None


@pytest.mark.parametrize("share", [0.0, 0.3, 0.6])
def test_line_that_leaves_the_battery_has_two_states(share):
    """Off, or held at a part of the battery by what leaks into it: it is down there."""
    battery = np.full(400, 12.5)
    volts = np.where(np.arange(400) < 200, 12.3, share * 12.5) + np.random.default_rng(3).normal(0, 0.02, 400)

    line = line_state(_beside(volts, battery), "trigger_v")

    assert line.moves
    assert (line.up[:190].all(), line.up[210:].any()) == (True, False)
