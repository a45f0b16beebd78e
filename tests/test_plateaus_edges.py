"""Steady stretches and their levels, worked out by hand on a few points."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.noise import NoiseModel
from benchlog.analysis.plateaus import Plateau, Sustained, _joined, _short, _split, _sustained, find_plateaus
from benchlog.core.spread import MEDIAN_U, SIGMA_PER_MAD
from benchlog.core.uncertainty import t_inflation

NAN = math.nan
#: 0.8 over 1 s and 0.4 over 4 s, so 0.6 over 2 s: halves of 4 s differ by 2·√(0.36 - 0.16).
NOISE = NoiseModel(1.0, 0.5, 1.0, (1.0, 4.0), (0.8, 0.4))


def parts(*levels: tuple[int, float]) -> np.ndarray:
    """So many points of each."""
    return np.concatenate([np.full(rows, level) for rows, level in levels])


@pytest.mark.parametrize(
    ("x", "noise", "value", "u"),
    [
        ([1, 3], None, 2.0, 6.98),
        ([1, NAN, 3], None, 2.0, 6.98),
        ([0, 2, 4], None, 2.0, t_inflation(2 / math.sqrt(3), 2)),
        ([0, 1, 2, 3, 4], None, 2.0, t_inflation(math.sqrt(2.5) / 2, 4)),
        ([0, 2] * 15, None, 1.0, t_inflation(math.sqrt(30 / 29) / 2, 19)),
        ([2, 2, 2, 2], NOISE, 2.0, MEDIAN_U * 0.4),
        ([2, NAN, NAN, 2], NOISE, 2.0, MEDIAN_U * 0.4),
        ([0, 9], NOISE, 4.5, 6.98 * 4.5),
    ],
)
def test_few_points_are_known_by_their_scatter_or_the_channels_noise(x, noise, value: float, u: float):
    """Student's t for up to 20 points, and no better than four independent ones."""
    assert _short(np.array(x, dtype=float), 1.0, noise) == Sustained(value, pytest.approx(u))


def test_one_point_is_no_short_level():
    """Nor one of several that are missing."""
    assert _short(np.array([1.0]), 1.0, None) is None
    assert _short(np.array([1.0, NAN]), 1.0, NOISE) is None


SIGMA = SIGMA_PER_MAD / math.sqrt(2)  # of readings that go to and fro by 1
QUIET = NoiseModel(1.0, 0.25, 1.0, (1.0, 4.0), (0.8, 0.4))


@pytest.mark.parametrize(
    ("x", "noise", "value", "u"),
    [
        ([5], None, 5.0, 0.0),
        ([5], NOISE, 5.0, 0.8),
        ([5, 6], None, 5.5, 1 / math.sqrt(24)),
        ([5, 6, 8], None, 6.0, 3 / 6),
        ([5, 6, 7], NOISE, 6.0, NOISE.mean_u(3.0)),
        ([5, 50, 8], NOISE, 8.0, 45 / 6),
        ([0, 0, 1, 1], None, 0.5, 1 / math.sqrt(3)),
        ([0, 1, 0, 1], None, 0.5, MEDIAN_U * SIGMA / 2),
        ([0, 1, 0, 1, NAN], None, 0.5, MEDIAN_U * SIGMA / 2),
        ([0, 0, 0, 0], NOISE, 0.0, MEDIAN_U * 0.4),
        ([0, 1, 0, 1], NOISE, 0.5, MEDIAN_U * SIGMA / 2),
        ([0, 1, 0, 1], QUIET, 0.5, MEDIAN_U * SIGMA / 0.25 / (1 + 2 / 2) * 0.4),
        ([0, 0, 3, 3], NOISE, 1.5, math.hypot(MEDIAN_U * 0.4, math.sqrt(9 - 0.8 * MEDIAN_U**2) / math.sqrt(3))),
        ([0, 0, 1, 1], NOISE, 0.5, MEDIAN_U * 0.4),
    ],
)
def test_level_of_a_stretch_is_in_doubt_by_scatter_and_drift(x, noise, value: float, u: float):
    """Of the points, or of the log's noise where that is more; what the noise explains of a drift is none."""
    assert _sustained(np.array(x, dtype=float), 1.0, noise) == Sustained(value, pytest.approx(u))


def test_channel_that_was_not_read_has_no_level():
    """And one without noise of its own is not noisier than that."""
    still = NoiseModel(0.0, 0.0, 1.0, (1.0, 4.0), (0.8, 0.4))

    assert _sustained(np.array([NAN, NAN]), 1.0, None) is None
    assert _sustained(np.array([0.0, 1, 0, 1]), 1.0, still).u == pytest.approx(MEDIAN_U * max(SIGMA / 2, 0.4))


@pytest.mark.parametrize(
    ("x", "least", "noise", "cuts"),
    [
        (parts((5, 0), (5, 1)), 0.5, 0.01, [5]),
        (parts((5, 0), (5, 1), (5, 3)), 0.5, 0.01, [5, 10]),
        (parts((5, 0), (5, 0.4)), 0.5, 0.01, []),
        (parts((5, 0), (5, 1)), 0.5, 0.31, [5]),
        (parts((5, 0), (5, 1)), 0.5, 0.32, []),
        (parts((3, 0), (7, 1)), 0.5, 0.28, [3]),
        (parts((3, 0), (7, 1)), 0.5, 0.30, []),
        (parts((2, 0), (2, 1)), 0.5, 0.01, [2]),
        (parts((1, 0), (2, 1)), 0.5, 0.01, []),
    ],
)
def test_stretch_is_split_where_that_explains_most(x, least: float, noise: float, cuts: list[int]):
    """By more than 25 squared deviations (five points of 1 either side explain 2.5), and a step at least."""
    assert _split(x, least, noise) == cuts


def plateau(from_s: float, to_s: float, sustained_s: float, value: float) -> Plateau:
    """With readings that name it."""
    reading = {"battery_a": Sustained(value, 0.01)}
    return Plateau(from_s, to_s, sustained_s, reading, {"opening": reading}, {"closing": reading})


@pytest.mark.parametrize(("second_a", "joined"), [(1.49, True), (0.51, True), (1.51, False)])
def test_neighbours_of_one_level_are_one_plateau(second_a: float, joined: bool):
    """Within a step of 0.5 A: the longer one's reading, the first one's opening and the last one's closing."""
    first, second = plateau(0, 5, 2, 1.0), plateau(6, 12, 8, second_a)

    found = _joined([first, second], "battery_a", 0.5)

    if joined:
        assert found == [Plateau(0, 12, 8, second.readings, first.opening, second.closing)]
        assert _joined([plateau(0, 5, 0.5, 1.0), second], "battery_a", 0.5)[0].readings["battery_a"].value == 1.0
    else:
        assert found == [first, second]


def steps(*levels: tuple[int, float], step_s: float = 0.1, resolution: float = 0.0, **how) -> list[Plateau]:
    """Of a current in points that hold one sample each."""
    table = points(step_s, {"battery_a": parts(*levels)} | how.pop("beside", {}), **how)
    return find_plateaus(table, "battery_a", resolution, list(table.mean))


def test_plateau_counts_from_half_of_it_or_two_seconds():
    """1.9 s from its first point to its last: after 0.95 s; of 9.9 s after 2 s."""
    short, long = steps((20, 1.0), (100, 3.0))

    assert (short.from_s, short.to_s, short.sustained_from_s) == pytest.approx((0.0, 1.9, 0.95))
    assert (long.from_s, long.to_s, long.sustained_from_s) == pytest.approx((2.0, 11.9, 4.0))
    assert (short.readings["battery_a"], long.readings["battery_a"]) == (Sustained(1.0, 0.0), Sustained(3.0, 0.0))


@pytest.mark.parametrize(
    ("second_a", "resolution", "found"), [(1.11, 0.0, 1), (1.13, 0.0, 2), (1.14, 0.06, 1), (1.16, 0.06, 2)]
)
def test_least_step_is_120_ma_or_two_and_a_half_codes(second_a: float, resolution: float, found: int):
    """Of a channel without noise."""
    assert len(steps((30, 1.0), (30, second_a), resolution=resolution)) == found


def test_least_step_is_four_deviations_of_the_noise():
    """Readings to and fro by 0.1 have 74 mA: 0.25 A is none, 0.55 A is one."""
    noise = np.tile([0.0, 0.1], 30)
    near, far = (noise + parts((30, 0.0), (30, step)) for step in (0.12, 0.55))

    assert len(find_plateaus(points(0.1, {"battery_a": near}), "battery_a", 0.0, ["battery_a"])) == 1
    assert len(find_plateaus(points(0.1, {"battery_a": far}), "battery_a", 0.0, ["battery_a"])) == 2


@pytest.mark.parametrize(("rows", "step_s", "found"), [(6, 0.1, 3), (4, 0.1, 2), (3, 0.25, 3), (2, 0.5, 2)])
def test_plateau_lasts_four_tenths_and_three_points(rows: int, step_s: float, found: int):
    """0.5 s from first to last point, not 0.3 s; two points are none however long they last."""
    assert len(steps((20, 1.0), (rows, 5.0), (20, 9.0), step_s=step_s)) == found


def test_three_points_are_no_stretch():
    """Four are."""
    assert steps((3, 1.0), step_s=0.5) == []
    assert len(steps((4, 1.0), step_s=0.5)) == 1


def test_channel_over_range_is_absent_where_that_was():
    """After the inrush; before it, it does not matter."""
    volts = np.full(40, 12.0)
    early, late = ((np.arange(40) == at).astype(int) for at in (5, 35))

    (with_it,) = steps((40, 1.0), beside={"battery_v": volts}, over={"battery_v": early})
    (without,) = steps((40, 1.0), beside={"battery_v": volts}, over={"battery_v": late})

    assert "battery_v" in with_it.readings
    assert "battery_v" not in without.readings
    assert "battery_v" not in without.opening


def test_opening_and_closing_are_just_behind_and_before_the_changes():
    """0.3 to 1.3 s after the beginning, the last 0.6 s before the end: of a voltage that counts the points up."""
    (found,) = steps((40, 1.0), beside={"battery_v": np.arange(40.0)})

    assert found.opening["battery_v"].value == pytest.approx(7.5, abs=0.51)
    assert found.closing["battery_v"].value == pytest.approx(35.5, abs=0.51)
    assert found.readings["battery_v"].value == pytest.approx(29.5, abs=0.51)


def test_readings_know_the_noise_of_the_log():
    """Where it is given."""
    table = points(0.1, {"battery_a": np.full(40, 1.0)})

    (found,) = find_plateaus(table, "battery_a", 0.0, ["battery_a", "feed_v"], {"battery_a": NOISE})

    assert found.readings["battery_a"].u == pytest.approx(MEDIAN_U * NOISE.mean_u(2.0), rel=0.03)
    assert set(found.readings) == {"battery_a"}
    assert found.opening["battery_a"].u == pytest.approx(MEDIAN_U * NOISE.mean_u(1.0))
