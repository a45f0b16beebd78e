"""Points joined to longer ones, on rows written by hand."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.unpulsed import joined

NAN = math.nan


def test_points_are_joined_up_to_a_time_and_never_across_a_gap():
    """Five of 10 ms each; behind a gap of 2 s a new one begins, and missing ones do not count."""
    start = [*np.arange(102) * 0.01, *3.0 + np.arange(5) * 0.01]
    x = np.arange(107.0)
    x[0] = NAN
    table = points(start, {"battery_a": x}, over={"battery_a": [1] + [0] * 106})

    wide = joined(table, 0.05)

    assert wide.start_s[[0, 1, -4, -3, -2, -1]] == pytest.approx([0.0, 0.05, 0.95, 1.0, 3.0, 3.03])
    assert wide.end_s[[0, 1, -4, -3, -2, -1]] == pytest.approx([0.04, 0.09, 0.99, 1.01, 3.02, 3.04])
    assert wide.mean["battery_a"][[0, 1, -3, -2, -1]] == pytest.approx([2.5, 7.0, 100.5, 103.0, 105.5])
    assert wide.low["battery_a"][[0, 1, -3, -2, -1]].tolist() == [1, 5, 100, 102, 105]
    assert wide.high["battery_a"][[0, 1, -3, -2, -1]].tolist() == [4, 9, 101, 104, 106]
    assert wide.over["battery_a"].tolist() == [1] + [0] * 22
    assert joined(table, 0.019) is table
    assert joined(table.part(0.0, 0.0), 0.05).mean["battery_a"].shape == (1,)
