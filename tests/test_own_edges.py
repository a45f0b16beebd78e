"""A circuit's own channel at the edges: its inrush, its pulses and its zero, on channels and pulses by hand."""

import math

import numpy as np
import pytest
from hand_bench import HandLog, bench, measured, plan, story, times
from test_own_channel import found, switched

from benchlog.analysis.flutter import Flutter
from benchlog.analysis.pulsed import Pulsing
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.own_channel import _if_pulsed
from benchlog.examine.steady import Evened


def rushing(rush_s, lasts_s):
    """9 A for so long, then 3 A: on from 20 s."""

    def amps(t):
        on = (t > 19.99) & (t < 19.99 + lasts_s)
        return on * np.where(t < 19.99 + rush_s, 9.0, 3.0)

    return amps


def test_circuit_that_is_on_for_less_than_two_seconds_gives_its_second_half():
    """A rush of 0.7 s of a second is over in most of it."""
    assert found(rushing(0.7, 1.0)).value == 3.0
    assert found(rushing(0.75, 1.0)).value == 6.0
    assert found(rushing(0.8, 1.0)).value == 9.0


def test_what_is_drawn_later_than_a_second_counts():
    """A rush of 1.5 s scatters, one of 0.9 s does not."""
    assert found(rushing(0.9, 20.0)).u == 0.0
    assert found(rushing(1.1, 20.0)).u > 0.0


def test_zero_of_a_channel_without_offset_is_taken_off_where_it_reads_nothing():
    """The rounding of two readings takes the place of one's."""
    exact = Accuracy(0.01, 0.0, 0.0)
    assert found(switched(), accuracy=exact).u == pytest.approx(exact.change_u(3.0))
    assert found(switched(off=0.001), accuracy=exact).value == 3.0
    rounded = Accuracy(0.0, 0.0, 0.01)
    assert found(switched(), accuracy=rounded).u == pytest.approx(math.sqrt(2) * rounded.resolution_u)


@pytest.mark.parametrize(("samples", "doubt"), [(32, False), (33, True)])
def test_tenth_of_the_level_over_range_is_in_doubt(samples, doubt):
    """Of the 327 points that are left of two times on, 32.7."""

    def over(t):
        return (t > 29.99) & (t < 29.99 + 0.05 * samples)

    one = found(lambda t: np.where(over(t), np.nan, switched()(t)), over=over)
    assert (one.disqualified is not None) is doubt


def pulsing(pulses, amps=4.0, period_s=1.0, samples=50.0):
    """So many pulses."""
    edges = tuple(float(n) * period_s for n in range(pulses))
    return Pulsing(0.0, pulses * period_s, period_s, 0.5, amps, amps / 2, 0.01, edges, edges, samples)


def even(*found, flutters=()):
    """A stretch with such pulses."""
    return Evened(None, found, tuple(flutters))


def judged(evens, on_s=20.0, value=2.0):
    """The finding for a mean of so many amperes behind no fuse."""
    circuit = {"slot": 1, "device": "lamp", "planned_a": 2.0}
    one = bench(HandLog(times(1.0), {"slot1_a": 0.0}), story(), plan(circuit=[circuit]))
    return _if_pulsed(one, 1, measured(value, 0.01, story="by hand"), evens, on_s)


def test_pulses_count_where_they_take_three_tenths_of_the_time():
    """Of 20 s seven of one second, or six; each of two seconds takes twice as long; of all stretches together."""
    assert "pulsed" in judged([even(pulsing(7))]).story
    assert judged([even(pulsing(6))]).story == "by hand"
    assert judged([even(pulsing(3, period_s=2.0))]).story == "by hand"
    assert "pulsed" in judged([even(pulsing(4, period_s=2.0))]).story
    assert "pulsed" in judged([even(pulsing(4)), even(pulsing(3))]).story
    assert judged([even()]).story == judged([]).story == "by hand"


def test_most_of_the_pulses_tell_what_is_drawn():
    """Ten of 4 A beside seven of 6 A; their samples are those that may be too few."""
    many, few = pulsing(10, 4.0), pulsing(7, 6.0, samples=2.0)

    for evens in ([even(many, few)], [even(few), even(many)]):
        one = judged(evens)
        assert one.story == "by hand, pulsed: 4.00 A while on, 2.83 A RMS"
        assert one.disqualified is None
    assert judged([even(pulsing(10, samples=2.0), pulsing(7, 6.0))]).disqualified is not None


def flutter(swing_a, samples=50.0):
    """A current that jumps to and fro by so much."""
    return Flutter(0.0, 10.0, swing_a, samples)


def test_swing_of_a_tenth_more_than_the_mean_is_a_pulsed_load():
    """The greatest of several, of 2 A; less is a load with a ripple."""
    assert judged([even(flutters=[flutter(2.3)])]).story == "by hand, pulsed: 2.30 A while on, 2.14 A RMS"
    assert judged([even(flutters=[flutter(2.1)])]).story == "by hand"
    assert judged([even(flutters=[flutter(0.5)]), even(flutters=[flutter(2.5), flutter(1.0)])]).story == (
        "by hand, pulsed: 2.50 A while on, 2.24 A RMS"
    )
    assert judged([even(flutters=[flutter(0.5)])], value=0.0).story == "by hand, pulsed: 0.50 A while on, 0.00 A RMS"


def test_fewest_samples_of_any_swing_may_be_too_few():
    """Two of one, fifty of the other."""
    assert judged([even(flutters=[flutter(4.0), flutter(3.0, 2.0)])]).disqualified is not None
    assert judged([even(flutters=[flutter(4.0), flutter(3.0)])]).disqualified is None


def test_pulses_come_before_a_swing_beside_them():
    """Six pulses are too few of them: the swing counts."""
    assert "4.00 A while on" in judged([even(pulsing(7), flutters=[flutter(9.0)])]).story
    assert "9.00 A while on" in judged([even(pulsing(6), flutters=[flutter(9.0)])]).story
