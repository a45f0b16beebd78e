"""How likely an answer is: a meter's accuracy, its digits, and the ranges that answers fall into, worked by hand."""

import math

import numpy as np
import pytest

from benchlog.find.likelihood import WRONG, bins, density, digit, scale, spread_of
from benchlog.find.questions import LOG_DRAIN, Question, voltage

VOLTS = voltage("30", "87", "all on", 1.5)
AMPS = Question("current feed, all on", "current", "all on", 2.0, of="feed")
OHMS = Question("resistance 86 to 85, power off", "resistance", "power off", 4.0, start="86", end="85")
LOOK = Question("feed fuse intact", "look", "power off", 1.0, of="feed fuse intact")


def array(*values: float) -> np.ndarray:
    """Of floats."""
    return np.array(values)


def test_resistances_are_compared_by_their_logarithm():
    """With the leads' 0.3 ohm, from none to a hundred kiloohm; everything else as it is."""
    found = scale(OHMS, array(-1.0, 0.0, 0.7, 99.7, 1e5, 1e6))

    assert found == pytest.approx([math.log10(0.3), math.log10(0.3), 0.0, 2.0, math.log10(1e5 + 0.3),
                                   math.log10(1e5 + 0.3)])  # fmt: skip
    assert scale(VOLTS, array(-3.0, 12.0)).tolist() == [-3.0, 12.0]


@pytest.mark.parametrize(
    ("kind", "values", "digits"),
    [
        ("voltage", (0.0, 1.999, 2.0, 19.0), (0.001, 0.001, 0.01, 0.01)),
        ("drain", (0.0, 19.9, 20.0, 199.0, 200.0, 900.0), (0.01, 0.01, 0.1, 0.1, 1.0, 1.0)),
        ("current", (0.0, 1.0, 30.0), (0.01, 0.01, 0.01)),
    ],
)
def test_a_meter_of_2000_counts_has_these_digits(kind: str, values: tuple[float, ...], digits: tuple[float, ...]):
    """In its ranges of 2 and 20 V, of 20, 200 and 2,000 mA, and of a clamp."""
    assert digit(kind, np.array(values)).tolist() == list(digits)  # type: ignore[arg-type]  # the kinds, each in turn


@pytest.mark.parametrize(
    ("question", "value", "meter", "copies", "least"),
    [
        (VOLTS, 1.0, 0.005 * 1 + 2 * 0.001, 0.14, 0.003),
        (VOLTS, -1.0, 0.005 * 1 + 2 * 0.001, 0.14, 0.003),
        (VOLTS, 12.0, 0.005 * 12 + 2 * 0.01, 0.25, 0.003),
        (VOLTS, 0.0, 2 * 0.001, 0.0, 0.003),
        (AMPS, 2.0, 0.005 * 2 + 2 * 0.01, 0.28, 0.05),
        (AMPS, 30.0, 0.005 * 30 + 2 * 0.01, 1.0, 0.05),
        (LOG_DRAIN, 10.0, 0.005 * 10 + 2 * 0.01, 1.5, 0.1),
        (LOG_DRAIN, 3000.0, 0.005 * 3000 + 2.0, 200.0, 0.1),
    ],
)
def test_spread_by_hand(question: Question, value: float, meter: float, copies: float, least: float):
    """The meter's limits over 1.7, a share of the reading for the strengths between two copies, and a least."""
    wanted = math.sqrt((meter / 1.7) ** 2 + copies**2 + least**2)

    assert spread_of(question, array(value))[0] == pytest.approx(wanted)


def test_resistances_are_good_to_an_eighth_of_a_decade():
    """0.12, whatever their size."""
    assert spread_of(OHMS, array(0.0, 1e6)).tolist() == [0.12, 0.12]


def test_a_right_answer_has_the_density_of_a_normal_one():
    """At the copy's value, one spread beside it, and far away; of a look the chance itself."""
    sigma = float(spread_of(VOLTS, array(1.0))[0])
    top = 1 / (sigma * math.sqrt(2 * math.pi))

    assert density(VOLTS, array(1.0), 1.0)[0] == pytest.approx(top)
    assert density(VOLTS, array(1.0), 1.0 + sigma)[0] == pytest.approx(top * math.exp(-0.5))
    assert density(VOLTS, array(1.0), 1.0 - 2 * sigma)[0] == pytest.approx(top * math.exp(-2.0))
    assert density(OHMS, array(99.7), 999.7)[0] == pytest.approx(
        math.exp(-0.5 * (1 / 0.12) ** 2) / (0.12 * math.sqrt(2 * math.pi))
    )
    assert density(LOOK, array(0.98, 0.15), 1.0) == pytest.approx([0.98, 0.15])
    assert density(LOOK, array(0.98, 0.15), 0.0) == pytest.approx([0.02, 0.85])


def test_no_answer_is_impossible():
    """However far away: at 26.5 spreads and beyond it is as likely as there."""
    sigma = float(spread_of(VOLTS, array(0.0))[0])
    floor = -350.0 - math.log(sigma * math.sqrt(2 * math.pi))

    assert math.log(density(VOLTS, array(0.0), 5.0)[0]) == pytest.approx(floor)
    assert math.log(density(VOLTS, array(0.0), 27 * sigma)[0]) == pytest.approx(floor)
    assert math.log(density(VOLTS, array(0.0), 26 * sigma)[0]) == pytest.approx(floor + 350 - 338)


def test_looks_have_two_ranges():
    """No and yes; 4 of 100 answers are anybody's."""
    found = bins(LOOK, array(1.0, 0.0, 0.5))

    assert WRONG == 0.04
    assert found == pytest.approx(np.array([[0.02, 0.98], [0.98, 0.02], [0.5, 0.5]]), abs=1e-6)


def test_what_is_alike_everywhere_has_one_range():
    """A test whose copies differ by less than their spread tells nothing."""
    assert bins(VOLTS, array(12.0, 12.001, 12.002)).tolist() == [[1.0], [1.0], [1.0]]
    assert bins(VOLTS, array(0.0, 12.0)).shape[1] > 1
    assert bins(VOLTS, array(12.0, 12.4)).shape[1] > 1


def test_ranges_end_at_the_tenths_of_the_values():
    """Eleven values, ten ranges: nine edges at the quantiles; the chance below an edge is nearly a normal one's."""
    values = np.linspace(0.0, 10.0, 11)
    found = bins(VOLTS, values)
    edges = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0]
    right = np.empty((11, 10))
    for row, value in enumerate(values):
        sigma = float(spread_of(VOLTS, array(value))[0])
        below = [0.0, *(1 / (1 + math.exp(-1.702 * (edge - value) / sigma)) if abs(edge - value) / sigma < 35
                        else float(edge > value) for edge in edges), 1.0]  # fmt: skip
        right[row] = np.diff(below)
    wanted = 0.96 * right + 0.04 * right.mean(axis=0)

    assert found.shape == (11, 10)
    assert found == pytest.approx(wanted, abs=1e-5)
    assert found.sum(axis=1) == pytest.approx(1.0)


def test_values_that_come_often_do_not_draw_the_edges():
    """A hundred copies at 0 V and ten others from 1 to 10 V have the edges of the eleven different values."""
    often = np.r_[np.zeros(100), np.linspace(1.0, 10.0, 10), 0.00001]

    # copies at 0 V lie below the first edge, those at 10 V above the last
    found = bins(VOLTS, often)
    assert found.shape[1] == 10
    assert found[:110] == pytest.approx(bins(VOLTS, often[:-1])[:110], abs=1e-3)
    assert found[0].argmax() == 0
    assert found[109].argmax() == 9
    assert found[104].argmax() in (4, 5)
