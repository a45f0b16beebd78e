"""A stretch without its pulses: which rows are no level, and what each channel changes by, on rows written by hand."""

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.pulsed import Pulsing
from benchlog.analysis.unpulsed import _change, without_pulses


def pulsing(
    rises: list[float], falls: list[float], to_s: float, period_s: float, duty: float, amps: float = 2.0
) -> Pulsing:
    """A load that is on between these edges."""
    mean_a = amps * duty
    return Pulsing(rises[0], to_s, period_s, duty, amps, mean_a, 0.01, tuple(rises), tuple(falls), 99.0)


def hidden(found: Pulsing, step_s: float = 0.01, rows: int = 600) -> list[int]:
    """The rows that are no level."""
    even = without_pulses(points(step_s, {"battery_a": np.ones(rows)}), [found], "battery_a")
    return np.flatnonzero(np.isnan(even.mean["battery_a"])).tolist()


@pytest.mark.parametrize(
    ("duty", "falls", "rows"),
    [
        (0.2, [1.105, 1.605], [*range(101, 104), *range(110, 114), *range(150, 154), *range(160, 164)]),
        (0.4, [1.205, 1.705], [*range(101, 107), *range(120, 127), *range(150, 157), *range(170, 177)]),
        (0.9, [1.455, 1.955], [*range(101, 107), *range(145, 147), *range(150, 157), *range(195, 197)]),
    ],
)
def test_rows_around_each_edge_are_no_level(duty: float, falls: list[float], rows: list[int]):
    """10 ms before and 60 ms behind, of half a second's pulses: three tenths of a pulse of 0.1 s, of a pause of 0.05 s.

    What lies before the first rise is no pulse's.
    """
    assert hidden(pulsing([1.005, 1.505], falls, 2.005, 0.5, duty)) == rows


def test_rows_50_ms_apart_hide_their_own_width():
    """Half a row and a little more to either side of an edge between two."""
    found = pulsing([1.025, 2.025], [1.425, 2.425], 3.025, 1.0, 0.4)

    assert hidden(found, 0.05, 100) == [21, 28, 29, 40, 41, 48, 49]


def test_pulse_whose_edges_were_not_found_is_no_level():
    """Between the fall at 2.4 s and the rise at 4 s more than a period is missing; behind the last fall nothing is."""
    lost = hidden(pulsing([1.005, 2.005, 4.005], [1.405, 2.405, 4.405], 5.005, 1.0, 0.4))
    kept = hidden(pulsing([1.005, 2.005, 3.005], [1.405, 2.405, 3.405], 4.005, 1.0, 0.4))
    late = hidden(pulsing([1.005, 2.005], [1.405, 2.405], 3.505, 1.0, 0.4))

    assert set(range(240, 401)) <= set(lost)
    assert len(kept) == 3 * 14 - 1
    assert set(range(240, 351)) <= set(late)


def test_load_that_draws_nothing_while_on_leaves_its_share_by_time():
    """A channel that rises by 1 V for four tenths of the time has 0.4 V of it throughout."""
    t = np.arange(600) * 0.01
    on = (t >= 1.0) & ((t - 1.005) % 1.0 < 0.4) & (t < 5.0)
    found = pulsing([1.005, 2.005, 3.005, 4.005], [1.405, 2.405, 3.405, 4.405], 5.005, 1.0, 0.4, amps=0.0)

    even = without_pulses(points(0.01, {"battery_a": np.ones(600), "battery_v": on * 1.0}), [found], "battery_a")

    inside = even.mean["battery_v"][101:500]
    assert inside[np.isfinite(inside)] == pytest.approx(0.4)


def channel(near: float, far_off: float) -> np.ndarray:
    """3 V while on and 1 V while off in cycles of 2 s, with 50 V around each edge and another figure far from any."""
    since = (np.arange(900) * 0.01 - 1.005) % 2.0
    x = np.where(since < 0.8, 3.0, 1.0)
    x[(since > 0.8 + 0.375) & (since < 2.0 - 0.305)] = far_off
    x[(since < near) | (since > 1.99) | ((since > 0.79) & (since < 0.8 + near))] = 50.0
    return x


@pytest.mark.parametrize(("near", "far_off"), [(0.07, 1.0), (0.07, 99.0), (0.0, 1.0)])
def test_change_is_read_from_behind_the_rush_to_three_tenths_of_a_second(near: float, far_off: float):
    """And in the 0.3 s before an edge: 2 V, whatever stands around it and far from it."""
    rises, falls = [1.005, 3.005, 5.005], [1.805, 3.805, 5.805]
    found = pulsing(rises, falls, 7.005, 2.0, 0.4)

    assert _change(np.arange(900) * 0.01, channel(near, far_off), found, 0.07) == pytest.approx(2.0)
