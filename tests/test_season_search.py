"""How a series is searched for several steps, and what such steps are called: on steps written by hand."""

import numpy as np
import pytest

from benchlog.season import breaks
from benchlog.season.breaks import LevelShift, found_steps, kind_of


@pytest.fixture
def scripted(monkeypatch: pytest.MonkeyPatch):
    """``clearest_step`` answers by (first moment, readings), and notes what it was asked for."""

    def script(answers: dict[tuple[int, int], LevelShift]) -> list[tuple[int, int]]:
        asked: list[tuple[int, int]] = []

        def answer(time: np.ndarray, y: np.ndarray, others: np.ndarray, _rng: object) -> LevelShift | None:
            assert len(time) == len(y) == len(others)
            asked.append((int(time[0]) if len(time) else 0, len(time)))
            return answers.get(asked[-1])

        monkeypatch.setattr(breaks, "clearest_step", answer)
        return asked

    return script


def searched(n: int, alpha: float = 0.02) -> list[LevelShift]:
    """The steps of so many readings."""
    return found_steps(np.arange(float(n)), np.zeros(n), np.zeros((n, 0)), alpha, np.random.default_rng(1))


def step(at: int, p: float = 0.001) -> LevelShift:
    """A step with its neighbours."""
    return LevelShift(at - 1, at, at + 1, 2.0, p)


def test_parts_before_and_after_a_step_are_searched_again(scripted):
    """Each with half the chance of a false alarm; steps of the second part count from the whole's first reading."""
    asked = scripted({(0, 20): step(12), (0, 12): step(5, 0.01), (12, 8): step(4, 0.011), (0, 5): step(2, 0.0051)})

    assert searched(20) == [step(5, 0.01), step(12)]
    assert asked == [(0, 20), (0, 12), (0, 5), (5, 7), (12, 8)]


def test_steps_of_a_part_are_told_where_they_lie_in_the_whole(scripted):
    """A step before the fourth reading of the second part is one before the sixteenth."""
    scripted({(0, 20): step(12), (12, 8): step(4, 0.01)})

    assert searched(20) == [step(12), LevelShift(15, 16, 17, 2.0, 0.01)]


@pytest.mark.parametrize(("p", "found"), [(0.02, True), (0.021, False)])
def test_a_step_counts_up_to_the_chance_allowed(scripted, p: float, found: bool):
    """Two in a hundred, as asked for."""
    scripted({(0, 20): step(12, p)})

    assert bool(searched(20)) is found


@pytest.mark.parametrize(("n", "asked"), [(23, [(0, 23)]), (24, [(0, 24), (0, 16), (8, 16)])])
def test_two_steps_that_hide_each_other_are_looked_for_in_thirds(scripted, n: int, asked: list[tuple[int, int]]):
    """From 24 readings on, the first and the last two thirds."""
    assert scripted({}) == []
    got = scripted({(0, n): step(12, 0.5)})
    searched(n)

    assert got == asked


@pytest.mark.parametrize(("p", "found"), [(0.01, [LevelShift(12, 13, 14, 2.0, 0.01)]), (0.011, [])])
def test_a_hidden_step_needs_half_the_chance(scripted, p: float, found: list[LevelShift]):
    """Found in the last two thirds it counts from the whole's first reading."""
    scripted({(8, 16): step(5, p)})

    assert searched(24) == found


def test_the_first_third_with_a_step_is_taken(scripted):
    """What the first two thirds show is searched on from there; the last two thirds are not asked then."""
    asked = scripted({(0, 16): step(6, 0.001), (8, 16): step(5, 0.001)})

    assert searched(24) == [step(6)]
    assert asked[:2] == [(0, 24), (0, 16)]
    assert (8, 16) not in asked


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        ({"source_resistance": -1.0}, "as with a new battery, or with posts cleaned"),
        ({"source_resistance": -1.0, "resting_voltage": 1.0}, "as with a new battery"),
        ({"source_resistance": -1.0, "crank_minimum": 1.0}, "as with a new battery"),
        ({"resting_voltage": 1.0, "crank_minimum": 1.0}, "as with a new battery"),
        ({"crank_minimum": 1.0}, "as with a new or a freshly charged battery"),
        ({"crank_minimum": -1.0}, "as with a cell that failed, a poor joint at the posts or another, weaker battery"),
        ({"resting_voltage": -1.0}, "as with a cell that failed, a poor joint at the posts or another, weaker battery"),
        ({"resting_voltage": 1.0, "crank_minimum": -1.0}, "in more than one direction"),
        ({"charging_voltage": -1.0}, "as with another regulator, or a changed charging circuit"),
        ({"charging_voltage": 1.0, "off_state_drain": 1.0}, "as with an accessory that draws current with the key off"),
        ({"off_state_drain": -1.0}, "as with something taken off that drew current with the key off"),
        (
            {"source_resistance": 1.0},
            "as with a cell that failed, a poor joint at the posts or another, weaker battery",
        ),
        ({"off_state_drain": 0.0}, "in more than one direction"),
        ({}, "in more than one direction"),
    ],
)
def test_steps_in_words(steps: dict[str, float], words: str):
    """Better in one thing or in several, worse, the drain, the charging, or against each other."""
    assert kind_of(steps) == words
