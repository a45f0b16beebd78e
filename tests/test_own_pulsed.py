"""Pulsed circuits by their own channels, and what any key-on shows of others: on logs by hand."""

import numpy as np
import pytest
from hand_bench import HandLog, bench, measured, plan, story, times
from test_own_channel import flashing, found, switched

from benchlog.analysis.cranking import Crank
from benchlog.examine.own_channel import as_pulsed


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
