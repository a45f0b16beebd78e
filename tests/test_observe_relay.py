"""How a trigger falls once it is let go, and what relay and coil show of it: lines written by hand."""

import math

import numpy as np
import pytest
from hand_bench import VOLTS, HandLog, bench, limit, measured, plan, story, times
from hand_relay import edge

from benchlog.analysis.measurement import NotEvaluated
from benchlog.examine.observe_relay import coil_kick, relay_times
from benchlog.examine.trigger_fall import fall_s, falls_straight, shows_returns

AT_S = 8.0


def a_bench(line, step_s=0.001, falls=(AT_S,), end_s=15.0, without=False, **more):
    """A trigger by the times, which falls at 8 s."""
    t = times(end_s, step_s)
    values = {"battery_v": np.full(len(t), 12.5), "trigger_v": line(t)}
    if without:
        del values["trigger_v"]
    told = story(((2.0, 8.0),), ((0.0, 2.0), (8.0, end_s)), falls=tuple(edge(at, "low", step_s) for at in falls))
    return bench(HandLog(t, values), told, plan(3.0), **more)


def straight(over_s: float, to_v: float = 0.0, from_s: float = AT_S):
    """From 12.4 V in a straight line."""
    return lambda t: np.clip(12.4 - (12.4 - to_v) * (t - from_s) / over_s, to_v, 12.4)


def fading(tau_s: float, second: float = 1.0, first: float = 1.0):
    """An exponential; from the middle of what is looked at on its pace is so many times as quick."""
    middle = (math.log(0.85) + math.log(0.2)) / 2

    def line(t):
        y = -(t - AT_S) / tau_s * first
        return 12.4 * np.exp(np.where(t < AT_S, 0.0, np.where(y > middle, y, middle + second / first * (y - middle))))

    return line


@pytest.mark.parametrize(("over_s", "took_s"), [(1.0, 0.65), (4.0, 2.6)])
def test_fall_is_timed_from_85_to_20_percent_of_the_swing(over_s, took_s):
    """13 of 20 parts of a straight fall, both ends within one sample."""
    took, step = fall_s(a_bench(straight(over_s)), edge(AT_S, "low"))

    assert took == pytest.approx(took_s, abs=0.0025)
    assert step == pytest.approx(0.001)


def test_fall_between_two_samples_takes_no_time():
    """Down at once."""
    assert fall_s(a_bench(lambda t: 12.4 * (t < AT_S)), edge(AT_S, "low")) == (0.0, pytest.approx(0.001))


@pytest.mark.parametrize(("to_v", "gone"), [(2.9, True), (3.1, False)])
def test_line_is_gone_below_a_fifth_above_a_twentieth_of_its_level(to_v, gone):
    """A line that stays at 3.1 V is not; its low level counts as 0.62 V at most."""
    assert (fall_s(a_bench(straight(0.5, to_v)), edge(AT_S, "low")) is not None) is gone


def test_line_that_falls_only_after_five_seconds_is_not_timed():
    """Nor one that hardly moves, nor one of three samples."""
    assert fall_s(a_bench(straight(0.1, from_s=12.2)), edge(AT_S, "low")) is not None
    assert fall_s(a_bench(straight(0.1, from_s=13.1)), edge(AT_S, "low")) is None
    assert fall_s(a_bench(lambda t: 12.4 - 0.9 * (t > 8)), edge(AT_S, "low")) is None
    assert fall_s(a_bench(lambda t: 12.4 * (t < 8), step_s=2.5), edge(AT_S, "low", 2.5)) is None


def test_return_to_the_full_level_after_the_fall_is_no_part_of_it():
    """The fall counts from the last sample at its high level before it was gone."""

    def again(t):
        x = straight(1.0)(t)
        x[(t > 8.3) & (t < 8.31)] = 12.4
        x[(t > 12) & (t < 12.5)] = 12.4
        return x

    took, _ = fall_s(a_bench(again), edge(AT_S, "low"))
    assert took == pytest.approx(8.8 - 8.31, abs=0.003)


@pytest.mark.parametrize(("over_s", "shows"), [(0.01, True), (0.002, False)])
def test_line_of_two_samples_and_more_shows_every_return(over_s, shows):
    """6.5 ms of samples a millisecond apart do, 1 ms does not."""
    assert shows_returns(a_bench(straight(over_s)), edge(AT_S, "low")) is shows


def test_line_that_is_never_gone_shows_no_return():
    """There is no fall to look at."""
    assert not shows_returns(a_bench(lambda t: np.full(len(t), 12.4)), edge(AT_S, "low"))


FINE = {"step_s": 0.0001, "end_s": 13.5}


@pytest.mark.parametrize(
    ("line", "is_straight"),
    [
        (fading(0.003), True),
        (fading(0.003, 1.02), True),
        (fading(0.003, 0.98), True),
        (fading(0.003, 1.06), False),
        (fading(0.003, 0.94), False),
        (fading(0.0134), True),
        (fading(0.0145), False),
        (straight(0.01), False),
        (lambda t: np.full(len(t), 12.4), False),
        (lambda t: 12.4 * (t < AT_S), False),
    ],
)
def test_line_falls_as_a_capacitor_alone_where_both_halves_keep_one_pace(line, is_straight):
    """To within 3 %, over no more than 20 ms."""
    assert falls_straight(a_bench(line, **FINE), edge(AT_S, "low", 0.0001)) is is_straight


@pytest.mark.parametrize(("step_s", "is_straight"), [(0.0007, True), (0.00105, False)])
def test_fall_of_six_samples_is_the_shortest_that_tells(step_s, is_straight):
    """4.3 ms of them."""
    one = a_bench(fading(0.003), step_s=step_s)
    at_s = float(times(15.0, step_s)[round(AT_S / step_s)])

    assert falls_straight(one, edge(at_s, "low", step_s)) is is_straight


FOUND = {"relay_pull_in": measured(20.0, 1.0), "relay_drop_out": measured(90.0, 3.0, from_s=AT_S)}
LIMITS = {"relay_pull_in": limit(None, 30.0), "relay_drop_out": limit(None, 60.0)}


def test_relays_times_are_told_over_their_limits():
    """20 of 30 ms and 90 of 60 ms."""
    seen = relay_times(a_bench(straight(0.1), without=True), FOUND, LIMITS)

    assert list(seen) == ["pull_in", "drop_out"]
    assert (seen["pull_in"].value, seen["pull_in"].u) == (pytest.approx(2 / 3), pytest.approx(1 / 30))
    assert seen["pull_in"].text == "20 ms pull-in, at most 30 ms planned"
    assert (seen["drop_out"].value, seen["drop_out"].u) == (1.5, 0.05)
    assert seen["drop_out"].text == "90 ms drop-out, at most 60 ms planned"


@pytest.mark.parametrize("u", [None, math.inf])
def test_time_of_no_known_doubt_counts_as_it_is(u):
    """Without an accuracy, or where the log bounds nothing."""
    assert relay_times(a_bench(straight(0.1)), {"relay_pull_in": measured(20.0, u)}, LIMITS)["pull_in"].u == 0.0


@pytest.mark.parametrize(
    ("found", "allowed"),
    [
        (NotEvaluated("no"), limit(None, 30.0)),
        (measured(None), limit(None, 30.0)),
        (measured(20.0), None),
        (measured(20.0), limit(None, None)),
    ],
)
def test_time_without_figure_or_limit_is_not_told(found, allowed):
    """Each lacks one of them."""
    limits = {"relay_pull_in": allowed} if allowed else {}
    assert "pull_in" not in relay_times(a_bench(straight(0.1)), {"relay_pull_in": found}, limits)


def test_late_drop_out_is_told_from_where_the_trigger_is_gone_as_well():
    """A trigger that falls in 0.1 s is at 8 % after 92 ms: 90 ms are 2 ms less than that."""
    seen = relay_times(a_bench(straight(0.1)), FOUND, LIMITS)["drop_out_own"]

    assert seen.value == pytest.approx(-2 / 60, abs=1.1 / 60)
    assert seen.u == 0.05
    assert seen.text == "the contact opens -2 ms after the trigger is gone, at most 60 ms planned"
    early = {**FOUND, "relay_drop_out": measured(59.0, 3.0, from_s=AT_S)}
    assert "drop_out_own" not in relay_times(a_bench(straight(0.1)), early, LIMITS)
    late = {"relay_pull_in": measured(40.0, 3.0, from_s=AT_S)}
    assert "drop_out_own" not in relay_times(a_bench(straight(0.1)), late, LIMITS)
    assert "drop_out_own" not in relay_times(a_bench(straight(0.1, 2.0)), FOUND, LIMITS)


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (measured(1.0, 0.0), "1 opening or re-closings out of turn"),
        (measured(2.0, 0.0), "2 openings or re-closings out of turn"),
        (measured(0.0, 0.0), "0 openings or re-closings out of turn"),
        (measured(1.0, 0.0, one_sided="slow"), "1 opening or re-closings out of turn"),
        (measured(0.0, 0.0, one_sided="slow"), None),
        (measured(1.0, 0.0, disqualified="doubt"), None),
        (measured(None), None),
        (NotEvaluated("no"), None),
    ],
)
def test_openings_are_told_unless_the_log_would_have_missed_them(found, told):
    """None on a log that can miss one says nothing."""
    seen = relay_times(a_bench(straight(0.1)), {"relay_chatter": found}, {}).get("openings")

    assert (seen and seen.text) == told
    if seen is not None:
        assert (seen.value, seen.u) == (found.value, 0.0)


def test_slowest_fall_of_the_trigger_is_told():
    """0.2 and 1 s: 65 % of the latter, to half a sample."""

    def twice(t):
        return np.where(t < 10, straight(0.2)(t), straight(1.0, from_s=20.0)(t))

    seen = relay_times(a_bench(twice, falls=(8.0, 20.0), end_s=27.0), {}, {})["trigger_fall_s"]

    assert seen.value == pytest.approx(0.65, abs=0.003)
    assert seen.u == pytest.approx(0.0005)
    assert seen.text == "the trigger takes 650 ms to fall from 85% to 20%"
    assert relay_times(a_bench(straight(0.1), falls=()), {}, {}) == {}


def kicked(depth_v: float, at_s: float = AT_S + 0.01, fall=None):
    """A trigger that goes below zero for two milliseconds, after a fall at once."""

    def line(t):
        x = (fall or (lambda t: 12.4 * (t < AT_S)))(t)
        x[(t >= at_s) & (t < at_s + 0.002)] = -depth_v
        return x

    return line


def test_kick_is_how_far_the_trigger_goes_below_zero():
    """0.7 V by a diode, within the channel's doubt of zero."""
    seen = coil_kick(a_bench(kicked(0.7)))["coil_kick_v"]

    assert (seen.value, seen.u) == (pytest.approx(0.7), pytest.approx(VOLTS.level_u(0.0)))
    assert seen.text == "the trigger goes 0.7 V below zero as it is let go"
    assert coil_kick(a_bench(kicked(0.7), accuracy={}))["coil_kick_v"].u == 0.02


@pytest.mark.parametrize(("at_s", "kick_v"), [(AT_S + 0.025, 0.7), (AT_S + 0.032, 0.0)])
def test_kick_comes_within_30_milliseconds_of_the_fall(at_s, kick_v):
    """Later it is something else."""
    assert coil_kick(a_bench(kicked(0.7, at_s)))["coil_kick_v"].value == pytest.approx(kick_v)


def test_fall_at_once_without_a_kick_shows_no_coil():
    """On samples a millisecond apart; 0.1 V above zero are no kick either."""
    seen = coil_kick(a_bench(lambda t: np.where(t < AT_S, 12.4, 0.1)))["coil_kick_v"]

    assert seen.value == pytest.approx(-0.1)
    assert seen.text == "the trigger goes 0 V below zero as it is let go"


@pytest.mark.parametrize(
    ("step_s", "depth_v", "told"),
    [(0.0024, 0.0, True), (0.0026, 0.0, False), (0.0026, 0.31, True), (0.0026, 0.29, False)],
)
def test_slow_samples_show_a_kick_but_not_that_there_is_none(step_s, depth_v, told):
    """2.5 ms apart and more one may fall between two of them."""

    def line(t):
        return np.where(t < AT_S, 12.4, -depth_v)

    assert bool(coil_kick(a_bench(line, step_s=step_s, falls=(8.0 + step_s,)))) is told


@pytest.mark.parametrize(
    ("line", "told"), [(fading(0.003), True), (fading(0.003, 1.2), False), (fading(0.0015, 1.2), True)]
)
def test_slow_fall_without_a_kick_tells_only_where_it_is_a_capacitors(line, told):
    """4 ms bent by a fifth may hide one; 2 ms hide none."""
    one = a_bench(line, **FINE)
    seen = coil_kick(one)

    assert bool(seen) is told
    if line(np.array([8.0, 8.001]))[1] > 8 and told:
        assert seen["coil_kick_v"].text == (
            "let go, the trigger falls as a capacitor alone does, with no coil's current behind it"
        )


def test_fall_that_is_not_read_hides_no_other():
    """Some of a fall's samples are missing; the slowest of two falls tells whether a coil may have hidden."""

    def gap(t):
        return np.where((t > 8.0) & (t < 8.005), np.nan, kicked(0.7)(t))

    assert coil_kick(a_bench(gap))["coil_kick_v"].value == pytest.approx(0.7)

    def twice(t):
        return np.where(t < 10, 12.4 * (t < AT_S), fading(0.003, 1.2)(t - 3))

    two = a_bench(twice, falls=(8.0, 11.0), step_s=0.0001, end_s=16.5)
    assert coil_kick(two) == {}


def test_deepest_kick_of_all_falls_counts():
    """0.7 V at one fall, none at another; without a fall, or a trigger, nothing is said."""

    def twice(t):
        return np.where(t < 10, kicked(0.7)(t), 12.4 * (t < 11))

    assert coil_kick(a_bench(twice, falls=(8.0, 11.0)))["coil_kick_v"].value == pytest.approx(0.7)
    assert coil_kick(a_bench(kicked(0.7), falls=())) == {}
    assert coil_kick(a_bench(kicked(0.7), without=True)) == {}
    assert coil_kick(a_bench(lambda t: np.where(t < AT_S - 0.01, 12.4, np.nan))) == {}
