"""A circuit's current by its own channel: when it counts as on, its level and its doubt, on logs by hand."""

import math

import numpy as np
import pytest
from hand_bench import EXACT, HandLog, bench, plan, story, times

from benchlog.analysis.cranking import Crank
from benchlog.analysis.running import Running
from benchlog.core.spread import MEDIAN_U
from benchlog.core.uncertainty import Accuracy, combine
from benchlog.examine.own_channel import own_channel

STATED = Accuracy(0.01, 0.03, 0.0)


def a_bench(amps, marks=(), accuracy=EXACT, planned=(3.0,), other=None, over=None, on=((10.0, 50.0),), **more):
    """The first circuit's channel, 20 samples a second; ``other`` is the second's."""
    t = times(60.0, 0.05)
    values = {"slot1_a": amps(t)}
    if other is not None:
        values["slot2_a"] = other(t)
    log = HandLog(t, values, marks, over=None if over is None else {"slot1_a": over(t)})
    told = more.pop("told", {})
    tables = more.pop("tables", {})
    known = dict.fromkeys(values, accuracy)
    return bench(log, story(on, **told), plan(*planned, **tables), accuracy=known, **more)


def found(amps, **how):
    """The first slot's finding."""
    return own_channel(a_bench(amps, **how), 1, how.get("planned", (3.0,))[0])


def switched(level=3.0, from_s=20.0, to_s=40.0, off=0.0, rush=None):
    """On for a while; ``rush`` is what it draws for its first 0.9 s."""

    def amps(t):
        x = np.where((t > from_s - 0.01) & (t < to_s - 0.01), level, off)
        return x if rush is None else np.where((t > from_s - 0.01) & (t < from_s + 0.89), rush, x)

    return amps


def test_circuits_current_is_its_level_while_it_was_on():
    """3 A from 20 to 40 s, its inrush of a second left out."""
    one = found(switched(rush=9.0))

    assert (one.value, one.u, one.story) == (3.0, 0.0, "by its own channel")
    assert (one.from_s, one.to_s) == (pytest.approx(20.0), pytest.approx(39.95))
    assert (one.disqualified, one.failed, one.remedy) == (None, None, None)
    short = found(switched(to_s=21.0, rush=9.0))
    assert short.value == pytest.approx(9.0)
    assert found(switched(to_s=22.2, rush=9.0)).value == 3.0


def test_circuit_without_a_key_on_or_a_current_is_not_seen():
    """And says what to do; where every other circuit drew by its own channel, or it was marked, it draws nothing."""
    assert found(switched(), on=()).why == "the key is off throughout the log"
    why = "slot 1 drew no current while the key was on; switch it on while it records"
    assert found(switched(0.0)).why == why
    assert found(switched(0.0), marks={"slot 1 on": 20.0}).value == 0.0
    both = {"planned": (3.0, 5.0)}
    assert found(switched(0.0), other=switched(5.0), **both).value == 0.0
    assert found(switched(0.0), other=switched(1.4), **both).why == why
    assert found(switched(0.0), other=switched(1.6), **both).value == 0.0
    assert found(switched(0.0), **both).why == why
    assert found(switched(0.0), other=switched(5.0), planned=(3.0, 5.0, 1.0)).why == why


def test_dead_circuit_counts_from_its_mark_on():
    """Its stretch begins at 20 s."""
    one = found(switched(0.0), marks={"slot 1 on": 20.0})

    assert one.from_s == pytest.approx(20.05)
    unmarked = found(switched(0.0), other=switched(5.0), planned=(3.0, 5.0))
    assert unmarked.from_s == pytest.approx(10.05)


@pytest.mark.parametrize(("level", "seen"), [(0.16, True), (0.14, False)])
def test_twentieth_of_the_plan_is_the_least_current(level, seen):
    """Of 3 A."""
    assert hasattr(found(switched(level)), "value") is seen


@pytest.mark.parametrize(("level", "seen"), [(0.28, True), (0.25, False)])
def test_three_times_the_channels_doubt_of_zero_is_the_least_current(level, seen):
    """Three times 0.15 A over the root of three."""
    assert hasattr(found(switched(level), accuracy=Accuracy(0.0, 0.15, 0.0)), "value") is seen


@pytest.mark.parametrize(("later", "value"), [(1.6, 1.7), (1.4, 3.0)])
def test_circuit_is_on_above_half_of_its_level_or_three_tenths_of_its_plan(later, value):
    """Of 10 A planned: at 3 A for half of the time, then at so many."""

    def amps(t):
        return np.where((t > 20) & (t < 25), 3.0, np.where((t > 25) & (t < 45), later, 0.0))

    assert found(amps, planned=(10.0,)).value == pytest.approx(value, abs=0.2)


def test_high_inrush_does_not_hide_the_level_above_three_tenths_of_the_plan():
    """30 A for four seconds, and 1 A for thirty, of 3 A planned."""

    def amps(t):
        return np.where((t > 12) & (t < 16), 30.0, np.where((t > 16) & (t < 46), 1.0, 0.0))

    assert found(amps).value == 1.0


def test_scatter_of_the_level_and_of_its_times_on_is_its_doubt():
    """± 0.1 A about 3 A within, and 3.0 and 3.4 A in two times on."""
    noise = np.random.default_rng(2).normal(0, 0.02, 1200)
    one = found(lambda t: switched()(t) + noise * (t > 20.01) * (t < 39.99))
    level = 3.0 + noise[420:800]
    assert one.value == pytest.approx(float(np.median(level)))
    assert one.u == pytest.approx(MEDIAN_U * float(np.std(level)) / math.sqrt(380))

    def twice(t):
        return switched(to_s=30.0)(t) + switched(3.4, 35.0, 45.0)(t)

    two = found(twice)
    assert (two.from_s, two.to_s) == (pytest.approx(20.0), pytest.approx(44.95))
    assert two.u == pytest.approx(combine(0.2, MEDIAN_U * 0.2 / math.sqrt(2 * 179)), rel=0.01)


def test_zero_while_the_circuit_is_off_takes_the_offset_off():
    """It reads 20 mA then, within three times what the channel may; 0.1 A is no zero, and without accuracy none is."""
    one = found(switched(off=0.02), accuracy=STATED)
    assert (one.value, one.u) == (pytest.approx(2.98), pytest.approx(STATED.change_u(2.98)))
    far = found(switched(off=0.1), accuracy=STATED)
    assert (far.value, far.u) == (3.0, pytest.approx(STATED.level_u(3.0)))
    assert found(switched(off=0.05), accuracy=STATED).value == pytest.approx(2.95)
    assert found(switched(off=0.055), accuracy=STATED).value == 3.0
    unstated = found(switched(off=0.02), accuracy=None)
    assert (unstated.value, unstated.u) == (3.0, None)
    always = found(switched(from_s=5.0, to_s=55.0), accuracy=STATED)
    assert always.u == pytest.approx(STATED.level_u(3.0))


def test_four_points_off_are_the_fewest_for_a_zero():
    """0.2 s of them before the key-off."""

    def brief(points):
        return found(switched(off=0.02, from_s=10.0, to_s=50.0 - 0.05 * points), accuracy=STATED).value

    assert (brief(4), brief(3), brief(2)) == (pytest.approx(2.98), pytest.approx(2.98), 3.0)


@pytest.mark.parametrize(("samples", "doubt"), [(30, False), (50, True)])
def test_channel_over_range_for_a_tenth_of_the_level_is_in_doubt(samples, doubt):
    """Of some 380 points."""

    def over(t):
        return (t > 30) & (t < 30 + 0.05 * samples - 0.01)

    def amps(t):
        return np.where(over(t), np.nan, switched()(t))

    one = found(amps, over=over)
    assert one.value == 3.0
    assert one.disqualified == (f"{samples - 1} samples of slot1_a were over range" if doubt else None)


def test_circuit_without_a_valid_sample_while_it_was_on_says_so():
    """Marked on, and nothing read."""
    one = found(lambda t: np.full(len(t), np.nan), marks={"slot 1 on": 20.0})

    assert one.why == "slot 1 has no valid sample while it was on"


@pytest.mark.parametrize(
    "told", [{"cranks": (Crank(30.0, 31.0, 12.5, 1.0),)}, {"running": (Running(30.0, 50.0, "mark", 12.5, 1.0),)}]
)
def test_circuit_that_is_on_before_the_engine_turns_is_judged_there(told):
    """3 A until the start, 3.5 A with the alternator; for 1.5 s and more."""

    def amps(from_s):
        return lambda t: np.where(t < 30, switched(3.0, from_s)(t), switched(3.5, from_s)(t))

    assert found(amps(20.0), told=told).value == 3.0
    assert found(amps(28.1), told=told).value == 3.0
    assert found(amps(28.3), told=told).value == 3.5
    assert found(amps(20.0), told=told).to_s == pytest.approx(29.65, abs=0.06)
    assert found(switched(3.5, 32.0), told=told).value == 3.5


def test_circuit_that_draws_less_than_half_before_the_engine_turns_is_judged_over_all():
    """1.4 of 3 A before, or 1.6."""
    told = {"cranks": (Crank(30.0, 31.0, 12.5, 1.0),)}

    def amps(early):
        return lambda t: np.where(t < 30, switched(early)(t), switched(3.0)(t))

    assert found(amps(1.4), told=told).value == 3.0
    assert found(amps(1.6), told=told).value == 1.6


def flashing(amps=4.0, period_s=0.5, from_s=20.0, to_s=40.0):
    """On for half of each period."""
    return lambda t: amps * ((t >= from_s) & (t < to_s)) * ((t - from_s + 1e-9) % period_s < period_s / 2)
