"""When the engine runs: by the alternator's share, by the voltage, or not at all."""

import numpy as np
import pytest

from benchlog.analysis.coarse import coarse
from benchlog.analysis.running import EngineOff, find_charged, find_running
from benchlog.core.trace import Trace
from benchlog.log.overview import OverviewBuilder

BEFORE_V, BEFORE_A, SHARE_U = 12.4, 5.0, 0.02
FROM_S, TO_S = 10.0, 60.0


def _found(
    volts=None, amps=None, fed=None, before_v=BEFORE_V, before_a=BEFORE_A, share_u=SHARE_U, rate_hz=20.0, **known
):
    """``volts``, ``amps`` and ``fed``: levels by the second at which they begin, from 0 s to 70 s."""
    t = np.arange(0, 70, 1 / rate_hz)

    def drawn(levels):
        at = np.array(list(levels))
        return np.array(list(levels.values()))[np.searchsorted(at, t + 1e-9, side="right") - 1]

    values = {role: drawn(x) for role, x in (("battery_v", volts), ("battery_a", amps)) if x is not None}
    builder = OverviewBuilder(values)
    builder.add(Trace(t, values, {}))
    table = coarse(builder.finish(), 0.0, t[-1], 0.5)
    on_a = None if fed is None else np.interp(table.time_s, t, drawn(fed))
    before_fed = 0.0 if fed is None else fed[0]
    return find_running(table, FROM_S, TO_S, EngineOff(before_v, before_a, before_fed, **known), share_u, on_a)


STOPPED_V, STOPPED_A = {0: 12.4}, {0: 5.0}


def test_raised_voltage_shows_the_engine():
    """14.2 V from 12 s on, no current channel: running from then to the end of the stretch."""
    got = _found(volts={0: 12.4, 12: 14.2}, before_a=np.nan)

    assert got.how == "voltage"
    assert got.from_s == pytest.approx(12.0, abs=0.5)
    assert got.to_s == TO_S
    assert got.before_v == BEFORE_V


def test_alternator_share_shows_the_engine_where_the_voltage_does_not():
    """More load than the alternator gives: the voltage stays down, the battery gives less than hangs on the feed."""
    got = _found(STOPPED_V, {0: 5.0, 15: 3.0}, fed={0: 4.0})

    assert got.how == "share"
    assert got.from_s == pytest.approx(15.0, abs=0.5)
    assert got.before_a == BEFORE_A


def test_share_alone_is_enough():
    """A log without battery voltage."""
    assert _found(amps={0: 5.0, 15: -2.0}, before_v=np.nan).how == "share"


def test_voltage_names_it_where_both_show():
    """A raised voltage says more than a share."""
    assert _found({0: 12.4, 12: 14.2}, {0: 5.0, 12: -2.0}).how == "voltage"


def test_run_begins_with_the_first_lasting_stretch():
    """Raised for 8 s, below for 4 s, raised again: one run from the first."""
    got = _found(volts={0: 12.4, 12: 14.2, 20: 12.4, 24: 14.2})

    assert got.from_s == pytest.approx(12.0, abs=0.55)
    assert got.to_s == TO_S


def test_nothing_raised_and_no_share_is_no_engine():
    """The starter turned, the engine did not fire."""
    assert _found(STOPPED_V, STOPPED_A) is None
    assert _found(STOPPED_V) is None
    assert _found({0: 12.4, 12: 14.2}, before_v=np.nan, before_a=np.nan) is None


def test_current_into_the_battery_needs_no_level_before():
    """Whatever was before the crank: nothing but an alternator charges."""
    assert _found(amps={0: 5.0, 12: -2.0}, before_v=np.nan, before_a=np.nan).how == "share"


@pytest.mark.parametrize(("after_v", "runs"), [(12.95, True), (12.85, False)])
def test_voltage_must_rise_by_half_a_volt(after_v, runs):
    """0.55 V above the key-on level is an alternator, 0.45 V may be a load that went."""
    assert (_found(volts={0: 12.4, 12: after_v}) is not None) is runs


@pytest.mark.parametrize("after_a", [4.0, 2.0, 0.5])
def test_less_current_alone_is_no_alternator(after_a):
    """Lamps that stay out after a crank that failed leave as little, and the voltage rises for it."""
    assert _found({0: 12.4, 12: 12.8}, {0: 5.0, 12: after_a}) is None
    assert _found({0: 12.4, 12: 12.8}, {0: 5.0, 12: after_a}, fed={0: 0.0}) is None


@pytest.mark.parametrize(("ohm", "runs"), [(0.02, True), (0.09, False)])
def test_voltage_that_the_battery_gains_by_itself_is_no_alternator(ohm, runs):
    """6 A that went off raise a battery of 90 mΩ by 0.54 V on its own line, one of 20 mΩ by 0.12 V."""
    got = _found({0: 12.2, 12: 12.85}, {0: 6.5, 12: 0.2}, before_v=12.2, before_a=6.5, line_ohm=ohm)

    assert (got is not None) is runs


def test_without_a_current_the_voltage_must_pass_all_that_the_battery_showed():
    """Loads that go off give back what they took: 12.8 V at rest, 12.1 V under load, 12.75 V after the crank."""
    assert _found({0: 12.1, 12: 12.75}, before_v=12.1, before_a=np.nan, highest_v=12.8) is None
    assert _found({0: 12.1, 12: 13.2}, before_v=12.1, before_a=np.nan, highest_v=12.8) is not None


@pytest.mark.parametrize(
    ("after_a", "share_u", "runs"),
    [(4.65, 0.02, True), (4.75, 0.02, False), (3.6, 0.5, False), (3.4, 0.5, True)],
)
def test_share_must_lie_above_its_doubt(after_a, share_u, runs):
    """At least 0.3 A below the load that is surely on, and three times the uncertainty of the current."""
    assert (_found(STOPPED_V, {0: 6.0, 12: after_a}, fed={0: 5.0}, share_u=share_u) is not None) is runs


@pytest.mark.parametrize("stop_s", [45, 52, 58])
@pytest.mark.parametrize("after_v", [13.3, 13.0])
def test_run_ends_where_the_current_turns_however_high_the_voltage_stays(stop_s, after_v):
    """Kill switch: 2.5 A into the battery become 5 A out of it, surface charge holds 13 V until the key-off."""
    got = _found({0: 12.4, 12: 14.2, stop_s: after_v}, {0: 5.0, 12: -2.5, stop_s: 5.0})

    assert stop_s - 1.1 <= got.to_s <= stop_s
    assert got.dark == ()


@pytest.mark.parametrize("amps", [{0: 5.0}, {0: 5.0, 12: -0.1, 50: 5.0}])
def test_run_ends_where_the_voltage_falls_for_good(amps):
    """No current, or a full battery that takes next to none: 14.2 V to 13.2 V and less is where it stopped."""
    volts = {0: 12.4, 12: 14.2} | {50 + n: 13.2 - 0.03 * n for n in range(20)}

    assert _found(volts, amps if len(amps) > 1 else None).to_s == pytest.approx(49.5, abs=0.6)


def test_regulator_that_overshoots_has_not_stopped():
    """14.8 V for 4 s, then 14.2 V throughout, with a full battery."""
    assert _found({0: 12.4, 12: 14.8, 16: 14.2}, {0: 5.0, 12: -0.1}).to_s == TO_S


def test_idle_without_charge_between_crank_and_revs_belongs_to_the_run():
    """Nothing shows for 15 s, then it charges without another crank: the engine turned since the first."""
    got = _found({0: 12.4, 25: 14.2}, {0: 5.0, 25: -2.5})

    assert (got.from_s, got.to_s, got.dark) == (FROM_S, TO_S, ())


def test_idle_between_two_stretches_of_charging_belongs_to_the_run():
    """Charged, 15 s not, charged: one run."""
    got = _found({0: 12.4, 12: 14.2, 25: 12.5, 40: 14.2}, {0: 5.0, 12: -2.5, 25: 4.0, 40: -2.5})

    assert (got.from_s, got.to_s) == (pytest.approx(12.0, abs=0.5), TO_S)


@pytest.mark.parametrize(("tail_a", "dark"), [(5.0, False), (3.0, True)])
def test_what_follows_the_last_proof_is_open_unless_the_whole_load_is_back(tail_a, dark):
    """15 s before the key-off the battery gives 3 of 5 A: an idle with a share of 2 A, or lamps that are out."""
    got = _found({0: 12.4, 12: 14.2, 45: 12.8}, {0: 5.0, 12: -2.5, 45: tail_a})

    assert got.to_s == pytest.approx(44.5, abs=0.6)
    assert bool(got.dark) is dark


def test_ripple_that_is_gone_tells_an_engine_that_stands():
    """3 of 5 A again, yet the voltage is as calm as with the engine off."""
    t = np.arange(0, 70, 0.01)
    runs = (t > 12) & (t < 45)
    values = {
        "battery_v": np.where(runs, 14.2 + 0.1 * np.sin(2 * np.pi * 33 * t), np.where(t < 12, 12.4, 12.8)),
        "battery_a": np.where(runs, -2.5, np.where(t < 12, 5.0, 3.0)),
    }
    values["battery_v"] += np.random.default_rng(1).normal(0, 0.005, len(t))
    builder = OverviewBuilder(values)
    builder.add(Trace(t, values, {}))

    got = find_running(coarse(builder.finish(), 0, 70, 0.5), FROM_S, TO_S, EngineOff(12.4, 5.0), SHARE_U)

    assert got.to_s == pytest.approx(44.5, abs=0.6)
    assert got.dark == ()


def test_charging_in_short_pieces_shows_the_engine():
    """A fan that takes 8 A for 4 of 8 s: the battery is charged for 4 s at a time, 24 s in all."""
    volts = {0: 12.4} | {12 + 4 * n: 14.2 if n % 2 == 0 else 12.7 for n in range(12)}
    amps = {0: 5.0} | {12 + 4 * n: -2.0 if n % 2 == 0 else 4.0 for n in range(12)}

    got = _found(volts, amps)

    assert got.from_s == pytest.approx(12.0, abs=1.1)
    assert got.to_s > 55


def test_charger_that_was_on_before_the_crank_is_no_alternator():
    """A charger of up to 5 A: 3 A into the battery after the crank prove nothing, 20 A do."""
    assert _found({0: 13.9}, {0: -1.0, 12: -3.0}, before_v=13.9, before_a=-1.0, highest_v=13.9, charger_a=5.0) is None
    assert _found({0: 13.9}, {0: -1.0, 12: -20.0}, before_v=13.9, before_a=-1.0, highest_v=13.9, charger_a=5.0)


def _charged(volts, amps):
    t = np.arange(0, 60, 0.05)
    values = {"battery_v": np.where(t > 20, volts, 12.4), "battery_a": np.where(t > 20, amps, 5.0)}
    builder = OverviewBuilder(values)
    builder.add(Trace(t, values, {}))
    return find_charged(coarse(builder.finish(), 0, 60, 0.5), 0.0, 60.0, SHARE_U)


def test_pushed_engine_shows_by_what_it_charges():
    """No crank: 3 A into a battery at 14.2 V from 20 s on."""
    got = _charged(14.2, -3.0)

    assert got.from_s == pytest.approx(20.0, abs=0.6)
    assert got.to_s == 60.0


@pytest.mark.parametrize(("volts", "amps"), [(14.2, 5.0), (12.6, 2.0), (12.9, -0.5)])
def test_without_charge_nothing_shows_a_pushed_engine(volts, amps):
    """A raised voltage or a smaller load alone is none."""
    assert _charged(volts, amps) is None


@pytest.mark.parametrize(("until_s", "runs"), [(15, False), (19, True)])
def test_engine_must_run_for_5_s(until_s, runs):
    """It catches and dies after 3 s: no run; after 7 s: a run that ends there."""
    got = _found(volts={0: 12.4, 12: 14.2, until_s: 12.4})

    assert (got is not None) is runs
    assert got is None or got.to_s == pytest.approx(19.0, abs=0.6)


@pytest.mark.parametrize(("dip_s", "begins"), [(1.0, 12.0), (3.0, FROM_S)])
def test_short_dip_does_not_interrupt(dip_s, begins):
    """Idling 1 s below the mark is bridged; 3 s are not: the first proof comes late, the crank began the run."""
    got = _found(volts={0: 12.4, 12: 14.2, 15: 12.4, 15 + dip_s: 14.2})

    assert got.from_s == pytest.approx(begins, abs=0.55)


def test_end_is_the_last_proof():
    """4 or 8 s before the key-off the voltage alone falls: the engine may idle or stand, so the run ends there."""
    for stop_s in (56, 52):
        got = _found(volts={0: 12.4, 12: 14.2, stop_s: 12.6})

        assert got.to_s == pytest.approx(stop_s - 0.5, abs=0.6)


def test_what_lies_outside_the_stretch_does_not_count():
    """A charger before the crank, or the next run after it."""
    assert _found(volts={0: 14.2, 9.5: 12.4, 61: 14.2}) is None


def test_run_keeps_under_shift_of_level():
    """Other battery, other load: only changes against the levels before the crank count."""
    plain = _found({0: 12.4, 12: 14.2}, {0: 5.0, 12: -2.0})
    moved = _found({0: 13.2, 12: 15.0}, {0: 11.0, 12: 4.0}, before_v=13.2, before_a=11.0)

    assert (moved.from_s, moved.to_s, moved.how) == (plain.from_s, plain.to_s, plain.how)


@pytest.mark.parametrize("rate_hz", [1, 10, 100])
def test_run_does_not_hang_on_the_rate(rate_hz):
    """A sample a second or a hundred: the same run."""
    got = _found({0: 12.4, 12: 14.2}, {0: 5.0, 12: -2.0}, rate_hz=rate_hz)

    assert got.from_s == pytest.approx(12.0, abs=0.5 + 1 / rate_hz)
    assert got.to_s == TO_S


def test_too_short_a_stretch_is_no_run():
    """One point inside tells nothing."""
    builder = OverviewBuilder(["battery_v"])
    builder.add(Trace(np.array([0.0, 10.0, 20.0]), {"battery_v": np.full(3, 14.2)}, {}))
    table = coarse(builder.finish(), 0.0, 20.0, 0.5)

    assert find_running(table, 5.0, 15.0, EngineOff(BEFORE_V, np.nan), SHARE_U) is None
