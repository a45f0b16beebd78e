"""Charging in two states, and the balance with all loads on: on runs written by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hand_bench import EXACT, VOLTS
from test_charging_checks import charging, run_of, two_states

from benchlog.analysis.bridge import Bridge


def test_state_above_its_limit_counts_where_the_other_lies_within():
    """No load raises the voltage: 15.2 V of at most 14.8 V, beside 13.6 V of at least 13.5 V."""
    limits = {"charging_min_v": 13.5, "charging_max_v": 14.8}
    found = charging(**two_states(low=-2.0, volts=(13.6, 15.2)), limits=limits)[0]

    assert found.value == pytest.approx(15.2)
    assert found.story.startswith("13.60 V over 18 s")
    nearer = charging(**two_states(low=-5.0, volts=(13.6, 14.75)), limits=limits)[0]
    assert nearer.value == pytest.approx(14.75)
    lower = charging(**two_states(low=-5.0, volts=(13.54, 14.75)), limits=limits)[0]
    assert lower.value == pytest.approx(13.54)
    both = charging(**two_states(low=-5.0, volts=(13.0, 15.0)), limits=limits)[0]
    assert both.value == pytest.approx(13.0)
    for given, value in (({"charging_min_v": 13.5}, 12.6), ({"charging_max_v": 14.8}, 14.2), ({}, 12.6)):
        assert charging(**two_states(low=-5.0), limits=given)[0].value == pytest.approx(value)


SPEED = "whether the engine's speed or a load that came on ended the charging is not known"


def test_states_that_a_load_may_make_count_by_their_mean():
    """2 A out of the battery are a load that came on as well as a slow engine: the mean, and a pass stays open."""
    how = {**two_states(low=-2.0), "limits": {"charging_min_v": 13.5, "charging_balance_min_a": 0.0}}
    volts, balance = charging(**how)

    assert volts.value == pytest.approx(13.4, abs=0.05)
    assert volts.story.startswith("mean over 36 s of running; 12.60 V over 18 s")
    assert balance.value == pytest.approx(0.5, abs=0.1)
    assert balance.story.startswith("how many loads were on is not known; −2.0 A over 18 s")
    for one in (volts, balance):
        assert one.one_sided == SPEED
        assert one.remedy == 'a log at idle and another one revved, with "running" marked, would prove it'
        assert one.parts is None
        assert one.u > 0.5


def test_worse_state_within_its_limit_leaves_nothing_open():
    """Both states pass, with 95 %."""
    how = {
        **two_states(low=-2.0, volts=(13.6, 14.2)),
        "limits": {"charging_min_v": 13.5, "charging_balance_min_a": -2.5},
    }
    volts, balance = charging(**how)

    assert (volts.one_sided, balance.one_sided) == (None, None)
    near = {**two_states(low=-2.0, volts=(13.6, 14.2)), "limits": {"charging_min_v": 13.59}}
    wide = replace(VOLTS, offset=0.02)
    assert charging(**near, accuracy={"battery_v": wide, "battery_a": EXACT})[0].one_sided == SPEED
    assert charging(**near, accuracy={"battery_a": EXACT})[0].one_sided == SPEED


def test_charging_that_begins_slowly_follows_the_engines_speed():
    """Over a second; a load is switched at once."""
    limits = {"charging_min_v": 13.5}

    assert charging(**two_states(low=-2.0, slowly=1.5), limits=limits)[0].value == pytest.approx(12.6, abs=0.05)
    assert charging(**two_states(low=-2.0), limits=limits)[0].value == pytest.approx(13.4, abs=0.05)
    for_volts = {**two_states(low=-2.0, slowly=1.5), "without": ["battery_a"]}
    assert charging(**for_volts, limits=limits)[0].value == pytest.approx(12.6, abs=0.05)


@pytest.mark.parametrize(("low", "speed"), [(-14.0, True), (-10.0, False)])
def test_no_load_that_comes_by_itself_takes_more_than_15_amperes(low, speed):
    """17 A between the states, or 13 A."""
    how = two_states(low=low)
    found = charging(**how, runs=(run_of(before_a=30.0),), limits={"charging_min_v": 13.5})[0]

    assert (found.value == pytest.approx(12.6)) is speed


@pytest.mark.parametrize(
    ("low", "before_a", "nothing"),
    [
        (-4.6, 5.0, True),
        (-4.4, 5.0, False),
        (-5.4, 5.0, True),
        (-5.6, 5.0, False),
        (-12.2, 13.0, True),
        (-11.5, 13.0, False),
    ],
)
def test_alternator_that_gives_less_than_a_tenth_of_the_load_gives_nothing(low, before_a, nothing):
    """Or half an ampere: of 5 and of 13 A that flowed with the engine off."""
    found = charging(**two_states(low=low), runs=(run_of(before_a=before_a),), limits={"charging_min_v": 13.5})[0]

    assert (found.value == pytest.approx(12.6)) is nothing
    unknown = charging(**two_states(low=-5.0), runs=(run_of(before_a=math.nan),), limits={"charging_min_v": 13.5})[0]
    assert unknown.value != pytest.approx(12.6)


def fed(early=6.0, late=6.0, from_s=40.0):
    """The load through the feed, by its own channel, until 40 s and from then on."""
    return {"feed_a": lambda t: np.where(t < from_s, early, late)}


def test_balance_counts_where_as_many_loads_were_on_as_ever():
    """6 A until 40 s with 3 A into the battery, 2 A of load and 7 A into it afterwards."""

    def amps(t):
        return np.where((t >= 20) & (t < 58), np.where(t < 40, -3.0, -7.0), 5.0)

    _, balance = charging(amps=amps, **fed(6.0, 2.0))
    assert balance.value == pytest.approx(3.0, abs=0.01)
    assert balance.story == "with 6.0 A of the planned 8.0 A on"
    assert (balance.from_s, balance.to_s) == (pytest.approx(22.0, abs=0.06), pytest.approx(57.4, abs=0.21))
    _, nearly = charging(amps=amps, **fed(6.0, 5.45))
    assert nearly.value == pytest.approx(4.95, abs=0.15)
    _, less = charging(amps=amps, **fed(6.0, 5.35))
    assert less.value == pytest.approx(3.0, abs=0.01)


def test_balance_without_a_load_counts_over_the_whole_run():
    """2 % of the planned load are none."""
    assert charging(**fed(0.15, 0.15))[1].story == "with no load through the feed"
    assert charging(**fed(0.17, 0.17))[1].story == "with 0.2 A of the planned 8.0 A on"


def test_loads_draw_less_where_the_battery_is_not_charged_and_are_on_all_the_same():
    """6 A at 14.2 V and 5.32 A at 12.6 V; the whole run counts."""
    _, balance = charging(**two_states(low=-4.9), **fed(5.32, 6.0), limits={"charging_balance_min_a": 0.0})
    assert "over 18 s in which the battery was not charged" in balance.story
    _, off = charging(**two_states(low=-4.9), **fed(4.7, 6.0), limits={"charging_balance_min_a": 0.0})
    assert "over 18 s" not in off.story


def test_circuits_own_currents_tell_of_the_load_as_well():
    """And are named."""
    assert charging(slot1_a=lambda t: np.full(len(t), 6.0))[1].story == (
        "with 6.0 A of the planned 8.0 A on, by the circuits' own currents"
    )


def test_bridged_shunt_leaves_what_flows_outside_of_it():
    """The run from 20 to 58 s, bridged until 40 s and 5 s of a hand: 12 s remain; 4 s are too few."""

    def amps(until):
        return lambda t: np.where(t < until + 5, np.nan, np.where(t < 58, -3.0, 5.0))

    tail = "; the shunt was bridged from 15.0 s to 40.0 s, so no current was measured there"
    _, balance = charging(amps=amps(40.0), bridged=(Bridge(15.0, 40.0),))
    assert balance.story == "how many loads were on is not known" + tail
    assert (balance.value, balance.from_s) == (pytest.approx(3.0), pytest.approx(45.0, abs=0.21))
    _, brief = charging(amps=amps(48.5), bridged=(Bridge(15.0, 48.5),))
    assert brief.why.startswith("the engine ran too briefly with the loads on and the shunt free; take the bridge off")
    _, long = charging(amps=amps(46.5), bridged=(Bridge(15.0, 46.5),))
    assert long.value == pytest.approx(3.0)


def test_balance_of_next_to_no_points_says_so():
    """Three of a fifth of a second."""

    def amps(points):
        return lambda t: np.where((t >= 40) & (t < 40 + 0.2 * points - 0.01), -3.0, np.nan)

    why = "the engine ran too briefly with the loads on; let it run for 20 s or more"
    assert charging(amps=amps(3))[1].why == why
    assert charging(amps=amps(5))[1].value == pytest.approx(3.0)


def test_load_at_a_higher_voltage_than_usual_needs_no_more_current():
    """14.2 V for half of the run with 6 A, 15.2 V with 5.6 A: a voltage above the middle asks for no more load."""
    def volts(t):
        return np.where((t >= 20) & (t < 58), np.where(t < 44, 14.2, 15.2), 12.4)

    _, balance = charging(volts=volts, **fed(6.0, 5.5, 44.0))
    assert balance.story == "with 5.8 A of the planned 8.0 A on"
