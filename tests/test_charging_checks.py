"""Charging voltage and balance on runs of the engine written by hand: means, doubts, and the worse of two states."""

import numpy as np
import pytest
from hand_bench import AMPS, EXACT, VOLTS, HandLog, bench, plan, story, times

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.cranking import Crank
from benchlog.analysis.running import Running
from benchlog.core.uncertainty import rectangular
from benchlog.examine.charging_checks import examine_charging

BRIEF = "the engine ran too briefly; let it run for 20 s or more"
MARK = 'mark "running" and "engine off" as they happen'


def run_of(from_s=20.0, to_s=58.0, before_v=12.4, before_a=5.0, **more) -> Running:
    """An engine that runs."""
    return Running(from_s, to_s, "mark", before_v, before_a, **more)


def a_bench(volts=14.2, amps=-3.0, runs=None, accuracy=EXACT, without=(), limits=(), over=None, **more):
    """The key on from 10 to 60 s, an engine that runs from 20 to 58 s, 20 samples a second.

    Args:
        volts, amps: while it runs, or the whole channel by the times. more: channels by the times, or the bench's.
    """
    t = times(70.0, 0.05)

    def whole(x, still):
        return x(t) if callable(x) else np.where((t >= 20) & (t < 58), x, still)

    values = {"battery_v": whole(volts, 12.4), "battery_a": whole(amps, 5.0)}
    values |= {role: more.pop(role)(t) for role in ("feed_a", "feed_v", "slot1_a", "ground_v") if role in more}
    for role in without:
        del values[role]
    log = HandLog(t, values, more.pop("marks", ()), over=None if over is None else {k: f(t) for k, f in over.items()})
    told = {"running": (run_of(),) if runs is None else runs, **more.pop("told", {})}
    known = accuracy if isinstance(accuracy, dict) else dict.fromkeys(values, accuracy)
    planned = plan(*more.pop("planned", (8.0,)), limits=dict(limits))
    told = story(((10.0, 60.0),), ((0.0, 10.0), (60.0, 70.0)), **told)
    return bench(log, told, planned, accuracy=known, **more)


def charging(**how):
    """Voltage and balance."""
    both = examine_charging(a_bench(**how))
    return both["charging_voltage"], both["charging_balance"]


def test_steady_run_gives_its_voltage_and_what_goes_into_the_battery():
    """From two seconds after the start, until half a second before its end."""
    volts, balance = charging()

    assert (volts.value, balance.value) == (pytest.approx(14.2), pytest.approx(3.0))
    assert (volts.u, balance.u) == (pytest.approx(0.0), pytest.approx(0.0))
    assert (volts.from_s, volts.to_s) == (pytest.approx(22.0, abs=0.06), pytest.approx(57.4, abs=0.21))
    assert (balance.from_s, balance.to_s) == (volts.from_s, volts.to_s)
    assert volts.story == "mean over 36 s of running"
    assert balance.story == "how many loads were on is not known"
    assert {one.disqualified for one in (volts, balance)} == {None}
    assert {(one.one_sided, one.remedy) for one in (volts, balance)} == {(None, None)}


def test_channels_doubt_is_that_of_a_level():
    """Gain, offset and rounding; none where it is not stated."""
    volts, balance = charging(accuracy={"battery_v": VOLTS, "battery_a": AMPS})

    assert volts.u == pytest.approx(VOLTS.level_u(14.2))
    assert balance.u == pytest.approx(AMPS.level_u(3.0))
    assert (volts.parts.offset, balance.parts.offset) == (
        pytest.approx(rectangular(VOLTS.offset)),
        pytest.approx(rectangular(AMPS.offset)),
    )
    assert volts.parts.watched_s == pytest.approx(35.4, abs=0.3)
    assert [one.u for one in charging(accuracy={})] == [None, None]


def test_log_without_a_run_says_what_it_lacks():
    """Told apart by whether the starter turned."""
    still = "the engine does not run in this log; start it while it records"
    cranked = (
        "after cranking neither the alternator's current nor a raised voltage shows for 5 s; "
        'mark "running" if the engine ran'
    )
    assert {one.why for one in charging(runs=())} == {still}
    crank = {"told": {"cranks": (Crank(18.0, 19.0, 12.4, 5.0),)}}
    assert {one.why for one in charging(runs=(), **crank)} == {cranked}
    bridged = charging(runs=(), bridged=(Bridge(20.0, 30.0),))
    assert bridged[0].why.endswith("; the shunt was bridged from 20.0 s to 30.0 s, so no current was measured there")


def test_charging_needs_its_channel_and_some_seconds():
    """Each check its own; a run of 2.4 s counts for neither."""
    assert charging(without=["battery_v"])[0].why == "battery_v is not logged"
    assert charging(without=["battery_a"])[1].why == "battery_a is not logged"
    for brief in (run_of(20.0, 23.9), run_of(20.0, 21.0)):
        assert {one.why for one in charging(runs=(brief,))} == {BRIEF}
    assert charging(runs=(run_of(20.0, 24.7),))[0].value == pytest.approx(14.2)


@pytest.mark.parametrize(("points", "told"), [(3, False), (5, True)])
def test_four_points_of_voltage_are_the_fewest(points, told):
    """Of a fifth of a second each."""

    def volts(t):
        return np.where((t >= 40) & (t < 40 + 0.2 * points - 0.01), 14.2, np.nan)

    found = charging(volts=volts)[0]
    assert (getattr(found, "why", None) is None) is told


def test_time_in_which_the_engine_may_have_stood_leaves_a_pass_open():
    """And marks would tell."""
    volts, balance = charging(runs=(run_of(dark=((12.0, 20.0),)), run_of(58.5, 59.9, dark=((58.2, 58.5),))))

    for one in (volts, balance):
        assert one.one_sided == "from 12 to 20 s and 58 to 58 s the engine may have idled without charging, or stood"
        assert one.remedy == MARK


def test_samples_over_range_disqualify():
    """Of either channel."""

    def over(t):
        return (t > 30) & (t < 30.12)

    volts, balance = charging(over={"battery_v": over})
    assert volts.disqualified == "2 samples of battery_v were over range while running"
    assert balance.disqualified is None
    assert charging(over={"battery_a": over})[1].disqualified == "2 samples of battery_a were over range while running"


def test_begin_of_a_run_is_known_no_better_than_its_rise():
    """A battery that takes 9 A for its first two seconds: what leaving them out changes is the mean's doubt."""

    def amps(t):
        return np.where((t >= 20) & (t < 24), -9.0, np.where((t >= 24) & (t < 58), -3.0, 5.0))

    _, balance = charging(amps=amps)
    n, first = 177, 10
    mean = (9.0 * first + 3.0 * (n - first)) / n
    assert balance.value == pytest.approx(mean, rel=0.01)
    assert balance.u == pytest.approx(rectangular(mean - 3.0), rel=0.05)


LOW = {"limits": {"charging_min_v": 13.5}}


def rising(by_v, from_v=12.8, amps=-2.0):
    """A voltage that goes up in a straight line over the run."""

    def volts(t):
        return np.where((t >= 20) & (t < 58), from_v + by_v * (t - 20) / 38, 12.4)

    return {"volts": volts, "amps": amps, **LOW}


def test_voltage_that_still_rises_says_nothing_of_the_regulator():
    """By 0.15 V from the first third to the last, with an ampere and more into the battery."""
    found = charging(**rising(0.3))[0]
    assert found.disqualified == (
        "the voltage still rose, from 12.86 V to 13.05 V, as 2.0 A went into the battery; "
        "charge the battery, or let the engine run until the voltage is steady"
    )
    assert charging(**rising(0.26))[0].disqualified is not None
    assert charging(**rising(0.22))[0].disqualified is None
    assert charging(**rising(0.3, amps=-1.1))[0].disqualified is not None
    assert charging(**rising(0.3, amps=-0.9))[0].disqualified is None
    assert charging(**{**rising(0.3), "limits": {}})[0].disqualified is None
    assert charging(**rising(0.3, from_v=13.6))[0].disqualified is None
    assert charging(**rising(-0.3))[0].disqualified is None


def two_states(low=-2.0, high=-3.0, from_s=40.0, slowly=0.0, volts=(12.6, 14.2)):
    """Not charged (``low`` out of the battery) until 40 s, charged from then on, switched or within some seconds."""

    def between(t, a, b, still):
        share = np.clip((t - from_s) / slowly, 0, 1) if slowly else (t >= from_s) * 1.0
        return np.where((t >= 20) & (t < 58), a + (b - a) * share, still)

    return {
        "volts": lambda t: between(t, volts[0], volts[1], 12.4),
        "amps": lambda t: between(t, -low, high, 5.0),
    }


def test_states_that_the_engines_speed_makes_are_judged_by_the_worse():
    """The alternator gives nothing at first: 5 A out of the battery as before the start."""
    how = {
        **two_states(low=-5.0),
        "limits": {"charging_min_v": 13.5, "charging_max_v": 14.8, "charging_balance_min_a": 0.0},
    }
    volts, balance = charging(**how)

    assert volts.value == pytest.approx(12.6)
    assert volts.story == ("12.60 V over 18 s in which the battery was not charged, 14.20 V over 18 s in which it was")
    assert balance.value == pytest.approx(-5.0)
    assert balance.story == (
        "how many loads were on is not known; −5.0 A over 18 s in which the battery was not charged, "
        "+3.0 A over 18 s in which it was"
    )
    assert (volts.one_sided, balance.one_sided) == (None, None)
