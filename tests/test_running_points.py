"""The running engine in points: loads by falls, begin and end of the runs, and states that speed or a load makes."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hand_bench import EXACT, HandLog, bench, measured, plan, story, times

from benchlog.analysis.cranking import Crank
from benchlog.analysis.running import Running
from benchlog.core.spread import robust_sigma
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.charging_checks import examine_charging
from benchlog.examine.running_points import BY_FALLS, RunningPoints, running_points
from benchlog.examine.uncharged import judged

NAN = float("nan")


def run_of(from_s=40.0, to_s=78.0, before_v=12.4, before_a=5.0, **more) -> Running:
    """An engine that runs."""
    return Running(from_s, to_s, "mark", before_v, before_a, **more)


def a_bench(load=None, runs=None, amps=None, without=(), by="feed", noise=0.0, lost=None, **more):
    """Key on from 10 to 80 s; circuits of 2 A come on at 15, 20 and 25 s, the engine runs from 40 to 78 s.

    Args:
        load: through the feed, by the times. by: what shows it: the feed's drop, the ground's lift, or a channel.
        noise: of the feed, V. lost: when the feed is dead.
    """
    t = times(90.0, 0.05)
    on = (t >= 10) & (t < 80)
    through = load(t) if load else 2.0 * on * sum((t >= at) * 1.0 for at in (15, 20, 25))
    runs_now = (t >= 40) & (t < 78)
    current = np.where(runs_now, -3.0 if amps is None else amps(t), through + 1.0 * on)
    volts = np.where(runs_now, 14.2, 12.6 - 0.02 * current)
    values = {"battery_v": volts, "battery_a": current}
    feed = volts - 0.02 * through + noise * np.random.default_rng(5).normal(0, 1, len(t))
    if by == "feed":
        values["feed_v"] = feed if lost is None else np.where(lost(t), 0.0, feed)
    elif by == "ground":
        values["ground_v"] = 0.01 * through
    else:
        values[by] = through
    for role in without:
        del values[role]
    told = story(((10.0, 80.0),), ((0.0, 10.0), (80.0, 90.0)), running=runs or (run_of(),), **more.pop("told", {}))
    known = dict.fromkeys(values, more.pop("accuracy", EXACT))
    return bench(HandLog(t, values, more.pop("marks", ())), told, plan(8.0), accuracy=known, **more)


@pytest.mark.parametrize(
    ("by", "how", "share"),
    [
        ("feed", BY_FALLS + " ", 1.0),
        ("ground", BY_FALLS + " ", 1.0),
        ("feed_a", " ", 1.0),
        ("slot1_a", ", by the circuits' own currents ", 1.0),
    ],
)
def test_load_while_running_is_read_by_its_best_witness(by, how, share):
    """6 A by the fall of feed or return, the feed's own channel, or the circuits'."""
    points = running_points(a_bench(by=by))

    assert np.allclose(points.load_a, 6.0 * share, atol=0.12)
    assert points.load_how.rstrip() == how.rstrip()
    assert np.allclose(points.whole_a, 5.0 + 6.0, atol=0.15)


def test_load_without_a_witness_is_not_known():
    """The voltages do not follow a load that never changes."""
    points = running_points(a_bench(load=lambda t: 6.0 + 0 * t))

    assert points.load_how == ""
    assert np.isnan(points.load_a).all()
    assert np.allclose(points.whole_a, 5.0)


def test_load_before_the_run_is_taken_off():
    """4 A were on then: what came on since adds to the current before the crank."""
    points = running_points(a_bench(by="feed_a", runs=(run_of(before_fed_a=4.0 * 0.95),)))

    assert np.allclose(points.whole_a, 5.0 + 6.0 - 4.0, atol=0.01)
    assert np.isnan(running_points(a_bench(by="feed_a", runs=(run_of(before_a=NAN),))).whole_a).all()


def test_feed_that_was_lost_for_a_moment_has_no_drop_then():
    """Half a second amid the run: the load stays what it is beside it; by its own channel nothing is left out."""
    points = running_points(a_bench(lost=lambda t: (t > 60) & (t < 60.5)))

    assert np.allclose(points.load_a, 6.0, atol=0.15)


def test_scale_of_the_falls_is_that_of_the_engine_off():
    """Until the crank, or the run: from there on the alternator moves the voltages."""
    for told in ({"cranks": (Crank(38.0, 39.0, 12.4, 5.0),)}, {}):
        assert np.allclose(running_points(a_bench(told=told)).load_a, 6.0, atol=0.12)
    elsewhere = {"cranks": (Crank(5.0, 6.0, 12.4, 5.0), Crank(85.0, 86.0, 12.4, 5.0))}
    assert np.allclose(running_points(a_bench(told=elsewhere)).load_a, 6.0, atol=0.12)


def test_run_counts_from_two_seconds_or_a_third_of_it():
    """Until half a second before its end, or until the key-off where a line shows that."""

    def ends(**how):
        points = running_points(a_bench(**how))
        return float(points.start_s[0]), float(points.end_s[-1])

    assert ends() == (pytest.approx(42.0, abs=0.06), pytest.approx(77.4, abs=0.21))
    short = (run_of(40.0, 44.5),)
    assert ends(runs=short) == (pytest.approx(41.5, abs=0.06), pytest.approx(44.0, abs=0.21))
    to_off = (run_of(40.0, 80.0),)
    assert ends(runs=to_off)[1] == pytest.approx(79.9, abs=0.16)
    assert ends(runs=to_off, told={"source": "battery_a"})[1] == pytest.approx(79.4, abs=0.16)
    assert ends(runs=to_off, told={"source": "battery_v"})[1] == pytest.approx(79.4, abs=0.16)


def test_two_runs_stand_end_to_end():
    """40 to 50 s and 60 to 78 s; the time between is not counted."""
    points = running_points(a_bench(runs=(run_of(40.0, 50.0), run_of(60.0, 78.0))))

    assert points.lasts_s(np.ones(len(points.volts), dtype=bool)) == pytest.approx(7.5 + 15.5, abs=0.5)


@pytest.mark.parametrize(("amps", "states"), [(0.25, "charged"), (0.35, "uncharged"), (-3.0, "charged")])
def test_battery_is_charged_unless_more_than_its_doubt_flows_out(amps, states):
    """0.3 A at the least."""
    points = running_points(a_bench(amps=lambda t: np.full(len(t), amps)))
    flags = {"charged": points.charged.all(), "uncharged": points.uncharged.all()}

    assert [name for name, one in flags.items() if one] == [states]
    assert points.both is False


def test_doubt_of_the_current_counts_three_times():
    """± 0.2 A: 0.55 A out of the battery are not told from nothing, 0.65 A are; unstated it counts as 0.1 A."""
    vague = Accuracy(0.0, 0.2 * math.sqrt(3), 0.0)

    assert running_points(a_bench(amps=lambda t: np.full(len(t), 0.55), accuracy=vague)).charged.all()
    assert running_points(a_bench(amps=lambda t: np.full(len(t), 0.65), accuracy=vague)).uncharged.all()
    assert running_points(a_bench(amps=lambda t: np.full(len(t), 0.35), accuracy=None)).uncharged.all()


@pytest.mark.parametrize(("before_v", "charged"), [(13.6, True), (13.8, False)])
def test_battery_whose_current_is_not_read_is_charged_half_a_volt_above_before(before_v, charged):
    """14.2 V while running."""
    points = running_points(a_bench(without=["battery_a"], runs=(run_of(before_v=before_v),), by="ground"))

    assert bool(points.charged.all()) is charged
    assert bool(points.uncharged.all()) is not charged
    unknown = running_points(a_bench(without=["battery_a"], runs=(run_of(before_v=NAN),), by="ground"))
    assert not unknown.charged.any()
    assert not unknown.uncharged.any()


def test_noise_of_a_load_by_falls_is_three_times_its_scatter():
    """From the steps of neighbouring points; a measured load, and one that does not move, have none."""
    points = running_points(a_bench(noise=0.01))
    steps = np.abs(np.diff(points.load_a))

    assert points.load_noise_a == pytest.approx(3 * robust_sigma(steps[steps > 0]) / math.sqrt(2))
    assert points.load_noise_a > 0.1
    assert replace(points, load_how=", by the circuits' own currents").load_noise_a == 0.0
    assert replace(points, load_a=np.full(len(steps) + 1, 6.0)).load_noise_a == 0.0
    few = replace(points, load_a=np.where(np.arange(len(steps) + 1) % 10, 6.0, 6.5))
    assert few.load_noise_a == pytest.approx(3 * robust_sigma(np.full(3, 0.5)) / math.sqrt(2))


def test_noisy_load_by_falls_still_counts_as_on():
    """What scatters by its noise alone keeps its points."""
    found = examine_charging(a_bench(noise=0.01))["charging_balance"]

    assert found.value == pytest.approx(3.0)
    assert found.story.endswith("A of the planned 8.0 A on" + BY_FALLS)


def points_of(amps, whole_a=5.0, load_a=None, how="", uncharged=None) -> RunningPoints:
    """Points of a fifth of a second whose first half is not charged."""
    n = len(amps)
    start = 40 + 0.2 * np.arange(n)
    dark = np.arange(n) < n // 2 if uncharged is None else uncharged
    load = np.full(n, NAN) if load_a is None else np.broadcast_to(load_a, n).astype(float)
    whole = np.broadcast_to(whole_a, n).astype(float)
    return RunningPoints(
        start, start + 0.15, np.full(n, 13.0), np.asarray(amps, float), load, {}, how, ~dark, dark, whole
    )


WHOLE, WORSE = measured(13.0, 0.1, story="mean"), measured(12.5, 0.1, story="worse")
OPEN = "whether the engine's speed or a load that came on ended the charging is not known"


def by_speed(points, room=-1.0, bench_=None, worse=WORSE) -> bool:
    """Whether the worse state is judged."""
    return judged(bench_ or a_bench(), points, WHOLE, worse, "words", room).value == worse.value


def half(first, second, n=100):
    """Currents of either half."""
    return np.where(np.arange(n) < n // 2, first, second)


@pytest.mark.parametrize(
    ("amps", "more", "speed"),
    [
        (half(4.6, -3.0), {}, True),
        (half(4.4, -3.0), {}, False),
        (half(5.6, -3.0), {}, False),
        (half(5.6, -3.0), {"load_a": 3.0, "how": " "}, True),
        (half(12.2, -0.5), {"whole_a": 13.0}, True),
        (half(11.6, -0.5), {"whole_a": 13.0}, False),
        (half(4.6, -3.0), {"whole_a": np.where(np.arange(100) % 3, 5.0, NAN)}, True),
        (half(4.6, -3.0), {"whole_a": NAN}, False),
        (half(10.0, -5.5), {"whole_a": 30.0}, True),
        (half(10.0, -4.5), {"whole_a": 30.0}, False),
        (half(10.0, -4.5), {"whole_a": 30.0, "load_a": half(1.0, 4.0), "how": " "}, True),
        (half(10.0, -4.5), {"whole_a": 30.0, "load_a": half(1.0, 4.0), "how": ""}, False),
        (half(10.0, NAN), {"whole_a": 30.0}, False),
        (half(NAN, -9.0), {"whole_a": 30.0}, False),
    ],
)
def test_states_are_the_speeds_where_no_load_can_have_made_them(amps, more, speed):
    """The alternator gave nothing: half an ampere or a tenth; or the load between would exceed 15 A."""
    assert by_speed(points_of(amps, **more)) is speed


def test_judged_state_keeps_the_doubts_of_the_whole_and_tells_both():
    """The worse one, with the whole's reasons."""
    dark = replace(WHOLE, one_sided="dark", remedy="mark")
    found = judged(a_bench(), points_of(half(5.0, -3.0)), dark, WORSE, "words", -1.0)
    assert (found.value, found.story, found.one_sided, found.remedy) == (12.5, "words", "dark", "mark")
    told = judged(a_bench(), points_of(half(2.0, -3.0)), dark, WORSE, "words", -1.0)
    assert (told.value, told.story, told.one_sided, told.remedy) == (13.0, "mean; words", "dark", "mark")
    bare = judged(a_bench(), points_of(half(2.0, -3.0)), replace(WHOLE, story=""), WORSE, "words", -1.0)
    assert (bare.story, bare.one_sided) == ("words", OPEN)


@pytest.mark.parametrize(("room", "u", "open_"), [(0.165, 0.1, False), (0.164, 0.1, True), (9.0, None, True)])
def test_worse_state_within_its_limit_by_95_percent_leaves_the_mean_proven(room, u, open_):
    """1.645 uncertainties."""
    found = judged(a_bench(), points_of(half(2.0, -3.0)), WHOLE, replace(WORSE, u=u), "words", room)

    assert (found.one_sided == OPEN) is open_


def slow_bench(at_s, over_s, without=()):
    """A current that goes from 2 A to −3 A at a time, within so many seconds."""
    return a_bench(amps=lambda t: 2.0 - 5.0 * np.clip((t - at_s) / over_s, 0, 1), without=without)


@pytest.mark.parametrize(("over_s", "speed"), [(1.0, True), (0.05, False)])
def test_charging_that_comes_slowly_is_the_speeds(over_s, speed):
    """At any edge of either state but the run's own."""
    one = slow_bench(49.5, over_s)

    assert by_speed(points_of(half(2.0, -3.0)), bench_=one) is speed
    first = points_of(half(2.0, -3.0), uncharged=np.arange(100) < 95)
    assert by_speed(first, bench_=slow_bench(58.5, over_s)) is speed
    assert by_speed(points_of(half(2.0, -3.0)), bench_=slow_bench(45.0, over_s)) is False
    three = points_of(half(2.0, -3.0), uncharged=(np.arange(100) < 20) | (np.arange(100) >= 50))
    assert by_speed(three, bench_=one) is speed


@pytest.mark.parametrize(("edge_at", "at_s", "speed"), [(50, 40.0, False), (98, 59.6, True), (99, 59.8, False)])
def test_runs_own_begin_and_end_are_no_edges_of_a_state(edge_at, at_s, speed):
    """A current that changes slowly just there is the engine's start or stop."""
    points = points_of(half(2.0, -3.0), uncharged=np.arange(100) < edge_at)

    assert by_speed(points, bench_=slow_bench(at_s - 0.5, 1.0)) is speed


def test_single_point_lasts_as_long_as_it_is():
    """Beside none there is no time between."""
    assert points_of([1.0]).lasts_s(np.ones(1, dtype=bool)) == pytest.approx(0.15)
