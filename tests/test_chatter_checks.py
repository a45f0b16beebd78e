"""A contact that opens or closes out of turn: what counts, and what keeps a log from proving that there is none."""

import numpy as np
import pytest
from hand_bench import HandLog, bench, plan, story, times

from benchlog.analysis.cranking import Crank
from benchlog.analysis.levels import Crossing
from benchlog.analysis.measurement import NotEvaluated
from benchlog.analysis.true_step import TrueSteps
from benchlog.examine.chatter_checks import examine_chatter

STEP_S = 0.002


def edge(at_s: float, to: str, step_s: float = STEP_S) -> Crossing:
    """A passage between two samples."""
    return Crossing(at_s - step_s / 2, at_s - step_s, at_s, round(at_s / step_s), to)


def during(t, *stretches):
    """True inside of the stretches."""
    return np.any([(t >= a - 1e-9) & (t < b - 1e-9) for a, b in stretches], axis=0)


def a_bench(opened=(), closed=(), step_s=STEP_S, on=(2.0, 8.0), end_s=10.0, keep=None, planned=(), marks=(), **more):
    """The key is on from 2 to 8 s, the feed live 10 ms later; ``opened`` and ``closed`` are stretches that it is not.

    Args:
        without: channels that are not logged. lines: role -> samples of it in place of the usual ones, by the times.
        keep: which samples the log has, by the times.
    """
    t = times(end_s, step_s)
    up = during(t, (on[0] + 0.01, on[1] + 0.01))
    up = (up & ~during(t, *opened) if opened else up) | (during(t, *closed) if closed else False)
    values = {"trigger_v": 12.5 * during(t, on), "feed_v": 12.4 * up, "battery_v": np.full(len(t), 12.5)}
    values |= {role: make(t) for role, make in more.pop("lines", {}).items()}
    for role in more.pop("without", ()):
        del values[role]
    if keep is not None:
        values = {role: x[keep(t)] for role, x in values.items()}
        t = t[keep(t)]
    off = tuple((a, b) for a, b in ((0.0, on[0]), (on[1], end_s)) if b > a)
    moves = {"rises": (edge(on[0], "high"),), "falls": (edge(on[1], "low"),)} if "trigger_v" in values else {}
    told = {**moves, **more.pop("told", {})}
    log = HandLog(t, values, marks, max_buckets=more.pop("max_buckets", None))
    return bench(log, story((on,), off, **told), plan(*planned), **more)


def count(**how) -> float | None:
    """Openings and re-closings out of turn."""
    return examine_chatter(a_bench(**how)).value


def test_sound_contact_is_watched_from_its_closing_to_the_end():
    """From 2.01 to 10 s, none of it hidden: no opening, and a pass is proven."""
    found = examine_chatter(a_bench())

    assert (found.value, found.u, found.story) == (0.0, 0.0, "watched for 8 s")
    assert (found.from_s, found.to_s) == (pytest.approx(2.01, abs=0.002), pytest.approx(10.0))
    assert (found.one_sided, found.remedy, found.disqualified) == (None, None, None)


@pytest.mark.parametrize(
    ("how", "counts"),
    [
        ({"opened": [(5.0, 5.02)]}, 1),
        ({"opened": [(5.0, 5.02), (6.0, 6.3)]}, 2),
        ({"opened": [(2.012, 2.016)]}, 0),
        ({"opened": [(7.89, 8.02)]}, 1),
        ({"opened": [(7.95, 8.02)]}, 0),
        ({"closed": [(8.5, 8.6)]}, 1),
        ({"closed": [(8.012, 8.015)]}, 0),
        ({"opened": [(5.0, 5.02)], "without": ["battery_v"]}, 1),
        ({"closed": [(8.5, 8.6)], "without": ["battery_v", "trigger_v"]}, 1),
    ],
)
def test_openings_with_the_key_on_and_closings_with_it_off_count(how, counts):
    """The bounce of a closing and of the drop-out do not."""
    assert count(**how) == counts


def test_log_without_feed_or_key_on_says_so():
    """Nothing can be counted."""
    assert examine_chatter(a_bench(without=["feed_v"])).why == "feed_v is not logged"
    t = times(5.0)
    off = bench(HandLog(t, {"feed_v": 0.0}), story((), ((0.0, 5.0),)))
    assert examine_chatter(off).why == "the key is off throughout the log"
    dead = a_bench(lines={"feed_v": lambda t: 0.0 * t})
    assert examine_chatter(dead).why == "the contact never closed while the key was on"
    assert isinstance(examine_chatter(a_bench(lines={"feed_v": lambda t: 4.9 + 0 * t})), NotEvaluated)
    assert examine_chatter(a_bench(lines={"feed_v": lambda t: 5.1 + 0 * t})).value == 0


@pytest.mark.parametrize(("at_s", "counts"), [(3.46, 1), (3.52, 0), (4.5, 0), (5.96, 0), (6.04, 1)])
def test_openings_around_a_crank_are_the_starters(at_s, counts):
    """From half a second before it to a second after it."""
    cranked = {"told": {"cranks": (Crank(4.0, 5.0, 12.5, 0.0),)}}

    assert count(opened=[(at_s, at_s + 0.02)], **cranked) == counts


def test_slow_log_gives_a_crank_a_step_and_a_half_before_and_three_after():
    """Steps of 0.4 s: 0.6 s before, 1.2 s after."""
    cranked = {"told": {"cranks": (Crank(40.0, 42.0, 12.5, 0.0),)}, "step_s": 0.4, "on": (20.0, 80.0), "end_s": 100.0}

    found = [count(opened=[(at, at + 2.0)], **cranked) for at in (39.2, 40.0, 43.2, 43.6)]
    assert found == [1, 0, 0, 1]


@pytest.mark.parametrize(("opens_s", "counts"), [(2.1, 0), (2.3, 0), (2.45, 0), (2.55, 1), (5.0, 1)])
def test_contact_that_was_closed_already_is_watched_from_half_a_second_after_the_key_on(opens_s, counts):
    """It was live before, and what it does as the key is turned is no chatter."""
    found = examine_chatter(a_bench(closed=[(0.0, 2.1)], opened=[(opens_s, opens_s + 0.02)]))

    assert (found.value, found.from_s) == (counts, 2.5)


def test_contact_that_closed_a_moment_before_the_key_on_was_closed_already():
    """Two tenths before the key-on count; a log that begins with the key on is watched from its first sample."""
    assert examine_chatter(a_bench(closed=[(1.79, 2.1)])).from_s == 2.5
    assert examine_chatter(a_bench(closed=[(1.9, 2.1)])).from_s == 2.5
    assert examine_chatter(a_bench(opened=[(2.0, 2.03)])).from_s == pytest.approx(2.029)
    begun = examine_chatter(a_bench(on=(0.0, 8.0), closed=[(0.0, 0.1)], opened=[(0.3, 0.32)]))
    assert (begun.value, begun.from_s) == (1, pytest.approx(0.0, abs=0.05))
    assert begun.one_sided == "the log holds no whole stretch with the key on"
    assert begun.remedy == "record from before the key-on until after the key-off, with all circuits on"


def test_key_that_is_never_turned_off_leaves_no_whole_stretch():
    """The log ends with the key on: watched to there."""
    found = examine_chatter(a_bench(on=(2.0, 10.0)))

    assert (found.to_s, found.one_sided) == (10.0, "the log holds no whole stretch with the key on")


def test_two_key_ons_are_watched_one_after_the_other():
    """From the first closing to the end of the last key-off; the second has an opening of its own."""
    t = times(20.0, STEP_S)
    up = during(t, (2.01, 6.0), (10.01, 13.0), (13.05, 16.0))
    told = story(((2.0, 6.0), (10.0, 16.0)), ((0.0, 2.0), (6.0, 10.0), (16.0, 20.0)))
    found = examine_chatter(bench(HandLog(t, {"feed_v": 12.4 * up, "battery_v": 12.5}), told))

    assert (found.value, found.to_s) == (1.0, 20.0)
    assert found.from_s == pytest.approx(2.01, abs=0.002)
    assert found.story == "watched for 18 s"


def test_gap_is_not_watched_and_hides_an_opening():
    """One and a half of eight seconds are missing."""
    found = examine_chatter(a_bench(keep=lambda t: (t < 4) | (t >= 5.5)))

    assert found.story == "watched for 6 s"
    assert found.one_sided == "an opening in the 1.5 s that the log lacks would be missed"
    assert found.remedy == "a log without gaps would prove it"
    assert examine_chatter(a_bench(keep=lambda t: (t < 8.5) | (t >= 9.5))).one_sided is None


@pytest.mark.parametrize(("step_s", "slow"), [(0.005, None), (0.0052, 5), (0.01, 10)])
def test_samples_further_apart_than_a_bounce_can_miss_an_opening(step_s, slow):
    """5 ms apart they cannot."""
    found = examine_chatter(a_bench(step_s=step_s))

    assert found.one_sided == (slow and f"samples {slow} ms apart can miss an opening")
    assert found.remedy == (slow and "a log at 200 samples a second or more would prove it")


def test_logger_that_sees_more_slowly_than_it_writes_is_told_apart():
    """20 ms behind rows of 2 ms; 2.9 ms of them are as fast as needed, and 7 ms behind rows of 5.1 ms are the rows'."""

    def seen(true_s, **more):
        return examine_chatter(a_bench(steps=TrueSteps({"feed_v": true_s}), **more))

    slow = seen(0.02)
    assert slow.one_sided == "the logger sees feed_v 20 ms apart, whatever its rows say, and can miss an opening"
    assert slow.remedy == "a logger that really reads 200 times a second or more would prove it"
    assert seen(0.0029).one_sided is None
    assert seen(0.007, step_s=0.0051).one_sided == "samples 7 ms apart can miss an opening"
    assert seen(0.0105, step_s=0.0051).one_sided.startswith("the logger sees feed_v")


def test_opening_with_the_trigger_may_be_the_starters_where_the_battery_is_not_logged():
    """The trigger goes down with the feed; one that stays up, or the battery beside it, says that it is not."""

    def cut(t):
        return 12.5 * (during(t, (2.0, 8.0)) & ~during(t, (5.0, 5.3)))

    without = {"without": ["battery_v"], "opened": [(5.01, 5.3)]}
    found = examine_chatter(a_bench(lines={"trigger_v": cut}, **without))
    assert found.value == 1
    assert found.disqualified == (
        "the trigger itself went down with it, and without the battery's voltage that may be the starter"
    )
    assert found.remedy == "log battery_v beside it"
    assert examine_chatter(a_bench(**without)).disqualified is None
    assert examine_chatter(a_bench(lines={"trigger_v": cut}, opened=[(5.01, 5.3)])).disqualified is None
    twice = {**without, "opened": [(5.01, 5.3), (6.0, 6.02)]}
    assert examine_chatter(a_bench(lines={"trigger_v": cut}, **twice)).disqualified is None
    blind = {"without": ["battery_v", "trigger_v"], "opened": [(5.01, 5.3)]}
    assert examine_chatter(a_bench(**blind)).disqualified is None
    amps = {"lines": {"trigger_v": cut, "battery_a": lambda t: 0 * t}}
    assert examine_chatter(a_bench(**without, **amps)).disqualified is None


@pytest.mark.parametrize(
    ("from_s", "to_s", "down"), [(4.83, 4.85, True), (4.77, 4.79, False), (5.17, 5.19, True), (5.24, 5.26, False)]
)
def test_trigger_within_two_tenths_of_an_opening_went_with_it(from_s, to_s, down):
    """The contact opens at 5.0 s."""

    def cut(t):
        return 12.5 * (during(t, (2.0, 8.0)) & ~during(t, (from_s, to_s)))

    found = examine_chatter(a_bench(lines={"trigger_v": cut}, without=["battery_v"], opened=[(5.0, 5.3)]))
    assert (found.disqualified is not None) is down


@pytest.mark.parametrize(("falls_at", "counts"), [(None, 0), (3.0, 1)])
def test_contact_is_watched_from_the_trigger_s_rise_where_the_key_was_marked_on_long_before(falls_at, counts):
    """Marked on at 2 s, the trigger comes at 4 s and opens a contact that was closed: nothing drove it before.

    Where the trigger was there, went at 3 s and came back, an opening as it comes is out of turn.
    """
    falls = () if falls_at is None else (edge(falls_at, "low"),)
    lines = {
        "trigger_v": lambda t: 12.5 * during(t, *([(2.0, 3.0)] if falls else []), (4.0, 8.0)),
        "feed_v": lambda t: 12.4 * ~during(t, (4.01, 8.01)),
    }
    told = {"rises": (edge(4.0, "high"),), "falls": (*falls, edge(8.0, "low"))}

    assert count(lines=lines, told=told) == counts
