"""Points of an overview, its gaps and its hidden parts, worked out by hand."""

import math

import numpy as np
import pytest

from benchlog.analysis.coarse import (
    Coarse,
    coarse,
    gap_limit_s,
    leads_out_of,
    outside_of,
    runs,
    spacing_s,
    unseen_s,
)
from benchlog.core.trace import Band, Overview

NAN = math.nan


def overview(
    start_s, end_s=None, rows=None, mean=None, step_s: float = 1.0, over=None, gap_s=None, low=None, high=None
) -> Overview:
    """Buckets that hold one sample each unless told otherwise."""
    start = np.array(start_s, dtype=float)
    n = len(start)
    x = np.array(range(n) if mean is None else mean, dtype=float)
    counts = np.zeros(n, dtype=np.int64) if over is None else np.array(over)
    band = Band(
        x if low is None else np.array(low, dtype=float),
        x,
        x if high is None else np.array(high, dtype=float),
        np.zeros(n),
        np.zeros(n),
        counts,
    )
    gaps = np.diff(start, prepend=start[:1]) if gap_s is None else np.array(gap_s, dtype=float)
    ends = start if end_s is None else np.array(end_s, dtype=float)
    return Overview(start, ends, np.array(rows if rows is not None else [1] * n), {"battery_a": band}, gaps, step_s)


def test_neighbours_are_joined_and_weighed_by_their_rows():
    """Two buckets of 1 and 3 rows make one point; a missing one and its rows do not count."""
    given = overview(range(6), rows=[1, 3, 2, 1, 2, 2], mean=[1, 5, NAN, 3, NAN, NAN], over=[1, 2, 0, 0, 0, 1])
    given = Overview(given.start_s, given.end_s, given.rows, given.bands, given.gap_s, 0.5)

    got = coarse(given, 0, 5, 2.0)

    assert got.start_s.tolist() == [0, 2, 4]
    assert got.end_s.tolist() == [1, 3, 5]
    assert got.mean["battery_a"] == pytest.approx([4.0, 3.0, NAN], nan_ok=True)
    assert got.over["battery_a"].tolist() == [3, 0, 1]


def test_point_keeps_the_extremes_of_its_buckets():
    """The lowest of the lowest, the highest of the highest; what is missing is neither."""
    got = coarse(overview(range(4), low=[3, 1, NAN, 2], high=[7, 9, 8, NAN]), 0, 3, 2.0)

    assert got.low["battery_a"].tolist() == [1, 2]
    assert got.high["battery_a"].tolist() == [9, 8]


@pytest.mark.parametrize(
    ("step_s", "points"), [(0.5, 12), (1.0, 12), (1.99, 12), (2.0, 6), (2.9, 6), (3.0, 4), (99.0, 1)]
)
def test_point_spans_no_more_than_the_time_asked_for(step_s: float, points: int):
    """Of buckets of 1 s; where they are longer already they stay as they are."""
    assert len(coarse(overview(range(12)), 0, 11, step_s)) == points


@pytest.mark.parametrize(
    ("from_s", "to_s", "starts"), [(1.0, 3.0, [1, 2, 3]), (1.1, 3.0, [2, 3]), (1.0, 2.9, [1, 2]), (3.5, 3.6, [])]
)
def test_only_buckets_wholly_inside_count(from_s: float, to_s: float, starts: list[float]):
    """To the last bit, and of the roles that are asked for."""
    got = coarse(overview(range(6)), from_s, to_s, 0.1)

    assert got.start_s.tolist() == starts
    assert set(got.mean) == {"battery_a"}
    assert {len(x["battery_a"]) for x in (got.mean, got.low, got.high, got.over)} == {len(starts)}
    assert set(coarse(overview(range(6)), from_s, to_s, 0.1, ["feed_v"]).mean) == set()


def test_point_reaches_across_no_gap():
    """Behind 101 usual steps a new one begins, behind 99 not."""
    far, near = ([*range(61), *(60 + gap + n for n in range(61))] for gap in (101, 99))

    assert coarse(overview(far), 0, 999, 3.0).start_s[19:23].tolist() == [57, 60, 161, 164]
    assert coarse(overview(near), 0, 999, 3.0).start_s[19:22].tolist() == [57, 60, 161]


@pytest.mark.parametrize(("step_s", "points"), [(0.19, 5), (0.21, 2)])
def test_stamps_in_packets_lie_their_mean_apart(step_s: float, points: int):
    """Ten buckets a second apart whose samples are stamped 0.19 s apart: below a fifth, so the second counts."""
    assert len(coarse(overview(range(10), step_s=step_s), 0, 9, 2.0)) == points
    assert len(coarse(overview(range(100, 110), step_s=step_s), 0, 999, 2.0)) == points
    assert len(coarse(overview([0, 1], step_s=step_s), 0, 9, 0.9)) == (2 if points == 5 else 1)
    assert len(coarse(overview([0], step_s=step_s), 0, 9, 0.9)) == 1


def test_spacing_is_the_median_step_or_the_mean_of_packets():
    """One gap does not count; steps below a fifth of the mean are those within packets."""
    assert spacing_s(np.array([0.0, 1, 2, 3, 8])) == 1.0
    assert spacing_s(np.array([0, 0.01, 0.02, 1, 1.01, 1.02, 2, 2.01, 2.02])) == pytest.approx(2.02 / 8)
    assert spacing_s(np.array([0, 0.21, 0.42, 0.63, 3.15])) == pytest.approx(0.21)
    assert spacing_s(np.array([0, 0.19, 0.38, 0.57, 4.0])) == pytest.approx(1.0)
    assert spacing_s(np.array([100, 100.01, 100.02, 101, 101.01, 101.02])) == pytest.approx(1.02 / 5)
    assert spacing_s(np.array([0.0, 0.0, 0.0])) == 1e-9


def test_gap_is_a_hundred_steps_or_half_a_second():
    """Whichever is longer."""
    assert gap_limit_s(0.001) == 0.5
    assert gap_limit_s(0.01) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("from_s", "to_s", "unseen"), [(0, 500, 330.0), (50, 500, 330.0), (0, 50, 20.0), (250, 260, 10.0), (400, 420, 20.0)]
)
def test_unseen_time_is_that_of_gaps_within_a_stretch(from_s: float, to_s: float, unseen: float):
    """Gaps of 120 s and 210 s that end somewhere in their buckets; a step of 99 s is none where a second is usual."""
    given = overview([0, 150, 480], end_s=[30, 270, 500], gap_s=[101, 120, 210], rows=[30, 120, 20])

    assert unseen_s(given, from_s, to_s) == pytest.approx(unseen)


def test_gap_that_ends_in_a_bucket_is_no_longer_than_it_was():
    """The bucket's own samples lie behind it."""
    given = overview([0, 150], end_s=[30, 300], gap_s=[0, 120])

    assert unseen_s(given, 0, 999) == 120.0


def test_points_that_a_stretch_touches_are_not_outside():
    """Its ends count."""
    start, end = np.array([0.0, 2, 4, 6]), np.array([1.0, 3, 5, 7])

    assert outside_of(start, end, [(3.0, 4.0)]).tolist() == [True, False, False, True]
    assert outside_of(start, end, [(3.1, 3.9)]).tolist() == [True] * 4
    assert outside_of(start, end, [(0.5, 0.6), (6.5, 9.0)]).tolist() == [False, True, True, False]


def test_bucket_behind_hidden_ones_leads_out_of_them():
    """As does the next valid one behind others that are empty."""
    hidden = np.array([False, True, False, False, False])

    assert leads_out_of(hidden, np.arange(5.0)).tolist() == [False, False, True, False, False]
    assert leads_out_of(hidden, np.array([0, 1, NAN, 3, 4])).tolist() == [False, False, False, True, False]
    assert leads_out_of(np.array([True, False]), np.arange(2.0)).tolist() == [False, True]
    assert not leads_out_of(np.zeros(3, dtype=bool), np.arange(3.0)).any()


def test_runs_are_the_stretches_of_true():
    """First and last behind."""
    assert runs(np.array([True, True, False, True])) == [(0, 2), (3, 4)]
    assert runs(np.zeros(3, dtype=bool)) == []


def test_part_and_inside_differ_by_the_last_bit():
    """Part forgives it, inside does not; both take whole points alone."""
    empty: dict = {}
    table = Coarse(np.array([0.0, 1, 2, 3]), np.array([0.5, 1.5, 2.5, 3.5]), empty, empty, empty, empty)

    assert table.time_s.tolist() == [0.25, 1.25, 2.25, 3.25]
    assert table.part(1.0, 2.5).start_s.tolist() == [1, 2]
    assert table.part(1.0 + 1e-10, 2.5 - 1e-10).start_s.tolist() == [1, 2]
    assert table.part(1.1, 3.4).start_s.tolist() == [2]
    assert table.inside(1.0, 2.5) == slice(1, 3)
    assert table.inside(1.0 + 1e-10, 2.5 - 1e-10) == slice(2, 2)
    assert table.inside(9.0, 1.0) == slice(4, 4)
