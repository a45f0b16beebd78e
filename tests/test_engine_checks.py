"""Cranking minimum and the feed in a crank, on dips written by hand."""

import math

import numpy as np
import pytest
from hand_bench import EXACT, VOLTS, HandLog, bench, plan, story

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.cranking import Crank
from benchlog.analysis.true_step import TrueSteps
from benchlog.core.uncertainty import rectangular
from benchlog.examine.engine_checks import examine_crank

SLOW = "a log at 200 samples a second or more, without gaps, would prove it"


def a_bench(
    volts=None,
    feed=None,
    step_s=0.001,
    cranks=((10.0, 11.0),),
    without=(),
    keep=None,
    accuracy=EXACT,
    over=None,
    **more,
):
    """20 s; the battery at 12.5 V, at 10 V in the crank from 10 to 11 s, the feed 0.1 V below it."""
    t = np.arange(round(20 / step_s)) * step_s
    dip = np.where((t >= 10) & (t < 11), 10.0, 12.5)
    battery = dip if volts is None else volts(t, dip)
    values = {"battery_v": battery, "feed_v": battery - 0.1 if feed is None else feed(t, battery - 0.1)}
    for role in without:
        del values[role]
    flags = None if over is None else {"battery_v": over(t)}
    if keep is not None:
        values = {role: x[keep(t)] for role, x in values.items()}
        t = t[keep(t)]
    told = story(((2.0, 18.0),), ((0.0, 2.0),), cranks=tuple(Crank(a, b, 12.5, 1.0) for a, b in cranks))
    tables = {"limits": more.pop("limits", {"crank_min_v": 9.6})}
    known = dict.fromkeys(("battery_v", "feed_v"), accuracy)
    log = HandLog(t, values, more.pop("marks", ()), flags)
    return bench(log, told, plan(3.0, **tables), accuracy=known, **more)


def found(**how):
    """Minimum and loss."""
    both = examine_crank(a_bench(**how))
    return both["crank_minimum"], both["feed_in_crank"]


def test_minimum_is_what_is_held_for_ten_milliseconds():
    """10 V; 8 V for 30 ms amid it; 8 V for 4 ms are no more than a spike."""
    low, _ = found()
    assert (low.value, low.u, low.from_s, low.to_s) == (pytest.approx(10.0), pytest.approx(0.0, abs=1e-9), 10.0, 11.0)
    assert low.story.startswith("held for 10 ms at 1")
    assert (low.disqualified, low.one_sided, low.remedy) == (None, None, None)
    assert low.parts.most_s == low.parts.watched_s == pytest.approx(1.0)

    def dip(from_s, lasts_s, to_v=8.0):
        return lambda t, x: np.where((t >= from_s - 1e-6) & (t < from_s + lasts_s - 1e-6), to_v, x)

    assert found(volts=dip(10.5, 0.030))[0].value == pytest.approx(8.0)
    assert found(volts=dip(10.5, 0.030))[0].story.startswith("held for 10 ms at 10.5")
    assert found(volts=dip(10.5, 0.004))[0].value > 9.9
    assert found(volts=dip(9.9, 0.030))[0].value == pytest.approx(8.0)
    assert found(volts=dip(9.7, 0.030))[0].value == pytest.approx(10.0)
    assert found(volts=dip(11.1, 0.030))[0].value == pytest.approx(10.0)


def test_minimum_carries_the_channels_doubt():
    """Of a level at 10 V; none where it is not stated."""
    low, _ = found(accuracy=VOLTS)

    assert low.u == pytest.approx(VOLTS.level_u(10.0), rel=1e-3)
    assert low.parts.offset == pytest.approx(rectangular(VOLTS.offset))
    assert found(accuracy=None)[0].u is None


def test_lowest_of_several_cranks_counts_and_what_another_hides_leaves_it_open():
    """10 V in the first, 9 V in the second; a gap in the first may hide less."""

    def two(t, x):
        return np.where((t >= 14) & (t < 15), 9.0, x)

    cranks = ((10.0, 11.0), (14.0, 15.0))
    low, _ = found(volts=two, cranks=cranks)
    assert (low.value, low.from_s, low.one_sided) == (pytest.approx(9.0), 14.0, None)
    gap, _ = found(volts=two, cranks=cranks, keep=lambda t: (t < 10.4) | (t > 10.45))
    assert (gap.value, gap.remedy) == (pytest.approx(9.0), SLOW)
    assert gap.one_sided == "samples 51 ms apart can miss the lowest 10 ms"
    over, _ = found(volts=two, cranks=cranks, over=lambda t: (t > 10.4) & (t < 10.4035))
    assert over.one_sided == "3 samples of battery_v were over range while cranking"
    assert over.disqualified is None


def test_log_without_battery_or_crank_says_so():
    """And whether a crank was marked that no channel shows."""
    assert {one.why for one in found(without=["battery_v"])} == {"battery_v is not logged"}
    assert {one.why for one in found(cranks=())} == {"no cranking in this log; start the engine while it records"}
    marked = found(cranks=(), marks={"crank": 10.0})[0].why
    assert marked.startswith('"crank" is marked at 10.0 s, but no channel shows a starter there; log battery_v')
    bridged = found(cranks=(), bridged=(Bridge(9.0, 12.0),))[0].why
    assert bridged.endswith("; the shunt was bridged from 9.0 s to 12.0 s, so no current was measured there")
    assert found(keep=lambda t: (t < 9.5) | (t > 12))[0].why == (
        "too few samples while cranking; log at 200 samples a second or more"
    )


@pytest.mark.parametrize(("step_s", "slow"), [(0.01, False), (0.0102, True), (0.02, True)])
def test_samples_further_apart_than_ten_milliseconds_can_miss_it(step_s, slow):
    """Then the lowest sample counts."""
    low, _ = found(step_s=step_s)

    assert (low.one_sided is not None) is slow
    assert (low.story == "the lowest sample") is slow
    assert low.value == pytest.approx(10.0)
    assert low.remedy == (SLOW if slow else None)


def test_gap_in_the_crank_may_hide_its_lowest():
    """Of 52 ms; the figure is still what was held beside it."""
    low, _ = found(keep=lambda t: (t < 10.4) | (t > 10.45))

    assert low.one_sided == "samples 51 ms apart can miss the lowest 10 ms"
    assert (low.value, low.disqualified) == (pytest.approx(10.0), None)
    assert low.story.startswith("held for 10 ms")
    assert found(keep=lambda t: (t < 10.4) | (t > 10.408))[0].one_sided is None


def test_logger_that_sees_slowly_can_miss_it_as_well():
    """20 ms behind rows of a millisecond."""
    low, loss = found(steps=TrueSteps({"battery_v": 0.02}))

    assert low.one_sided == "samples 25 ms apart can miss the lowest 10 ms"
    assert loss.one_sided == "samples 20 ms apart can miss a short loss"


def slow(*levels, step_s=0.02, limits=None):
    """Such levels from 10.4 s on, a sample each."""

    def volts(_, x):
        first = round(10.4 / step_s)
        y = x.copy()
        y[first : first + len(levels)] = levels
        return y

    return found(volts=volts, step_s=step_s, **({} if limits is None else {"limits": limits}))[0]


def test_two_slow_samples_below_the_limit_show_a_fall_that_lasts():
    """9 and 9.2 V: the higher of them, ± what samples move by; one alone proves nothing."""
    low = slow(9.0, 9.2)
    assert (low.value, low.story, low.disqualified) == (pytest.approx(9.2), "two samples on end", None)
    alone = slow(9.0)
    assert (alone.value, alone.story) == (pytest.approx(9.0), "the lowest sample")
    assert alone.disqualified == "one sample alone below the limit, 20 ms from the next"
    assert slow(9.0, 9.2, limits={}).story == "the lowest sample"
    assert slow(9.7).disqualified is None
    assert slow(9.0, limits={}).disqualified is None


def test_few_samples_in_ten_milliseconds_widen_the_minimum():
    """3 ms apart each may be a mean: between 9 V and what a longer stretch surely holds."""

    def volts(t, x):
        return np.where((t >= 10.5) & (t < 10.512), 9.0, x)

    fine = found(volts=volts, step_s=0.002)[0]
    coarse = found(volts=volts, step_s=0.003)[0]
    assert fine.value < 9.6
    assert coarse.value > 9.2
    assert coarse.u > 0.2


def test_samples_over_range_disqualify_the_minimum():
    """In the crank."""
    assert found(over=lambda t: (t > 10.4) & (t < 10.4035))[0].disqualified == (
        "3 samples of battery_v were over range while cranking"
    )
    assert found(over=lambda t: (t > 12) & (t < 13))[0].disqualified is None


def lost(*stretches):
    """A feed that is dead in these."""
    return lambda t, x: np.where(np.any([(t >= a) & (t < b) for a, b in stretches], axis=0), 0.0, x)


def test_loss_is_the_longest_time_below_half_of_the_battery():
    """80 of 80 and 30 ms; none at all over both cranks."""
    _, loss = found(feed=lost((10.2, 10.28), (10.6, 10.63)))
    assert loss.value == pytest.approx(0.08, abs=0.001)
    assert (loss.from_s, loss.to_s) == (pytest.approx(10.2, abs=0.001), pytest.approx(10.28, abs=0.001))
    assert loss.u == pytest.approx(math.sqrt(2) * rectangular(0.001), rel=0.01)
    assert (loss.story, loss.one_sided, loss.remedy) == ("over 1 crank", None, None)
    cranks = ((10.0, 11.0), (14.0, 15.0))
    _, none = found(cranks=cranks)
    assert (none.value, none.from_s, none.to_s, none.story) == (0.0, 10.0, 15.0, "over 2 cranks")
    assert found(cranks=cranks, feed=lost((10.2, 10.25), (14.2, 14.3)))[1].value == pytest.approx(0.1, abs=0.001)
    assert found(cranks=cranks, feed=lost((10.2, 10.3), (14.2, 14.25)))[1].from_s == pytest.approx(10.2, abs=0.001)


def test_feed_that_comes_back_late_is_watched_for_two_tenths():
    """Lost from 10.9 to 11.1 s, or for good."""
    assert found(feed=lost((10.9, 11.1)))[1].value == pytest.approx(0.2, abs=0.001)
    assert found(feed=lost((10.9, 13.0)))[1].value == pytest.approx(0.3, abs=0.001)
    assert found(feed=lost((11.3, 13.0)))[1].value == 0.0


def test_feed_must_be_live_before_the_crank():
    """Above 5 V in the half second before it, or the three seconds where that holds no sample."""
    dead = "the feed was not live before cranking"
    assert found(without=["feed_v"])[1].why == "feed_v is not logged"
    assert found(feed=lost((0.0, 10.0)))[1].why == dead
    assert found(feed=lost((9.4, 9.99)))[1].why == dead
    assert found(feed=lost((9.4, 9.7)))[1].value == 0.0
    assert found(feed=lambda t, x: np.where(t < 10, 4.9, x))[1].why == dead
    assert found(feed=lambda t, x: np.where(t < 10, 5.1, x))[1].value == 0.0
    blind = found(feed=lambda t, x: np.where((t > 9.4) & (t < 9.999), np.nan, x))[1]
    assert blind.value == 0.0
    longer = found(feed=lambda t, x: np.where((t > 6.5) & (t < 10.0005), np.nan, x))[1]
    assert longer.why == dead
    cranks = ((10.0, 11.0), (14.0, 15.0))
    assert found(cranks=cranks, feed=lost((9.4, 10.0), (14.2, 14.3)))[1].value == pytest.approx(0.1, abs=0.001)


@pytest.mark.parametrize(
    ("keep", "one_sided"),
    [
        (lambda t: (t < 10.4) | (t > 10.45), "samples 51 ms apart can miss a short loss"),
        (lambda t: (t < 10.4) | (t > 10.408), None),
        (lambda t: (t < 12.4) | (t > 12.9), None),
    ],
)
def test_gap_in_the_crank_may_hide_a_loss(keep, one_sided):
    """Longer than ten milliseconds."""
    loss = found(keep=keep)[1]

    assert loss.one_sided == one_sided
    assert loss.remedy == (SLOW if one_sided else None)


@pytest.mark.parametrize(("step_s", "wide"), [(0.0024, False), (0.0026, True)])
def test_samples_over_two_and_a_half_milliseconds_apart_may_be_means(step_s, wide):
    """9 V for 15 ms: then the minimum lies anywhere between it and what 10 ms and two steps surely hold."""
    low = found(volts=lambda t, x: np.where((t >= 10.5) & (t < 10.515), 9.0, x), step_s=step_s)[0]

    assert (low.u > 0.2) is wide
    if wide:
        assert low.value == pytest.approx(9.5, abs=0.01)
        assert low.u == pytest.approx(rectangular(0.5), rel=0.02)


def test_feed_is_read_until_just_before_the_crank():
    """It dies 10 ms before the starter shows; 30 ms before, it is what was there."""
    assert found(feed=lost((9.985, 10.0)))[1].value == 0.0
    assert found(feed=lambda t, x: np.where(t < 9.75, 0.0, x))[1].why == "the feed was not live before cranking"
    assert found(feed=lambda t, x: np.where(t < 9.73, 0.0, x))[1].value == 0.0
