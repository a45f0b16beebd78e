"""A circuit's current by its own channel: when it counts as on, its level, its doubt and its pulses, on logs by hand."""

import math

import numpy as np
import pytest
from hand_bench import EXACT, HandLog, bench, measured, plan, story, times

from benchlog.analysis.cranking import Crank
from benchlog.analysis.running import Running
from benchlog.core.spread import MEDIAN_U
from benchlog.core.uncertainty import Accuracy, combine
from benchlog.examine.own_channel import as_pulsed, own_channel

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


def test_flasher_counts_with_its_mean_and_its_root_mean_square():
    """4 A for half of the time: 2 A, 2.83 A RMS."""
    one = found(flashing(), planned=(2.0,))

    assert one.value == pytest.approx(2.0, abs=0.05)
    assert one.story == "by its own channel, pulsed: 4.00 A while on, 2.83 A RMS"
    assert one.u > 0.0


def test_circuit_that_is_pulsed_for_a_part_of_its_time_only_is_steady():
    """A tenth of it."""

    def amps(t):
        return np.where(t < 38, switched(2.0)(t), flashing(4.0)(t))

    assert "pulsed" not in found(amps, planned=(2.0,)).story


def test_fast_pulses_count_with_their_swing():
    """Every other sample at 4 A: a mean of 2 A, of which too few samples tell."""

    def amps(t):
        return switched(2.0)(t) * (1 + np.where(np.arange(len(t)) % 2, 1, -1))

    one = found(amps, planned=(2.0,))
    assert one.value == pytest.approx(2.0, abs=0.1)
    assert "pulsed: 4.00 A while on" in one.story
    assert one.disqualified == (
        "the load is pulsed, and the logger takes too few samples of each pulse to tell its mean"
    )
    assert one.remedy == "a faster logger, or one that averages between its samples"


def pulsed(mean=2.0, u=0.01, peak=4.0, fuse=5.0, why=None, **more):
    """A circuit of such a mean behind such a fuse."""
    circuit = {"slot": 1, "device": "lamp", "planned_a": 2.0, **({"fuse_a": fuse} if fuse else {})}
    one = bench(HandLog(times(1.0), {"slot1_a": 0.0}), story(), plan(circuit=[circuit]))
    return as_pulsed(one, 1, measured(mean, u, story="by hand", **more), peak, why)


def test_pulsed_circuits_fuse_bears_its_root_mean_square():
    """Four fifths of it: 2.83 A of 4 A; of 2.4 A it fails, of 2.8 A it is open."""
    assert pulsed().failed is None
    assert pulsed().disqualified is None
    assert pulsed(fuse=3.0).failed == "its RMS of 2.83 A is above 2.4 A, 80 % of its 3 A fuse"
    assert pulsed(fuse=3.53).disqualified == "its RMS of 2.83 A lies too close to 2.82 A, 80 % of its fuse"
    wide = pulsed(u=0.51)
    assert wide.disqualified == "its RMS of 2.83 A lies too close to 4 A, 80 % of its fuse"
    assert pulsed(u=0.49).disqualified is None


def test_pulsed_circuit_is_not_held_against_its_fuse_without_fuse_or_doubt():
    """Nor where it proves nothing anyway."""
    assert pulsed(fuse=None).failed is None
    assert pulsed(u=None, fuse=3.0).failed is None
    assert pulsed(fuse=3.0, disqualified="doubt").failed is None
    assert pulsed(fuse=3.0, disqualified="doubt").disqualified == "doubt"
    few = pulsed(fuse=3.0, why="too few")
    assert (few.failed, few.disqualified) == (None, "too few")
    assert few.remedy == "a faster logger, or one that averages between its samples"
    assert pulsed(why="too few", remedy="else").remedy == "else"
    assert pulsed().remedy is None


def test_pulsed_circuit_that_draws_nothing_on_the_mean_has_no_root_mean_square():
    """Less than nothing counts as nothing."""
    assert pulsed(mean=-0.1).story == "by hand, pulsed: 4.00 A while on, 0.00 A RMS"
    assert pulsed(mean=-0.1).disqualified is None


def test_circuit_of_no_stated_accuracy_counts_from_a_twentieth_of_its_plan():
    """2 A of 3 A planned."""
    assert found(switched(2.0), accuracy=None).value == 2.0


TWICE = ((10.0, 25.0), (30.0, 50.0))


def test_any_key_on_shows_that_the_others_drew():
    """The second circuit drew in the first key-on alone."""
    assert found(switched(0.0), other=switched(5.0, 12.0, 24.0), planned=(3.0, 5.0), on=TWICE).value == 0.0


def test_any_key_on_shows_the_circuit_before_the_engine_turns():
    """It is on in the second key-on alone, until the crank at 45 s."""
    told = {"cranks": (Crank(45.0, 46.0, 12.5, 1.0),)}

    def amps(t):
        return np.where(t < 45, switched(3.0, 35.0, 50.0)(t), switched(3.5, 35.0, 50.0)(t))

    assert found(amps, on=TWICE, told=told).value == 3.0


@pytest.mark.parametrize(("from_s", "is_pulsed"), [(31.0, True), (37.5, False)])
def test_circuit_that_is_pulsed_for_three_tenths_of_its_time_is_a_pulsed_one(from_s, is_pulsed):
    """On from 20 s, flashing from 31 or 37.5 s until 40 s."""

    def amps(t):
        return np.where(t < from_s, switched(4.0)(t), flashing(4.0)(t))

    assert ("pulsed" in found(amps, planned=(4.0,)).story) is is_pulsed
