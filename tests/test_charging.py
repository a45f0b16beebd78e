"""Charging voltage and balance on bikes that behave like bikes: kill switch, idle, fan, charger, empty battery."""

import numpy as np
import pytest
from engine_logs import Ride, charging, checked, ride, told

from benchlog.analysis.charging import lasting_states, rises_slowly, steadied, whole_cycles, without_pulses
from benchlog.analysis.coarse import coarse
from benchlog.analysis.fed import KEPT_SHARE, fed_a
from benchlog.core.trace import Trace
from benchlog.log.overview import OverviewBuilder

#: Channels left out: the feed's current; all but the battery's; the battery's current.
NO_FEED_A, BATTERY_ALONE = ("feed_a",), ("feed_a", "feed_v", "ground_v", "trigger_v")
NO_CURRENT = ("feed_a", "battery_a")
KILLED_S = 75.0
FAILED = Ride(runs=())


def _truth(frame, from_s=2.0):
    """Mean voltage and current into the battery while the engine truly runs, its first seconds left out."""
    begins = frame.time_s[frame.true_run].iloc[0]
    runs = frame.true_run & (frame.time_s > begins + from_s)
    return frame.true_v[runs].mean(), -frame.true_a[runs].mean()


@pytest.mark.parametrize("without", [(), NO_FEED_A, BATTERY_ALONE])
@pytest.mark.parametrize("stop_s", [90.0, 87.0, KILLED_S])
def test_stopped_seconds_are_no_running(stop_s, without):
    """By the key, or by the kill switch 3 or 15 s before it: the same 14.2 V, and the current of the running engine."""
    frame = ride(Ride(runs=((46.2, stop_s),)))
    true_v, true_a = _truth(frame)

    volts, balance = charging(frame, without)

    assert (volts.verdict, balance.verdict) == ("pass", "pass")
    assert abs(volts.measured - true_v) <= volts.uncertainty
    assert volts.uncertainty < 0.03
    assert abs(balance.measured - true_a) <= balance.uncertainty + 0.05  # the first seconds charge most
    assert volts.to_s <= stop_s + (1.5 if without == BATTERY_ALONE else 0.0)  # the alternator coasts


@pytest.mark.parametrize("without", [(), BATTERY_ALONE, NO_CURRENT])
def test_overcharge_is_proven_although_the_engine_was_killed(without):
    """15.6 V, then 10 s of surface charge before the key-off."""
    volts, _ = charging(ride(Ride(runs=((46.2, 80.0),), regulated_v=15.6)), without)

    assert volts.verdict == "fail"
    assert volts.measured == pytest.approx(15.6, abs=0.02)


@pytest.mark.parametrize("without", [(), NO_FEED_A, BATTERY_ALONE, NO_CURRENT])
@pytest.mark.parametrize(
    "failed",
    [
        FAILED,
        told(FAILED, cut=((45.0, 90.0),)),
        told(FAILED, ohm=0.06, own_a=9.0, cut_a=8.0, cut=((45.0, 90.0),), loads_off_s=46.5),
        told(FAILED, ohm=0.04, cranks=((45, 49), (51, 55), (57, 61)), cut=((45.0, 90.0),)),
    ],
    ids=["nothing cut", "lamps cut", "weak battery, all off", "three tries"],
)
def test_crank_that_fails_shows_no_running(failed, without):
    """Whatever stays out after it, and however far the battery comes back."""
    volts, balance = charging(ride(failed), without)

    assert (volts.verdict, balance.verdict) == ("not seen", "not seen")


def test_start_at_the_third_try_is_one_run():
    """Two tries fail, the third starts the engine: running begins there."""
    frame = ride(Ride(ohm=0.04, cranks=((45, 49), (51, 55), (57, 59)), runs=((59, 90),)))

    result = checked(frame)

    assert result.check("charging_voltage").measured == pytest.approx(14.2, abs=0.01)
    assert result.check("charging_voltage").from_s >= 59
    assert result.check("crank_minimum").verdict == "fail"


@pytest.mark.parametrize("without", [(), NO_FEED_A, BATTERY_ALONE])
@pytest.mark.parametrize("idle_a", [0.0, 6.0])
def test_bike_that_charges_only_when_revved_has_not_charged_at_idle(idle_a, without):
    """20 s of idle, 20 s of revs: the battery gives all or half of the load at idle, and that is judged."""
    frame = ride(Ride(idle_a=idle_a, revved=((65, 85),)))
    idle = (frame.time_s > 50) & (frame.time_s < 64)

    volts, balance = charging(frame, without)

    assert (volts.verdict, balance.verdict) == ("fail", "fail")
    assert volts.measured == pytest.approx(frame.true_v[idle].mean(), abs=0.1)
    assert balance.measured == pytest.approx(-frame.true_a[idle].mean(), abs=0.5)
    assert "in which the battery was not charged" in volts.because
    assert "in which it was" in volts.because


def test_revs_up_and_down_are_one_run_with_two_states():
    """11 A at idle for 14 A of load, revved twice: net discharge at idle is judged, 14.2 V are said."""
    volts, balance = charging(ride(Ride(idle_a=11.0, revved=((52, 60), (70, 80)))))

    assert (volts.verdict, balance.verdict) == ("fail", "fail")
    assert volts.measured < 13.0
    assert "14.1" in volts.because


def test_fan_that_ends_the_charging_proves_nothing():
    """8 A for 10 of 20 s beside an alternator that bears all but the fan: neither a pass nor a failure of the idle."""
    volts, balance = charging(ride(Ride(idle_a=17.0, fan=(50.0, 10.0, 20.0, 8.0))))

    assert (volts.verdict, balance.verdict) == ("not proven", "not proven")
    assert "a load that came on" in volts.because


def test_flashers_leave_the_balance_its_mean():
    """4 A on and off every 0.35 s: the balance is the mean over them."""
    frame = ride(Ride(idle_a=25.0, flasher_a=4.0))

    _, balance = charging(frame)

    assert abs(balance.measured - _truth(frame)[1]) <= balance.uncertainty + 0.05


def test_balance_counts_where_all_loads_were_on():
    """The circuits go off after 70 s: 2 A out of the battery with them, 2.5 A into it without."""
    frame = ride(Ride(idle_a=12.0, loads_off_s=70.0))

    for without in ((), NO_FEED_A):
        _, balance = charging(frame, without)

        assert balance.verdict == "fail"
        assert balance.measured == pytest.approx(-2.0, abs=0.1)
        assert "9.0 A of the planned 9.0 A on" in balance.because


def test_empty_battery_says_nothing_of_the_regulator_while_the_voltage_still_rises():
    """8 A go in, from 13.0 to 13.5 V in 40 s: the mean is low, and what the regulator holds was not reached."""
    flat = Ride(charge_ohm=0.05, surface_v=1.4, emf_v=11.7, idle_a=22, regulated_v=14.0)

    volts, balance = charging(ride(flat))

    assert (volts.verdict, balance.verdict) == ("not proven", "pass")
    assert "still rose" in volts.because


def test_low_regulator_fails_however_well_it_charges():
    """Steady 13.2 V are no rising voltage."""
    volts, _ = charging(ride(Ride(regulated_v=13.2, emf_v=12.4, surface_v=0.1)))

    assert volts.verdict == "fail"
    assert volts.measured == pytest.approx(13.2, abs=0.02)


@pytest.mark.parametrize("without", [(), BATTERY_ALONE])
def test_full_battery_runs_on_next_to_no_current(without):
    """0.1 A at 14.2 V: the key is on and the engine runs until the voltage falls."""
    result = checked(ride(Ride(charge_ohm=6.0, surface_v=0.9, runs=((46.2, KILLED_S),))), without)

    assert [event.to for event in result.key_events] == ["on", "off"]
    assert result.key_events[1].time_s == pytest.approx(90.0, abs=0.3)
    assert result.check("charging_voltage").measured == pytest.approx(14.2, abs=0.01)
    assert result.check("charging_voltage").to_s <= KILLED_S


@pytest.mark.parametrize("without", [(), BATTERY_ALONE])
def test_pushed_engine_runs_without_a_crank(without):
    """Nothing cranks; from 50 s on it charges."""
    result = checked(ride(Ride(cranks=(), runs=((50.0, 90.0),))), without)

    assert result.check("charging_voltage").measured == pytest.approx(14.2, abs=0.01)
    assert result.check("crank_minimum").verdict == "not seen"


def test_log_that_begins_with_the_engine_running():
    """No key-on, no crank: charged from the first sample to the kill switch, the key off later."""
    frame = ride(Ride(cranks=(), runs=((0.0, 80.0),)))
    frame = frame[frame.time_s > 52].reset_index(drop=True)

    volts, _ = charging(frame)

    assert volts.verdict == "pass"
    assert volts.measured == pytest.approx(14.2, abs=0.01)
    assert volts.to_s <= 80.0


@pytest.mark.parametrize("cranks", [(), ((45.0, 46.2),)])
@pytest.mark.parametrize("without", [(), NO_FEED_A, BATTERY_ALONE])
def test_charger_left_on_is_no_alternator(cranks, without):
    """4 A into the battery all along, a crank that fails or none."""
    volts, balance = charging(ride(Ride(cranks=cranks, runs=(), charger_a=4.0, own_a=2.0, loads_off_s=0.0)), without)

    assert (volts.verdict, balance.verdict) == ("not seen", "not seen")


def test_kill_and_restart_are_two_runs():
    """The seconds between them, with surface charge, count for neither."""
    volts, balance = charging(ride(Ride(cranks=((45, 46), (65, 66)), runs=((46, 60), (66, 80)))))

    assert volts.measured == pytest.approx(14.2, abs=0.01)
    assert balance.verdict == "pass"
    assert balance.measured == pytest.approx(2.4, abs=0.2)


def test_restart_that_fails_on_a_surface_charge_is_no_run():
    """13 V before and after the second crank; lamps stay out."""
    frame = ride(Ride(cranks=((45, 46), (65, 66)), runs=((46, 60),), cut=((66, 90),)))

    for without in ((), NO_FEED_A, BATTERY_ALONE):
        volts, _ = charging(frame, without)

        assert volts.measured == pytest.approx(14.2, abs=0.01)
        assert volts.to_s <= 60


@pytest.mark.parametrize("ripple_v", [0.1, 0.4])
@pytest.mark.parametrize("rate_hz", [10, 2, 1])
def test_ripple_that_aliases_does_not_move_the_end(rate_hz, ripple_v):
    """173 Hz sampled at 10, 2 and 1 Hz, killed 5 s before the key-off."""
    frame = ride(Ride(runs=((46.2, 85.0),), ripple_v=ripple_v))

    volts, _ = charging(frame.iloc[:: int(200 / rate_hz)])

    assert volts.to_s <= 85.0
    assert abs(volts.measured - 14.2) <= max(volts.uncertainty, ripple_v / 20)


def test_alternator_that_gives_nothing_is_judged_where_running_is_marked():
    """Without the mark a crank that failed looks the same."""
    dead = Ride(idle_a=0.0)

    unmarked, marked = (charging(ride(told(dead, marks=marks)))[0] for marks in ((), ((48.0, "running"),)))

    assert (unmarked.verdict, marked.verdict) == ("not seen", "fail")


def test_marked_run_ends_with_its_charge_too():
    """Marked at 48 s, killed at 75 s: what the mark begins does not reach to the key-off."""
    volts, _ = charging(ride(Ride(runs=((46.2, KILLED_S),), marks=((48.0, "running"),))))

    assert volts.measured == pytest.approx(14.2, abs=0.01)
    assert volts.to_s <= KILLED_S


def test_crank_with_a_gap_proves_no_minimum():
    """The logger goes down for 0.5 s of the crank: what it held before and after may not be the lowest."""
    frame = ride(Ride())
    whole, cut = frame, frame[(frame.time_s < 45.3) | (frame.time_s > 45.8)]

    passes, open_ = (
        checked(log.reset_index(drop=True), limits={"crank_min_v": 7.0}).check("crank_minimum") for log in (whole, cut)
    )

    assert passes.verdict == "pass"
    assert open_.verdict == "not proven"
    assert "apart can miss the lowest 10 ms" in open_.because


def test_gap_in_one_of_two_cranks_leaves_the_minimum_open():
    """The other crank is whole, yet the hidden one may be lower."""
    frame = ride(Ride(cranks=((45.0, 46.0), (50.0, 51.0)), runs=((51.0, 90.0),)))
    cut = frame[(frame.time_s < 50.3) | (frame.time_s > 50.6)].reset_index(drop=True)

    assert checked(cut, limits={"crank_min_v": 7.0}).check("crank_minimum").verdict == "not proven"


def test_gap_in_the_crank_proves_no_held_feed():
    """A feed that holds before and after 0.3 s without rows may have been lost in them."""
    frame = ride(Ride())
    cut = frame[(frame.time_s < 45.5) | (frame.time_s > 45.8)].reset_index(drop=True)

    held, open_ = (checked(log, limits={"feed_in_crank": "hold"}).check("feed_in_crank") for log in (frame, cut))

    assert (held.verdict, open_.verdict) == ("pass", "not proven")


def test_states_last_five_seconds_or_belong_to_what_is_around_them():
    """12 s of one, 3 s of the other, 10 s of the one, 8 s of the other, a second of the one in it."""
    t = np.arange(0, 34, 0.2)
    flags = (t < 12) | ((t >= 15) & (t < 25)) | ((t >= 29) & (t < 30))

    held, other = lasting_states(flags, np.ones(len(t), dtype=bool), t, t + 0.19)

    assert [bool(held[np.searchsorted(t, at)]) for at in (5, 13, 20, 27, 29.5, 33)] == [
        True,
        False,
        True,
        False,
        False,
        False,
    ]
    assert [bool(other[np.searchsorted(t, at)]) for at in (5, 13, 20, 27, 29.5, 33)] == [
        False,
        False,
        False,
        True,
        True,
        True,
    ]


def test_mean_over_whole_cycles():
    """Four and a half cycles: four of them count; random numbers and one step stay whole."""
    t = np.arange(0, 45, 0.2)
    cycles = np.where((t + 3) % 10 < 4, 5.0, -1.0)
    rng = np.random.default_rng(1)

    part = whole_cycles(cycles + rng.normal(0, 0.05, len(t)))

    assert (part.stop - part.start) % 50 == 0
    assert cycles[part].mean() == pytest.approx(1.4)
    for whole in (rng.normal(0, 1, 200), np.where(t < 20, 0.0, 5.0), np.where(t < 20, 0.0, cycles), t[:5]):
        assert whole_cycles(whole) == slice(0, len(whole))


def test_load_is_told_from_its_pulses_and_its_inrush():
    """6 A pulsed at 1 Hz is on all along; 30 A for 0.4 s are inrush; off for 10 s is off."""
    t = np.arange(0, 40, 0.2)
    load = np.where(t % 1.0 < 0.5, 6.0, 0.0)
    load[(t > 5) & (t < 5.4)] = 30.0
    load[t > 30] = 0.0

    level = without_pulses(load, t)

    assert set(level[t < 28]) == {6.0}
    assert set(level[t > 33]) == {0.0}


def test_median_keeps_edges_and_gaps():
    """Single odd points go, an edge stays where it is, missing points stay missing."""
    t = np.arange(0, 10, 0.2)
    x = np.where(t < 5, 1.0, 2.0)
    odd = x.copy()
    odd[[10, 40]] = 9.0
    odd[20] = np.nan

    got = steadied(odd, t)

    assert np.isnan(got[20])
    assert np.array_equal(np.delete(got, 20), np.delete(x, 20))


@pytest.mark.parametrize(("lasts_s", "slowly"), [(0.0, False), (0.05, False), (0.8, True), (1.5, True)])
@pytest.mark.parametrize("rate_hz", [50, 500])
def test_speed_changes_slowly_and_a_switch_does_not(lasts_s, slowly, rate_hz):
    """8 A at once or over 0.8 s and more, with noise."""
    t = np.arange(-2, 2, 1 / rate_hz)
    x = np.interp(t, [-lasts_s / 2 - 1e-6, lasts_s / 2 + 1e-6], [4.0, -4.0])
    x += np.random.default_rng(3).normal(0, 0.1, len(t))

    assert rises_slowly(Trace(t, {"battery_a": x}, {}), "battery_a", 2.0) is slowly


def test_change_between_samples_a_second_apart_is_not_known_to_be_slow():
    """Nothing lies between them."""
    t = np.arange(-5.0, 6.0)

    assert rises_slowly(Trace(t, {"battery_a": np.where(t < 0, 4.0, -4.0)}, {}), "battery_a", 2.0) is False


def _table(**roles):
    t = np.arange(0, 60, 0.05)
    values = {role: np.broadcast_to(x(t) if callable(x) else x, t.shape).astype(float) for role, x in roles.items()}
    builder = OverviewBuilder(values)
    builder.add(Trace(t, values, {}))
    return coarse(builder.finish(), 0, 60, 0.5)


def _load(t):
    """Three circuits on one by one, one off again at 40 s."""
    return np.where(t > 5, 3.0, 0) + np.where(t > 10, 2.0, 0) + np.where((t > 15) & (t < 40), 4.0, 0)


@pytest.mark.parametrize("witness", ["feed_a", "slots", "drop", "lift"])
def test_load_that_is_surely_on_by_any_witness(witness):
    """Scaled over the first 30 s, engine off, by how drop or lift follow the battery's current; offsets cancel."""
    own = {"battery_a": lambda t: 5.0 + _load(t) - np.where(t > 30, 12.0, 0.0)}
    roles = {
        "feed_a": {"feed_a": _load},
        "slots": {"slot1_a": lambda t: _load(t) / 3, "slot2_a": lambda t: 2 * _load(t) / 3},
        "drop": {"battery_v": 12.5, "feed_v": lambda t: 12.47 - 0.02 * _load(t)},
        "lift": {"ground_v": lambda t: 0.01 + 0.006 * _load(t)},
    }[witness]
    table = _table(**own, **roles)

    got = fed_a(table, 0.0, 30.0)

    steady = np.min(np.abs(table.time_s[:, None] - np.array([5, 10, 15, 30, 40])), axis=1) > 0.5
    assert got[steady] == pytest.approx(KEPT_SHARE * _load(table.time_s)[steady], abs=0.05)


def test_no_witness_or_one_that_does_not_follow_proves_no_load():
    """The battery alone; a feed that was never loaded in steps; a ground that follows something else."""
    current = {"battery_a": lambda t: 5.0 + _load(t)}

    assert fed_a(_table(**current), 0.0, 30.0) is None
    assert fed_a(_table(battery_a=9.0, battery_v=12.5, feed_v=12.3), 0.0, 30.0) is None
    assert fed_a(_table(**current, ground_v=lambda t: 0.05 * np.sin(t)), 0.0, 30.0) is None


def test_dead_feed_carries_nothing():
    """Its distance from the battery is no drop."""
    table = _table(
        battery_a=lambda t: 5.0 + _load(t),
        battery_v=12.5,
        feed_v=lambda t: np.where(t > 50, 0.0, 12.5 - 0.02 * _load(t)),
    )

    got = fed_a(table, 0.0, 30.0)

    assert not (got[table.start_s > 50.5] > 0).any()
