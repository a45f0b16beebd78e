"""Pulsed loads: the mean over whole pulses against square waves worked out by hand."""

import numpy as np
import pytest

from benchlog.analysis.coarse import coarse
from benchlog.analysis.flutter import find_flutter, samples_a_pulse, smoothed
from benchlog.analysis.pulsed import find_pulsing
from benchlog.analysis.unpulsed import joined, without_pulses
from benchlog.core.trace import Trace
from benchlog.log.overview import OverviewBuilder

OHM = 0.02


def _square(t, amps, hz, duty, from_s, to_s):
    return np.where((t >= from_s) & (t < to_s) & (((t - from_s) * hz) % 1 < duty), amps, 0.0)


def _table(t, amps, step_s=0.01):
    channels = {"battery_a": amps, "battery_v": 12.6 - OHM * amps}
    builder = OverviewBuilder(channels)
    builder.add(Trace(t, channels, {}))
    overview = builder.finish()
    return coarse(overview, t[0], t[-1], step_s), overview.step_s


def _evened(t, amps):
    table, step_s = _table(t, amps)
    flutters = find_flutter(table, "battery_a", step_s)
    even = smoothed(table, flutters)
    pulses = find_pulsing(even, "battery_a", step_s)
    return joined(without_pulses(even, pulses, "battery_a"), 0.05), pulses, flutters


def _level(table, from_s, to_s, role="battery_a"):
    x = table.mean[role][(table.time_s > from_s) & (table.time_s < to_s)]
    x = x[np.isfinite(x)]
    return float(np.mean(x)), float(np.std(x))


def _noisy(t, seed=5):
    return np.random.default_rng(seed).normal(0, 0.01, len(t))


@pytest.mark.parametrize("hz", [0.5, 1.0, 1.4, 3.0, 8.0, 20.0, 33.3, 97.0, 311.0])
def test_grips_count_with_their_mean(hz):
    """4 A at 60 % duty are 2.4 A, whatever their rate; a lamp of 1.5 A that comes on meanwhile is a clean step."""
    t = np.arange(0, 50, 0.001)
    amps = 2.0 + _square(t, 4.0, hz, 0.6, 10.3, 45.0) + np.where(t > 27.2, 1.5, 0.0) + _noisy(t)

    table, _, _ = _evened(t, amps)

    before, (on, ripple), (more, _) = _level(table, 2, 9)[0], _level(table, 13, 26), _level(table, 30, 43)
    assert on - before == pytest.approx(2.4, abs=0.05)
    assert more - on == pytest.approx(1.5, abs=0.05)
    assert ripple < 0.05


@pytest.mark.parametrize(("hz", "duty"), [(0.5, 0.6), (1.5, 0.5), (2.7, 0.35)])
def test_pulses_are_described(hz, duty):
    """Period, duty, current while on, mean and RMS of a 3 A load."""
    t = np.arange(0, 40, 0.002)

    (pulse,) = _evened(t, 1.0 + _square(t, 3.0, hz, duty, 8.1, 33.0) + _noisy(t))[1]

    assert pulse.period_s == pytest.approx(1 / hz, rel=0.02)
    assert pulse.duty == pytest.approx(duty, abs=0.02)
    assert pulse.amps == pytest.approx(3.0, abs=0.05)
    assert pulse.mean_a == pytest.approx(3.0 * duty, abs=0.06)
    assert pulse.rms_a == pytest.approx(3.0 * duty**0.5, abs=0.06)
    assert not pulse.doubtful


def test_voltage_of_a_pulsed_load_is_evened_with_it():
    """The battery sags with each pulse; what is left is the sag of the mean."""
    t = np.arange(0, 40, 0.001)

    table, _, _ = _evened(t, 2.0 + _square(t, 5.0, 1.2, 0.5, 10.0, 36.0) + _noisy(t))

    volts, ripple = _level(table, 13, 34, "battery_v")
    assert volts == pytest.approx(12.6 - OHM * 4.5, abs=0.001)
    assert ripple < 0.004


def test_flasher_and_grips_together_are_both_evened():
    """A flasher of 3.5 A at 1.4 Hz over grips of 2 A at 0.9 Hz."""
    t = np.arange(0, 60, 0.002)
    amps = 1.0 + _square(t, 2.0, 0.9, 0.6, 10.0, 55.0) + _square(t, 3.5, 1.43, 0.5, 22.0, 40.0) + _noisy(t)

    table, pulses, _ = _evened(t, amps)

    assert _level(table, 12, 21)[0] == pytest.approx(2.2, abs=0.08)
    assert _level(table, 24, 38)[0] == pytest.approx(3.95, abs=0.15)
    assert len(pulses) >= 2


def test_circuits_switched_one_by_one_are_no_pulses():
    """Five steps up, 5 s apart, and down again: nothing is evened out."""
    t = np.arange(0, 60, 0.01)
    amps = sum(np.where((t > 5 + 5 * n) & (t < 35 + 4 * n), 2.0, 0.0) for n in range(5)) + _noisy(t)

    _, pulses, flutters = _evened(t, amps)

    assert (pulses, flutters) == ([], [])


def test_brake_light_pressed_three_times_is_no_pulsed_load():
    """Presses of a person are not regular."""
    t = np.arange(0, 40, 0.01)
    amps = 3.0 + sum(np.where((t > a) & (t < b), 1.8, 0.0) for a, b in ((5, 6.1), (8, 8.9), (13.5, 15))) + _noisy(t)

    assert _evened(t, amps)[1] == []


def test_steady_noise_is_no_flutter():
    """A noisy clamp over a steady load."""
    t = np.arange(0, 40, 0.001)

    assert _evened(t, 5.0 + np.random.default_rng(2).normal(0, 0.3, len(t)))[1:] == ([], [])


@pytest.mark.parametrize(("rate", "hz", "in_step"), [(1000, 500.0, True), (1000, 250.0, True), (100, 33.333333, True)])
def test_samples_that_keep_step_with_the_pulses_are_told(rate, hz, in_step):
    """Two, four or three samples a pulse, always at the same places: the mean may be any."""
    t = np.arange(0, 2, 1 / rate)

    assert (samples_a_pulse(_square(t, 3.0, hz, 0.6, 0.0001, 9)) < 6) is in_step


@pytest.mark.parametrize(("rate", "hz"), [(1000, 311.7), (100, 37.3), (200, 91.1)])
def test_samples_that_sweep_through_the_pulses_prove_the_mean(rate, hz):
    """Fewer than three samples a pulse, but everywhere in turn."""
    t = np.arange(0, 4, 1 / rate)
    x = _square(t, 3.0, hz, 0.6, -0.0003, 9)

    assert samples_a_pulse(x) == np.inf
    assert np.mean(x) == pytest.approx(1.8, abs=0.03)


def test_slow_logger_says_how_little_it_knows_of_the_duty():
    """Ten samples a pulse that keep step with it: the duty is known to about a sample, and the mean carries that."""
    t = np.arange(0, 40, 0.1)

    (pulse,) = _evened(t, 1.0 + _square(t, 3.0, 1.0, 0.55, 8.02, 33.0))[1]

    assert abs(pulse.mean_a - 1.65) < 2 * pulse.u_a
    assert pulse.u_a > 0.05
