"""Which clip moves first and which sinks under the load; and what is drawn and said of a log: by hand."""

import math

import numpy as np
import pytest
from hand_bench import EXACT, HandLog, bench, plan, plateau, story, times
from hand_relay import edge

from benchlog.core.uncertainty import Accuracy
from benchlog.examine.load_checks import Loads
from benchlog.examine.observe_clips import clip_slope, feed_lead
from benchlog.examine.path_checks import FeedLoad, PathPoint

NAN = float("nan")


def a_bench(trigger=0.001, feed=0.02, without=(), planned=(10.0,), accuracy=EXACT, noise=0.0, step_s=0.05, **lines):
    """Loads of 1, 4 and 9 A, ten seconds each from 10 s on; each line loses so many Ω of them."""
    t = times(60.0, step_s)
    amps = np.where(t < 20, 1.0, np.where(t < 30, 4.0, 9.0))
    battery = 12.6 - 0.03 * amps
    rough = noise * np.random.default_rng(1).normal(0, 1, (2, len(t)))
    values = {
        "battery_v": battery,
        "trigger_v": battery - trigger * amps + rough[0],
        "feed_v": battery - feed * amps + rough[1],
    }
    values |= {role: make(t) for role, make in lines.items()}
    for role in without:
        del values[role]
    known = dict.fromkeys(values, accuracy)
    return bench(HandLog(t, values), story(((5.0, 55.0),), ((0.0, 5.0),)), plan(*planned), accuracy=known)


STRETCHES = (plateau(10.0, 19.9, battery_a=1.0), plateau(20.1, 29.9, battery_a=4.0), plateau(30.1, 39.9, battery_a=9.0))


def load_of(*amps) -> FeedLoad:
    """The load on the first stretches."""
    return FeedLoad(tuple(PathPoint(p, a) for p, a in zip(STRETCHES, amps, strict=False)), "", True, "feed_a")


NO_LOADS = Loads((), ())


def slope(load, loads=NO_LOADS, **how):
    """The quantity, or None."""
    return clip_slope(a_bench(**how), loads, load).get("clip_slope")


def test_line_that_sinks_with_the_load_is_the_feeds():
    """20 mΩ against 1 mΩ: (1 − 20) of 22 mΩ with the one that is added."""
    seen = slope(load_of(1.0, 4.0, 9.0))

    assert seen.value == pytest.approx(-19 / 22)
    assert seen.u == pytest.approx(0.0, abs=1e-9)
    assert seen.text == "1.0 mΩ from the battery to trigger_v, 20.0 mΩ to feed_v"
    assert slope(load_of(1.0, 4.0, 9.0), trigger=0.02, feed=0.001).value == pytest.approx(19 / 22)
    assert slope(load_of(1.0, 4.0, 9.0), trigger=-0.002).value == pytest.approx(-22 / 23)
    for role in ("battery_v", "trigger_v", "feed_v"):
        assert slope(load_of(1.0, 4.0, 9.0), without=[role]) is None


def test_slopes_doubt_is_of_each_stretchs_noise_and_rounding():
    """Steps of 10 mV on three channels of two: 4.1 mV a stretch, over loads 5.7 A about their mean."""
    fine = slope(load_of(1.0, 4.0, 9.0), accuracy=Accuracy(0.0, 0.0, 0.01))

    below = math.sqrt(2) * 0.005 / math.sqrt(3)
    spread = math.sqrt(sum((a - 14 / 3) ** 2 for a in (1, 4, 9)))
    assert fine.u == pytest.approx(math.sqrt(2) * below / spread / 0.022)
    rough = slope(load_of(1.0, 4.0, 9.0), noise=0.01)
    assert 0.0005 < rough.u * 0.022 * spread / 0.01 < 1.0
    assert slope(load_of(1.0, 4.0, 9.0), accuracy=None).u == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("amps", "told"), [((1.0, 1.99), False), ((1.0, 2.01), True), ((1.0,), False), ((), False)])
def test_loads_through_the_feed_must_differ_by_an_ampere(amps, told):
    """And be two at least."""
    assert (slope(load_of(*amps)) is not None) is told


def test_batterys_loads_tell_where_none_is_known_to_be_the_feeds():
    """They must differ by two fifths of the planned load, with the key on."""
    loads = Loads((STRETCHES[:2],), ())

    assert slope(None, loads, planned=(7.4,)).value == pytest.approx(-19 / 22)
    assert slope(None, loads, planned=(7.6,)) is None
    assert slope(load_of(1.0), loads, planned=(7.4,)) is not None
    early = Loads(((plateau(4.0, 19.9, battery_a=1.0), STRETCHES[1]),), ())
    assert slope(None, early, planned=(7.4,)) is None
    late = Loads(((STRETCHES[0], plateau(40.1, 56.0, battery_a=9.0)),), ())
    assert slope(None, late, planned=(7.4,)) is None
    blind = Loads(((STRETCHES[0], plateau(20.1, 29.9, feed_a=4.0)),), ())
    assert slope(None, blind, planned=(7.4,)) is None
    little = Loads(((plateau(10.0, 19.9, battery_a=1.0), plateau(20.1, 29.9, battery_a=1.9)),), ())
    assert slope(None, little, planned=(1.0,)) is None


def test_line_that_comes_and_goes_has_no_fall_of_its_own():
    """Below 70 % of the battery in one sample; or too few points of it."""

    def dipped(t):
        return np.where(np.abs(t - 25.0) < 0.01, 8.0, 12.4)

    def shallow(t):
        return np.where(np.abs(t - 25.0) < 0.01, 9.0, 12.4)

    assert slope(load_of(1.0, 4.0), trigger_v=dipped) is None
    assert slope(load_of(1.0, 4.0), trigger_v=shallow) is not None

    def lost(until):
        return lambda t: np.where((t > 21.0) & (t < until), NAN, 12.4)

    assert slope(load_of(1.0, 4.0), feed_v=lost(29.86)) is None
    assert slope(load_of(1.0, 4.0), feed_v=lost(29.79)) is not None


def moving(*events, step_s=0.001, end_s=10.0, without=(), **lines):
    """Trigger and feed that move at each ``(trigger_s, feed_s, to)``."""
    t = times(end_s, step_s)
    values = {"trigger_v": np.zeros(len(t)), "feed_v": np.zeros(len(t))}
    for trigger_s, feed_s, to in events:
        for role, at in (("trigger_v", trigger_s), ("feed_v", feed_s)):
            values[role][t >= at - 1e-9] = 12.0 if to == "high" else 0.0
    values |= {role: make(t) for role, make in lines.items()}
    for role in without:
        del values[role]
    told = {
        "rises": tuple(edge(at, to, step_s) for at, _, to in events if to == "high"),
        "falls": tuple(edge(at, to, step_s) for at, _, to in events if to == "low"),
    }
    return feed_lead(bench(HandLog(t, values), story(((2.0, 8.0),), ((0.0, 2.0), (8.0, 10.0)), **told))).get(
        "feed_lead_s"
    )


def test_feed_that_moves_after_its_trigger_lags():
    """By 10 ms at the key-on and 20 ms at the key-off: the least of them counts."""
    seen = moving((2.0, 2.01, "high"), (8.0, 8.02, "low"))

    assert seen.value == pytest.approx(-0.02, abs=1e-6)
    assert seen.u == pytest.approx(0.001 / math.sqrt(12))
    assert seen.text == "the feed moves -20.0 ms before the trigger, over 2 key events"
    assert moving((2.0, 2.01, "high")).u == pytest.approx(0.001 / math.sqrt(6))


def test_feed_that_leads_at_every_key_event_leads_by_their_mean():
    """10 and 20 ms; a lag of half a sample at one of them tells against it no more than chance."""
    assert moving((2.01, 2.0, "high"), (8.02, 8.0, "low")).value == pytest.approx(0.015, abs=1e-6)
    assert moving((2.01, 2.0, "high"), (8.0, 8.0, "low")).value == pytest.approx(0.005, abs=1e-6)
    assert moving((2.01, 2.0, "high"), (8.0, 8.001, "low")).value == pytest.approx(-0.001, abs=1e-6)


def test_lines_must_move_within_four_tenths_of_a_second():
    """And both of them; each is logged."""
    assert moving((2.0, 2.3, "high")).value == pytest.approx(-0.3, abs=1e-6)
    assert moving((2.0, 2.41, "high")) is None
    assert moving() is None
    for role in ("trigger_v", "feed_v"):
        assert moving((2.0, 2.01, "high"), without=[role]) is None
    assert moving((2.0, 2.01, "high"), feed_v=lambda t: np.where(t < 2.01, 6.1, 12.0)) is None
    assert moving((2.0, 2.01, "high"), feed_v=lambda t: np.where(t < 2.01, 5.9, 12.0)) is not None


def test_line_that_moves_for_longer_than_a_bounce_moves_at_no_key_event():
    """Over 100 ms."""

    def chatters(until):
        return lambda t: 12.0 * ((t >= 2.01) & ((t >= until) | (((t - 2.01) * 100 % 2) < 1)))

    assert moving((2.0, 2.01, "high"), feed_v=chatters(2.10)) is not None
    assert moving((2.0, 2.01, "high"), feed_v=chatters(2.13)) is None


def test_coil_that_rings_is_no_line_that_is_up():
    """Above 1.3 of its level a line counts as down already: 16 V for 50 ms shortly before it falls to nothing."""

    def rings(volts):
        return lambda t: np.where((t >= 7.93) & (t < 7.98), volts, 12.0 * ((t >= 2.0) & (t < 8.0)))

    assert moving((2.0, 2.0, "high"), (8.0, 8.0, "low"), trigger_v=rings(15.0)).value == pytest.approx(0.0, abs=1e-6)
    assert moving((2.0, 2.0, "high"), (8.0, 8.0, "low"), trigger_v=rings(16.0)).value < -0.05
