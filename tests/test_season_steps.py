"""A step in a series by hand: how much of the scatter it explains, whether it stands, and how a series is searched."""

import math

import numpy as np
import pytest

from benchlog.core.spread import robust_sigma
from benchlog.season import breaks
from benchlog.season.breaks import LevelShift, clearest_step

NONE = np.zeros((40, 0))


def waves(n: int) -> np.ndarray:
    """A scatter without chance, neighbours unlike: sines of the golden angle."""
    return np.sin(2.399963 * np.arange(n) ** 1.02)


def stepped(n: int, at: int, size: float) -> np.ndarray:
    """Such a scatter with a step before reading ``at``."""
    return waves(n) + size * (np.arange(n) >= at)


def unexplained(columns: list[np.ndarray], y: np.ndarray) -> float:
    """The sum of squares that a plain fit of these columns leaves."""
    whole = np.column_stack(columns)
    left = y - whole @ np.linalg.lstsq(whole, y, rcond=None)[0]
    return float(left @ left)


def step_of(y: np.ndarray, others: np.ndarray | None = None) -> LevelShift | None:
    """The clearest step of readings a unit of time apart."""
    n = len(y)
    return clearest_step(np.arange(float(n)), y, np.zeros((n, 0)) if others is None else others,
                         np.random.default_rng(1))  # fmt: skip


@pytest.mark.parametrize(("n", "others", "looked_at"), [(5, 0, False), (6, 0, True), (6, 1, True), (6, 2, False)])
def test_three_readings_on_either_side_and_three_to_spare(n: int, others: int, looked_at: bool):
    """Six readings less level and trend are four to spare; one more column leaves three, two leave too few."""
    found = step_of(stepped(n, 3, 9.0), np.random.default_rng(1).normal(size=(n, others)))

    assert (found is not None) is looked_at
    assert found is None or found.at == 3


@pytest.mark.parametrize("at", [3, 17])
def test_a_step_is_found_up_to_three_readings_from_the_ends(at: int):
    """Of 20 readings the step may lie before the fourth or before the third last."""
    found = step_of(stepped(20, at, 30.0))

    assert found is not None
    assert (found.first, found.at, found.last) == (at, at, at)


def test_a_known_column_that_steps_is_no_break():
    """Where another column is the only step there could be, nothing is left to look for."""
    known = (np.arange(6) >= 3).astype(float)[:, None]

    assert step_of(stepped(6, 3, 9.0), known) is None


def test_a_known_step_does_not_hide_another():
    """Beside a column that steps before the tenth reading, a step before the twentieth is found."""
    known = (np.arange(40) >= 10).astype(float)[:, None]

    found = step_of(stepped(40, 20, 8.0), known)

    assert found is not None
    assert found.at == 20


def test_an_exact_step_lies_nowhere_else():
    """Of readings with no scatter at all, as a coarse logger gives them: before the ninth, surely."""
    found = step_of(np.repeat([12.6, 12.8], 8))

    assert found is not None
    assert (found.first, found.at, found.last, found.p) == (8, 8, 8, 1 / 2000)
    assert found.size == pytest.approx(0.2)


def test_units_do_not_matter():
    """The same readings in other units have the same step."""
    usual, tiny = step_of(stepped(30, 12, 9.0)), step_of(1e-15 * stepped(30, 12, 9.0))

    assert usual is not None
    assert tiny is not None
    assert (tiny.first, tiny.at, tiny.last, tiny.p) == (usual.first, usual.at, usual.last, usual.p)


def test_wild_readings_are_tamed_about_the_trend(monkeypatch: pytest.MonkeyPatch):
    """Beside a steep trend one reading 500 off is drawn in to the others' scatter before anything is shuffled."""
    kept: list[np.ndarray] = []
    monkeypatch.setattr(breaks, "_by_chance", lambda residual, *_: kept.append(residual) or 0.0)
    monkeypatch.setattr(breaks, "_size", lambda *_: (20.0, True, 1.0))
    y = stepped(40, 20, 20.0) + 50 * np.arange(40.0)
    y[5] += 500
    step_of(y)

    assert np.abs(kept[0]).max() < 40


@pytest.mark.parametrize("size", [1.2, 1.6, 3.0])
def test_a_step_lies_where_the_fit_is_hardly_worse(size: float):
    """Places whose likelihood ratio to the best is at most 3.84, by a plain fit at each place."""
    y = stepped(30, 12, size)
    ones, time = np.ones(30), np.arange(30.0)
    left = {at: unexplained([ones, time, time >= at], y) for at in range(3, 28)}
    best = min(left, key=left.__getitem__)
    near = [at for at in left if 30 * math.log(left[at] / left[best]) <= 3.84]

    found = step_of(y)

    assert found is not None
    assert (found.first, found.at, found.last) == (min(near), best, max(near))
    assert size > 2 or len(near) > 1


def test_many_readings_are_searched_at_two_hundred_places(monkeypatch: pytest.MonkeyPatch):
    """Of 205 readings every place is tried; of 1,000 each fifth or so, and the step lies between two of them."""
    monkeypatch.setattr(breaks, "_by_chance", lambda *_: 0.0)
    few, many = step_of(stepped(205, 101, 40.0)), step_of(stepped(1000, 500, 40.0))
    places = np.linspace(3, 997, 200).astype(int)

    assert few is not None
    assert many is not None
    assert few.at == 101
    assert many.at == places[np.abs(places - 500).argmin()] != 500
    assert step_of(stepped(206, 102, 40.0)).at == 102  # type: ignore[union-attr]  # 200 places of 201
    assert {int(at) for at in np.linspace(3, 203, 200)} >= {102}


def test_a_step_that_does_not_stand_is_left_to_chance():
    """A trend that bends is no step, however clear: its probability is one."""
    bent = 0.02 * waves(40) + np.maximum(np.arange(40) - 20, 0)

    found = step_of(bent)

    assert found is not None
    assert found.p == 1.0


def test_a_clear_step_is_hardly_chance():
    """Of 1,999 shuffles none is as clear."""
    found = step_of(stepped(40, 20, 20.0))

    assert found is not None
    assert found.p == 1 / 2000
    assert found.size == pytest.approx(20.0, abs=1.0)


class Shuffler:
    """Stands for the generator: hands out rows whose first ``as_clear`` of each batch are the step itself."""

    def __init__(self, as_clear: int, step: np.ndarray) -> None:
        """So many of a batch."""
        self.as_clear, self.step = as_clear, step
        self.batches: list[int] = []
        self.even: np.ndarray = np.empty(0)

    def permuted(self, rows: np.ndarray, axis: int) -> np.ndarray:
        """A batch."""
        assert axis == 1
        self.batches.append(len(rows))
        self.even = rows[0].copy()
        flat = np.zeros_like(rows)
        flat[:, 0], flat[:, 1] = 1.0, -1.0
        flat[: self.as_clear] = self.step
        return flat


def by_chance(as_clear: int, clear: float = 0.9) -> tuple[float, Shuffler]:
    """The probability where so many of each batch are as clear as can be."""
    step = np.repeat([-1.0, 1.0], 5) / math.sqrt(10)
    shuffler = Shuffler(as_clear, step)
    basis = np.full((10, 1), 1 / math.sqrt(10))
    return breaks._by_chance(np.arange(10.0), basis, step[:, None], clear, shuffler), shuffler  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("as_clear", "batches", "p"),
    [(0, [200] * 9 + [199], 1 / 2000), (20, [200, 200], 41 / 401), (40, [200], 41 / 201), (200, [200], 1.0)],
)
def test_shuffling_ends_once_chance_explains_it(as_clear: int, batches: list[int], p: float):
    """Batches of 200 until 40 were as clear, 1,999 at most; one more is added to both."""
    got, shuffler = by_chance(as_clear)

    assert shuffler.batches == batches
    assert got == pytest.approx(p)


def test_as_clear_is_the_share_explained():
    """Rows with a one and a minus one beside each other hold nothing of the step, the step itself all of it."""
    assert by_chance(1, 1.0 - 1e-9)[0] == pytest.approx(11 / 2000)
    assert by_chance(1, 1.1)[0] == pytest.approx(1 / 2000)


def test_the_clearest_of_all_places_counts():
    """Rows that are one of two places' steps and nothing of the other are as clear as can be."""
    step = np.repeat([-1.0, 1.0], 5) / math.sqrt(10)
    other = np.tile([1.0, -1.0], 5) / math.sqrt(10)
    other -= (other @ step) * step
    other /= math.sqrt(other @ other)
    basis = np.full((10, 1), 1 / math.sqrt(10))
    p = breaks._by_chance(  # its own arithmetic
        np.arange(10.0),
        basis,
        np.column_stack([step, other]),
        0.9,
        Shuffler(20, step),  # type: ignore[arg-type]
    )

    assert p == pytest.approx(41 / 401)


def test_residuals_of_weighty_readings_are_put_back():
    """Each is divided by the root of what the fit leaves it, a twentieth at least, then all are centred."""
    basis = np.array([[math.sqrt(0.99)], [math.sqrt(0.01)], [0.0], [0.0]])
    shuffler = Shuffler(4, np.array([0.5, -0.5, 0.5, -0.5]))
    breaks._by_chance(np.array([1.0, 2, 3, -4]), basis, np.array([[0.5], [-0.5], [0.5], [-0.5]]), 2.0, shuffler)  # type: ignore[arg-type]
    even = np.array([1 / math.sqrt(0.05), 2 / math.sqrt(0.99), 3.0, -4.0])

    assert shuffler.even == pytest.approx(even - even.mean())


def test_shuffled_residuals_are_freed_of_the_known_columns():
    """A row that lies along the level and half along the step counts by what the level leaves of it."""
    step = np.repeat([-1.0, 1.0], 5) / math.sqrt(10)
    shuffler = Shuffler(200, step + 7.0)
    basis = np.full((10, 1), 1 / math.sqrt(10))
    p = breaks._by_chance(np.arange(10.0), basis, step[:, None], 0.999, shuffler)  # type: ignore[arg-type]

    assert p == 1.0


def test_share_is_deflated_by_its_ratio():
    """Half explained is a ratio of one; with neighbours alike by two a ratio of a half, a third explained."""
    assert breaks._deflated(0.5, 2.0) == pytest.approx(1 / 3)
    assert breaks._deflated(0.75, 1.0) == pytest.approx(0.75)
    assert breaks._deflated(1.0, 5.0) == 1.0


def test_far_residuals_are_drawn_in_to_three_deviations():
    """Nine about 5 with deviations of 1 at the middle: one of 100 becomes 5 + 3 * 1.4826; without scatter all stay."""
    values = np.array([4.0, 4, 4, 5, 5, 6, 6, 6, 100])
    tame = breaks._tame(values)
    reach = 3 * robust_sigma(values - 5)

    assert reach == pytest.approx(3 * 1.4826, rel=1e-4)
    assert tame.tolist() == [4, 4, 4, 5, 5, 6, 6, 6, pytest.approx(5 + reach)]
    assert breaks._tame(-values)[-1] == pytest.approx(-5 - reach)
    assert breaks._tame(np.array([2.0, 2, 2, 9])).tolist() == [2, 2, 2, 9]
