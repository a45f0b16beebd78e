"""When a trigger lets go, on a few samples."""

import math

import numpy as np
import pytest

from benchlog.analysis.levels import Crossing
from benchlog.analysis.relay import let_go_s
from benchlog.core.trace import Trace

NAN = math.nan


def trace(t, **values) -> Trace:
    """Samples without any over range."""
    return Trace(np.array(t, dtype=float), {role: np.array(x, dtype=float) for role, x in values.items()}, {})


def passage(at_s: float, before_s: float, after_s: float) -> Crossing:
    """The trigger's own."""
    return Crossing(at_s, before_s, after_s, 0, "low")


@pytest.mark.parametrize(
    ("volts", "at_s"),
    [
        ([12] * 10 + [11, 10.5, 6], 10.0),
        ([12] * 8 + [NAN, 10.9, 10.7, 6, 0], 9.0),
        ([12, 20] + [12] * 9 + [8, 6], 10.0),
        ([NAN] * 13, 12.0),
    ],
)
def test_trigger_lets_go_at_90_per_cent_of_its_level_before(volts: list[float], at_s: float):
    """The last sample there, a spike apart; where none is known, the passage itself."""
    given = trace(range(13), trigger_v=volts)

    assert let_go_s(given, passage(12.5, 12.0, 13.0)) == at_s
    assert let_go_s(trace(range(13), feed_v=volts), passage(12.5, 12.0, 13.0)) == 12.0
