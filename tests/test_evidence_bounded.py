"""What is kept of each of many logs for drawing: its share of the memory, and nothing lost in joining buckets."""

from dataclasses import replace

import numpy as np
import pytest

from benchlog.core.trace import Band, Overview, Trace
from benchlog.verdict import bounded as kept
from benchlog.verdict.bounded import bounded, joined
from benchlog.verdict.evidence import LogEvidence

NAN = float("nan")


def overview(n: int, roles: tuple[str, ...] = ("battery_v",)) -> Overview:
    """So many buckets of a sample each."""
    at = np.arange(float(n))
    band = Band(min=at, mean=at, max=at, area=at, weight_s=at, over=np.zeros(n, dtype=np.int64))
    return Overview(at, at, np.ones(n, dtype=np.int64), dict.fromkeys(roles, band), np.zeros(n), 1.0)


def evidence(n: int, *roles: str, traces: tuple[Trace, ...] = ()) -> LogEvidence:
    """One log."""
    return LogEvidence("a.csv", overview(n, roles), roles, (), traces, traces, (), ())


@pytest.mark.parametrize(
    ("logs", "roles", "share"),
    [
        (800, ("battery_v",), 2097),  # 128 MiB / 800 / (48 + 32) bytes
        (500, ("battery_v", "battery_a"), 2097),  # 128 MiB / 500 / (2 · 48 + 32) bytes
        (10**6, ("battery_v",), 1024),  # never fewer
    ],
)
def test_logs_share_128_mib(logs: int, roles: tuple[str, ...], share: int):
    """A log that fits into its share stays as it is; one bucket more, and pairs are joined."""
    assert len(bounded(evidence(share, *roles), logs).overview) == share
    assert len(bounded(evidence(share + 1, *roles), logs).overview) == share // 2 + 1


def test_a_log_from_before_the_install_shares_with_none(monkeypatch: pytest.MonkeyPatch):
    """It is none of the logs, and has all of the memory to itself."""
    monkeypatch.setattr(kept, "MOST_BYTES", 3000 * 80)

    assert len(bounded(evidence(3000, "battery_v"), 0).overview) == 3000
    assert len(bounded(evidence(3001, "battery_v"), 0).overview) == 1501


def test_samples_are_cut_loose_from_their_block():
    """A view would keep the whole log's block in memory."""
    block = np.arange(10.0)
    trace = Trace(block[2:4], {"feed_v": block[4:6]}, {"feed_v": np.array([True, False])[:]})

    kept = bounded(evidence(2, "feed_v", traces=(trace,)), 1)

    for copy in (*kept.pull_ins, *kept.drop_outs):
        assert not np.shares_memory(copy.time_s, block)
        assert not np.shares_memory(copy.values["feed_v"], block)
        assert not np.shares_memory(copy.over["feed_v"], trace.over["feed_v"])
        assert (copy.time_s.tolist(), copy.values["feed_v"].tolist()) == ([2.0, 3.0], [4.0, 5.0])


def test_joined_buckets_by_hand():
    """Ten buckets in at most three are joined by fours: least, greatest, sums and counts as they were."""
    at = np.arange(10.0)
    mean = np.array([1.0, 2.0, NAN, 4.0, NAN, NAN, NAN, NAN, 9.0, 10.0])
    rows = np.array([1, 3, 5, 2, 1, 1, 1, 1, 4, 1])
    band = Band(min=mean - 1, mean=mean, max=mean + 1, area=at, weight_s=2 * at, over=np.arange(10))

    got = joined(Overview(at, at + 0.5, rows, {"feed_v": band}, at[::-1].copy(), 0.25), 3)

    assert (got.start_s.tolist(), got.end_s.tolist()) == ([0.0, 4.0, 8.0], [3.5, 7.5, 9.5])
    assert (got.rows.tolist(), got.gap_s.tolist(), got.step_s) == ([11, 4, 5], [9.0, 5.0, 1.0], 0.25)
    feed = got.bands["feed_v"]
    assert feed.mean == pytest.approx([(1 + 6 + 8) / 6, NAN, (36 + 10) / 5], nan_ok=True)
    assert feed.min == pytest.approx([0.0, NAN, 8.0], nan_ok=True)
    assert feed.max == pytest.approx([5.0, NAN, 11.0], nan_ok=True)
    assert (feed.area.tolist(), feed.weight_s.tolist(), feed.over.tolist()) == (
        [6.0, 22.0, 17.0],
        [12.0, 44.0, 34.0],
        [6, 22, 17],
    )


def test_a_share_is_whole_buckets():
    """2097.15 of them are 2097, and eight times that are 16,776: one more is joined by sixteens."""
    assert len(bounded(evidence(16_776, "battery_v"), 800).overview) == 2097
    assert len(bounded(evidence(16_777, "battery_v"), 800).overview) == 1049


def test_a_single_valid_sample_is_its_buckets_mean():
    """The missing ones beside it count for nothing; what fits already is left as it is."""
    two = overview(2)
    band = replace(two.bands["battery_v"], mean=np.array([5.0, NAN]))
    one = replace(two, rows=np.array([1, 3]), bands={"battery_v": band})

    assert joined(one, 1).bands["battery_v"].mean.tolist() == [5.0]
    assert joined(two, 2) is two


@pytest.mark.parametrize(("most", "left"), [(10, 10), (9, 5), (5, 5), (4, 3), (1, 1)])
def test_buckets_are_joined_in_pairs_of_pairs(most: int, left: int):
    """Twos, fours, eights: the first that is enough."""
    assert len(joined(overview(10), most)) == left
