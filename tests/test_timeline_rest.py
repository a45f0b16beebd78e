"""More of a log's story by hand: how sure a current is, circuits that tell of a load, and cranks at the key's turns."""

import numpy as np
import pytest
from test_timeline_edges import during, stretches, told

from benchlog.core.uncertainty import Accuracy


def pushed(amps):
    """A run that no crank began, with so much into the battery."""
    return {"crank": (), "run": ((40.0, 75.0),), "battery_a": lambda t: np.where(during(t, (40.0, 75.0)), -amps, 5.0)}


@pytest.mark.parametrize(
    ("accuracy", "amps", "runs"),
    [
        (Accuracy(0.3, 0.0, 0.0), 5.21, True),
        (Accuracy(0.3, 0.0, 0.0), 5.18, False),
        (Accuracy(0.0, 0.5, 0.0), 0.88, True),
        (Accuracy(0.0, 0.5, 0.0), 0.85, False),
        (None, 0.31, True),
        (None, 0.29, False),
    ],
)
def test_current_into_the_battery_counts_from_three_doubts_of_a_change_by_ten_amperes(accuracy, amps, runs):
    """And of a level of nothing: 30 % of gain are 5.2 A, 0.5 A of offset 0.87 A; unstated, 0.3 A."""
    assert bool(told(accuracy=accuracy, **pushed(amps)).running) is runs


@pytest.mark.parametrize("role", ["slot1_a", "slot7_a", "slot12_a"])
def test_any_circuits_own_current_tells_of_the_load_before_the_crank(role):
    """4 A."""
    one = told(**{role: lambda t: np.where(during(t, (25.0, 80.0)), 4.0, 0.0)})

    assert one.running[0].before_fed_a == pytest.approx(0.95 * 4.0, rel=0.01)


@pytest.mark.parametrize(("begins", "ends", "seen"), [(29.6, 30.4, 1), (29.2, 30.2, 0)])
def test_crank_may_begin_half_a_second_before_its_key_on(begins, ends, seen):
    """By marks the key is on from 30 s."""
    lines = {"without": ("key_v", "trigger_v", "feed_v"), "marks": {"key on": 30.0, "key off": 80.0}}

    assert len(told(crank=((begins, ends),), run=(), **lines).cranks) == seen


def test_crank_just_before_its_key_on_begins_that_key_ons_run():
    """At 29.7 s, with the key on from 30 s by its mark."""
    lines = {"without": ("key_v", "trigger_v", "feed_v"), "marks": {"key on": 30.0, "key off": 80.0}}
    one = told(crank=((29.7, 30.4),), run=((30.4, 75.0),), **lines)

    assert stretches(one.cranks) == [(29.7, 30.4)]
    assert [run.before_v for run in one.running] == [pytest.approx(12.4, abs=0.31)]


def test_key_that_was_on_throughout_by_nothing_gives_runs_of_the_whole_log():
    """No channel tells of the key: a crank and its engine are found all the same."""
    one = told(without=("key_v", "trigger_v", "feed_v", "battery_a"))

    assert one.source == "battery_v"
    assert stretches(one.cranks) == [(30.0, 31.0)]
    assert len(one.running) == 1
