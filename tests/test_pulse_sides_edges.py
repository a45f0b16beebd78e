"""Where a current rises and falls: quick changes of level, on rows of 10 ms."""

import numpy as np
import pytest

from benchlog.analysis.pulsed import _edges

T = np.arange(1200) * 0.01


@pytest.mark.parametrize(("size", "found"), [(2.0, True), (0.13, True), (0.11, False)])
def test_edge_is_a_change_within_20_ms(size: float, found: bool):
    """By 0.12 A, half way between the rows two apart."""
    x = np.concatenate((np.zeros(50), np.full(50, size), np.zeros(50)))

    edges = _edges(T[:150], x)

    assert [(e.time_s, e.amps) for e in edges] == (
        [(pytest.approx(0.49), pytest.approx(size)), (pytest.approx(0.99), pytest.approx(-size))] if found else []
    )


def test_edge_is_as_high_as_what_follows_a_rush():
    """2.3 A that decay to 2 A within 0.1 s: the later half of the quarter of a second behind it counts."""
    x = np.concatenate((np.zeros(50), np.linspace(2.3, 2.02, 10), np.full(60, 2.0), np.zeros(50)))

    rise, fall = _edges(T[: len(x)], x)

    assert (rise.time_s, rise.amps) == (pytest.approx(0.49), pytest.approx(2.0))
    assert (fall.time_s, fall.amps) == (pytest.approx(1.19), pytest.approx(-2.0))
