"""How long noise remembers and what a mean of it is worth: held against sums written out, without a transform."""

import math
from itertools import pairwise

import numpy as np
import pytest

from benchlog.core.uncertainty import Accuracy, Array, block_mean, memory_of, t_inflation


def noise(n: int, keeps: float, seed: int) -> Array:
    """Noise of which each sample keeps so much of the one before."""
    fresh, out = np.random.default_rng(seed).normal(size=n), np.zeros(n)
    for at in range(1, n):
        out[at] = keeps * out[at - 1] + fresh[at]
    return out


def by_sums(samples: Array, hidden: float, degree: int) -> float:
    """The memory from products of samples so many apart, the course a polynomial of this degree."""
    n, at = len(samples), np.linspace(-1, 1, len(samples))
    about = samples - np.polyval(np.polyfit(at, samples, degree), at)
    total = 1.0
    for lag in range(1, n // 2 + 1):
        together = float(about[:-lag] @ about[lag:]) / (n - lag)
        total += 2 * together / (float(about @ about) / n)
        if lag >= 5 * total:
            break
    total = max(total, 1.0)
    return total * (1 + hidden * (total - 1) / n)


@pytest.mark.parametrize(("n", "keeps", "seed"), [(401, 0.9, 1), (400, 0.5, 2), (64, 0.8, 3)])
def test_memory_of_noise(n: int, keeps: float, seed: int):
    """Noise about its mean, which hides four memories over the stretch."""
    samples = 12.6 + noise(n, keeps, seed)
    expected = by_sums(samples, 4.0, 0)

    assert expected > 1.2
    assert memory_of(samples) == pytest.approx(expected)


def test_memory_of_a_step_counts_to_half_the_stretch():
    """Two levels, half and half: the sum never ends of itself, and a parabola explains three quarters, too little."""
    samples = np.repeat([1.0, 2.0], 20)

    assert memory_of(samples) == pytest.approx(by_sums(samples, 4.0, 0))
    assert memory_of(samples) > 2


@pytest.mark.parametrize(("share", "hidden", "degree"), [(0.89, 4.0, 0), (0.91, 15.0, 2)])
def test_slow_course_is_taken_off_from_nine_tenths_on(share: float, hidden: float, degree: int):
    """A parabola that explains so much of the variance of noise; what it hides is fifteen memories."""
    at, rough = np.linspace(-1, 1, 501), noise(501, 0.8, 7)
    rough -= np.polyval(np.polyfit(at, rough, 2), at)
    course = 2 * at**2 + at
    course -= course.mean()
    samples = rough + course * math.sqrt(share / (1 - share) * (rough @ rough) / (course @ course))

    assert memory_of(samples) == pytest.approx(by_sums(samples, hidden, degree))


def test_what_has_no_memory():
    """Fewer than 16 samples, one level, turns from sample to sample: each sample stands for itself."""
    slow = np.repeat([1.0, 1.2, 1.1, 1.3], 4)

    assert memory_of(slow[:15]) == 1.0
    assert memory_of(slow) > 1.5
    assert memory_of(np.full(100, 12.6)) == 1.0
    assert memory_of(12.6 + 0.3 * np.arange(100.0)) == 1.0
    assert memory_of(np.tile([1.0, 2.0], 50)) == 1.0


@pytest.mark.parametrize(("ripple", "counts"), [(0.97e-12, False), (1.03e-12, True)])
def test_rounding_is_no_noise(ripple: float, counts: bool):
    """Below a millionth of a millionth of the level what varies is arithmetic."""
    wave = noise(400, 0.9, 1)
    samples = 1.0 + ripple * (wave - wave.mean()) / wave.std()

    assert (memory_of(samples) > 1) is counts


def blocks_by_hand(samples: Array, n: int, memory: float, group: int = 1) -> float:
    """The mean's uncertainty from n blocks of noise that remembers so much."""
    edges = [int(len(samples) * k / n) for k in range(n + 1)]
    means = [float(np.mean(samples[a:b])) for a, b in pairwise(edges)]
    if n < 6:
        deviation, degrees = float(np.std(means, ddof=1)), n - 1
    else:
        squares = [(b - a) ** 2 for a, b in pairwise(means)]
        deviation, degrees = math.sqrt(sum(squares) / len(squares) / 2), (n - 1) * 2 // 3
    told = math.sqrt(1 + 2 * (memory - group) * n / len(samples))
    return t_inflation(deviation / math.sqrt(n), degrees) * told


#: Turns from sample to sample, and wanders so little that it has no memory of its own.
TURNS = np.tile([1.0, -1.0], 2050) + 1e-3 * np.random.default_rng(3).normal(size=4100)


@pytest.mark.parametrize(
    ("n", "memory", "blocks", "group"),
    [
        (1000, 1.0, 24, 1),  # no memory: as many as asked
        (1000, 20.0, 12, 1),  # 1000 / (1 + 4 · 19) = 12.99
        (1000, 42.4, 6, 1),  # neighbours are compared from six on
        (1000, 50.0, 5, 1),  # 5.08
        (1000, 1000.0, 3, 1),  # never fewer than three
        (2, 1.0, 2, 1),  # but where there are no more samples
        (4095, 100.0, 10, 1),  # 4095 / 397 = 10.3
        (4096, 40.0, 24, 2),  # from here on means of two: 4096 / (2 + 4 · 38) = 26.6, at most 24
        (4096, 60.0, 17, 2),  # 4096 / 234 = 17.5
    ],
)
def test_mean_from_blocks_that_are_longer_than_the_memory(n: int, memory: float, blocks: int, group: int):
    """Blocks of four memories and a sample, at most 24; what one tells the next is added."""
    got = block_mean(TURNS[:n], memory=memory)

    assert got.value == pytest.approx(TURNS[:n].mean())
    assert got.u == pytest.approx(blocks_by_hand(TURNS[:n], blocks, max(memory, group), group))


def test_the_samples_own_memory_counts_where_it_is_longer():
    """Of 4096 samples that keep 0.95 pairs are looked at: twice their memory, whatever was known from elsewhere."""
    samples = noise(4096, 0.95, 11)
    memory = 2 * by_sums(samples.reshape(2048, 2).mean(axis=1), 4.0, 0)
    blocks = min(int(4096 / (2 + 4 * (memory - 2))), 24)

    assert memory > 20
    assert block_mean(samples, memory=3.0).u == pytest.approx(blocks_by_hand(samples, blocks, memory, 2))
    assert block_mean(samples[:4095]).u > 0


def test_block_without_weight_stands_for_nothing():
    """Half of the samples weigh nothing: the mean is that of the others."""
    got = block_mean(np.array([1.0, 3.0, 5.0, 9.0]), np.array([1.0, 1.0, 0.0, 0.0]), blocks=2)

    assert got.value == 2.0
    assert got.u == pytest.approx(t_inflation(2.0 / math.sqrt(2) / math.sqrt(2), 1))


@pytest.mark.parametrize(
    ("degrees", "t"),
    [(1, 13.97), (2, 4.53), (3, 3.31), (4, 2.87), (5, 2.65), (6, 2.52), (7, 2.43), (8, 2.37), (9, 2.32), (10, 2.28)],
)
def test_student_t_as_printed(degrees: int, t: float):
    """At 95.45 % (JCGM 100:2008, table G.2, from memory), over 2."""
    assert t_inflation(1.0, degrees) == pytest.approx(t / 2, abs=0.003 if degrees > 1 else 0.006)


def test_offset_drifts_as_the_logger_warms():
    """By at most 0.4 of its limits: by 63 % of that in 120 s, in the end by all of it (common practice, no source)."""
    accuracy = Accuracy(0.01, 0.5, 0.04)

    assert accuracy.drift_u(0.0) == 0.0
    assert accuracy.drift_u(120.0) == pytest.approx(0.2 * (1 - math.exp(-1)) / math.sqrt(3))
    assert accuracy.drift_u(1e6) == pytest.approx(0.2 / math.sqrt(3))
    parts = (0.02, 0.02 * math.sqrt(2), 0.2 * (1 - math.exp(-0.5)))
    assert accuracy.change_u(2.0, 60.0) == pytest.approx(math.sqrt(sum(part**2 for part in parts)) / math.sqrt(3))
