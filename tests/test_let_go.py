"""Lines that are let go: a feed that is gone at once or held up, a coil that rings, and a trigger that is pulsed."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from benchlog.analysis.levels import Crossing
from benchlog.analysis.relay import drop_out
from benchlog.core.trace import Trace
from benchlog.examine.observe_clips import feed_lead


def falling(feed: np.ndarray, battery: np.ndarray, trigger_tau_s: float) -> tuple[Trace, Crossing]:
    """A trigger that is let go at 0.5 s and falls with a time constant, at 1 kHz, with 2 mV of noise on the lines."""
    t = np.arange(0, 1.5, 0.001)
    noise = np.random.default_rng(3).normal(0, 0.002, (2, len(t)))
    trigger = np.where(t < 0.5, 13.7, 13.7 * np.exp(-np.maximum(t - 0.5, 0) / trigger_tau_s))
    half = 0.5 + trigger_tau_s * math.log(2)
    at = int(np.searchsorted(t, half))
    trace = Trace(t, {"trigger_v": trigger, "feed_v": feed + noise[0], "battery_v": battery + noise[1]}, {})
    return trace, Crossing(half, float(t[at - 1]), float(t[at]), at, "low")


def test_feed_that_is_gone_between_two_samples_has_no_slow_fall():
    """From 13.8 V to the 0.1 V that a dead line keeps for a while: the opening is known to the sample."""
    t = np.arange(0, 1.5, 0.001)
    feed = np.where(t < 0.56, 13.8, 0.1 * np.exp(-np.maximum(t - 0.56, 0) / 0.3))
    trace, fall = falling(feed, np.full(len(t), 13.9), trigger_tau_s=0.035)

    found = drop_out(trace, fall, live_v=13.8)

    assert found.slow_s == 0.0
    assert found.trigger_s + found.took_s == pytest.approx(0.56, abs=0.0011)


def test_feed_that_capacitors_hold_is_followed_back_past_a_dying_alternator():
    """The contact opens 86 ms after the trigger; 4 ms later the engine dies and the battery falls below the feed."""
    t = np.arange(0, 1.5, 0.001)
    battery = np.interp(t, [0.590, 0.596], [14.3, 13.17])
    feed = np.where(t < 0.586, 14.3, 14.3 * np.exp(-np.maximum(t - 0.586, 0) / 0.8))
    trace, fall = falling(feed, battery, trigger_tau_s=0.0003)

    found = drop_out(trace, fall, live_v=14.3)

    assert found.took_s == pytest.approx(0.086, abs=0.003)
    assert abs(found.took_s - 0.086) <= 0.002 + found.slow_s


def lines_of(trigger: np.ndarray, feed: np.ndarray, hz: float, rise_s: float, fall_s: float) -> SimpleNamespace:
    """A log of both lines with one key-on and one key-off."""
    t = np.arange(len(trigger)) / hz
    whole = Trace(t, {"trigger_v": trigger, "feed_v": feed}, {})
    events = [Crossing(at, at - 1 / hz, at, int(at * hz), to) for at, to in ((rise_s, "high"), (fall_s, "low"))]
    return SimpleNamespace(
        has=lambda *_: True,
        log=SimpleNamespace(trace=lambda a, b, _: whole.between(a, b)),
        story=SimpleNamespace(rises=events[:1], falls=events[1:]),
    )


def test_coil_that_rings_is_no_trigger_that_stays_up():
    """Let go, an unsuppressed coil's line is met at 38 V and at 5 V at 100 Hz while the feed is dead: no lead."""
    t = np.arange(0, 4, 0.01)
    up = (t > 0.995) & (t < 2.995)
    trigger, feed = np.where(up, 14.2, 0.0), np.where(up, 14.3, 0.0)
    at = int(np.argmax(t > 2.995))
    trigger[at], trigger[at + 1] = 38.0, 5.4

    lead = feed_lead(lines_of(trigger, feed, 100.0, 1.0, 3.0))["feed_lead_s"]

    assert lead.value < 2 * lead.u


def test_pulsed_trigger_moves_at_no_key_event():
    """Ten times a second, its contact 40 ms behind: the first move in sight may be either's."""
    t = np.arange(0, 4, 0.001)
    pulsed = ((t * 10.0) % 1 < 0.4) & (t > 1.0) & (t < 3.0)

    assert feed_lead(lines_of(14.2 * pulsed, 14.3 * np.roll(pulsed, 40), 1000.0, 1.5, 2.5)) == {}
