"""How fast a logger really sees: from arrays that are made as such loggers write them."""

import numpy as np
import pytest

from benchlog.analysis.true_step import true_steps
from benchlog.core.trace import Trace

ROWS_S = 0.001


def _plain(end_s=4.0, rows_s=ROWS_S, noise=(0.006, 0.02), code=0.005, seed=1):
    """A key-on at 1 s that a contact follows after 12 ms, with noise of readings."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, end_s, rows_s)
    closed = t >= 1.012
    values = {
        "trigger_v": np.where(t >= 1.0, 12.4, 0.0),
        "feed_v": np.where(closed, 12.3, 0.0),
        "battery_a": np.where(t >= 1.0, 5.0, 0.0) + 8.0 * closed,
    }
    noisy = {
        role: np.round((x + rng.normal(0, noise[role.endswith("_a")], len(t))) / code) * code
        for role, x in values.items()
    }
    return Trace(t, noisy, {})


def _mapped(trace, change):
    return Trace(trace.time_s, {role: change(x) for role, x in trace.values.items()}, {})


def _standing(rows):
    return lambda x: x[np.arange(len(x)) // rows * rows]


def _mean_over(rows):
    def change(x):
        total = np.cumsum(np.insert(x, 0, 0.0))
        out = x.copy()
        out[rows - 1 :] = (total[rows:] - total[:-rows]) / rows
        return out

    return change


def test_logger_that_reads_each_row_is_as_fast_as_its_rows():
    """Noise changes from row to row and edges lie between two samples: nothing is claimed."""
    assert true_steps([_plain()]).by_role == {}


@pytest.mark.parametrize("rows", [5, 25, 100])
def test_readings_that_stand_are_as_slow_as_they_stand(rows):
    """Each reading is written in so many rows; all channels of them, the quiet lines by the rows they change in."""
    found = true_steps([_mapped(_plain(), _standing(rows)), _mapped(_plain(seed=2), _standing(rows))]).by_role

    assert found == {role: pytest.approx(rows * ROWS_S, rel=0.1) for role in ("battery_a", "feed_v", "trigger_v")}


def test_only_the_slow_channel_is_slow():
    """A current that stands in 100 rows says nothing of lines that change in other rows."""
    trace = _plain()
    slow = Trace(trace.time_s, {**trace.values, "battery_a": _standing(100)(trace.values["battery_a"])}, {})

    assert set(true_steps([slow]).by_role) == {"battery_a"}


def test_channel_that_is_quiet_for_its_resolution_tells_nothing():
    """Steps of 0.1 V and 0.1 A with little noise: long rests are no sign, whether the logger is slow or not."""
    quiet = _plain(noise=(0.001, 0.001), code=0.1)

    assert true_steps([quiet]).by_role == {}


def test_flashing_load_without_noise_is_no_slow_logger():
    """A lamp that goes on and off twice a second between two figures stands still between."""
    trace = _plain(end_s=20.0)
    t = trace.time_s
    amps = np.where((t % 0.5) < 0.25, 3.5, 0.0)

    found = true_steps([Trace(t, {**trace.values, "battery_a": amps}, {})]).by_role

    assert found == {}


def test_parked_current_of_zero_is_no_repeat():
    """Half of the stretch at exactly 0 A, half with noise at every row."""
    trace = _plain()
    amps = np.where(trace.time_s < 2.0, 0.0, trace.values["battery_a"])

    assert true_steps([Trace(trace.time_s, {**trace.values, "battery_a": amps}, {})]).by_role == {}


def test_means_over_100_ms_show_in_every_edge():
    """No edge of any line is shorter than the time that the logger takes its mean over."""
    found = true_steps([_mapped(_plain(), _mean_over(100))]).by_role

    assert found["feed_v"] == pytest.approx(0.100, rel=0.1)
    assert found["trigger_v"] == pytest.approx(0.100, rel=0.1)


def test_slow_lamp_beside_a_sharp_contact_is_the_lamp():
    """A trigger that takes 80 ms to rise is slow of itself where the feed goes from one sample to the next."""
    trace = _plain()
    slow = np.interp(trace.time_s, [1.0, 1.08], [0.0, 12.4])

    assert true_steps([Trace(trace.time_s, {**trace.values, "trigger_v": slow}, {})]).by_role == {}


def test_stamps_of_packets_are_as_fine_as_the_packets():
    """25 rows come at once every 25 ms, stamped 0.1 ms apart."""
    trace = _plain()
    n = np.arange(len(trace))
    stamps = n // 25 * 0.025 + n % 25 * 1e-4

    found = true_steps([Trace(stamps, trace.values, {})]).by_role

    assert found["feed_v"] == pytest.approx(0.0226, abs=0.001)


def test_channel_with_a_sample_in_every_tenth_row_is_ten_times_slower():
    """A multiplexed channel leaves the other rows empty."""
    trace = _plain()
    feed = np.where(np.arange(len(trace)) % 10 == 3, trace.values["feed_v"], np.nan)

    found = true_steps([Trace(trace.time_s, {**trace.values, "feed_v": feed}, {})]).by_role

    assert found == {"feed_v": pytest.approx(0.010)}


def test_gap_and_jitter_are_no_slow_logger():
    """Rows a third off their places, a second missing in the middle, and some rows lost."""
    trace = _plain()
    rng = np.random.default_rng(4)
    t = trace.time_s + rng.uniform(0, 0.0003, len(trace))
    keep = ((t < 2.0) | (t > 3.0)) & (rng.random(len(t)) > 0.05)

    assert true_steps([Trace(t[keep], {role: x[keep] for role, x in trace.values.items()}, {})]).by_role == {}


def test_nothing_is_found_in_nothing():
    """Empty stretches, and a log without lines."""
    assert true_steps([]).by_role == {}
    assert true_steps([Trace(np.empty(0), {}, {})]).by_role == {}


def test_beat_tells_where_the_noise_is_of_the_resolution():
    """Readings that often repeat their figure, but change every 36 rows or a multiple of that."""
    noisy = _plain(noise=(0.004, 0.005), end_s=12.0)

    found = true_steps([_mapped(noisy, _standing(36))]).by_role

    assert found["feed_v"] == pytest.approx(0.036, rel=0.05)
    assert true_steps([noisy]).by_role == {}
