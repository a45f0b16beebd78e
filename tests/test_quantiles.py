"""Medians and percentiles agree with numpy's to the last digit."""

import numpy as np
import pytest

from benchlog.core.quantiles import distinct, known_median, known_medians, median, medians, percentile, percentiles

SIZES = (1, 2, 3, 4, 7, 10, 101, 1000)


@pytest.mark.parametrize("n", SIZES)
def test_they_are_what_numpy_gives(n):
    """Any number of values, even and odd, with twins: the very same figures, so that no verdict depends on which."""
    rng = np.random.default_rng(n)
    for x in (rng.normal(size=n), np.round(rng.normal(size=n), 1), rng.integers(0, 5, n)):
        assert median(x) == np.median(x)
        assert distinct(x).tolist() == np.unique(x).tolist()
        assert [percentile(x, q) for q in (0, 4, 8, 25, 50, 75, 98, 100)] == list(
            np.percentile(x, (0, 4, 8, 25, 50, 75, 98, 100))
        )


def test_a_table_is_judged_row_by_row():
    """Each row of a table has its own percentile and median."""
    table = np.random.default_rng(1).normal(size=(5, 30))

    assert percentiles(table, 92).tolist() == np.percentile(table, 92, axis=-1).tolist()
    for rows in (table, table[:, :7], table[:, :1]):
        assert medians(rows).tolist() == np.median(rows, axis=-1).tolist()


def test_a_missing_value_leaves_none():
    """NaN among the values gives NaN and no number that looks like a measurement; so does nothing at all."""
    x = np.array([1.0, np.nan, 3.0])

    assert np.isnan(median(x))
    assert np.isnan(percentile(x, 50))
    assert np.isnan(median([]))
    assert known_median(x) == np.nanmedian(x) == 2.0
    assert percentiles(np.array([x, [1.0, 2.0, 3.0]]), 50).tolist()[1] == 2.0


@pytest.mark.parametrize("n", [1, 2, 3, 4, 9, 10])
def test_a_row_s_missing_values_do_not_count(n):
    """Each row's median is that of its known values, to numpy's last digit; a row without any has none."""
    table = np.random.default_rng(n).normal(size=(200, n))
    table[np.random.default_rng(7).random(table.shape) < 0.3] = np.nan
    some = ~np.isnan(table).all(axis=1)

    assert known_medians(table)[some].tolist() == np.nanmedian(table[some], axis=1).tolist()
    assert np.isnan(known_medians(table)[~some]).all()
    assert np.isnan(known_medians(np.full((1, n), np.nan))).all()
