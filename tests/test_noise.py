"""Noise that remembers: how far means of short and long stretches stray, against noise of known memory."""

import math

import numpy as np
import pytest
import scipy

from benchlog.analysis.coarse import coarse
from benchlog.analysis.noise import LogNoise, noise_model
from benchlog.analysis.plateaus import find_plateaus
from benchlog.core.trace import Trace
from benchlog.core.uncertainty import Accuracy, block_mean, memory_of, rectangular
from benchlog.log.overview import OverviewBuilder

KINDS = ("white", "0.1 s", "1 s", "3 s", "one over f")


def remembering(rng, points, step_s, memory_s):
    """First-order autoregressive noise of standard deviation 1 that fades by 1/e in ``memory_s``."""
    keeps = math.exp(-step_s / memory_s)
    kicks = rng.normal(0.0, math.sqrt(1 - keeps**2), points)
    kicks[0] = rng.normal()
    return scipy.signal.lfilter([1.0], [1.0, -keeps], kicks)


def noise(kind, rng, points, step_s):
    """White noise, noise of one memory, or the sum of several that is nearly 1/f from 0.05 Hz up."""
    if kind == "white":
        return rng.normal(size=points)
    if kind == "one over f":
        return sum(remembering(rng, points, step_s, m) for m in (0.03, 0.1, 0.3, 1.0, 3.0)) / math.sqrt(5)
    return remembering(rng, points, step_s, float(kind.split()[0]))


def log_of(kind, seed, step_s=0.05, rests_s=120.0, stays_s=4.0, loads=10):
    """``(time_s, values, levels)``: a rest, then loads of 5 to 30 that change every ``stays_s``."""
    rng = np.random.default_rng(seed)
    t = np.arange(round((rests_s + loads * stays_s) / step_s)) * step_s
    level = np.zeros(len(t))
    for number in range(loads):
        level[t >= rests_s + number * stays_s - 1e-9] = rng.uniform(15, 30) if number % 2 else rng.uniform(0, 10)
    return t, level + noise(kind, rng, len(t), step_s), level


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("stays_s", [1.0, 4.0, 8.0])
def test_short_stretches_are_covered_by_the_logs_noise(kind, stays_s):
    """Of 400 means over half a load's stay at least 93 % lie within k = 2, whatever the noise remembers."""
    hits = []
    for seed in range(40):
        t, x, level = log_of(kind, seed, stays_s=stays_s)
        u = noise_model(t, x).mean_u(stays_s / 2)
        for number in range(10):
            begins = 120.0 + number * stays_s
            here = (t >= begins + stays_s / 2 - 1e-9) & (t < begins + stays_s - 1e-9)
            hits.append(abs(np.mean(x[here] - level[here])) <= 2 * u)

    assert np.mean(hits) >= 0.93


@pytest.mark.parametrize("kind", ["white", "1 s"])
def test_strength_is_not_far_overstated(kind):
    """Known from two minutes of rest, the uncertainty is at most half as large again as the scatter."""
    u, off = [], []
    for seed in range(60):
        t, x, level = log_of(kind, seed)
        u.append(noise_model(t, x).mean_u(2.0))
        off += [np.mean((x - level)[a : a + 40]) for a in (400, 1200, 2000)]

    assert np.std(off) <= np.median(u) <= 1.5 * np.std(off)


@pytest.mark.parametrize(("kind", "least_s", "most_s"), [("white", 0.05, 0.1), ("1 s", 1.0, 5.0)])
def test_memory_is_found_through_steps(kind, least_s, most_s):
    """White noise remembers a point, exponential noise of 1 s twice as long (its autocorrelations' sum is 2 s)."""
    found = [noise_model(*log_of(kind, seed)[:2]).memory_s for seed in range(40)]

    assert least_s - 1e-9 <= np.median(found) <= most_s


def test_steps_gaps_spikes_and_drift_are_no_noise():
    """A log with steps of 40 sigma, a gap, a spike every 10 s and a slow drift is hardly noisier than without."""
    rng = np.random.default_rng(3)
    t = np.arange(6000) * 0.05
    x = rng.normal(size=6000)
    busy = x + np.where((t // 20) % 2 > 0, 40.0, 0.0) + 0.02 * t
    busy[::200] += 100.0
    keep = (t < 100) | (t > 130)

    plain, got = noise_model(t, x), noise_model(t[keep], busy[keep])

    assert got.sigma == pytest.approx(plain.sigma, rel=0.25)
    assert got.mean_u(2.0) < 2 * plain.mean_u(2.0)


def test_steps_of_one_channel_are_left_out_of_another():
    """A voltage that sags by 1.5 sigma, too little to be told, with each 20 A step is calm but for those."""
    rng = np.random.default_rng(4)
    t = np.arange(4000) * 0.05
    load = np.where((t // 10) % 2 > 0, 20.0, 0.0)
    amps, volts = load + rng.normal(0, 0.1, 4000), 12.6 - 0.0015 * load / 0.02 + rng.normal(size=4000)

    alone = noise_model(t, volts)
    beside = LogNoise({"battery_a": (t, amps), "battery_v": (t, volts)}, {})["battery_v"]

    assert beside.mean_u(5.0) < alone.mean_u(5.0)


@pytest.mark.parametrize("kind", ["white", "1 s"])
def test_rounding_coarser_than_the_noise_does_not_hide_it(kind):
    """Readings in steps of 3 sigma: noise and rounding together still cover the level."""
    hits = []
    for seed in range(40):
        t, x, level = log_of(kind, seed)
        rounded = np.round(x / 3.0) * 3.0
        u = math.hypot(noise_model(t, rounded, 3.0).mean_u(2.0), rectangular(1.5))
        hits += [abs(np.mean((rounded - level)[a : a + 40])) <= 2 * u for a in range(2440, 3200, 80)]

    assert np.mean(hits) >= 0.93


def test_too_few_points_have_no_model():
    """Seven points, or a channel without any, tell nothing; a constant one is free of noise."""
    t = np.arange(100) * 0.05

    assert noise_model(t[:7], np.ones(7)) is None
    assert noise_model(t, np.full(100, np.nan)) is None
    assert noise_model(t, np.ones(100)).mean_u(1.0) == 0.0
    with pytest.raises(KeyError, match="feed_v"):
        LogNoise({"feed_v": (t, np.full(100, np.nan))}, {})["feed_v"]


def test_longer_means_are_known_better_and_differences_worse():
    """Beyond its memory noise averages out with the root of time; a difference has the noise of both."""
    t, x, _ = log_of("1 s", 1, rests_s=600.0)
    model = noise_model(t, x)

    assert model.mean_u(400.0) == pytest.approx(model.mean_u(100.0) / 2)
    assert model.mean_u(1.0) > model.mean_u(4.0) > model.mean_u(16.0)
    assert model.difference_u(2.0, 2.0) == pytest.approx(math.sqrt(2) * model.mean_u(2.0))


@pytest.mark.parametrize("kind", ["0.1 s", "1 s", "3 s"])
def test_steady_loads_carry_the_logs_noise(kind):
    """Of the sustained values of 300 loads at least 93 % are covered with the log's noise; alone they are not."""
    with_log, alone = [], []
    for seed in range(30):
        t, x, level = log_of(kind, seed)
        builder = OverviewBuilder(["battery_a"])
        builder.add(Trace(t, {"battery_a": 0.02 * x}, {}))
        table = coarse(builder.finish(), 0.0, t[-1], 0.05)
        model = {"battery_a": noise_model(table.time_s, table.mean["battery_a"])}
        for hits, known in ((with_log, model), (alone, None)):
            for plateau in find_plateaus(table, "battery_a", 0.0, ["battery_a"], known):
                if plateau.from_s < 119 or plateau.to_s - plateau.from_s > 4.5:
                    continue
                reading = plateau.readings["battery_a"]
                true = 0.02 * float(np.median(level[(t >= plateau.sustained_from_s) & (t <= plateau.to_s)]))
                hits.append(abs(reading.value - true) <= 2 * reading.u)

    assert len(with_log) > 150
    assert np.mean(with_log) >= 0.93
    if kind != "0.1 s":
        assert np.mean(alone) < np.mean(with_log)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("lasts_s", "step_s"), [(60.0, 0.1), (300.0, 0.1), (120.0, 1.0)])
def test_means_of_stretches_are_covered(kind, lasts_s, step_s):
    """Of 200 means over one to five minutes at least 90 % lie within k = 2 (95 % wanted, binomial chance 1.5 %)."""
    n = round(lasts_s / step_s)
    means = [block_mean(noise(kind, np.random.default_rng(seed), n, step_s)) for seed in range(200)]

    assert np.mean([abs(mean.value) <= 2 * mean.u for mean in means]) >= 0.90


def test_memory_known_from_elsewhere_widens_a_short_mean():
    """Twenty samples do not show that they remember ten; told so, their few blocks say less."""
    x = np.random.default_rng(5).normal(size=20)

    assert block_mean(x, memory=10.0).u > 1.2 * block_mean(x).u


def test_slow_course_is_no_memory():
    """A charging current that fades over the stretch leaves its mean known to the noise, not to the fall."""
    rng = np.random.default_rng(6)
    t = np.linspace(0, 60, 600)
    x = 5.0 * np.exp(-t / 30) + rng.normal(0, 0.2, 600)

    assert memory_of(x) < 30
    assert block_mean(x).u < 0.1


def test_offset_drifts_within_a_share_of_its_limit():
    """Seconds apart an offset cancels; hours apart two fifths of its limit may not."""
    accuracy = Accuracy(0.0, 0.05, 0.0)

    assert accuracy.change_u(1.0) == 0.0
    assert accuracy.change_u(1.0, 4.0) == pytest.approx(rectangular(0.02 * (1 - math.exp(-4 / 120))))
    assert accuracy.drift_u(math.inf) == pytest.approx(rectangular(0.02))
