"""What a channel changes by at a pulse's edges, by a course that shows which rows are read; and joined points."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.pulsed import Pulsing
from benchlog.analysis.unpulsed import _change, joined, without_pulses

NAN = math.nan
T = np.arange(9000) * 0.001


def pulsing(period_s: float, duty: float, rises=(), falls=(), mean_a: float | None = None) -> Pulsing:
    """A load of 2 A with these edges."""
    to_s = max([*rises, *falls]) + period_s * (1 - duty)
    mean = 2.0 * duty if mean_a is None else mean_a
    return Pulsing(rises[0] if rises else 0.0, to_s, period_s, duty, 2.0, mean, 0.01, tuple(rises), tuple(falls), 99.0)


@pytest.mark.parametrize(
    ("period_s", "duty", "skip_s", "before_s", "after_s"),
    [
        *((2.0, duty, 0.07, 0.30, 0.37) for duty in (0.4, 0.6)),
        *((0.5, duty, 0.05, 0.19, 0.19) for duty in (0.4, 0.6)),
        (1.0, 0.36, 0.10, 0.30, 0.35),
        (0.2, 0.3, 0.05, 0.07, 0.07),
        (0.2, 0.7, 0.08, 0.10, 0.10),
    ],
)
def test_change_is_read_within_the_shorter_part_of_a_pulse(
    period_s: float, duty: float, skip_s: float, before_s: float, after_s: float
):
    """Up to 10 ms from its other end, 0.3 s at the most, at least 20 ms behind what is skipped; never 10 ms before.

    On a channel that rises by 1 V a second the change is the distance between the middles of both parts.
    """
    expected = (skip_s + after_s) / 2 + (before_s + 0.01) / 2
    edges = (3.0005, 5.0005, 7.0005)

    assert _change(T, T, pulsing(period_s, duty, rises=edges), skip_s) == pytest.approx(expected, abs=2e-4)
    assert _change(T, T, pulsing(period_s, duty, falls=edges), skip_s) == pytest.approx(-expected, abs=2e-4)


def test_edge_without_rows_before_or_behind_it_tells_nothing():
    """At either end of the stretch, or where the channel was not read."""
    found = pulsing(2.0, 0.4, rises=(0.0, 3.0005, 8.9995))

    assert _change(T, T, found, 0.07) == pytest.approx(0.375, abs=2e-4)
    assert _change(T, np.where(T < 3, NAN, T), found, 0.07) == 0.0


def test_channel_loses_what_it_changes_by_behind_the_rush():
    """60 ms of rush and 10 ms at the edge are skipped: a voltage that goes on rising while the load is on shows it."""
    t = np.arange(900) * 0.01
    since = (t - 1.005) % 2.0
    x = np.where((t > 1) & (since < 0.8), 4.0 + since, 1.0)
    found = pulsing(2.0, 0.4, (1.005, 3.005, 5.005), (1.805, 3.805, 5.805))

    even = without_pulses(points(0.01, {"battery_a": x, "battery_v": x}), [found], "battery_a").mean["battery_v"]

    assert even[250] == pytest.approx(1.0 + 0.4 * _change(t, x, found, 0.07))
    assert even[250] == pytest.approx(1.0 + 0.4 * (3.22 + 3.645) / 2, abs=0.01)


def test_rush_belongs_to_the_mean_of_a_pulsed_load():
    """0.8 A of its level and 0.1 A of its rush: 0.9 A throughout, of 2 A while it is on."""
    t = np.arange(900) * 0.01
    x = np.where((t > 1) & ((t - 1.005) % 2.0 < 0.8), 7.0, 5.0)
    found = pulsing(2.0, 0.4, (1.005, 3.005, 5.005), (1.805, 3.805, 5.805), mean_a=0.9)

    even = without_pulses(points(0.01, {"battery_a": x}), [found], "battery_a").mean["battery_a"]

    inside = even[101:680]
    assert inside[np.isfinite(inside)] == pytest.approx(5.9)


@pytest.mark.parametrize(("at_s", "hidden"), [(1.42, [28, 29]), (1.43, [29]), (1.44, [29])])
def test_row_that_an_edge_may_lie_in_is_no_level(at_s: float, hidden: list[int]):
    """Rows 50 ms apart: from half of that, and a hair, before it; behind it 60 ms hold the rush."""
    table = points(0.05, {"battery_a": np.ones(60)})

    even = without_pulses(table, [pulsing(2.0, 0.2, (1.01,), (at_s,))], "battery_a").mean["battery_a"]

    assert [at for at in np.flatnonzero(np.isnan(even)).tolist() if 25 < at < 40] == hidden


@pytest.mark.parametrize(("gap_s", "whole"), [(0.99, True), (1.02, False)])
def test_points_are_joined_across_less_than_a_hundred_steps(gap_s: float, whole: bool):
    """Of 10 ms each."""
    start = [*np.arange(10) * 0.01, *(0.09 + gap_s) + np.arange(91) * 0.01]
    table = points(start, {"battery_a": np.arange(101.0)})

    assert len(joined(table, 0.041)) == (26 if whole else 27)
    assert joined(table, 0.041).start_s[2:4].tolist() == pytest.approx([0.08, start[12] if whole else start[10]])


def test_two_points_are_joined_and_one_is_as_it_is():
    """What was not read among them stays unread."""
    two = points(0.01, {"battery_a": [1.0, 3.0], "feed_v": [NAN, NAN], "key_v": [NAN, 5.0]})

    assert joined(two, 0.02).mean["battery_a"].tolist() == [2.0]
    assert joined(two, 0.02).mean["key_v"].tolist() == [5.0]
    assert np.isnan(joined(two, 0.02).mean["feed_v"]).tolist() == [True]
    assert joined(two.part(0.0, 0.0), 0.02).mean["battery_a"].tolist() == [1.0]
    assert joined(two, 0.0199) is two
