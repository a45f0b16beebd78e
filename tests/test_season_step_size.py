"""How large a step is, and whether it stands: beside a trend of its own, its scatter, and a trend that only bends."""

import math

import numpy as np
import pytest

from benchlog.season import breaks
from benchlog.season.trend import autocorrelation_inflation

#: Scatters that a level leaves alone (four), and a level and a slope (five, and blocks of four); no two alike.
FOUR = np.array([1.05, -1.1, -0.9, 0.95, 1.02, -1.07, -0.93, 0.98])
FIVE = np.array([0.9, -1.8, 2.0, -2.2, 1.1, 0.95, -1.9, 1.98, -2.06, 1.03])
BLOCKS = np.concatenate([size * np.array([1.0, -1, -1, 1]) for size in (1.0, 1.1, 0.9, 1.05, 0.95, 1.0)])


def even(n_each: int) -> np.ndarray:
    """The scatter of so many readings on either side."""
    return FIVE if n_each == 5 else FOUR


def sizes(n_each: int, size: float, scatter: float = 0.1) -> tuple[float, bool, float]:
    """Of a step between two sides without a trend of their own, level known."""
    n = 2 * n_each
    y = scatter * even(n_each) + size * (np.arange(n) >= n_each)
    return breaks._size(np.ones((n, 1)), np.arange(float(n)), y, n_each)


def test_a_step_between_four_and_four_is_a_difference_of_means():
    """Its deviation: residuals of 0.1 over 8 - 2 degrees of freedom, times 1/4 + 1/4, wider for alike neighbours."""
    alike = autocorrelation_inflation(even(4), 1)
    own = math.sqrt(0.1**2 * float(FOUR @ FOUR) / (8 - 2) * alike * (1 / 4 + 1 / 4))

    for size, stands in ((2.45 * own, False), (2.55 * own, True), (-2.55 * own, True)):
        got, surely, likeness = sizes(4, size)
        assert got == pytest.approx(size, abs=1e-9)
        assert surely is stands
        assert likeness == pytest.approx(alike)


def test_five_on_either_side_have_trends_of_their_own():
    """A slope after the step is fitted from five readings on; before that a slope is taken for part of the step."""
    for n_each, slope_after in ((5, True), (4, False)):
        n = 2 * n_each
        time = np.arange(float(n))
        y = 0.01 * even(n_each) + (time >= n_each) * (3.0 + 0.5 * (time - n_each))
        got, _, _ = breaks._size(np.ones((n, 1)), time, y, n_each)
        middle = 3.0 + 0.5 * (n_each - 1) / 2
        assert got == pytest.approx(3.0 if slope_after else middle, abs=0.02)


@pytest.mark.parametrize(("at", "bends"), [(4, False), (5, True), (7, True), (8, False)])
def test_the_shorter_side_decides(at: int, bends: bool):
    """Of twelve readings a slope of its own needs five before and five after the step."""
    time = np.arange(12.0)
    y = 0.01 * np.sin(2.4 * time) + (time >= at) * (3.0 + 0.5 * (time - time[at]))
    got, _, _ = breaks._size(np.ones((12, 1)), time, y, at)

    assert (abs(got - 3.0) < 0.1) is bends


def test_two_unknowns_after_a_step_widen_it():
    """With a slope of its own the step's deviation is the line's at its own end: (1/5 + 4/10) on 10 - 3 of freedom."""
    alike = autocorrelation_inflation(even(5), 2)
    known = np.ones((10, 1))
    after = np.r_[np.zeros(5), np.ones(5)]
    whole = np.column_stack([known, after, after * (np.arange(10.0) - 5)])
    inverse = np.linalg.inv(whole.T @ whole)
    assert inverse[1, 1] == pytest.approx(1 / 5 + 1 / 5 + 4 / 10)
    own = math.sqrt(0.1**2 * float(even(5) @ even(5)) / (10 - 3) * alike * inverse[1, 1])

    got, _, likeness = sizes(5, 2.45 * own)
    assert got == pytest.approx(2.45 * own, abs=5e-3)
    assert likeness == pytest.approx(alike)
    assert not sizes(5, 2.45 * own)[1]


def hinged(y: np.ndarray) -> float:
    """The least sum of squares of a level with one bend, by trying each reading from the fourth to the fourth last."""
    n = len(y)
    time = np.arange(float(n))
    left = []
    for place in time[3 : n - 3]:
        whole = np.column_stack([np.ones(n), np.maximum(time - place, 0.0)])
        rest = y - whole @ np.linalg.lstsq(whole, y, rcond=None)[0]
        left.append(float(rest @ rest))
    return min(left)


def test_a_bend_that_fits_as_well_takes_the_step_away():
    """A step stands where no bend comes within 10.83 of it, counted as a likelihood ratio: to and fro over the edge."""
    time = np.arange(24.0)
    alike = autocorrelation_inflation(BLOCKS, 2)
    whole = np.column_stack([np.ones(24), time >= 12, (time >= 12) * (time - 12)])
    own = math.sqrt(float(BLOCKS @ BLOCKS) / 21 * alike * np.linalg.inv(whole.T @ whole)[1, 1])
    seen = set()
    for size in np.linspace(1.5, 6.0, 40):
        y = BLOCKS + size * (time >= 12)
        worse = 24 * math.log(hinged(y) / float(BLOCKS @ BLOCKS)) / alike
        _, surely, _ = breaks._size(np.ones((24, 1)), time, y, 12)
        assert surely == (size > 2.5 * own and worse > 10.83), size
        seen.add((bool(size > 2.5 * own), worse > 10.83))

    assert seen >= {(True, False), (True, True)}


def test_a_bend_is_tried_on_tamed_readings(monkeypatch: pytest.MonkeyPatch):
    """What the step leaves is drawn in to three deviations first: one reading 8 off stands where the others end."""
    tried: list[np.ndarray] = []
    monkeypatch.setattr(breaks, "_bent", lambda _known, _time, y: tried.append(y) or 0.0)
    y = BLOCKS + 12.0 * (np.arange(24) >= 12)
    y[3] += 8.0
    breaks._size(np.ones((24, 1)), np.arange(24.0), y, 12)

    assert tried[0] == pytest.approx(np.where(np.arange(24) == 3, tried[0], y), abs=0.7)
    assert 3.0 < tried[0][3] < 7.0


def test_the_best_bend_is_found():
    """A line that bends at the tenth reading leaves nothing; one with a scatter leaves what the best place leaves."""
    time = np.arange(24.0)
    y = np.sin(2.4 * time) + 0.7 * np.maximum(time - 10, 0)
    bent = breaks._bent(np.ones((24, 1)), time, 5 + 2 * np.maximum(time - 10, 0))

    assert bent == pytest.approx(0.0, abs=1e-18)
    assert breaks._bent(np.ones((24, 1)), time, y) == pytest.approx(hinged(y))


@pytest.mark.parametrize(("at", "exact"), [(2, False), (3, True), (20, True), (21, False)])
def test_a_bend_lies_three_readings_from_the_ends(at: int, exact: bool):
    """Of 24 readings at the fourth to the fourth last."""
    time = np.arange(24.0)
    left = breaks._bent(np.ones((24, 1)), time, np.maximum(time - at, 0))

    assert (left < 1e-18) is exact


@pytest.mark.parametrize(("n", "every"), [(405, 1), (406, 2), (606, 3)])
def test_bends_of_many_readings_are_tried_at_some_places(n: int, every: int):
    """Every place up to 405 readings, each second from 406 on, each third from 606 on."""
    time = np.arange(float(n))
    left = [breaks._bent(np.ones((n, 1)), time, np.maximum(time - at, 0)) for at in (3, 4, 5, 6)]
    tried = [k for k, rest in enumerate(left) if rest < 1e-12]

    assert tried == list(range(0, 4, every))
