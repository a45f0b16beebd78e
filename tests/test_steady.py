"""Steady stretches with pulses evened out, paths beside them, calm swings, and the bench itself, on logs by hand."""

import math

import numpy as np
import pytest
from hand_bench import EXACT, HandLog, bench, plan, story, times

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.coarse import coarse
from benchlog.analysis.cranking import Crank
from benchlog.analysis.flutter import calm_swing
from benchlog.analysis.levels import Crossing
from benchlog.analysis.noise import NoiseModel
from benchlog.analysis.running import Running
from benchlog.analysis.true_step import TrueSteps
from benchlog.core.uncertainty import Accuracy, block_mean
from benchlog.examine.context import KeyTurn, accuracy_of
from benchlog.examine.noisy import noise_in
from benchlog.examine.pace import steps_of
from benchlog.examine.steady import calm_swings, evened, path_means, steady
from benchlog.logger.model import logger_from_mapping

WIDE = (0.0, 60.0)


def a_bench(amps, step_s=0.01, end_s=60.0, without=(), told=None, calm=None, **more):
    """A battery of 12.6 V and 30 mΩ, a feed of 20 mΩ behind it and a return of 10 mΩ, all of one current."""
    t = times(end_s, step_s)
    x = amps(t)
    values = {"battery_a": x, "battery_v": 12.6 - 0.03 * x, "feed_v": 12.6 - 0.05 * x, "ground_v": 0.01 * x}
    for role in without:
        del values[role]
    known = {"accuracy": dict.fromkeys(values, EXACT), **more}
    if calm is not None:
        known["calm_a"] = calm
    return bench(HandLog(t, values), told or story((WIDE,)), plan(8.0), **known)


ROLES = ["battery_a", "battery_v", "feed_v", "ground_v"]


def test_plain_stretch_is_divided_at_its_steps():
    """1 A, then 4 A from 30 s on; the paths are read beside it."""
    one = a_bench(lambda t: np.where(t < 30, 1.0, 4.0))
    low, high = steady(one, 0.0, 60.0, "battery_a", ROLES)

    assert (low.to_s, high.from_s) == (pytest.approx(29.99, abs=0.011), pytest.approx(30.0))
    assert high.readings["drop_v"].value == pytest.approx(0.08)
    assert high.readings["lift_v"].value == pytest.approx(0.04)
    assert (low.pulses, low.flutter) == ((), None)
    even = evened(one, 0.0, 60.0, "battery_a", ROLES)
    assert (len(even.table), even.pulses, even.flutters) == (1200, (), ())
    assert len(evened(one, 0.0, 0.025, "battery_a", ROLES).table) == 3


def pulsing(from_s=30.0, to_s=55.0, amps=3.0, hz=1.0, duty=0.5, base=1.0):
    """A load that comes in pulses beside another."""
    return lambda t: base + amps * ((t >= from_s) & (t < to_s) & ((t - from_s) * hz % 1.0 < duty))


def test_slow_pulses_are_evened_out_on_every_channel():
    """3 A for half of each second draw 1.5 A; their stretch carries them, the one before does not."""
    one = a_bench(pulsing())
    plateaus = steady(one, 0.0, 60.0, "battery_a", ROLES)
    calm = next(p for p in plateaus if p.to_s < 31)
    busy = next(p for p in plateaus if p.from_s < 40 < p.to_s)

    assert calm.pulses == ()
    assert len(busy.pulses) == 1
    assert busy.readings["battery_a"].value == pytest.approx(2.5, abs=0.05)
    assert busy.readings["battery_v"].value == pytest.approx(12.6 - 0.03 * 2.5, abs=0.004)
    even = evened(one, 0.0, 60.0, "battery_a", ROLES)
    assert len(even.table) == pytest.approx(1200, abs=10)
    assert even.pulses[0].amps == pytest.approx(3.0, abs=0.05)


def test_fast_pulses_are_evened_out_and_counted():
    """Every other sample: 3 A swing, two samples a pulse."""

    def amps(t):
        return np.where(t < 30, 1.0, 1.0 + 3.0 * (np.arange(len(t)) % 2))

    one = a_bench(amps)
    busy = next(p for p in steady(one, 0.0, 60.0, "battery_a", ROLES) if p.from_s < 45 < p.to_s)
    calm = next(p for p in steady(one, 0.0, 60.0, "battery_a", ROLES) if p.from_s < 15 < p.to_s)

    assert busy.flutter.swing_a == pytest.approx(3.0, abs=0.1)
    assert busy.flutter.samples == pytest.approx(2.0, abs=0.1)
    assert busy.readings["battery_a"].value == pytest.approx(2.5, abs=0.05)
    assert calm.flutter is None


def test_fast_pulses_throughout_show_beside_the_calm_before_the_key_on():
    """Where the current is never calm only that tells them from noise."""

    def amps(t):
        return 1.0 + 3.0 * (np.arange(len(t)) % 2)

    assert evened(a_bench(amps), 0.0, 60.0, "battery_a", ROLES).flutters == ()
    assert evened(a_bench(amps, calm={"battery_a": 0.1}), 0.0, 60.0, "battery_a", ROLES).flutters != ()


def test_bridge_hides_the_lift_that_a_shunt_of_its_own_makes():
    """The battery's shunt lies in the ground's way: bridged, what it drops is not known; the drop of the feed is."""
    how = {"low_side_ohm": {"battery_a": 0.001}, "bridged": (Bridge(20.0, 25.0),)}
    one = a_bench(lambda t: np.where(t < 5, 1.0, 4.0), **how)

    before = steady(one, 0.0, 12.0, "battery_a", ROLES)[-1]
    amid = steady(one, 6.0, 40.0, "battery_a", ROLES)[-1]
    assert before.readings["lift_v"].value == pytest.approx(0.04 - 0.004)
    assert "lift_v" not in amid.readings
    assert "drop_v" in amid.readings
    free = a_bench(lambda t: np.where(t < 5, 1.0, 4.0), bridged=(Bridge(20.0, 25.0),))
    assert "lift_v" in steady(free, 6.0, 40.0, "battery_a", ROLES)[-1].readings


def test_paths_are_made_of_the_channels_that_are_there():
    """A drop of both voltages; a lift less each shunt's own."""
    mean = {role: np.array([float(n)]) for n, role in enumerate(("feed_v", "ground_v", "feed_a", "battery_v"), 1)}
    drop, lift = path_means(mean, {"feed_a": 0.1, "battery_a": 5.0})

    assert (drop.role, drop.behind, drop.values.tolist()) == ("drop_v", ("battery_v", "feed_v"), [3.0])
    assert (lift.role, lift.behind, lift.values.tolist()) == ("lift_v", ("ground_v", "feed_a"), [pytest.approx(1.7)])
    assert path_means({"battery_v": mean["battery_v"]}, {}) == []
    assert path_means({"feed_v": mean["feed_v"]}, {}) == []


def test_calm_swing_is_the_least_before_the_longest_key_offs_end():
    """Over three seconds before the key-on; a key-off of three seconds tells nothing, nor does drain_a."""
    t = times(60.0, 0.01)
    rough = np.where(np.arange(len(t)) % 2, 0.5, -0.5)
    amps = rough * np.where(t < 20, 0.4, np.where(t < 40, 0.1, 2.0))
    log = HandLog(t, {"battery_a": amps, "drain_a": amps, "feed_v": 0.0})

    def swings(*off):
        return calm_swings(log.overview, story((), off))

    assert swings((5.0, 20.0), (25.0, 40.0)) == {"battery_a": pytest.approx(0.1)}
    assert swings((5.0, 20.0)) == {"battery_a": pytest.approx(0.4)}
    assert swings((36.9, 40.0), (5.0, 20.0)) == {"battery_a": pytest.approx(0.1)}
    assert swings((37.1, 40.0), (5.0, 20.0)) == {"battery_a": pytest.approx(0.4)}
    assert swings() == {"battery_a": math.inf}
    assert swings((5.0, 20.1)) == {"battery_a": pytest.approx(0.4)}
    many = [(2.0 * n, 2.0 * n + 3.5) for n in range(1, 9)]
    assert swings((36.4, 39.5), *many)["battery_a"] == pytest.approx(0.4)
    assert calm_swing(coarse(log.overview, 0.0, 10.0, 0.01, ["battery_a"]), "battery_a") == pytest.approx(0.4)


def model(sigma=0.001, last_s=40.0) -> NoiseModel:
    """Noise that does not average out."""
    return NoiseModel(sigma, sigma, 0.5, (0.1, last_s), (sigma, sigma))


def test_mean_of_a_short_stretch_is_no_better_than_the_logs_noise_allows():
    """10 s of points; what is longer than the noise was compared over counts by itself."""
    one = a_bench(lambda t: 0 * t, noise={"battery_a": model()})
    values = 1 + 1e-5 * np.random.default_rng(1).normal(0, 1, 600)

    assert one.mean_of("battery_a", values[:100], 0.1).u == pytest.approx(0.001)
    assert one.mean_of("battery_a", values, 0.1).u < 1e-5
    assert one.mean_of("battery_v", values[:100], 0.1).u == pytest.approx(block_mean(values[:100]).u)
    remembers = one.mean_of("battery_a", values, 0.1)
    assert remembers.u == pytest.approx(block_mean(values, memory=5.0).u)
    assert remembers.value == pytest.approx(float(values.mean()))


def test_true_step_is_the_slowest_of_the_channels_that_are_there():
    """And the rows' own at the least."""
    one = a_bench(lambda t: 0 * t, steps=TrueSteps({"battery_a": 0.05, "feed_v": 0.2, "key_v": 3.0}))

    assert one.true_step_s("battery_a") == 0.05
    assert one.true_step_s("battery_a", "feed_v", "key_v") == 0.2
    assert one.true_step_s("battery_v") == pytest.approx(0.01)
    assert one.resolution("battery_a") == 0.0
    assert a_bench(lambda t: 0 * t, accuracy={"battery_a": Accuracy(0, 0, 0.5)}).resolution("battery_a") == 0.5


def test_stretch_is_cut_and_measured_where_its_current_counts():
    """A bridge from 20 to 25 s, five seconds of a hand on either side."""
    one = a_bench(lambda t: 0 * t, bridged=(Bridge(20.0, 25.0),))

    assert one.cut(0.0, 60.0) == [(0.0, 15.0), (15.0, 30.0), (30.0, 60.0)]
    assert one.cut(16.0, 29.0) == [(16.0, 29.0)]
    assert one.measured(0.0, 60.0) == [(0.0, 15.0), (30.0, 60.0)]
    assert one.measured(16.0, 29.0) == []
    assert one.bridged_in((0.0, 14.0)) == ""
    assert one.bridged_in((0.0, 14.0), (16.0, 17.0)) == (
        "; the shunt was bridged from 20.0 s to 25.0 s, so no current was measured there"
    )
    assert one.lift_known(16.0, 17.0)
    low = a_bench(lambda t: 0 * t, bridged=(Bridge(20.0, 25.0),), low_side_ohm={"battery_a": 0.001})
    assert (low.lift_known(16.0, 17.0), low.lift_known(0.0, 14.0)) == (False, True)
    behind = a_bench(lambda t: 0 * t, bridged=(Bridge(20.0, 25.0),), low_side_ohm={"feed_a": 0.001})
    assert behind.lift_known(16.0, 17.0)


def test_accuracy_is_stated_by_gain_and_offset_and_a_low_side_shunt_in_ohms():
    """1 mΩ of the battery's current; a voltage has none."""
    channels = [
        {
            "column": "i",
            "role": "battery_a",
            "unit": "A",
            "gain_error_pct": 1.0,
            "offset_error": 0.02,
            "low_side_mohm": 1.0,
        },
        {"column": "v", "role": "battery_v", "unit": "V", "gain_error_pct": 0.2},
        {"column": "w", "role": "feed_v", "unit": "V", "offset_error": 0.01, "resolution": 0.001},
    ]
    logger = logger_from_mapping({"logger": {"name": "x"}, "time": {"column": "t"}, "channel": channels})
    accuracy, low = accuracy_of(logger)

    assert accuracy["battery_a"] == Accuracy(pytest.approx(0.01), 0.02, 0.0)
    assert (accuracy["battery_v"], accuracy["feed_v"]) == (None, None)
    assert low == {"battery_a": pytest.approx(0.001)}


def noisy(t, sigma, live=None):
    """Voltages of so much noise."""
    rng = np.random.default_rng(7)
    noise = rng.normal(0, 1, (3, len(t)))
    battery = 12.5 + sigma(t) * noise[0]
    return {"battery_v": battery, "feed_v": (12.4 if live is None else 12.4 * live) + 0 * t + 0.0005 * noise[1]}


@pytest.mark.parametrize(
    ("told", "calm"),
    [
        ({"cranks": (Crank(20.5, 21.0, 12.5, 1.0),)}, False),
        ({"running": (Running(20.5, 55.0, "mark", 12.5, 1.0),)}, True),
        ({"cranks": (Crank(20.5, 55.0, 12.5, 1.0),)}, True),
        ({}, False),
    ],
)
def test_noise_is_read_where_the_engine_stands(told, calm):
    """From 20 to 60 s the voltage is rough; an engine counts from half a second before to five seconds after it."""
    t = times(60.0, 0.05)
    log = HandLog(t, noisy(t, lambda t: np.where(t < 20, 0.001, 0.02)))
    found = noise_in(log, story((WIDE,), **told), {"battery_v": EXACT}, {})

    assert (found["battery_v"].sigma < 0.003) is calm
    assert found["drop_v"].sigma > 0.0005


def test_noise_of_an_engine_that_never_stood_is_that_of_all():
    """Fewer than 200 points are left beside it."""
    t = times(60.0, 0.05)
    log = HandLog(t, noisy(t, lambda t: np.where(t < 9, 0.001, 0.02)))

    def sigma(from_s):
        run = Running(from_s, 60.0, "mark", 12.5, 1.0)
        return noise_in(log, story((WIDE,), running=(run,)), {}, {})["battery_v"].sigma

    assert sigma(9.4) > 0.01
    assert sigma(10.6) < 0.012


def test_noise_of_the_drop_is_read_with_the_feed_live():
    """Above half of the battery; rounding is the greater of the two channels'."""
    t = times(60.0, 0.05)
    values = noisy(t, lambda t: np.where(t < 30, 0.02, 0.001), np.where(t < 30, 0.4, 1.0))
    found = noise_in(HandLog(t, values), story((), (WIDE,)), {"battery_v": Accuracy(0, 0, 0.01), "feed_v": EXACT}, {})

    assert found["drop_v"].sigma < 0.005
    assert found._resolutions == {"battery_v": 0.01, "feed_v": 0.0, "drop_v": 0.01}


def test_noise_of_a_long_log_is_read_in_pieces():
    """Six of 200 s."""
    t = times(2000.0, 0.5)
    log = HandLog(t, noisy(t, lambda t: 0.001 + 0 * t))
    points = noise_in(log, story((), ((0.0, 2000.0),)), {}, {})._points["battery_v"][0]

    assert len(points) == pytest.approx(6 * 400, abs=12)
    assert points[0] == pytest.approx(0.0, abs=1.0)
    assert points[-1] == pytest.approx(1999.5, abs=1.0)
    assert points[450] == pytest.approx(359.9 + 25, abs=3.0)


def test_pace_is_asked_around_the_edges_and_amid_the_key_on():
    """Held readings of 0.1 s behind rows of 10 ms; of rows half a second apart and more nothing is asked."""
    t = times(60.0, 0.01)
    held = np.repeat(np.random.default_rng(3).normal(12.5, 0.05, 600), 10)
    log = HandLog(t, {"battery_v": held, "battery_c": 20.0})
    turns = (KeyTurn(20.0, 0.01, True),)

    assert steps_of(log, story((WIDE,), turns=turns)).by_role["battery_v"] == pytest.approx(0.1, rel=0.1)
    assert steps_of(log, story((), (WIDE,))).by_role["battery_v"] == pytest.approx(0.1, rel=0.1)
    rises = (Crossing(30.0, 29.99, 30.0, 0, "high"),)
    assert steps_of(log, story((), ((0.0, 30.0),), rises=rises)).by_role["battery_v"] == pytest.approx(0.1, rel=0.1)
    slow = times(6000.0, 0.51)
    wide = HandLog(slow, {"battery_v": np.repeat(np.random.default_rng(3).normal(12.5, 0.05, 1177), 10)[: len(slow)]})
    assert steps_of(wide, story((), ((0.0, 6000.0),))).by_role == {}
