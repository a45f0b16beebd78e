"""Whose load stepped: where each owner begins, on changes of one path or two without noise."""

import math
from collections.abc import Sequence

import numpy as np
import pytest

from benchlog.analysis.witness import Paths, PathStep, Verdict, judge_steps


def judged(
    *feed: tuple[float, float] | None,
    ground: Sequence[tuple[float, float]] = (),
    u_a: float = 1e-4,
    least: float = 0.002,
) -> Paths:
    """Steps of 10 A each, and (V, u) of what the feed, and the ground, shows of each."""
    paths = {"feed": [None if step is None else PathStep(*step) for step in feed]}
    if ground:
        paths["ground"] = [PathStep(*step) for step in ground]
    return judge_steps([10.0] * len(feed), [u_a] * len(feed), paths, {"feed": least, "ground": least})


PURE = (0.16, 1e-5)


def test_blocks_part_and_its_doubt_are_the_paths_reading_over_its_ratio():
    """0.16 V ± 1 mV at 16 mΩ are 10 A; the reading and 2 % of the ratio are in doubt."""
    (found,) = judged((0.16, 0.001)).verdicts

    assert found == Verdict("block", pytest.approx(10.0), pytest.approx(math.hypot(0.001, 0.02 * 0.16) / 0.016))
    assert not found.alone


@pytest.mark.parametrize(("u", "owner"), [(0.0510, "block"), (0.0545, "unknown")])
def test_block_is_named_from_nine_on(u: float, owner: str):
    """0.16 V that are 3.06 (or 2.9) deviations from nothing, and none from the block's."""
    assert judged(PURE, PURE, (0.16, u)).verdicts[2].owner == owner


@pytest.mark.parametrize(
    ("volts", "owner"), [(0.0, "bike"), (0.0155, "bike"), (0.0182, "both"), (0.131, "both"), (0.139, "block")]
)
def test_both_are_named_from_twelve_on_either_side(volts: float, owner: str):
    """A bike's load moves a path by 3 % of the ratio at most (0.0155 V are 10, 0.0182 V 14), the block's strays by 4 %.

    0.131 V are 20 off the block's, 0.139 V 11.
    """
    assert judged(PURE, PURE, (volts, 1e-5)).verdicts[2].owner == owner


@pytest.mark.parametrize(("against", "owner"), [(-0.012, "both"), (-0.028, "bike")])
def test_paths_that_contradict_each_other_show_no_part(against: float, owner: str):
    """Feed up by 80 mV, ground down by 12 or by 28 mV, u 20 mV: on average 2.4 or 1.8 deviations of a part."""
    found = judged(PURE, PURE, (0.08, 0.02), ground=[PURE, PURE, (against, 0.02)]).verdicts[2]

    assert found.owner == owner
    assert found.block_a == pytest.approx((0.08 + against) / 2 / 0.016, rel=0.01)


@pytest.mark.parametrize(
    ("volts", "u", "owner"),
    [(0.0, 0.0065, "bike"), (0.0, 0.0068, "unknown"), (0.005, 0.005, "unknown"), (0.005, 0.0049, "unknown")],
)
def test_still_path_names_the_bike_where_bare_wire_would_have_shown(volts: float, u: float, owner: str):
    """2 mΩ are 20 mV at 10 A: (20/6.5)² is 9.5, (20/6.8)² is 8.7; with 5 mV seen (15/5)² less 1 is 8."""
    found = judged((volts, u))

    assert found.ratios == {}
    assert found.verdicts[0].owner == owner
    if owner == "bike":
        assert found.verdicts[0] == Verdict("bike", 0.0, 0.0)


def test_step_half_way_between_the_two_is_open():
    """0.08 ± 0.028 V are 2.8 deviations from either."""
    assert judged(PURE, PURE, (0.08, 0.028)).verdicts[2].owner == "unknown"


@pytest.mark.parametrize(
    ("step", "shows"),
    [
        ((0.16, 0.16 / 4.1), True),
        ((0.16, 0.16 / 3.9), False),
        ((0.011, 1e-5), True),
        ((0.009, 1e-5), False),
    ],
)
def test_path_shows_its_ratio_above_four_uncertainties_and_half_of_bare_wire(step: tuple[float, float], shows: bool):
    """1.1 mΩ is above half of 2 mΩ, 0.9 mΩ is not."""
    assert bool(judged(step).ratios) is shows


@pytest.mark.parametrize(("volts", "shows"), [(6e-5, True), (3e-5, False)])
def test_reading_is_never_surer_than_10_microvolts(volts: float, shows: bool):
    """With an uncertainty of nothing, four times 10 µV are needed."""
    assert bool(judged((volts, 0.0), least=1e-6).ratios) is shows


def test_step_of_no_current_shows_no_ratio():
    """0.16 V at 0 A are no resistance."""
    assert judge_steps([0.0], [0.01], {"feed": [PathStep(0.16, 1e-4)]}, {"feed": 0.002}).ratios == {}
    assert judge_steps([0.5], [0.01], {"feed": [PathStep(0.008, 1e-4)]}, {"feed": 0.002}).ratios == {"feed": 0.016}


def test_steps_none_of_which_agree_are_alone():
    """16 and 32 mΩ: either may be pure, so both stand alone; a step that moves nothing is the bike's."""
    found = judged((0.16, 1e-4), (0.32, 1e-4), (0.0, 1e-4)).verdicts

    assert [(each.owner, each.alone) for each in found] == [("block", True), ("block", True), ("bike", False)]
    assert found[0].u_a == math.inf


@pytest.mark.parametrize(
    ("second", "u_a", "alone"),
    [
        ((0.18, 1e-5), 1e-4, False),
        ((0.186, 1e-5), 1e-4, True),
        ((0.19, 1e-5), 1.0, False),
        ((0.24, 0.03), 1e-4, False),
        ((0.24, 0.065), 1e-4, False),
        ((-0.32, 1e-5), 1e-4, False),
        (None, 1e-4, False),
    ],
)
def test_two_steps_agree_within_four_per_cent_and_their_readings(
    second: tuple[float, float] | None, u_a: float, alone: bool
):
    """Beside 0.16 V: 12 % are 3.1 spreads of 4 % and still averaged, 16 % are 4.1 and not.

    1 A of doubt or 30 mV explain more; what is not clear, goes the other way or was not read is no second step.
    """
    assert judged(PURE, second, u_a=u_a).verdicts[0].alone is alone


def test_one_path_that_disagrees_is_enough_to_stand_alone():
    """Feed at 16 and 32 mΩ, ground at 5 mΩ twice."""
    found = judged(PURE, (0.32, 1e-5), ground=[(0.05, 1e-5)] * 2).verdicts

    assert [each.alone for each in found] == [True, True]


def test_ratio_of_most_steps_counts_and_is_their_mean():
    """40 mΩ once, 16.0 and 16.2 mΩ: 16.1 mΩ, the weighted mean of what agrees."""
    found = judged((0.40, 1e-5), (0.16, 1e-5), (0.162, 1e-5)).ratios["feed"]

    assert found == pytest.approx(0.0161, rel=1e-4)


def test_steps_far_from_each_other_count_alike_however_far():
    """40, 16 and 20.8 mΩ: 33 off, or 144, agree with none; of equals the first is taken."""
    assert judged((0.40, 1e-5), (0.16, 1e-5), (0.208, 1e-5)).ratios["feed"] == pytest.approx(0.04)


def test_mean_ratio_weighs_by_reading_and_two_per_cent():
    """Least squares of 10 A at 0.16 ± 0.003 V and 5 A at 0.084 ± 0.0005 V, 2 % of the ratio beside."""
    x, y, u = np.array([10.0, 5.0]), np.array([0.16, 0.084]), np.array([0.003, 0.0005])

    found = judge_steps(x, [1e-4] * 2, {"feed": [PathStep(*each) for each in zip(y, u, strict=True)]}, {"feed": 0.002})

    ohm = found.ratios["feed"]
    weight = 1 / (u**2 + (0.02 * ohm * x) ** 2)
    assert ohm == pytest.approx(float((weight * x * y).sum() / (weight * x * x).sum()), rel=1e-5)
