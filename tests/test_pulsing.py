"""Lines that are pulsed, tested or spiked, against lines that the key switches."""

import numpy as np
import pytest

from benchlog.analysis.coarse import Coarse
from benchlog.analysis.levels import Levels
from benchlog.analysis.pulsing import pulses_of
from benchlog.analysis.switched import line_state, without_chatter
from benchlog.core.trace import Trace

POINT_S = 0.05


def _points(t, x, point_s=POINT_S):
    """Points of a coarse table from single samples, or the samples themselves where they lie further apart."""
    rows = max(round(point_s / (t[1] - t[0])), 1)
    n = len(t) // rows * rows
    parts, times = x[:n].reshape(-1, rows), t[:n].reshape(-1, rows)
    zero = np.zeros(len(parts), dtype=np.int64)
    mean, low, high = parts.mean(axis=1), parts.min(axis=1), parts.max(axis=1)
    role = "trigger_v"
    return Coarse(times[:, 0], times[:, -1], {role: mean}, {role: low}, {role: high}, {role: zero})


def _pulsed(t, hz, duty, from_s=10.0, to_s=50.0, volts=12.4):
    """A lamp line that is dimmed while the key is on."""
    phase = ((t - from_s) * hz) % 1.0
    return np.where((t >= from_s) & (t < to_s) & (phase < duty), volts, 0.0)


def _time(rate_hz, end_s=60.0):
    return np.arange(0.0, end_s, 1 / rate_hz)


@pytest.mark.parametrize(
    ("hz", "duty"),
    [(0.5, 0.5), (0.5, 0.3), (1.5, 0.5), (4.0, 0.5), (11.0, 0.4), (100.0, 0.5), (200.0, 0.1), (450.0, 0.2)],
)
def test_pulsed_line_is_up_from_its_first_pulse_to_its_last(hz, duty):
    """0.5 to 450 Hz, a tenth to a half of the time up: one key-on."""
    t = _time(2000.0)

    line = line_state(_points(t, _pulsed(t, hz, duty)), "trigger_v")

    begins, ends = np.flatnonzero(np.diff(line.up.astype(int)) == 1), np.flatnonzero(np.diff(line.up.astype(int)) == -1)
    assert (len(begins), len(ends)) == (1, 1)
    assert begins[0] * POINT_S == pytest.approx(10.0, abs=0.1)
    assert ends[0] * POINT_S == pytest.approx(50.0, abs=1 / hz + 0.1)
    assert line.pulsed[400:900].all()


@pytest.mark.parametrize("rate_hz", [100.0, 20.0, 10.0, 5.0, 1.0])
def test_pulses_faster_than_the_samples_are_still_one_key_on(rate_hz):
    """173 Hz, of which samples meet now a pulse and now a pause."""
    t = _time(rate_hz)

    line = line_state(_points(t, _pulsed(t, 173.0, 0.4)), "trigger_v")

    changes = np.diff(line.up.astype(int))
    assert (np.count_nonzero(changes == 1), np.count_nonzero(changes == -1)) == (1, 1)


@pytest.mark.parametrize("rate_hz", [1000.0, 100.0, 20.0])
@pytest.mark.parametrize("pulse_s", [0.001, 0.003])
def test_lamp_tests_are_no_key_on(rate_hz, pulse_s):
    """Once a second a bulb is tested for 1 or 3 ms, with the lamp off: the line is down."""
    t = _time(rate_hz)

    line = line_state(_points(t, _pulsed(t, 1.0, pulse_s)), "trigger_v")

    assert not without_chatter(line.up, _points(t, t).start_s, 0.05).any()
    assert not line.pulsed.any()


@pytest.mark.parametrize("spike_v", [-24.0, -90.0, 40.0])
def test_rare_spike_is_no_state(spike_v):
    """A coil without suppression, or a load dump: the two states of the line are what they were."""
    t = _time(1000.0)
    x = np.where((t >= 10) & (t < 50), 12.4, 0.0) + np.random.default_rng(1).normal(0, 0.02, len(t))
    x[50_000] = spike_v

    line = line_state(_points(t, x), "trigger_v")

    assert (line.levels.low, line.levels.high) == pytest.approx((0.0, 12.4), abs=0.1)
    assert np.flatnonzero(np.diff(line.up.astype(int))).tolist() == [199, 999]


def test_ignition_spikes_in_every_point_are_no_pulses():
    """With the engine running every point holds a sample far above and one far below the line."""
    t = _time(1000.0)
    x = np.where((t >= 10) & (t < 50), 12.4, 0.0)
    running = (t > 15) & (t < 48)
    x[running & (np.arange(len(t)) % 25 == 0)] += 6.0
    x[running & (np.arange(len(t)) % 25 == 1)] -= 8.0

    line = line_state(_points(t, x), "trigger_v")

    assert np.flatnonzero(np.diff(line.up.astype(int))).tolist() == [199, 999]
    assert pulses_of(Trace(t[running], {"trigger_v": x[running]}, {}), "trigger_v", Levels(0.0, 12.4)) is None


def test_key_turned_to_and_fro_is_turned_each_time():
    """Five times on for 0.4 to 1.3 s, with pauses of 0.3 to 1.6 s: a hand is never so even as pulses are."""
    t = _time(1000.0)
    edges = [10.0, 10.4, 11.3, 12.6, 12.9, 13.6, 15.2, 15.7, 16.1, 17.0]
    up = np.searchsorted(edges, t, side="right") % 2 == 1

    line = line_state(_points(t, np.where(up, 12.4, 0.0)), "trigger_v")

    assert np.count_nonzero(np.diff(line.up.astype(int))) == 10
    assert not line.pulsed.any()


def test_short_on_of_a_slow_log_is_kept_and_of_a_fast_one_dropped():
    """One sample up: at 1 Hz that may be a key-on of two seconds, at 20 Hz it is less than a tenth of one."""
    up = np.zeros(100, dtype=bool)
    up[50] = True

    assert without_chatter(up, np.arange(100) * 1.0, 0.05).any()
    assert not without_chatter(up, np.arange(100) * 0.05, 0.05).any()


def test_duty_and_rate_are_those_of_the_pulses():
    """90 Hz, up in 30 % of the time, at 2000 samples a second; at 100 samples the rate is not known."""
    t = _time(2000.0, 3.0)
    levels = Levels(0.0, 12.4)

    fast = pulses_of(Trace(t, {"trigger_v": _pulsed(t, 90.0, 0.3, 0.0)}, {}), "trigger_v", levels)
    slow_t = _time(100.0, 3.0)
    slow = pulses_of(Trace(slow_t, {"trigger_v": _pulsed(slow_t, 173.0, 0.3, 0.0)}, {}), "trigger_v", levels)

    assert (fast.duty, fast.hz) == pytest.approx((0.30, 90.0), rel=0.05)
    assert slow.duty == pytest.approx(0.30, abs=0.06)
    assert np.isnan(slow.hz)
    assert pulses_of(Trace(t, {"trigger_v": np.full(len(t), 12.4)}, {}), "trigger_v", levels) is None
