"""How trigger, feed and ground bus stand over the battery in each state of the key, on lines written by hand."""

import numpy as np
import pytest
from hand_bench import HandLog, bench, plan, story, times

from benchlog.analysis.cranking import Crank
from benchlog.examine.context import KeyTurn
from benchlog.examine.observe_lines import line_states

NAN = float("nan")


def a_bench(
    step_s=0.02, without=(), on=((20.0, 60.0),), off=((0.0, 20.0), (60.0, 100.0)), told=(), left_out=(), **lines
):
    """Key on from 20 to 60 s of 100 s: trigger at 11, feed at 12, bus at 0.25 V then, of a battery at 12.5 V."""
    t = times(100.0, step_s)
    up = (t >= 20) & (t < 60)
    values = {"battery_v": np.full(len(t), 12.5), "trigger_v": 11.0 * up, "feed_v": 12.0 * up, "ground_v": 0.25 * up}
    values |= {role: np.array(np.broadcast_to(make(t), len(t))) for role, make in lines.items()}
    for role in without:
        del values[role]
    return bench(HandLog(t, values), story(on, off, **dict(told)), plan(3.0), left_out=left_out)


def seen(**how):
    """Quantity -> its figure, to three digits."""
    return {name: round(one.value, 3) for name, one in line_states(a_bench(**how)).items()}


def test_each_state_of_each_line_is_told_over_the_battery():
    """With the key on, after it and before it."""
    found = line_states(a_bench())

    assert {name: round(one.value, 3) for name, one in found.items()} == {
        **{"trigger_on": 0.88, "trigger_duty": 1.0, "trigger_falls_hz": 0.0, "trigger_off": 0.0, "trigger_before": 0.0},
        **{
            "feed_on": 0.96,
            "feed_duty": 1.0,
            "feed_falls_hz": 0.0,
            "feed_off": 0.0,
            "feed_before": 0.0,
            "bus_on": 0.02,
        },
    }
    assert {name: one.u for name, one in found.items() if not name.endswith(("duty", "falls_hz"))} == dict.fromkeys(
        ("trigger_on", "trigger_off", "trigger_before", "feed_on", "feed_off", "feed_before", "bus_on"), 0.01
    )
    assert found["trigger_duty"].u == found["feed_falls_hz"].u == 0.005
    assert found["trigger_on"].text == "trigger at 11.0 V with the key on"
    assert found["feed_off"].text == "feed at 0.0 V after the key-off"
    assert found["feed_before"].text == "feed at 0.0 V before the first key-on"
    assert found["trigger_duty"].text == "trigger up for 100 % of the time with the key on"
    assert found["trigger_falls_hz"].text == "trigger goes down 0 times a second or more with the key on"
    assert found["bus_on"].text == "ground bus at 0.25 V with the feed live"


def test_lines_that_are_not_logged_are_not_told():
    """Each by itself; a bus counts where the feed is live alone."""
    assert not [name for name in seen(without=["trigger_v"]) if name.startswith("trigger")]
    assert not [name for name in seen(without=["feed_v"]) if name.startswith(("feed", "bus"))]
    assert "bus_on" not in seen(feed_v=lambda t: 6.1 + 0 * t)
    assert "bus_on" in seen(feed_v=lambda t: 6.4 + 0 * t)
    assert "bus_on" not in seen(without=["ground_v"])


def test_lines_come_up_within_half_a_second_and_go_within_five():
    """What they do meanwhile does not count; of a short key-off its second half does."""

    def late(t):
        return 12.0 * ((t >= 20.48) & (t < 64.9))

    assert (seen(feed_v=late)["feed_duty"], seen(feed_v=late)["feed_off"]) == (1.0, 0.0)
    later = 12.0 * ((times(100.0, 0.02) >= 21.5) & (times(100.0, 0.02) < 60))
    assert seen(feed_v=lambda _: later)["feed_duty"] < 0.98

    short = {"off": ((0.0, 20.0), (60.0, 66.0)), "on": ((20.0, 60.0), (66.0, 99.0))}
    assert seen(feed_v=lambda t: 12.0 * ((t >= 20) & (t < 62.9)) + 12.0 * (t >= 66), **short)["feed_off"] == 0.0
    assert seen(feed_v=lambda t: 12.0 * ((t >= 20) & (t < 64.6)) + 12.0 * (t >= 66), **short)["feed_off"] == 0.96


def test_key_off_that_is_known_roughly_leaves_the_last_of_the_key_on_out():
    """± 2 s."""

    def early(t):
        return 12.0 * ((t >= 20) & (t < 58.1))

    rough = {"told": {"turns": (KeyTurn(20.0, 0.001, True), KeyTurn(60.0, 2.0, False))}}
    assert seen(feed_v=early)["feed_duty"] < 0.97
    assert seen(feed_v=early, **rough)["feed_duty"] == 1.0


def test_worst_of_several_spans_tells():
    """The highest after a key-off, the lowest while on, and the shortest part of the time."""
    spans = {"on": ((20.0, 30.0), (50.0, 60.0)), "off": ((0.0, 20.0), (30.0, 50.0), (60.0, 100.0))}

    def feed(t):
        first = np.where((t >= 20) & (t < 30), 12.0, 0.0) + np.where((t >= 30) & (t < 50), 2.5, 0.0)
        return first + np.where((t >= 50) & (t < 60) & ((t < 55) | (t >= 56)), 10.0, 0.0)

    found = seen(feed_v=feed, **spans)
    assert (found["feed_on"], found["feed_off"]) == (0.8, 0.2)
    assert found["feed_duty"] == pytest.approx(0.89, abs=0.02)
    assert found["feed_falls_hz"] == pytest.approx(1 / 9.5, abs=0.01)


def test_crank_is_left_out_of_the_levels():
    """From 0.2 s before it to 0.5 s after it."""

    def dipped(t):
        return np.where((t >= 29.75) & (t < 31.4), 0.0, 12.0 * ((t >= 20) & (t < 60)))

    cranked = {"told": {"cranks": (Crank(30.0, 31.0, 12.5, 1.0),)}}
    assert seen(feed_v=dipped, **cranked)["feed_duty"] == pytest.approx(1.0, abs=0.006)
    assert seen(feed_v=dipped)["feed_duty"] < 0.97
    wider = seen(feed_v=lambda t: np.where((t >= 29.0) & (t < 32.4), 0.0, 12.0 * ((t >= 20) & (t < 60))), **cranked)
    assert wider["feed_duty"] < 0.97


def test_stretch_with_a_fuse_out_is_left_out():
    """The feed is live while it is out."""

    def feed(t):
        return 12.0 * ((t >= 20) & (t < 60)) + 12.0 * ((t >= 65) & (t < 90))

    assert seen(feed_v=feed)["feed_off"] == 0.96
    assert seen(feed_v=feed, left_out=((64.0, 91.0),))["feed_off"] == 0.0
    assert "feed_off" not in seen(left_out=((60.0, 100.0),))


def test_battery_that_is_not_read_counts_as_twelve_and_a_half_volts():
    """Or, for moments, as its own middle."""
    assert seen(without=["battery_v"], feed_v=lambda t: 10.0 + 0 * t)["feed_on"] == 0.8
    assert seen(battery_v=lambda t: NAN * t, feed_v=lambda t: 10.0 + 0 * t)["feed_on"] == 0.8
    assert seen(battery_v=lambda t: np.where(t % 10 < 8, 0.9, 12.0), feed_v=lambda t: 9.0 + 0 * t)["feed_on"] == 0.75
    assert seen(battery_v=lambda t: np.where(t % 10 < 4, 1.1, 12.0))["bus_on"] < 0.03


def buzz(share=0.5, hz=1.0, up=12.0, shift=0.0):
    """A line that goes up and down with the key on."""
    return lambda t: up * ((t >= 20) & (t < 60)) * ((t * hz + shift) % 1.0 < share)


def test_trigger_that_the_contact_takes_down_counts_by_its_mean():
    """It is up where the feed is down and the other way round: fed throughout, though too weakly."""
    found = line_states(a_bench(trigger_v=buzz(0.5, up=11.0), feed_v=buzz(0.5, shift=0.5)))

    assert found["trigger_on"].value == pytest.approx(0.88 * 0.5, abs=0.03)
    assert found["trigger_on"].text.startswith("trigger at 43% of the battery's voltage on average, key on")
    assert (found["trigger_duty"].value, found["trigger_falls_hz"].value) == (1.0, 0.0)
    assert found["trigger_duty"].text == "the trigger goes down as the contact closes and comes back as it opens"
    assert {found[name].u for name in ("trigger_duty", "trigger_falls_hz")} == {0.005}
    assert found["trigger_on"].u == 0.01


@pytest.mark.parametrize(
    ("trigger", "feed"),
    [
        (buzz(0.5), buzz(0.5)),
        (buzz(0.5, 0.25), buzz(0.5, 0.25, shift=0.5)),
        (buzz(0.5), lambda t: 12.0 * ((t >= 20) & (t < 60))),
        (lambda t: 12.0 * ((t >= 20) & (t < 60)), buzz(0.5)),
        (buzz(0.5), buzz(0.5, shift=0.3)),
    ],
)
def test_trigger_that_goes_with_the_contact_or_seldom_is_taken_down_by_nothing(trigger, feed):
    """In step, twice in eight seconds, or alone; and not opposed enough."""
    found = line_states(a_bench(trigger_v=trigger, feed_v=feed))

    assert found["trigger_duty"].text.startswith("trigger up for")


def test_lines_that_buzz_are_watched_for_four_seconds_amid_the_key_on():
    """At 38 to 42 s they oppose each other; before and after they do not. 50 samples are needed."""

    def feed(t):
        amid = (t >= 38) & (t < 42)
        return np.where(amid, buzz(0.5, shift=0.5)(t), buzz(0.5)(t))

    assert line_states(a_bench(trigger_v=buzz(0.5), feed_v=feed))["trigger_duty"].value == 1.0
    few = line_states(a_bench(0.09, trigger_v=buzz(0.5, 0.5), feed_v=buzz(0.5, 0.5, shift=0.5)))
    enough = line_states(a_bench(0.07, trigger_v=buzz(0.5, 0.5), feed_v=buzz(0.5, 0.5, shift=0.5)))
    assert few["trigger_duty"].value < 0.6
    assert enough["trigger_duty"].value == 1.0


def test_line_counts_from_five_seconds_after_the_key_off():
    """A key-off of 16 s with the feed live for the first eleven: six of the eleven seconds that count."""
    short = {"off": ((0.0, 20.0), (60.0, 76.0)), "on": ((20.0, 60.0), (76.0, 99.0))}

    assert seen(feed_v=lambda t: 12.0 * (((t >= 20) & (t < 71)) | (t >= 76)), **short)["feed_off"] == 0.96


def test_worst_bus_of_several_key_ons_tells():
    """0.25 V, then 0.5 V."""
    spans = {"on": ((20.0, 30.0), (50.0, 60.0)), "off": ((0.0, 20.0), (30.0, 50.0), (60.0, 100.0))}

    assert seen(ground_v=lambda t: np.where(t < 40, 0.25, 0.5), **spans)["bus_on"] == 0.04


@pytest.mark.parametrize("still", [0.0, 12.0])
def test_line_that_hardly_moves_amid_the_key_on_opposes_nothing(still):
    """One of both buzzes at 38 to 42 s, the other stands."""

    def feed(t):
        return np.where((t >= 37.9) & (t < 42.1), still, buzz(0.5, shift=0.5)(t))

    found = line_states(a_bench(trigger_v=buzz(0.5), feed_v=feed))
    assert found["trigger_duty"].text.startswith("trigger up for")
    other = line_states(a_bench(trigger_v=feed, feed_v=buzz(0.5)))
    assert other["trigger_duty"].text.startswith("trigger up for")
