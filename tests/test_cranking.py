"""The starter's turns, the lowest held voltage and the feed's loss, on signals whose truth is known."""

import numpy as np
import pytest

from benchlog.analysis.coarse import coarse
from benchlog.analysis.crank_level import held_minimum, longest_loss, until_recovery, widest_gap_s, without_noise
from benchlog.analysis.cranking import find_cranks, line_ohm
from benchlog.core.trace import Trace
from benchlog.log.overview import OverviewBuilder

START_S, STOP_S, END_S = 10.0, 11.5, 20.0
EMF_V, KEY_ON_A = 12.7, 4.0


def _starter_a(t, peak_a=250.0, run_a=90.0, ripple_a=25.0, strokes_hz=8.0):
    """Inrush that fades in 60 ms, then the strokes of the engine."""
    turning = (t >= START_S) & (t < STOP_S)
    since = t - START_S
    return np.where(
        turning,
        run_a + (peak_a - run_a) * np.exp(-since / 0.06) + ripple_a * np.sin(2 * np.pi * strokes_hz * since),
        0.0,
    )


def _found(amps, ohm=0.015, rate_hz=200.0, shown_a=None, over=None, after_v=0.0, key_on_s=()):
    """Cranks in a log of a battery that gives ``amps``; ``shown_a`` is what its channel reads, None for no channel."""
    t = np.arange(len(amps)) / rate_hz
    rng = np.random.default_rng(1)
    volts = EMF_V - ohm * amps + np.where(t > STOP_S, after_v, 0.0) + rng.normal(0, 0.01, len(t))
    values = {"battery_v": volts} | ({} if shown_a is None else {"battery_a": shown_a})
    builder = OverviewBuilder(values)
    builder.add(Trace(t, values, over or {}))
    return find_cranks(coarse(builder.finish(), 0.0, t[-1], 0.05), key_on_s)


def _times(rate_hz=200.0):
    return np.arange(0, END_S, 1 / rate_hz)


def test_crank_is_found_with_its_times_and_the_levels_before():
    """One turn of 1.5 s; before it 4 A and the voltage under them."""
    amps = KEY_ON_A + _starter_a(_times())

    (crank,) = _found(amps, shown_a=amps, after_v=1.5)

    assert crank.from_s == pytest.approx(START_S, abs=0.06)
    assert crank.to_s == pytest.approx(STOP_S, abs=0.11)
    assert crank.before_v == pytest.approx(EMF_V - 0.015 * KEY_ON_A, abs=0.02)
    assert crank.before_a == pytest.approx(KEY_ON_A, abs=0.01)


@pytest.mark.parametrize("rate_hz", [10.0, 20.0, 100.0, 1000.0])
def test_crank_does_not_hang_on_the_rate(rate_hz):
    """Ten to a thousand samples a second show the same turn of the starter."""
    amps = KEY_ON_A + _starter_a(_times(rate_hz))

    (crank,) = _found(amps, rate_hz=rate_hz, shown_a=amps)

    assert crank.from_s == pytest.approx(START_S, abs=0.06 + 1 / rate_hz)
    assert crank.to_s == pytest.approx(STOP_S, abs=0.11 + 2 / rate_hz)


def test_crank_without_a_current_channel():
    """A deep, short dip alone is a starter."""
    (crank,) = _found(KEY_ON_A + _starter_a(_times()))

    assert crank.from_s == pytest.approx(START_S, abs=0.06)
    assert np.isnan(crank.before_a)


def test_crank_past_a_bypassed_shunt():
    """The starter's cable does not pass the shunt: the channel shows the 4 A as before."""
    t = _times()

    (crank,) = _found(KEY_ON_A + _starter_a(t), shown_a=np.full(len(t), KEY_ON_A))

    assert crank.before_a == pytest.approx(KEY_ON_A)


def test_crank_that_overflows_the_shunt():
    """Samples over range while it turns are no reason to miss it."""
    amps = KEY_ON_A + _starter_a(_times())
    over = amps > 50

    (crank,) = _found(amps, shown_a=np.where(over, np.nan, amps), over={"battery_a": over})

    assert crank.from_s == pytest.approx(START_S, abs=0.06)
    assert crank.before_a == pytest.approx(KEY_ON_A)


def test_weak_battery_that_recovers_slowly_is_one_crank():
    """80 mΩ, deep dip with strong strokes: the ripple does not cut it into pieces."""
    amps = KEY_ON_A + _starter_a(_times(), peak_a=90, run_a=60, ripple_a=30)

    (crank,) = _found(amps, ohm=0.08, shown_a=amps)

    assert crank.to_s - crank.from_s == pytest.approx(1.5, abs=0.15)


def test_pause_between_two_strokes_does_not_end_a_crank():
    """A single cylinder at 3 strokes a second: past each the starter draws nothing for a tenth of a second."""
    t = _times()
    amps = KEY_ON_A + np.maximum(_starter_a(t, run_a=45, ripple_a=90, strokes_hz=3.0), 0.0)

    (crank,) = _found(amps, ohm=0.03, shown_a=amps)

    assert crank.from_s == pytest.approx(START_S, abs=0.06)
    assert crank.to_s == pytest.approx(STOP_S, abs=0.2)


def test_pulse_of_40_ms_is_no_crank():
    """150 A into empty capacitors: as deep as a starter, gone at once, with and without a current channel."""
    t = _times(1000.0)
    amps = KEY_ON_A + np.where((t >= 10) & (t < 10.04), 150.0, 0.0)

    assert _found(amps, rate_hz=1000.0, shown_a=amps) == []
    assert _found(amps, rate_hz=1000.0) == []


def test_two_tries_are_two_cranks():
    """The starter turns again after 4 s."""
    t = _times()
    amps = KEY_ON_A + _starter_a(t) + np.roll(_starter_a(t), round(5.5 * 200))

    got = _found(amps, shown_a=amps)

    assert [crank.from_s for crank in got] == pytest.approx([10.0, 15.5], abs=0.06)


@pytest.mark.parametrize("ohm", [0.015, 0.06, 0.12])
def test_load_that_comes_and_goes_is_no_crank(ohm):
    """A 12 A load for 3 s on a weak battery dips the voltage by more than a volt: its current tells."""
    t = _times()
    amps = KEY_ON_A + np.where((t > 10) & (t < 13), 12.0, 0.0)

    assert _found(amps, ohm=ohm, shown_a=amps) == []


def test_load_step_that_stays_is_no_crank():
    """A dip that never recovers is a load, with and without a current channel."""
    amps = KEY_ON_A + np.where(_times() > 10, 30.0, 0.0)

    assert _found(amps, ohm=0.1, shown_a=amps) == []
    assert _found(amps, ohm=0.1) == []


def test_inrush_is_no_crank():
    """60 A into cold lamps and capacitors, gone in 60 ms, on a weak battery."""
    t = _times(1000.0)
    amps = KEY_ON_A + np.where(t > 10, 8.0 + 52.0 * np.exp(-(t - 10) / 0.02), 0.0)

    assert _found(amps, ohm=0.05, rate_hz=1000.0, shown_a=amps) == []
    assert _found(amps, ohm=0.05, rate_hz=1000.0) == []


@pytest.mark.parametrize(("rise_s", "count"), [(9.9, 0), (10.05, 0), (9.5, 1), (10.5, 1), (5.0, 1)])
def test_inrush_as_a_line_comes_up_is_no_crank(rise_s, count):
    """80 A that fade in 0.5 s look like a starter, unless a line came up less than 0.3 s before."""
    t = _times()
    amps = KEY_ON_A + np.where(t > 10, 8.0 + 72.0 * np.exp(-(t - 10) / 0.15), 0.0)

    assert len(_found(amps, ohm=0.02, shown_a=amps, key_on_s=[rise_s])) == count


@pytest.mark.parametrize(("before_a", "key_on_s", "count"), [(0.001, (), 0), (0.001, (5.0,), 1), (0.5, (), 1)])
def test_current_from_nothing_is_the_key_where_no_line_shows_it(before_a, key_on_s, count):
    """Without a switched line, what begins from no current at all is the key being turned on."""
    amps = before_a + _starter_a(_times())

    assert len(_found(amps, shown_a=amps, key_on_s=key_on_s)) == count


def test_shallow_dip_without_current_channel_is_no_crank():
    """1.2 V may be a load; 1.8 V for a second is a starter."""
    t = _times()
    dip = np.where((t > 10) & (t < 11), 1.0, 0.0)

    assert _found(12.0 * dip, ohm=0.1) == []
    assert len(_found(18.0 * dip, ohm=0.1)) == 1


def test_shallow_dip_past_the_shunt_is_no_crank():
    """A dip of 1.2 V with no current in it is not enough for a bypassed starter."""
    t = _times()
    dip = np.where((t > 10) & (t < 11), 1.0, 0.0)

    assert _found(12.0 * dip, ohm=0.1, shown_a=np.zeros(len(t))) == []
    assert len(_found(18.0 * dip, ohm=0.1, shown_a=np.zeros(len(t)))) == 1


def test_dip_of_half_a_minute_is_no_crank():
    """No starter turns for 25 s."""
    t = np.arange(0, 60, 0.005)
    long, short = (KEY_ON_A + np.where((t > 10) & (t < to_s), 100.0, 0.0) for to_s in (35, 25))

    assert _found(long, shown_a=long) == []
    assert len(_found(short, shown_a=short)) == 1


def test_calm_log_or_no_voltage_has_no_cranks():
    """Nothing dips, or nothing shows it."""
    builder = OverviewBuilder(["battery_a"])
    builder.add(Trace(np.arange(100.0), {"battery_a": np.full(100, 90.0)}, {}))
    table = coarse(builder.finish(), 0.0, 99.0, 0.05)

    assert _found(np.full(4000, KEY_ON_A)) == []
    assert _found(np.full(3, KEY_ON_A)) == []
    assert find_cranks(table) == []


def _by_current(amps, rate_hz=200.0, over=None, key_on_s=()):
    """Cranks in a log of the battery's current alone."""
    t = np.arange(len(amps)) / rate_hz
    builder = OverviewBuilder(["battery_a"])
    builder.add(Trace(t, {"battery_a": amps}, over or {}))
    return find_cranks(coarse(builder.finish(), 0.0, t[-1], 0.05), key_on_s)


@pytest.mark.parametrize("rate_hz", [10.0, 100.0, 1000.0])
def test_crank_by_current_alone(rate_hz):
    """No voltage is logged: 90 A for 1.5 s out of 4 A."""
    (crank,) = _by_current(KEY_ON_A + _starter_a(_times(rate_hz)), rate_hz)

    assert crank.from_s == pytest.approx(START_S, abs=0.06 + 1 / rate_hz)
    assert crank.to_s == pytest.approx(STOP_S, abs=0.11 + 2 / rate_hz)
    assert (crank.before_a, np.isnan(crank.before_v)) == (pytest.approx(KEY_ON_A), True)


def test_crank_by_current_alone_beyond_the_range():
    """Over range from its first to its last sample."""
    amps = KEY_ON_A + _starter_a(_times())
    over = amps > 40

    (crank,) = _by_current(np.where(over, np.nan, amps), over={"battery_a": over})

    assert crank.from_s == pytest.approx(START_S, abs=0.06)


def test_strokes_of_a_single_are_one_crank_by_current():
    """3 strokes a second, next to nothing between them: one crank, not five that are too short."""
    amps = KEY_ON_A + np.maximum(_starter_a(_times(), run_a=45, ripple_a=90, strokes_hz=3.0), 0.0)

    (crank,) = _by_current(amps)

    assert crank.to_s - crank.from_s == pytest.approx(1.5, abs=0.35)


def test_two_tries_are_two_cranks_by_current():
    """4 s apart; the second has the same level before it."""
    starter = _starter_a(_times())

    got = _by_current(KEY_ON_A + starter + np.roll(starter, round(2.0 * 200)))

    assert [crank.from_s for crank in got] == pytest.approx([10.0, 12.0], abs=0.06)
    assert [crank.before_a for crank in got] == pytest.approx([KEY_ON_A] * 2)


@pytest.mark.parametrize("case", ["load", "pulse", "key", "line", "stays", "alternator"])
def test_no_starter_by_current(case):
    """15 A of load, 60 ms of inrush, current from nothing, current as a line rises, a load that stays, charging."""
    t = _times()
    starter = _starter_a(t)
    amps = {
        "load": KEY_ON_A + np.where((t > 10) & (t < 13), 15.0, 0.0),
        "pulse": KEY_ON_A + np.where((t > 10) & (t < 10.06), 90.0, 0.0),
        "key": 0.001 + starter,
        "line": KEY_ON_A + starter,
        "stays": KEY_ON_A + np.where(t > 10, 30.0, 0.0),
        "alternator": np.where(t > 10, -30.0, KEY_ON_A),
    }[case]

    assert _by_current(amps, key_on_s=[9.9] if case == "line" else ()) == []


def _after_a_crank(amps, ohm, slow_ohm, tau_s=6.0, rate_hz=200.0):
    """The voltage of a battery that recovers slowly: a second resistance comes within 1 s and goes within ``tau_s``."""
    slow, volts = 0.0, np.empty(len(amps))
    for n, now_a in enumerate(amps):
        goal = slow_ohm * max(now_a - 20.0, 0.0)
        slow += (goal - slow) / rate_hz / (1.0 if goal > slow else tau_s)
        volts[n] = EMF_V - ohm * now_a - slow
    return volts


@pytest.mark.parametrize("with_current", [True, False])
@pytest.mark.parametrize("rate_hz", [10, 100])
def test_cranks_on_a_cold_battery_are_told_apart_before_it_recovers(with_current, rate_hz):
    """Three tries of 3 s, 2 s apart, on a battery that takes 6 s to come back."""
    t = _times(rate_hz)
    turns = [(4.0, 7.0), (9.0, 12.0), (14.0, 17.0)]
    amps = KEY_ON_A + sum(np.where((t >= a) & (t < b), 110 + 20 * np.sin(2 * np.pi * 7 * t), 0.0) for a, b in turns)
    values = {"battery_v": _after_a_crank(amps, 0.02, 0.012, rate_hz=rate_hz)}
    values |= {"battery_a": amps} if with_current else {}
    builder = OverviewBuilder(values)
    builder.add(Trace(t, values, {}))

    got = find_cranks(coarse(builder.finish(), 0.0, t[-1], 0.05))

    assert [crank.from_s for crank in got] == pytest.approx([4.0, 9.0, 14.0], abs=0.11)
    assert [crank.to_s for crank in got] == pytest.approx([7.0, 12.0, 17.0], abs=0.25)


def test_key_loads_and_crank_on_a_weak_battery_without_a_pause_to_recover():
    """Key and loads take 2 V for good, the starter 2 V more: the crank begins with the starter, not with the key."""
    t = _times()
    amps = np.where(t > 4, 10.0, 0.0) + np.where((t > START_S) & (t < STOP_S), 40.0, 0.0)

    (crank,) = _found(amps, ohm=0.1, shown_a=amps, key_on_s=[4.0])

    assert crank.from_s == pytest.approx(START_S, abs=0.06)
    assert crank.before_a == pytest.approx(10.0, abs=0.1)


@pytest.mark.parametrize(("marked_s", "count"), [((9.0,), 1), ((), 0), ((3.0,), 0)])
def test_little_current_is_a_starters_where_a_mark_bears_it_out(marked_s, count):
    """14 A more for 1.5 s on a dead battery may be a load; a mark beside it says what it was."""
    t = _times()
    amps = KEY_ON_A + np.where((t > START_S) & (t < STOP_S), 14.0, 0.0)
    builder = OverviewBuilder(["battery_v", "battery_a"])
    builder.add(Trace(t, {"battery_v": 12.0 - 0.15 * amps, "battery_a": amps}, {}))

    assert len(find_cranks(coarse(builder.finish(), 0.0, END_S, 0.05), (), marked_s)) == count


@pytest.mark.parametrize("sign", ["line", "engine"])
def test_little_current_is_a_starters_where_the_bike_bears_it_out(sign):
    """The trigger is cut while it turns, or the engine charges just after it."""
    t = _times()
    turning = (t > START_S) & (t < STOP_S)
    amps = KEY_ON_A + np.where(turning, 14.0, 0.0)
    values = {"battery_v": 12.0 - 0.15 * amps, "battery_a": amps}
    if sign == "line":
        values["trigger_v"] = np.where(turning, 0.0, 11.0)
    else:
        values["battery_v"] = np.where(t > STOP_S + 0.5, 14.2, values["battery_v"])
    builder = OverviewBuilder(values)
    builder.add(Trace(t, values, {}))

    (crank,) = find_cranks(coarse(builder.finish(), 0.0, END_S, 0.05))

    assert crank.from_s == pytest.approx(START_S, abs=0.06)


def test_crank_lasts_as_long_as_it_cuts_the_trigger():
    """A dead battery: its loads are cut too, so the dip fades after 0.3 s, yet the starter hums for 1.5 s."""
    t = _times()
    turning = (t > START_S) & (t < STOP_S)
    amps = np.where(turning, np.where(t < START_S + 0.3, 26.0, 16.0), 18.0)
    values = {"battery_v": 13.0 - 0.15 * amps, "battery_a": amps, "trigger_v": np.where(turning, 0.0, 10.0)}
    builder = OverviewBuilder(values)
    builder.add(Trace(t, values, {}))

    (crank,) = find_cranks(coarse(builder.finish(), 0.0, END_S, 0.05))

    assert crank.to_s == pytest.approx(STOP_S, abs=0.11)


@pytest.mark.parametrize("with_current", [True, False])
def test_engine_that_stumbles_is_not_cranked(with_current):
    """The alternator lets go for 1.5 s: 24 A into the battery become 8 A out of it, 14.4 V become 12.3 V."""
    t = _times()
    stumbles = (t > START_S) & (t < STOP_S)
    values = {"battery_v": np.where(stumbles, 12.3, 14.4)}
    values |= {"battery_a": np.where(stumbles, 8.0, -24.0)} if with_current else {}
    builder = OverviewBuilder(values)
    builder.add(Trace(t, values, {}))

    assert find_cranks(coarse(builder.finish(), 0.0, END_S, 0.05)) == []


def test_load_with_a_long_inrush_is_no_crank():
    """60 A for 0.2 s, then 7 A that stay: a motor that starts."""
    t = _times()
    amps = KEY_ON_A + np.where(t > 10, 7.0 + 55.0 * np.exp(-np.maximum(t - 10, 0) / 0.12), 0.0)

    assert _found(amps, ohm=0.025, shown_a=amps) == []


def test_logger_that_goes_down_in_the_crank_still_shows_one():
    """Rows are lost from 0.15 s after its begin to 0.4 s after its end."""
    t = _times()
    amps = KEY_ON_A + _starter_a(t)
    keep = (t < START_S + 0.15) | (t > STOP_S + 0.4)
    builder = OverviewBuilder(["battery_v", "battery_a"])
    builder.add(Trace(t[keep], {"battery_v": (EMF_V - 0.015 * amps)[keep], "battery_a": amps[keep]}, {}))

    (crank,) = find_cranks(coarse(builder.finish(), 0.0, END_S, 0.05))

    assert crank.from_s == pytest.approx(START_S, abs=0.06)
    assert crank.to_s >= STOP_S + 0.4


def test_crank_shows_the_batterys_own_line():
    """15 mΩ, and half as much again for what comes on within seconds."""
    t = _times()
    amps = KEY_ON_A + _starter_a(t)
    builder = OverviewBuilder(["battery_v", "battery_a"])
    builder.add(Trace(t, {"battery_v": EMF_V - 0.015 * amps, "battery_a": amps}, {}))
    table = coarse(builder.finish(), 0.0, END_S, 0.05)

    (crank,) = find_cranks(table)

    assert line_ohm(table, crank) == pytest.approx(1.5 * 0.015, rel=0.02)


@pytest.mark.parametrize("rate_hz", [1000, 2000, 10_000])
@pytest.mark.parametrize("noise_v", [0.03, 0.1])
def test_noise_hardly_moves_the_held_minimum(rate_hz, noise_v):
    """Strokes whose lowest 10 ms are known, under white noise: within twice what is left of it, 38 of 40 times.

    Samples as they are, without the median, lie up to 1.4 standard deviations above at 10 kHz.
    """
    t = np.arange(0, 1.0, 1 / rate_hz)
    clean = 10.5 - 0.6 * np.sin(2 * np.pi * 8 * t)
    truth = held_minimum(Trace(t, {"battery_v": clean}, {})).level
    off = []
    for seed in range(40):
        noisy = clean + np.random.default_rng(seed).normal(0, noise_v, len(t))
        trace, left = without_noise(Trace(t, {"battery_v": noisy}, {}), "battery_v", 0.0025)
        held = held_minimum(trace)
        u = np.hypot(left, held.half_width / np.sqrt(3))
        off.append(abs(held.level - truth) / (2 * u))

    assert sum(share <= 1 for share in off) >= 38


def test_spikes_do_not_lift_the_held_minimum():
    """A spike of 2 V in every hundredth sample at 10 kHz: each 10 ms hold one, and the level is found all the same."""
    t = np.arange(0, 0.5, 1e-4)
    x = np.where((t > 0.1) & (t < 0.4), 9.0, 12.0)
    spiky = x + np.where(np.arange(len(t)) % 100 == 37, 2.0, 0.0)

    trace, _ = without_noise(Trace(t, {"battery_v": spiky}, {}), "battery_v", 0.0025)

    assert held_minimum(trace).level == pytest.approx(9.0)


def test_bounce_of_the_starters_contact_is_no_end_of_the_dip():
    """6 V for 5 ms, up for 2 ms as the contact bounces, 7 V for 30 ms, then 9.5 V: 7 V were held for 10 ms."""
    t = np.arange(0, 0.5, 1e-3)
    x = np.interp(t, [0.1, 0.1001], [12.0, 9.5])
    x[(t > 0.0995) & (t < 0.1045)] = 6.0
    x[(t > 0.1045) & (t < 0.1065)] = 11.0
    x[(t > 0.1065) & (t < 0.1365)] = 7.0

    trace, _ = without_noise(Trace(t, {"battery_v": x}, {}), "battery_v", 0.0025)

    assert held_minimum(trace).level == pytest.approx(7.0)


def test_inrush_of_loads_that_come_back_is_no_cranking():
    """The feed is lost at 0.1 s and back at 0.5 s, and 45 A of inrush take it lower then."""
    t = np.arange(0, 0.6, 1e-3)
    battery = np.where(t < 0.1, 11.0, np.where(t < 0.5, 9.0, 7.2))
    feed = np.where((t > 0.1) & (t < 0.5), 0.0, 0.97 * battery)

    cut = until_recovery(Trace(t, {"battery_v": battery, "feed_v": feed}, {}))

    assert held_minimum(cut).level == pytest.approx(9.0)
    for whole in ({"battery_v": battery}, {"battery_v": battery, "feed_v": 0.97 * battery}):
        assert len(until_recovery(Trace(t, whole, {}))) == len(t)


def test_widest_gap_counts_between_valid_samples_and_at_the_ends():
    """1 ms, but 40 ms without a row and 60 ms without a value."""
    t = np.concatenate((np.arange(0, 0.3, 1e-3), np.arange(0.34, 1.0, 1e-3)))
    x = np.full(len(t), 10.0)
    x[(t > 0.6) & (t < 0.66)] = np.nan
    trace = Trace(t, {"battery_v": x}, {})

    assert widest_gap_s(trace, "battery_v", 0.2, 0.5) == pytest.approx(0.041, abs=1e-3)
    assert widest_gap_s(trace, "battery_v", 0.2, 0.8) == pytest.approx(0.061, abs=1.1e-3)
    assert widest_gap_s(trace, "battery_v", 0.7, 0.8) == pytest.approx(0.001, abs=1e-6)
    assert widest_gap_s(trace, "battery_v", 0.61, 0.62) == pytest.approx(0.061, abs=1.1e-3)


def _held_by_sweep(t, x, held_s):
    """Lowest level that the line through the samples stays at or below for so long, by halving the level."""
    low, high = float(x.min()), float(x.max())
    for _ in range(60):
        level = (low + high) / 2
        below = x <= level
        edges = np.flatnonzero(below[1:] != below[:-1])
        instants = t[edges] + (level - x[edges]) / (x[edges + 1] - x[edges]) * (t[edges + 1] - t[edges])
        instants = np.concatenate(([t[0]] if below[0] else [], instants, [t[-1]] if below[-1] else []))
        longest = max((instants[1::2] - instants[::2]), default=0.0)
        low, high = (low, level) if longest >= held_s else (level, high)
    return high


@pytest.mark.parametrize("rate_hz", [250, 300, 500, 950, 1000, 2000, 10_000])
@pytest.mark.parametrize("seed", range(4))
def test_held_minimum_encloses_the_truth_on_dense_signals(rate_hz, seed):
    """A bisection over the level, on the lines between the samples, lies within the stated half-width."""
    rng = np.random.default_rng(seed)
    t = np.arange(0, 0.5, 1 / rate_hz)
    strokes = sum(rng.uniform(0.2, 1) * np.sin(2 * np.pi * f * t + rng.uniform(0, 6)) for f in (7, 18, 45))
    x = 10 + strokes + rng.normal(0, 0.05, len(t))

    got = held_minimum(Trace(t, {"battery_v": x}, {}))
    truth = _held_by_sweep(t, x, 0.010)

    assert got.level - got.half_width - 1e-9 <= truth <= got.level + got.half_width + 1e-9
    assert got.upper == pytest.approx(got.level + got.half_width)
    assert got.half_width < 1000 / rate_hz
    assert got.gap_s == pytest.approx(1 / rate_hz)


@pytest.mark.parametrize("seed", range(20))
def test_held_minimum_encloses_the_truth_on_uneven_steps(seed):
    """Steps of 1 ms ± 30 %, as a logger that is read in a loop gives."""
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.7e-3, 1.3e-3, 500))
    x = 10 + np.cumsum(rng.normal(0, 0.3, len(t)))

    got = held_minimum(Trace(t, {"battery_v": x}, {}))

    assert got.level - got.half_width - 1e-9 <= _held_by_sweep(t, x, 0.010) <= got.level + got.half_width + 1e-9


def test_dip_of_two_samples_4_ms_apart_is_not_sure():
    """250 Hz: the lines to and from two samples at 6 V stay below 10.5 V for 10 ms, so 12 V is not the minimum."""
    t = np.arange(20) * 0.004
    x = np.full(20, 12.0)
    x[10:12] = 6.0

    got = held_minimum(Trace(t, {"battery_v": x}, {}))

    assert _held_by_sweep(t, x, 0.010) == pytest.approx(10.5)
    assert (got.upper, got.level, got.half_width) == (12.0, 9.0, 3.0)


@pytest.mark.parametrize("rate_hz", [100, 400, 1000, 7000])
@pytest.mark.parametrize("seed", range(3))
def test_upper_bound_is_the_lowest_run_one_by_one(rate_hz, seed):
    """Every run of samples that spans 10 ms, in plain loops."""
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.5, 1.5, 200)) / rate_hz
    x = rng.normal(10, 1, 200)
    runs = []
    for first in range(200):
        last = next((n for n in range(first, 200) if t[n] - t[first] >= 0.010 - 1e-8), None)
        if last is not None:
            runs.append((max(x[first : last + 1]), t[first], max(np.diff(t[first : last + 1]))))

    got = held_minimum(Trace(t, {"battery_v": x}, {}))

    assert (got.upper, got.time_s, got.gap_s) == pytest.approx(min(runs))


@pytest.mark.parametrize(("samples", "level"), [(9, 10.0), (11, 6.0)])
def test_dip_counts_once_it_lasts_10_ms(samples, level):
    """Nine samples 1 ms apart do not set the minimum, eleven, which span 10 ms, do; their time is where they begin."""
    t = np.arange(0, 1, 1e-3)
    x = np.where((t >= 0.3) & (t < 0.6), 10.0, 12.0)
    x[(t >= 0.4995) & (t < 0.4995 + samples * 1e-3)] = 6.0

    got = held_minimum(Trace(t, {"battery_v": x}, {}))

    assert got.level == pytest.approx(level)
    assert got.half_width == pytest.approx(0.0)
    assert got.time_s == pytest.approx(0.5 if samples == 11 else 0.3, abs=1e-9)


def test_v_shaped_dip_by_closed_form():
    """A fall and rise at 100 V/s each is below its bottom + 0.5 V for 10 ms."""
    t = np.arange(0, 0.2, 1e-4)

    got = held_minimum(Trace(t, {"battery_v": 8 + 100 * np.abs(t - 0.1)}, {}))

    assert got.level == pytest.approx(8.5, abs=got.half_width + 1e-9)
    assert got.half_width <= 0.011


def test_held_minimum_follows_scale_and_shift():
    """Another unit, zero and clock give the same stretch."""
    rng = np.random.default_rng(7)
    t = np.arange(0, 0.3, 1e-3)
    x = 10 + np.cumsum(rng.normal(0, 0.1, len(t)))

    plain = held_minimum(Trace(t, {"battery_v": x}, {}))
    changed = held_minimum(Trace(t + 50, {"feed_v": 3 * x + 1}, {}), "feed_v")

    assert changed.level == pytest.approx(3 * plain.level + 1)
    assert changed.half_width == pytest.approx(3 * plain.half_width)
    assert changed.time_s == pytest.approx(plain.time_s + 50)


def test_slow_log_gives_two_neighbours_and_their_step():
    """Samples 100 ms apart: the lower of two neighbours' maxima, an upper bound alone, and how far they lie apart."""
    x = np.array([12.0, 12.0, 9.0, 10.0, 12.0, 12.0])

    got = held_minimum(Trace(np.arange(6) * 0.1, {"battery_v": x}, {}))

    assert (got.upper, got.level) == (10.0, 10.0)
    assert got.time_s == pytest.approx(0.2)
    assert got.gap_s == pytest.approx(0.1)


def test_held_minimum_skips_missing_samples_and_tells_the_gap():
    """A gap in the lowest stretch shows as its widest step."""
    t = np.arange(0, 0.2, 1e-3)
    x = np.where((t > 0.0995) & (t < 0.1205), 9.0, 12.0)
    x[105:109] = np.nan

    got = held_minimum(Trace(t, {"battery_v": x}, {}))

    assert got.level == 9.0
    assert got.gap_s == pytest.approx(0.005)


@pytest.mark.parametrize("x", [[], [9.0], [9.0, np.nan], [9.0] * 9])
def test_held_minimum_needs_10_ms_of_samples(x):
    """One sample lasts no time, nine last 8 ms."""
    assert held_minimum(Trace(np.arange(len(x)) * 1e-3, {"battery_v": np.array(x)}, {})) is None


def _loss(t, feed, battery=12.0):
    return longest_loss(Trace(t, {"feed_v": feed, "battery_v": np.broadcast_to(battery, t.shape)}, {}))


def test_feed_loss_by_closed_form():
    """Linear fall and rise over 20 ms each, 100 ms apart at half height: 100 ms, begun at 0.21 s."""
    t = np.arange(0, 1, 0.003)
    feed = np.interp(t, [0.2, 0.22, 0.3, 0.32], [12.0, 0.0, 0.0, 12.0])

    lost_s, from_s, width_s = _loss(t, feed)

    assert lost_s == pytest.approx(0.1, abs=1e-3)
    assert from_s == pytest.approx(0.21, abs=1e-3)
    assert width_s == pytest.approx(0.003)


@pytest.mark.parametrize("seed", range(6))
def test_feed_loss_equals_a_fine_walk(seed):
    """The ratio drawn a thousand times as fine, counted point by point, on uneven time stamps."""
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.5e-3, 2e-3, 120))
    battery = 9 + rng.uniform(-1, 1, 120)
    ratio = np.clip(0.5 + np.cumsum(rng.normal(0, 0.1, 120)), 0.02, 0.98)
    fine = np.linspace(t[0], t[-1], 120_000)
    below = np.interp(fine, t, ratio) < 0.5
    edges = np.flatnonzero(np.diff(np.concatenate(([0], below.astype(int), [0]))))
    expected = max((edges[1::2] - edges[::2]), default=0) * (fine[1] - fine[0])

    lost_s, _, _ = _loss(t, ratio * battery, battery)

    assert lost_s == pytest.approx(expected, abs=4e-6)


def test_falling_battery_is_no_feed_loss():
    """The feed follows the battery down to 5 V: it holds."""
    t = np.arange(0, 1, 1e-3)
    battery = np.where((t > 0.3) & (t < 0.6), 5.0, 12.5)

    assert _loss(t, 0.97 * battery, battery)[0] == 0.0
    assert _loss(t, 0.97 * battery, battery)[2] == pytest.approx(1e-3)


def test_longest_of_several_losses_counts():
    """20 ms and 50 ms: the second."""
    t = np.arange(0, 1, 1e-3)
    feed = np.where(((t > 0.1) & (t < 0.12)) | ((t > 0.5) & (t < 0.55)), 0.0, 12.0)

    lost_s, from_s, _ = _loss(t, feed)

    assert lost_s == pytest.approx(0.05, abs=0.002)
    assert from_s == pytest.approx(0.5, abs=0.001)


def test_loss_at_the_ends_counts_as_far_as_it_is_seen():
    """Dead from the first sample, or to the last, or throughout."""
    t = np.arange(0, 1.0005, 1e-3)

    assert _loss(t, np.where(t < 0.2, 0.0, 12.0))[:2] == pytest.approx((0.2, 0.0), abs=0.001)
    assert _loss(t, np.where(t > 0.7, 0.0, 12.0))[:2] == pytest.approx((0.3, 0.7), abs=0.001)
    assert _loss(t, np.zeros(len(t)))[0] == pytest.approx(1.0)


def test_loss_skips_missing_samples():
    """A sample that one of the two lacks tells nothing; the wider step shows in the width."""
    t = np.arange(0, 1, 1e-3)
    feed = np.where((t > 0.4995) & (t < 0.55), 0.0, 12.0)
    feed[495:500] = np.nan

    lost_s, from_s, width_s = _loss(t, feed)

    assert from_s == pytest.approx(0.497, abs=1e-6)
    assert lost_s == pytest.approx(0.0525, abs=0.001)
    assert width_s == pytest.approx((0.006 + 0.001) / 2)
