"""Whose load stepped: hand-made steps of current, feed drop and ground lift."""

import math

import numpy as np
import pytest

from benchlog.analysis.witness import PathStep, judge_steps

FEED_OHM, GROUND_OHM = 0.016, 0.005
LEAST = {"feed": 0.002, "ground": 0.0005}


def _judged(steps, u_v=0.001, paths=("feed", "ground"), seed=3):
    """Steps of (block, bike) amperes through paths of 16 and 5 mΩ, read with noise."""
    rng = np.random.default_rng(seed)
    block = np.array([step[0] for step in steps], dtype=float)
    amps = np.array([sum(step) for step in steps], dtype=float)
    ohms = {"feed": FEED_OHM, "ground": GROUND_OHM}
    read = {name: [PathStep(float(volts + rng.normal(0, u_v)), u_v) for volts in ohms[name] * block] for name in paths}
    return judge_steps(amps, np.full(len(amps), 0.01), read, LEAST)


def _owners(steps, **how):
    return [verdict.owner for verdict in _judged(steps, **how).verdicts]


def test_circuit_and_brake_light_of_like_size_are_told_apart():
    """Four circuits and a brake light of 1.8 A that comes and goes: only the circuits move feed and ground."""
    steps = [(3.5, 0), (0, 1.8), (1.8, 0), (0, -1.8), (5.0, 0), (2.2, 0)]

    assert _owners(steps) == ["block", "bike", "block", "bike", "block", "block"]


@pytest.mark.parametrize("path", ["feed", "ground"])
def test_one_path_is_enough(path):
    """A logger without ground_v, or without feed_v."""
    assert _owners([(3.5, 0), (0, 2.8), (-3.5, 0)], u_v=0.0005, paths=(path,)) == ["block", "bike", "block"]


def test_paths_ratio_is_learned_from_the_steps_themselves():
    """A feed of 16 mΩ and a return of 5 mΩ among bike's steps, without a plan."""
    found = _judged([(3.5, 0), (0, 4.0), (2.0, 0), (0, -4.0), (6.0, 0)], u_v=0.0003)

    assert found.ratios["feed"] == pytest.approx(FEED_OHM, rel=0.03)
    assert found.ratios["ground"] == pytest.approx(GROUND_OHM, rel=0.06)


def test_circuit_that_came_with_another_load_has_its_part_named():
    """A circuit of 2.5 A and the fan of 4 A in one step: 2.5 A by feed and ground."""
    both = _judged([(3.5, 0), (5.0, 0), (2.5, 4.0)], u_v=0.0005).verdicts[2]

    assert both.owner == "both"
    assert both.block_a == pytest.approx(2.5, abs=0.15)
    assert abs(both.block_a - 2.5) < 2 * both.u_a


def test_noise_that_hides_the_paths_leaves_it_open():
    """A small step, and 50 mV of noise on a drop of 16 mV: nothing is named."""
    assert _owners([(1.0, 0), (0, 1.0)], u_v=0.05) == ["unknown", "unknown"]


def test_without_a_path_nothing_is_named():
    """A battery's clamp and voltage alone."""
    assert _owners([(3.5, 0), (0, 2.0)], paths=()) == ["unknown", "unknown"]


def test_only_the_bikes_own_loads_leave_the_paths_still():
    """No circuit came on: steps of 4 A that move nothing are the bike's, since bare wire would have shown them."""
    found = _judged([(0, 4.0), (0, 5.0), (0, -4.0)], u_v=0.0005)

    assert [verdict.owner for verdict in found.verdicts] == ["bike"] * 3
    assert found.ratios == {}


@pytest.mark.parametrize("seed", range(40))
def test_no_step_is_named_wrongly(seed):
    """Random loads, ratios and noise: what is named is right, and most is named where the noise is small."""
    rng = np.random.default_rng(seed)
    feed, ground = rng.uniform(0.006, 0.06), rng.uniform(0.002, 0.02)
    mine = rng.random(9) < 0.6
    mine[0] = True
    amps = rng.choice([-1, 1], 9) * rng.uniform(0.8, 6.0, 9)
    u_v = float(np.exp(rng.uniform(np.log(0.0002), np.log(0.005))))
    # warm joints and other loads' answers move the ratio by some per cent
    spread = rng.normal(1, 0.03, 9)
    read = {
        name: [
            PathStep(float(ohm * a * m * s + rng.normal(0, u_v)), u_v)
            for a, m, s in zip(amps, mine, spread, strict=True)
        ]
        for name, ohm in (("feed", feed), ("ground", ground))
    }

    found = judge_steps(amps, np.full(9, 0.01), read, LEAST)

    named = [
        (verdict.owner == "block", own)
        for verdict, own in zip(found.verdicts, mine, strict=False)
        if verdict.owner in ("block", "bike")
    ]
    assert all(says == own for says, own in named)
    if u_v < 0.0005:
        assert len(named) >= 8


def test_missing_readings_of_one_step_do_not_hinder_the_others():
    """The feed's clip was over range at one step: that one stays unknown, by the feed alone."""
    steps = [PathStep(0.056, 0.001), None, PathStep(0.08, 0.001)]

    found = judge_steps([3.5, 2.0, 5.0], [0.01] * 3, {"feed": steps}, LEAST)

    assert [verdict.owner for verdict in found.verdicts] == ["block", "unknown", "block"]
    assert math.isnan(found.verdicts[1].block_a)
