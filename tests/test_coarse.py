"""A stretch of an overview at fewer points, against plain loops."""

from itertools import groupby

import numpy as np
import pytest

from benchlog.analysis.coarse import coarse, runs
from benchlog.core.trace import Trace
from benchlog.log.overview import OverviewBuilder

ROLES = ("battery_v", "battery_a")


def _trace(rows=1000, step_s=0.01, seed=1, missing=0.0):
    """Random values at an even step; some missing, every 50th current over range."""
    rng = np.random.default_rng(seed)
    over = np.arange(rows) % 50 == 7
    values = {role: rng.normal(5, 2, rows) for role in ROLES}
    for x in values.values():
        x[rng.random(rows) < missing] = np.nan
    values["battery_a"][over] = np.nan
    return Trace(np.arange(rows) * step_s, values, {"battery_a": over})


def _overview(trace, max_buckets=None):
    builder = OverviewBuilder(trace.values, max_buckets)
    builder.add(trace)
    return builder.finish()


@pytest.mark.parametrize("missing", [0.0, 0.3, 0.95])
def test_points_equal_plain_loops_over_the_samples(missing):
    """Mean, minimum, maximum and over range of each ten samples; NaN where all ten are missing."""
    trace = _trace(missing=missing)

    got = coarse(_overview(trace), 0.0, 9.99, 0.1)

    assert len(got) == 100
    for n in range(100):
        x = [v for v in trace.values["battery_a"][10 * n : 10 * n + 10] if v == v]
        expected = (sum(x) / len(x), min(x), max(x)) if x else (np.nan,) * 3
        found = tuple(float(column["battery_a"][n]) for column in (got.mean, got.low, got.high))

        assert found == pytest.approx(expected, nan_ok=True)
        assert got.over["battery_a"][n] == trace.over["battery_a"][10 * n : 10 * n + 10].sum()
        assert (got.start_s[n], got.end_s[n]) == pytest.approx((n * 0.1, n * 0.1 + 0.09))


@pytest.mark.parametrize("start_s", [0.0, 3.0, 100.0, 1000.0])
@pytest.mark.parametrize("rate_hz", [100, 200, 500, 1000])
def test_points_hold_what_the_step_says(start_s, rate_hz):
    """50 ms at 100 Hz to 1 kHz are 5 to 50 samples, wherever the clock starts."""
    t = start_s + np.arange(2 * rate_hz) / rate_hz

    got = coarse(_overview(Trace(t, {"battery_v": np.zeros(len(t))}, {})), t[0], t[-1], 0.05)

    assert len(got) == 40


def test_mean_weighs_buckets_by_their_rows():
    """A last bucket with one row in it counts once, not as much as a full one."""
    trace = Trace(np.arange(5) * 1.0, {"battery_v": np.array([1.0, 1.0, 1.0, 1.0, 6.0])}, {})
    overview = _overview(trace, max_buckets=3)

    got = coarse(overview, 0.0, 4.0, 100.0)

    assert list(overview.rows) == [2, 2, 1]
    assert got.mean["battery_v"] == pytest.approx([2.0])


def test_only_points_wholly_inside_are_taken():
    """A bucket that begins before or ends after the stretch is left out; one that just fits is in."""
    overview = _overview(_trace(1024), max_buckets=128)  # buckets of 8 rows: 0.00 to 0.07, 0.08 to 0.15 …

    got = coarse(overview, 0.08, 0.30, 0.01)

    assert got.start_s == pytest.approx([0.08, 0.16])
    assert got.end_s == pytest.approx([0.15, 0.23])
    assert coarse(overview, 0.08, 0.31, 0.01).end_s[-1] == pytest.approx(0.31)
    assert coarse(overview, 0.081, 0.31, 0.01).start_s[0] == pytest.approx(0.16)


def test_last_point_takes_what_is_left():
    """23 samples in groups of ten make points of 10, 10 and 3."""
    trace = _trace(23)

    got = coarse(_overview(trace), 0.0, 1.0, 0.105)

    assert got.end_s == pytest.approx([0.09, 0.19, 0.22])
    assert got.mean["battery_v"][2] == pytest.approx(trace.values["battery_v"][20:].mean())


def test_same_points_from_single_samples_and_from_buckets():
    """Whether the overview holds samples or joined buckets makes no difference to aligned points."""
    trace = _trace(1024, missing=0.2)

    fine = coarse(_overview(trace), 0.0, 10.23, 0.16)
    joined = coarse(_overview(trace, max_buckets=256), 0.0, 10.23, 0.16)

    assert len(fine) == len(joined) == 64
    for role in ROLES:
        assert joined.low[role] == pytest.approx(fine.low[role])
        assert joined.high[role] == pytest.approx(fine.high[role])
        assert list(joined.over[role]) == list(fine.over[role])
    whole = coarse(_overview(_trace(1024)), 0.0, 10.23, 0.16).mean["battery_v"]
    assert coarse(_overview(_trace(1024), max_buckets=256), 0.0, 10.23, 0.16).mean["battery_v"] == pytest.approx(whole)


def test_buckets_longer_than_the_step_are_taken_as_they_are():
    """A slow log gives its own samples."""
    trace = _trace(20, step_s=1.0)

    got = coarse(_overview(trace), 0.0, 19.0, 0.05)

    assert got.mean["battery_v"] == pytest.approx(trace.values["battery_v"])
    assert list(got.time_s) == list(trace.time_s)


def test_roles_are_those_asked_for_and_present():
    """All by default; of those asked for, the ones that the log lacks are absent."""
    overview = _overview(_trace())

    assert set(coarse(overview, 0, 1, 0.1).mean) == set(ROLES)
    assert set(coarse(overview, 0, 1, 0.1, ["feed_v", "battery_v"]).mean) == {"battery_v"}


@pytest.mark.parametrize(("from_s", "to_s"), [(20.0, 30.0), (5.0, 4.0), (5.001, 5.009), (-3.0, -1.0)])
def test_stretch_without_samples_is_empty(from_s, to_s):
    """After the log, before it, upside down or between two samples: no points, all roles."""
    got = coarse(_overview(_trace()), from_s, to_s, 0.1)

    assert len(got) == 0
    assert {role: len(x) for role, x in got.mean.items()} == dict.fromkeys(ROLES, 0)
    assert {role: len(x) for role, x in got.over.items()} == dict.fromkeys(ROLES, 0)


def test_part_is_the_points_wholly_inside():
    """A part of a table is cut like the table itself, in every column."""
    table = coarse(_overview(_trace()), 0.0, 9.99, 0.1)

    part = table.part(1.0, 1.49)

    assert part.start_s == pytest.approx([1.0, 1.1, 1.2, 1.3, 1.4])
    assert len(table.part(1.0, 1.48)) == 4
    assert len(table.part(1.01, 1.49)) == 4
    for name in ("mean", "low", "high", "over"):
        assert list(getattr(part, name)["battery_v"]) == list(getattr(table, name)["battery_v"][10:15])


def test_time_of_a_point_is_its_middle():
    """Halfway between its first and last sample."""
    got = coarse(_overview(_trace(20)), 0.0, 1.0, 0.1)

    assert got.time_s == pytest.approx([0.045, 0.145])


@pytest.mark.parametrize("seed", range(5))
def test_runs_equal_grouping_one_by_one(seed):
    """Stretches of True, as itertools groups them."""
    flags = np.random.default_rng(seed).random(50) < 0.6
    expected, at = [], 0
    for value, group in groupby(flags):
        length = len(list(group))
        if value:
            expected.append((at, at + length))
        at += length

    assert runs(flags) == expected


def test_runs_at_the_ends_and_of_nothing():
    """A stretch may begin with the first point and end with the last."""
    assert runs(np.array([True, False, True])) == [(0, 1), (2, 3)]
    assert runs(np.array([True, True])) == [(0, 2)]
    assert runs(np.zeros(3, dtype=bool)) == []
    assert runs(np.zeros(0, dtype=bool)) == []
