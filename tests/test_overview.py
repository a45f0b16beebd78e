"""The overview of a log in buckets."""

import numpy as np
import pytest

from benchlog.core.trace import Overview, Trace
from benchlog.log.overview import OverviewBuilder, buckets_for

ROLES = ("battery_v", "battery_a")


def _trace(rows: int, seed: int, missing: float = 0.0) -> Trace:
    """Uneven times, noisy values, a share of them missing; every 50th sample over range."""
    rng = np.random.default_rng(seed)
    time_s = np.cumsum(rng.uniform(0.001, 0.01, rows))
    values = {role: rng.normal(12, 3, rows) for role in ROLES}
    over = {"battery_a": np.arange(rows) % 50 == 17}
    for column in values.values():
        column[rng.random(rows) < missing] = np.nan
    values["battery_a"][over["battery_a"]] = np.nan
    return Trace(time_s, values, over)


def _built(trace: Trace, sizes: list[int], **options: int) -> Overview:
    builder = OverviewBuilder(ROLES, **options)
    at, n = 0, 0
    while at < len(trace):
        size = sizes[n % len(sizes)]
        cut = slice(at, at + size)
        builder.add(
            Trace(
                trace.time_s[cut],
                {role: column[cut] for role, column in trace.values.items()},
                {role: flags[cut] for role, flags in trace.over.items()},
            )
        )
        at, n = at + size, n + 1
    return builder.finish()


def _direct(trace: Trace, k: int) -> list[dict[str, float]]:
    """Bucket after bucket in plain loops, over battery_a."""
    values, time_s = trace.values["battery_a"], trace.time_s
    buckets = []
    for lo in range(0, len(trace), k):
        hi = min(lo + k, len(trace))
        good = [float(value) for value in values[lo:hi] if not np.isnan(value)]
        pairs = []
        for n in range(max(lo, 1), hi):
            before = next((m for m in range(n - 1, -1, -1) if not np.isnan(values[m])), None)
            # empty cells are spanned, samples over range are not
            if np.isnan(values[n]) or before is None or trace.over["battery_a"][before:n].any():
                continue
            apart = time_s[n] - time_s[before]
            pairs.append(((values[n] + values[before]) / 2 * apart, apart))
        buckets.append(
            {
                "min": min(good, default=np.nan),
                "max": max(good, default=np.nan),
                "mean": sum(good) / len(good) if good else np.nan,
                "area": float(sum(area for area, _ in pairs)),
                "weight_s": float(sum(weight for _, weight in pairs)),
                "over": float(trace.over["battery_a"][lo:hi].sum()),
                "gap_s": max((float(time_s[n] - time_s[n - 1]) for n in range(max(lo, 1), hi)), default=0.0),
            }
        )
    return buckets


def test_short_log_is_its_own_overview():
    """While the samples fit, each has its own bucket, and nothing is rounded."""
    trace = _trace(40, 1)

    overview = _built(trace, [7])

    assert np.array_equal(overview.start_s, trace.time_s)
    assert np.array_equal(overview.end_s, trace.time_s)
    for name in ("min", "mean", "max"):
        got = getattr(overview.bands["battery_a"], name)
        assert np.array_equal(got, trace.values["battery_a"], equal_nan=True)


@pytest.mark.parametrize("sizes", [[1000], [1], [3, 64, 1, 250], [128]], ids=str)
@pytest.mark.parametrize("missing", [0.0, 0.3, 0.97])
@pytest.mark.parametrize("rows", [1000, 1024, 997])
def test_joined_buckets_equal_direct_ones(sizes, missing, rows):
    """However the samples arrive, joined buckets hold what a plain loop over each bucket finds."""
    trace = _trace(rows, 2, missing)

    overview = _built(trace, sizes, max_buckets=16)

    k = int(overview.rows[0])
    expected = _direct(trace, k)
    band = overview.bands["battery_a"]
    assert len(overview) == len(expected) <= 16
    assert overview.rows.sum() == rows
    for name in ("min", "max", "mean", "area", "weight_s", "over"):
        assert getattr(band, name) == pytest.approx([bucket[name] for bucket in expected], nan_ok=True, abs=1e-12)
    assert overview.gap_s == pytest.approx([bucket["gap_s"] for bucket in expected])
    assert np.array_equal(overview.start_s, trace.time_s[::k])
    assert np.array_equal(overview.end_s, trace.time_s[[min(n + k, rows) - 1 for n in range(0, rows, k)]])


def test_expected_length_gives_the_same_buckets_as_joining():
    """Starting with wide buckets differs from joining narrow ones in nothing but the work."""
    trace = _trace(1000, 3)

    known = _built(trace, [100], max_buckets=16, expected_rows=1000)
    found = _built(trace, [100], max_buckets=16)

    assert np.array_equal(known.rows, found.rows)
    assert known.bands["battery_a"].area == pytest.approx(found.bands["battery_a"].area)


def test_area_is_the_trapezoid_of_the_whole():
    """The areas add up to numpy's trapezoid over all samples."""
    trace = _trace(5000, 4)
    trace = Trace(trace.time_s, {role: np.nan_to_num(column) for role, column in trace.values.items()}, {})

    overview = _built(trace, [611], max_buckets=32)

    band = overview.bands["battery_a"]
    assert band.area.sum() == pytest.approx(np.trapezoid(trace.values["battery_a"], trace.time_s), rel=1e-12)
    assert band.weight_s.sum() == pytest.approx(trace.time_s[-1] - trace.time_s[0])


def test_area_and_shift_agree():
    """Adding a constant current adds that current times the time covered."""
    trace = _trace(2000, 5, 0.1)
    shifted = Trace(trace.time_s, {role: column + 2.0 for role, column in trace.values.items()}, trace.over)

    before = _built(trace, [300], max_buckets=32).bands["battery_a"]
    after = _built(shifted, [300], max_buckets=32).bands["battery_a"]

    assert after.area == pytest.approx(before.area + 2.0 * before.weight_s)


def test_voltages_have_no_area():
    """Only currents are integrated; elsewhere area and its weight are NaN."""
    band = _built(_trace(20, 6), [20]).bands["battery_v"]

    assert np.isnan(band.area).all()
    assert np.isnan(band.weight_s).all()


def test_step_is_the_median_also_of_a_long_log():
    """The median step of a long log, of which only a part is kept, is that of its samples."""
    rows = 700_000
    steps = np.where(np.arange(rows) % 100 < 60, 0.001, 0.05)
    builder = OverviewBuilder(("battery_v",), max_buckets=16)
    times = np.cumsum(steps)
    for part in np.array_split(times, 37):
        builder.add(Trace(part, {"battery_v": np.zeros(len(part))}, {}))

    assert builder.finish().step_s == pytest.approx(0.001)


def test_short_log_step_is_the_exact_median():
    """Every step of a short log counts."""
    trace = _trace(999, 7)

    assert _built(trace, [10]).step_s == pytest.approx(np.median(np.diff(trace.time_s)), rel=1e-15)


def test_nothing_added_gives_an_empty_overview():
    """An overview of no samples has no buckets."""
    overview = OverviewBuilder(ROLES).finish()

    assert len(overview) == 0
    assert set(overview.bands) == set(ROLES)


@pytest.mark.parametrize("roles", [1, 4, 8, 30])
def test_bucket_count_is_bounded(roles):
    """More roles get fewer buckets: a power of two, never above 2**19."""
    count = buckets_for(roles)

    assert count & (count - 1) == 0
    assert 1 << 16 <= count <= 1 << 19
    assert buckets_for(roles + 30) <= count
