"""When the engine runs: by the alternator's share, by the voltage, or not at all."""

import numpy as np
import pytest

from benchlog.analysis.coarse import coarse
from benchlog.analysis.running import EngineOff, find_running
from benchlog.overview import OverviewBuilder
from benchlog.trace import Trace

BEFORE_V, BEFORE_A, SHARE_U = 12.4, 5.0, 0.02
FROM_S, TO_S = 10.0, 60.0


def _found(volts=None, amps=None, before_v=BEFORE_V, before_a=BEFORE_A, share_u=SHARE_U, rate_hz=20.0, point_s=0.5):
    """``volts`` and ``amps``: levels by the second at which they begin, from 0 s to 70 s."""
    t = np.arange(0, 70, 1 / rate_hz)

    def drawn(levels):
        at = np.array(list(levels))
        return np.array(list(levels.values()))[np.searchsorted(at, t + 1e-9, side="right") - 1]

    values = {role: drawn(x) for role, x in (("battery_v", volts), ("battery_a", amps)) if x is not None}
    builder = OverviewBuilder(values)
    builder.add(Trace(t, values, {}))
    table = coarse(builder.finish(), 0.0, t[-1], point_s)
    return find_running(table, FROM_S, TO_S, EngineOff(before_v, before_a), share_u)


STOPPED_V, STOPPED_A = {0: 12.4}, {0: 5.0}


def test_raised_voltage_shows_the_engine():
    """14.2 V from 12 s on, no current channel: running from then to the end of the stretch."""
    got = _found(volts={0: 12.4, 12: 14.2}, before_a=np.nan)

    assert got.how == "voltage"
    assert got.from_s == pytest.approx(12.0, abs=0.5)
    assert got.to_s == TO_S
    assert got.before_v == BEFORE_V


def test_alternator_share_shows_the_engine_where_the_voltage_does_not():
    """More load than the alternator gives: the voltage stays down, the battery gives 2 A less than before."""
    got = _found(STOPPED_V, {0: 5.0, 15: 3.0})

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
    assert _found({0: 12.4, 12: 14.2}, {0: 5.0, 12: -2.0}, before_v=np.nan, before_a=np.nan) is None


@pytest.mark.parametrize(("after_v", "runs"), [(12.95, True), (12.85, False)])
def test_voltage_must_rise_by_half_a_volt(after_v, runs):
    """0.55 V above the key-on level is an alternator, 0.45 V may be a load that went."""
    assert (_found(volts={0: 12.4, 12: after_v}) is not None) is runs


@pytest.mark.parametrize(
    ("after_a", "share_u", "runs"),
    [(4.65, 0.02, True), (4.75, 0.02, False), (3.6, 0.5, False), (3.4, 0.5, True)],
)
def test_share_must_lie_above_its_doubt(after_a, share_u, runs):
    """At least 0.3 A, and three times the uncertainty of the current."""
    assert (_found(STOPPED_V, {0: 5.0, 12: after_a}, share_u=share_u) is not None) is runs


@pytest.mark.parametrize(("until_s", "runs"), [(15, False), (19, True)])
def test_engine_must_run_for_5_s(until_s, runs):
    """It catches and dies after 3 s: no run; after 7 s: a run that ends there."""
    got = _found(volts={0: 12.4, 12: 14.2, until_s: 12.4})

    assert (got is not None) is runs
    assert got is None or got.to_s == pytest.approx(19.0, abs=0.6)


@pytest.mark.parametrize(("dip_s", "begins"), [(1.0, 12.0), (3.0, 18.0)])
def test_short_dip_does_not_interrupt(dip_s, begins):
    """Idling 1 s below the mark is bridged; 3 s are not, and a first stretch under 5 s does not count then."""
    got = _found(volts={0: 12.4, 12: 14.2, 15: 12.4, 15 + dip_s: 14.2})

    assert got.from_s == pytest.approx(begins, abs=0.55)


def test_idle_dip_near_the_end_does_not_end_the_run():
    """The last 4 s at idle belong to the run; 8 s below the mark are an engine that stopped."""
    idle = _found(volts={0: 12.4, 12: 14.2, 56: 12.6})
    stalled = _found(volts={0: 12.4, 12: 14.2, 52: 12.4})

    assert idle.to_s == TO_S
    assert stalled.to_s == pytest.approx(52.0, abs=0.6)


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
