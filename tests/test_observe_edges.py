"""What lines and clips show at the edges: late lines, cranks, short buzzes and several key-ons; on logs by hand."""

import numpy as np
import pytest
from hand_bench import EXACT, HandLog, bench, plan, plateau, story, times
from test_observe_clips import STRETCHES
from test_observe_lines import a_bench, buzz, seen

from benchlog.analysis.cranking import Crank
from benchlog.examine.load_checks import Loads
from benchlog.examine.observe_clips import clip_slope
from benchlog.examine.observe_lines import line_states

WORDS = "the trigger goes down as the contact closes and comes back as it opens"


def on(t, *without):
    """The feed with the key on, but for some stretches."""
    down = np.any([(t >= a) & (t < b) for a, b in without], axis=0)
    return 12.0 * ((t >= 20) & (t < 60) & ~down)


@pytest.mark.parametrize(("from_s", "whole"), [(20.45, True), (20.85, False)])
def test_line_that_comes_up_later_than_half_a_second_was_down(from_s, whole):
    """From then on it counts."""
    duty = seen(feed_v=lambda t: 12.0 * ((t >= from_s) & (t < 60)))["feed_duty"]

    assert (duty == 1.0) is whole


@pytest.mark.parametrize(
    ("dip", "counts"), [((29.62, 29.68), True), ((29.9, 29.96), False), ((31.32, 31.38), False), ((31.72, 31.78), True)]
)
def test_line_counts_until_two_tenths_before_a_crank_and_from_half_a_second_after_it(dip, counts):
    """The starter turns from 30 to 31 s; a dip of 60 ms."""
    told = {"told": {"cranks": (Crank(30.0, 31.0, 12.5, 1.0),)}}

    assert (seen(feed_v=lambda t: on(t, dip), **told)["feed_falls_hz"] > 0.0) is counts


@pytest.mark.parametrize(("shift", "opposed"), [(0.36, True), (0.32, False)])
def test_lines_oppose_each_other_where_they_go_against_each_other_by_three_tenths(shift, opposed):
    """At 1 Hz, each up for half of the time: shifted by 0.36 of it the correlation is −0.44, by 0.32 −0.28."""
    found = line_states(a_bench(trigger_v=buzz(0.5), feed_v=buzz(0.5, shift=shift)))

    assert (found["trigger_duty"].text == WORDS) is opposed


def test_short_key_on_is_watched_for_as_long_as_it_lasts():
    """3 s of it, with the lines opposed; before and after it they are not."""

    def line(shift):
        return lambda t: np.where((t >= 40.5) & (t < 43), buzz(0.5, 2.0, shift=shift)(t), buzz(0.5, 2.0)(t))

    spans = {"on": ((40.0, 43.0),), "off": ((0.0, 40.0), (43.0, 100.0))}
    found = line_states(a_bench(trigger_v=line(0.0), feed_v=line(0.5), **spans))
    assert found["trigger_duty"].text == WORDS


def test_batterys_loads_within_any_key_on_show_the_clips():
    """Of two key-ons the first, the second, and none where a stretch lies between them."""
    t = times(60.0, 0.05)
    amps = np.where(t < 20, 1.0, np.where(t < 30, 4.0, 9.0))
    values = {"battery_v": 12.6 - 0.03 * amps, "trigger_v": 12.6 - 0.031 * amps, "feed_v": 12.6 - 0.05 * amps}

    def told(*spans):
        one = bench(HandLog(t, values), story(spans), plan(7.4), accuracy=dict.fromkeys(values, EXACT))
        return clip_slope(one, Loads((STRETCHES[:2],), ()), None)

    assert told((5.0, 31.0), (40.0, 55.0))["clip_slope"].value == pytest.approx(-19 / 22)
    assert told((1.0, 2.0), (5.0, 31.0)) != {}
    assert told((5.0, 20.0), (20.05, 31.0)) != {}
    assert told((5.0, 20.05), (21.0, 31.0)) == {}
    other = Loads(((plateau(10.0, 19.9, battery_a=1.0),),), ())
    one = bench(HandLog(t, values), story(((5.0, 55.0),)), plan(7.4), accuracy=dict.fromkeys(values, EXACT))
    assert clip_slope(one, other, None) == {}
