"""What logs of a running engine, of packets and of held readings may not be mistaken for."""

import dataclasses

import numpy as np
import pytest
from test_key_state import _on, _read

from benchlog.analysis.charging import course_mean
from benchlog.analysis.coarse import Coarse
from benchlog.analysis.contact import chatter_count
from benchlog.analysis.crank_level import between, evenly, held_minimum, one_a_reading, without_noise
from benchlog.analysis.cranking import find_cranks
from benchlog.analysis.levels import Crossing
from benchlog.analysis.true_step import true_steps
from benchlog.core.trace import Trace
from benchlog.core.uncertainty import block_mean


def test_course_of_a_battery_that_fills_is_no_scatter():
    """A current that tapers from 30 to 20 A, noise of 0.1 A: the mean is known to a few hundredths, not amperes."""
    t = np.arange(0, 50, 0.2)
    x = 20 + 10 * np.exp(-t / 20) + np.random.default_rng(3).normal(0, 0.1, len(t))

    got = course_mean(x, t)

    assert got.value == pytest.approx(20 + 10 * 20 / 50 * (1 - np.exp(-2.5)), abs=0.05)
    assert 0.004 < got.u < 0.03
    assert block_mean(x).u > 5 * got.u


def test_what_comes_and_goes_faster_than_a_course_stays_scatter():
    """A flasher of 4 A every 1.5 s is chance for the mean, as noise is."""
    t = np.arange(0, 50, 0.2)
    x = 10 + 4.0 * (t % 1.5 < 0.75)

    assert course_mean(x, t).u > 0.03


def test_packets_seconds_apart_are_no_gaps():
    """34 rows stamped 10 µs apart, every 0.92 s: the logger sees no finer than that."""
    n = np.arange(34 * 12)
    t = n // 34 * 0.92 + n % 34 * 1e-5

    found = true_steps([Trace(t, {"feed_v": np.where(t > 5, 12.0, 0.0)}, {})]).by_role

    assert found["feed_v"] == pytest.approx(0.92, abs=0.01)


def test_captures_of_uneven_length_are_no_packets():
    """Captures of 1 kHz at events, with seconds between them, are seen as finely as they are written."""
    rng = np.random.default_rng(1)
    starts = np.cumsum(rng.uniform(2.0, 9.0, 8))
    t = np.concatenate([a + np.arange(0, rng.uniform(0.3, 2.0), 1e-3) for a in starts])

    assert "feed_v" not in true_steps([Trace(t, {"feed_v": rng.normal(12, 0.1, len(t))}, {})]).by_role


def test_rows_of_a_packet_are_held_for_as_long_as_they_were_read():
    """A dip of 12 ms at 1 kHz, stamped in packets of ten rows: its 10 ms are found, and no more is smoothed away."""
    real = np.arange(0, 0.5, 1e-3)
    volts = np.where((real >= 0.2) & (real < 0.2125), 10.0, 11.0)
    n = np.arange(len(real))
    stamped = Trace(real[np.minimum(n // 10 * 10 + 9, len(n) - 1)] + n % 10 * 1e-5, {"battery_v": volts}, {})

    held = held_minimum(without_noise(evenly(stamped), "battery_v", 0.0025)[0])

    assert held.upper == pytest.approx(10.0)
    assert held_minimum(without_noise(stamped, "battery_v", 0.0025)[0]).upper > 10.5


def test_evenly_stamped_rows_stay_as_they_are():
    """A log without packets is handed on as it is."""
    trace = Trace(np.arange(100) * 1e-3, {"battery_v": np.ones(100)}, {})

    assert evenly(trace) is trace


def test_reading_that_stands_in_many_rows_is_one_sample():
    """Readings of 36 ms in rows of 1 ms: one low reading alone is no fall that lasts, its neighbour stands higher."""
    readings = np.array([12.0, 10.9, 10.3, 10.8, 10.7, 10.9, 10.6])
    trace = Trace(np.arange(36 * 7) * 1e-3, {"battery_v": np.repeat(readings, 36)}, {})

    single = one_a_reading(trace, "battery_v", 0.036)

    assert list(single.values["battery_v"]) == list(readings)
    assert held_minimum(single).upper == pytest.approx(10.8)
    assert held_minimum(trace).upper == pytest.approx(10.3)
    assert between(single, "battery_v", 0.0, 1.0) == pytest.approx(0.4, abs=0.21)


def test_reading_that_comes_out_alike_counts_twice():
    """Two equal readings on end are two samples."""
    trace = Trace(np.arange(80) * 1e-3, {"battery_v": np.repeat([12.0, 10.0, 10.0, 11.0], 20)}, {})

    assert len(one_a_reading(trace, "battery_v", 0.020)) == 4


def test_line_tells_the_turns_between_marks_that_nobody_marked():
    """On and off again twice, of which the first key-on and the last key-off alone were marked."""
    volts = 12.2 * (_on(10.0, 20.0) + _on(25.0, 40.0))

    got = _read({"trigger_v": volts}, [(10.1, "key on"), (40.1, "key off")])

    assert [turn.to for turn in got.turns] == ["on", "off", "on", "off"]
    assert [turn.time_s for turn in got.turns] == pytest.approx([10.0, 20.0, 25.0, 40.0], abs=0.06)


def test_pulsed_trigger_between_marks_is_no_key():
    """A lamp line that is pulsed at 1 Hz for 20 s is turned by no hand."""
    pulses = sum(_on(10.0 + n, 10.5 + n) for n in range(30))

    got = _read({"trigger_v": 12.2 * pulses}, [(10.1, "key on"), (39.6, "key off")])

    assert [turn.to for turn in got.turns] == ["on", "off"]


def test_turn_soon_after_the_last_mark_counts():
    """The key-off was marked; the key-on 4 s later and its key-off were not."""
    volts = 12.2 * (_on(10.0, 20.0) + _on(24.0, 40.0))

    got = _read({"trigger_v": volts}, [(10.1, "key on"), (20.1, "key off")])

    assert [turn.time_s for turn in got.turns] == pytest.approx([10.0, 20.0, 24.0, 40.0], abs=0.06)


def _crossing(at_s, to):

    given = {field.name: at_s for field in dataclasses.fields(Crossing)} | {"to": to}
    return Crossing(**given)


def test_bounce_that_packets_move_is_no_chatter():
    """A closing's bounce is stamped 17 ms late by a logger of packets 34 ms apart; a real opening later counts."""
    bounce = [_crossing(10.017, "low"), _crossing(10.017, "high")]
    opening = [_crossing(12.0, "low"), _crossing(12.1, "high")]

    assert chatter_count(bounce, 10.0, 20.0, 30.0) == 1
    assert chatter_count(bounce, 10.0, 20.0, 30.0, stamped_s=0.034) == 0
    assert chatter_count([*bounce, *opening], 10.0, 20.0, 30.0, stamped_s=0.034) == 1


def test_dip_of_one_sample_in_a_slow_point_is_no_crank():
    """A point of 0.2 s whose lowest sample dipped, but not its mean: no crank, and nothing breaks."""
    t = np.arange(0, 20, 0.2)
    mean = np.full(len(t), 12.5)
    low = mean.copy()
    low[50] = 11.0
    amps = np.full(len(t), 4.0)
    over = {"battery_v": np.zeros(len(t), dtype=np.int64), "battery_a": np.zeros(len(t), dtype=np.int64)}
    table = Coarse(
        t, t + 0.19, {"battery_v": mean, "battery_a": amps}, {"battery_v": low, "battery_a": amps},
        {"battery_v": mean, "battery_a": amps}, over,
    )  # fmt: skip

    assert find_cranks(table) == []
