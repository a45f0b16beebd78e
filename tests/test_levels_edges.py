"""State levels and passages: the bins of a mode, and the fewest samples."""

import numpy as np
import pytest

from benchlog.analysis.levels import Levels, crossings, first_reach, state_levels


@pytest.mark.parametrize(
    ("more", "level"),
    [
        (np.linspace(1.0005, 1.2495, 30), 1.125),
        (np.linspace(1.003, 1.022, 60), 1.0125),
        (np.full(60, 3.0), 3.0),
    ],
)
def test_level_is_the_mode_of_two_hundred_bins_or_of_twenty(more: np.ndarray, level: float):
    """A thousand readings from 0 to 5 V, and some more: a bin of 25 mV needs one in a hundred, else 250 mV count."""
    low = np.concatenate((np.linspace(0.0, 4.99, 1000), more))

    found = state_levels(np.concatenate((low, np.full(9, 10.0))))

    assert found.low == pytest.approx(level, abs=0.002)
    assert found.high == 10.0


def test_two_samples_have_levels_and_a_passage():
    """The lowest and the highest; half way between them in time."""
    two = np.array([0.0, 12.0])

    assert state_levels(two) == Levels(0.0, 12.0)
    assert state_levels(np.array([0.0])) is None
    assert [each.time_s for each in crossings(np.arange(2.0), two, Levels(0, 12))] == [0.5]
    assert first_reach(np.arange(2.0), two, 6.0, "high").time_s == 0.5
