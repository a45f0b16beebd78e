"""The feed that should be dead and the rested battery, on key-offs written by hand."""

import math

import numpy as np
import pytest
from hand_bench import EXACT, VOLTS, HandLog, bench, plan, story, times

from benchlog.analysis.noise import NoiseModel
from benchlog.analysis.settling import Settled
from benchlog.core.uncertainty import Accuracy, rectangular
from benchlog.examine.off_spans import OffSpan
from benchlog.examine.rest_checks import examine_rest

REST = "rest"


def a_bench(
    volts=12.7,
    feed=0.1,
    off=((0.0, 100.0), (150.0, 300.0)),
    accuracy=EXACT,
    without=(),
    over=None,
    step_s=0.1,
    end_s=300.0,
    **more,
):
    """The key off until 100 s and from 150 s on; ``volts`` and ``feed`` as one figure or by the times."""
    t = times(end_s, step_s)
    values = {
        "battery_v": volts(t) if callable(volts) else np.full(len(t), volts),
        "feed_v": feed(t) if callable(feed) else np.where((t >= 100) & (t < 150), 12.0, feed),
    }
    for role in without:
        del values[role]
    log = HandLog(t, values, over=None if over is None else {"feed_v": over(t)})
    known = accuracy if isinstance(accuracy, dict) else dict.fromkeys((*values, "battery_a"), accuracy)
    tables = {"limits": {"settle_max_s": 30.0}}
    return bench(
        log, story(((100.0, 150.0),), off, **more.pop("told", {})), plan(3.0, **tables), accuracy=known, **more
    )


def span(from_s=0.0, to_s=100.0, since=None, base_a=0.005, role="battery_a", **more) -> OffSpan:
    """A key-off whose current settled."""
    settled = Settled(from_s if since is None else since, to_s, 0.1, base_a, (), **more)
    return OffSpan(from_s, to_s, from_s <= 0, settled, role)


BOTH = (span(), span(150.0, 300.0, 160.0))


def feed_off(spans=BOTH, **how):
    """Its finding."""
    return examine_rest(a_bench(**how), spans)["feed_off_voltage"]


def resting(spans=BOTH, **how):
    """Its finding."""
    return examine_rest(a_bench(**how), spans)["resting_voltage"]


def test_dead_feed_is_told_by_the_highest_of_its_stretches():
    """0.1 V before the first key-on, 0.3 V after the key-off, from where its current settled."""

    def feed(t):
        return np.where(t < 100, 0.1, np.where(t < 160, 12.0, 0.3))

    found = feed_off(feed=feed)
    assert found.value == pytest.approx(0.3)
    assert (found.u, found.from_s, found.to_s) == (pytest.approx(0.0), 160.0, 300.0)
    assert (found.story, found.disqualified) == ("settled; the highest of its stretches", None)
    stated = feed_off(feed=feed, accuracy=VOLTS)
    assert stated.u == pytest.approx(VOLTS.level_u(0.3))
    assert stated.parts.watched_s == pytest.approx(140.0)
    assert stated.parts.offset == pytest.approx(rectangular(VOLTS.offset))
    assert feed_off(feed=feed, accuracy={}).u is None


def test_dead_feed_needs_its_channel_and_a_key_off():
    """Each in its own words."""
    assert feed_off(without=["feed_v"]).why == "feed_v is not logged"
    assert feed_off(()).why == "the log holds no stretch with the key off; record one after turning the key off"
    assert feed_off((OffSpan(150.0, 300.0, False, None, None),)).why.startswith("no key-off stretch stayed settled")


@pytest.mark.parametrize(
    ("from_s", "to_s", "volts", "told"),
    [
        *((150.0, 179.9, 0.1, False), (150.0, 180.1, 0.1, True)),
        *((150.0, 179.0, 12.0, False), (0.0, 29.0, 0.1, False)),
        *((0.0, 29.0, 4.9, False), (0.0, 29.0, 5.1, True)),
        (0.0, 0.15, 5.1, False),
    ],
)
def test_stretch_counts_once_it_is_long_enough_or_shows_a_live_feed(from_s, to_s, volts, told):
    """30 s; before the first key-on a few points show that it is live, but not that it is dead."""
    found = feed_off((span(from_s, to_s),), feed=lambda t: np.full(len(t), volts))

    assert (getattr(found, "why", None) is None) is told


def test_feed_while_a_fuse_is_out_does_not_count():
    """It is at 8 V then; where nothing else is left the stretch says nothing."""

    def feed(t):
        return np.where((t > 200) & (t < 240), 8.0, 0.1)

    late = (span(150.0, 300.0, 160.0),)
    assert feed_off(late, feed=feed, left_out=((199.0, 241.0),)).value == pytest.approx(0.1)
    assert feed_off(late, feed=feed).value > 1.0
    assert hasattr(feed_off(late, left_out=((150.0, 300.0),)), "why")


def test_feed_without_valid_samples_says_nothing():
    """None in its stretch; some of them missing are no harm."""
    late = (span(150.0, 300.0, 160.0),)
    assert hasattr(feed_off(late, feed=lambda t: np.full(len(t), np.nan)), "why")
    assert feed_off(late, feed=lambda t: np.where(t < 200, np.nan, 0.1)).value == pytest.approx(0.1)


def test_feed_over_range_is_in_doubt():
    """Two samples."""
    found = feed_off(over=lambda t: (t > 200) & (t < 200.25))

    assert found.disqualified is None or "2 samples" in found.disqualified
    late = feed_off((span(150.0, 300.0, 160.0),), over=lambda t: (t > 200) & (t < 200.25))
    assert late.disqualified == "2 samples of feed_v were over range there"


def test_feed_settles_by_itself_where_the_current_was_over_range():
    """It goes dead at 170 s; the span is told by a current beyond its range."""

    def feed(t):
        return np.where(t < 170, 12.0, 0.1)

    blind = OffSpan(150.0, 300.0, False, Settled(300.0, 300.0, 0.0, math.inf, ()), "battery_a")
    found = feed_off((blind,), feed=feed)
    assert (found.value, found.from_s) == (pytest.approx(0.1), pytest.approx(170.0, abs=0.11))


def test_rested_battery_is_the_mean_before_the_first_key_on():
    """Until two samples before it, of the last ten minutes."""
    found = resting(accuracy=VOLTS)

    assert found.value == pytest.approx(12.7)
    assert found.u == pytest.approx(VOLTS.level_u(12.7))
    assert (found.from_s, found.to_s) == (0.0, pytest.approx(99.8, abs=0.11))
    assert found.story == "over 100 s"
    assert found.disqualified is None
    assert (found.parts.watched_s, found.parts.most_s) == (pytest.approx(99.8, abs=0.11), 600.0)
    assert resting(accuracy={}).u is None
    late = resting((span(since=60.0),))
    assert late.from_s == pytest.approx(60.0, abs=0.11)

    def volts(t):
        return np.where(t < 400, 11.0, np.where(t < 1000, 12.7, 9.0))

    long = resting((span(0.0, 1000.0),), volts=volts, end_s=1100.0, off=((0.0, 1000.0),))
    assert (long.value, long.from_s) == (pytest.approx(12.7), pytest.approx(400.0, abs=0.11))


def test_rested_battery_needs_its_channel_and_a_log_that_begins_with_the_key_off():
    """For two seconds and four points."""
    assert resting(without=["battery_v"]).why == "battery_v is not logged"
    assert resting((span(150.0, 300.0),)).why == (
        "the log does not begin with the key off; start it before the first key-on"
    )
    brief = "the key was on within 2 s of the log's start; record the rested battery first"
    assert resting((span(0.0, 1.9),)).why == brief
    assert resting((span(0.0, 2.1),)).value == pytest.approx(12.7)
    few = resting(volts=lambda t: np.where(t < 99.45, np.nan, 12.7))
    assert few.value == pytest.approx(12.7)
    assert resting(volts=lambda t: np.where(t < 99.55, np.nan, 12.7)).why == brief
    nothing = OffSpan(0.0, 100.0, True, None, None)
    assert resting((nothing,)).value == pytest.approx(12.7)


@pytest.mark.parametrize(("by_mv", "way"), [(7.6, "rises by 5 mV"), (7.4, None), (-7.6, "falls by 5 mV"), (-7.4, None)])
def test_voltage_that_drifts_by_five_millivolts_does_not_rest(by_mv, way):
    """Two thirds of what a straight line changes by over the stretch."""
    found = resting(volts=lambda t: 12.7 + by_mv / 1000 * t / 99.7)

    assert (found.disqualified is None) is (way is None)
    if way:
        assert found.disqualified.startswith(
            f"the voltage still {way} over that stretch (surface charge or a load); let"
        )


@pytest.mark.parametrize(("resolution", "drifts"), [(0.0100, True), (0.0110, False)])
def test_drift_within_the_channels_steps_is_none(resolution, drifts):
    """8.5 mV of two steps' worth: twice the step over the root of six."""
    found = resting(volts=lambda t: 12.7 + 0.0128 * t / 99.7, accuracy=Accuracy(0.0, 0.0, resolution))

    assert (found.disqualified is not None) is drifts


@pytest.mark.parametrize(("sigma", "drifts"), [(0.00155, True), (0.0018, False)])
def test_drift_within_its_noise_is_none(sigma, drifts):
    """12 mV over the stretch, in noise whose mean is known as well as that."""
    windows = tuple(0.1 * 2**n for n in range(11))
    noise = {"battery_v": NoiseModel(sigma, sigma, 0.1, windows, (sigma,) * 11)}
    found = resting(volts=lambda t: 12.7 + 0.0118 * t / 99.7, noise=noise)

    assert (found.disqualified is not None) is drifts


@pytest.mark.parametrize(
    ("more", "doubt"),
    [
        ({"base_a": 0.4, "awake": True}, "0.4 A flowed, so the battery was not at rest; turn everything off"),
        ({"base_a": 0.4}, None),
        ({"base_a": -0.0130}, "a current flows into the battery by this reading; take the charger off, let it rest"),
        ({"base_a": -0.0110}, None),
        ({"base_a": -0.0130, "role": "feed_v"}, None),
        ({"base_a": 0.4, "awake": True, "role": None}, None),
    ],
)
def test_battery_that_gives_or_takes_a_current_does_not_rest(more, doubt):
    """Into it by more than two uncertainties of the channel, 12 mA."""
    accuracy = {"battery_v": EXACT, "battery_a": Accuracy(0.0, 0.006 * math.sqrt(3), 0.0)}
    found = resting((span(**more),), accuracy=accuracy)

    assert (found.disqualified or "").startswith(doubt or "")
    assert (found.disqualified is None) is (doubt is None)


@pytest.mark.parametrize(("base_a", "doubt"), [(-0.24, False), (-0.26, True)])
def test_current_of_no_stated_accuracy_counts_from_a_quarter_ampere(base_a, doubt):
    """Into the battery."""
    found = resting((span(base_a=base_a),), accuracy={"battery_v": EXACT})

    assert (found.disqualified is not None) is doubt
