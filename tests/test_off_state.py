"""Drain and settling on key-offs written by hand: figures, doubts, and what keeps them from counting."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hand_bench import AMPS, EXACT, HandLog, bench, plan, story, times

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.settling import Settled
from benchlog.analysis.zero import Zero
from benchlog.core.uncertainty import Accuracy, rectangular
from benchlog.examine.bypass import BYPASSED, shows_load
from benchlog.examine.off_spans import OffSpan, over_range, too_short
from benchlog.examine.off_state import examine_off_state

FINE = Accuracy(0.01, 0.0005, 0.0)
#: Half a milliampere of noise, the same for all.
NOISE = np.random.default_rng(4).normal(0, 0.0001, 20000)


def a_bench(
    amps=0.005,
    settles_s=8.0,
    wakes=(),
    end_s=300.0,
    off_s=50.0,
    on_a=4.0,
    step_s=0.1,
    limits=(),
    values=None,
    over=None,
    keep=None,
    **more,
):
    """Key on until 50 s at 4 A, then 0.1 A until it settles; ``wakes`` are (at, for, A)."""
    t = times(end_s, step_s)
    current = np.where(t < off_s, on_a, np.where(t < off_s + settles_s, 0.1, amps)) + NOISE[: len(t)]
    for at, lasts, height in wakes:
        current = np.where((t >= at - 1e-6) & (t < at + lasts - 1e-6), amps + height, current)
    channels = {"battery_a": current, **{role: x(t) for role, x in (values or {}).items()}}
    for role in more.pop("without", ()):
        del channels[role]
    flags = None if over is None else {"battery_a": over(t)}
    if keep is not None:
        channels = {role: x[keep(t)] for role, x in channels.items()}
        t = t[keep(t)]
    log = HandLog(t, channels, more.pop("marks", ()), flags)
    named = {"off_state_drain_ma": 10.0, "settle_max_s": 30.0, **dict(limits)}
    off = more.pop("off", ((off_s, end_s),))
    told = story(more.pop("on", ((0.0, off_s),)), off, **more.pop("told", {}))
    known = dict.fromkeys(channels, more.pop("accuracy", FINE))
    tables = {"limits": {key: value for key, value in named.items() if value is not None}}
    return bench(log, told, plan(3.0, **tables, **dict(more.pop("tables", {}))), accuracy=known, **more)


def found(**how):
    """Drain and settling."""
    both = examine_off_state(a_bench(**how)).findings
    return both["off_state_drain"], both["settle_time"]


def test_settled_drain_is_its_mean_with_the_channels_doubt():
    """5 mA from 58 s on, after a key-off at 50 s."""
    drain, settle = found()

    assert drain.value == pytest.approx(5.0, abs=0.02)
    assert drain.u == pytest.approx(1000 * FINE.level_u(0.005), rel=0.02)
    assert drain.story == "watched for 242 s, no wake-up of 0.2 s or longer seen"
    assert (drain.from_s, drain.to_s) == (pytest.approx(58.0, abs=0.11), pytest.approx(299.9, abs=0.11))
    assert (drain.watched_s, drain.offset_limit) == (pytest.approx(242, abs=0.3), pytest.approx(0.5))
    assert drain.at_rest == pytest.approx(5.0, abs=0.02)
    assert (drain.disqualified, drain.one_sided, drain.failed, drain.needs_load_step) == (None, None, None, False)
    assert drain.parts.offset == pytest.approx(1000 * rectangular(0.0005))
    assert drain.parts.zeroable is True
    assert drain.parts.watched_s == pytest.approx(242, abs=0.5)
    assert settle.value == pytest.approx(8.0, abs=0.1)
    assert settle.from_s == 50.0
    assert settle.to_s == pytest.approx(58.0, abs=0.11)
    assert settle.story == "after one key-off, to within 0.5 mA"
    low, high = settle.interval
    assert low == pytest.approx(7.8, abs=0.11)
    assert high == pytest.approx(8.2, abs=0.11)
    assert settle.u == pytest.approx(rectangular((high - low) / 2))


def test_drain_of_no_stated_accuracy_has_no_doubt():
    """And no offset that it lies within."""
    drain, _ = found(accuracy=None)

    assert (drain.u, drain.offset_limit, drain.parts) == (None, None, None)


def test_current_or_key_off_that_lacks_is_named():
    """Each in its own words."""
    drain, settle = found(without=["battery_a"], values={"feed_v": lambda t: 0 * t})
    assert drain.why == settle.why == "neither drain_a nor battery_a is logged"
    drain, settle = found(off=())
    assert drain.why == "the log holds no stretch with the key off; record one after turning the key off"
    assert settle.why == "the log holds no key-off; turn the key off while it records"
    assert found(off=(), told={"source": "none"})[0].why == "the log has no channel that shows the key's state"
    opening = found(off=((0.0, 300.0),), on=(), on_a=0.005, settles_s=0.0)
    assert opening[0].value == pytest.approx(5.0, abs=0.02)
    assert opening[1].why == "the log holds no key-off; turn the key off while it records"


@pytest.mark.parametrize(("end_s", "longer"), [(89.0, None), (87.0, 1), (70.0, 18)])
def test_stretch_must_stay_settled_for_the_settling_time(end_s, longer):
    """30 s of it, from 58 s on."""
    drain, settle = found(end_s=end_s)

    if longer is None:
        assert drain.value == pytest.approx(5.0, abs=0.05)
    else:
        lasts = end_s - 58
        why = f"no key-off stretch stayed settled for 30 s (the longest for {lasts:.0f} s); record at least {longer} s"
        assert drain.why.startswith(why)
        assert settle.why.startswith(why)


def test_reason_tells_of_pulled_fuses_bridges_and_lost_samples():
    """Beside the time that lacks."""
    settled = Settled(58.0, 70.0, 0.1, 0.005, ())
    span = OffSpan(50.0, 70.0, False, settled, "battery_a")
    bridged = a_bench(bridged=(Bridge(60.0, 62.0),), left_out=((61.0, 62.0),))

    assert too_short(bridged, [span]) == (
        "no key-off stretch stayed settled for 30 s with all fuses in (the longest for 12 s); record "
        "at least 18 s longer "
        "with the key off; the shunt was bridged from 60.0 s to 62.0 s, so no current was measured there"
    )
    long = replace(span, settled=replace(settled, to_s=90.0))
    assert too_short(a_bench(), [long]).startswith("the settled key-off stretch holds too few valid samples")
    assert "at least 30 s longer" in too_short(a_bench(), [replace(span, settled=None)])


def test_worst_of_several_stretches_counts():
    """5 mA after the first key-off, 7 mA after the second."""
    t = times(300.0, 0.1)
    amps = np.where(t < 50, 4.0, np.where(t < 150, 0.005, np.where(t < 180, 4.0, 0.007))) + NOISE[: len(t)]
    how = {"off": ((50.0, 150.0), (180.0, 300.0)), "on": ((0.0, 50.0), (150.0, 180.0))}
    drain, settle = found(values={"battery_a": lambda _: amps}, **how)

    assert drain.value == pytest.approx(7.0, abs=0.05)
    assert settle.story.startswith("the slowest of 2 key-offs")


def test_wake_ups_are_counted_and_told():
    """Three of 2 s and 30 mA in 242 s: 45 an hour."""
    wakes = tuple((at, 2.0, 0.03) for at in (100.0, 160.0, 220.0))
    drain, _ = found(wakes=wakes)

    assert drain.value == pytest.approx(5.0 + 3 * 2 * 30 / 242, abs=0.05)
    assert drain.story == "watched for 242 s, 5.001 mA between wake-ups, 3 wake-ups, 45 an hour"
    assert found(wakes=wakes[:1])[0].story.endswith("1 wake-up, 15 an hour")
    assert found(step_s=0.04, end_s=200.0)[0].story == "watched for 142 s, no wake-up seen"


def test_wake_ups_alone_may_fail_the_drain():
    """Thirty of 4 s and 80 mA."""
    wakes = tuple((70.0 + 7.5 * n, 3.0, 0.08) for n in range(30))
    drain, _ = found(wakes=wakes)

    assert drain.failed.startswith("30 wake-ups alone draw")
    assert found(wakes=wakes, limits={"off_state_drain_ma": None})[0].failed is None


@pytest.mark.parametrize(("end_s", "lasts"), [(7200.0, "7141 s"), (7300.0, "2.0 h")])
def test_long_watch_is_told_in_hours_and_with_the_days_it_leaves(end_s, lasts):
    """From an hour on: 5 mA leave 5 Ah for 42 days."""
    drain, _ = found(end_s=end_s, step_s=1.0)
    assert (
        drain.story == f"watched for {lasts}, no wake-up of 2.0 s or longer seen, 120 mAh a day, 42 days to half charge"
    )
    quick, _ = found(end_s=end_s, step_s=1.0, amps=0.15, settles_s=0.0)
    assert quick.story.endswith("3600 mAh a day, 33 hours to half charge")
    middle, _ = found(end_s=end_s, step_s=1.0, amps=0.085, settles_s=0.0)
    assert middle.story.endswith("2040 mAh a day, 2 days to half charge")
    assert "mAh" not in found(end_s=3650.0, step_s=1.0)[0].story
    assert "mAh" in found(end_s=3670.0, step_s=1.0)[0].story
    assert "mAh" not in found(end_s=end_s, step_s=1.0, amps=-0.005)[0].story


def test_gap_of_a_tenth_of_the_stretch_leaves_its_mean_unproven():
    """26 of 242 s, or 23."""
    drain, _ = found(keep=lambda t: (t < 150) | (t > 176))
    assert drain.disqualified == "the log has a gap of 26 s in that stretch"
    assert found(keep=lambda t: (t < 150) | (t > 173))[0].disqualified is None


def test_current_into_the_battery_says_so():
    """By more than two uncertainties."""
    into = "the current flows into the battery by this reading: the shunt may be reversed, or its zero is off"

    assert found(amps=-0.0007)[0].disqualified == into
    assert found(amps=-0.0005)[0].disqualified is None
    assert found(amps=-0.0001, accuracy=None)[0].disqualified == into


def test_drain_that_cannot_be_told_from_nothing_needs_a_load_step_in_its_channel():
    """None in a log of the key-off alone."""
    how = {"off": ((0.0, 300.0),), "on": (), "settles_s": 0.0}
    drain, _ = found(amps=0.0004, on_a=0.0004, **how)
    assert (drain.one_sided, drain.needs_load_step) == (BYPASSED, True)
    assert found(amps=0.0008, on_a=0.0008, **how)[0].one_sided is None
    assert found(amps=0.0004)[0].one_sided is None


def test_samples_over_range_make_the_drain_larger():
    """However small it reads."""
    drain, _ = found(over=lambda t: (t > 200) & (t < 200.35))

    assert drain.one_sided == "3 samples of battery_a were over range in that stretch, so the drain is larger"
    assert drain.needs_load_step is False


def test_channel_over_range_to_the_end_shows_no_drain():
    """Its figure is what nobody saw."""
    span = OffSpan(50.0, 90.0, False, Settled(90.0, 90.0, 0.0, math.inf, ()), "drain_a")

    told = over_range([span], 30.0)
    assert told.disqualified == "drain_a was over range to the end of that stretch"
    assert (told.remedy, told.from_s, told.to_s) == ("a channel with a wider range would show it", 50.0, 90.0)
    assert over_range([span], 41.0) is None
    assert over_range([replace(span, settled=Settled(60.0, 90.0, 0.0, 0.1, ()))], 30.0) is None
    assert over_range([replace(span, settled=None)], 30.0) is None


def test_visit_by_hand_decides_no_verdict():
    """Awake at 0.4 A for 10 s once: 21 mA with it, 5 mA without; three times is its habit."""
    visit = ((150.0, 10.0, 0.4),)
    drain, _ = found(wakes=visit)
    assert drain.disqualified == (
        "the bike was awake for a moment (at 150 s), and without that its drain would be 5 mA: it woke by itself, or "
        "somebody was at it; leave it alone while it records, for longer"
    )
    twice = ((150.0, 10.0, 0.4), (220.0, 10.0, 0.4))
    assert "(at 150 s and 220 s)" in found(wakes=twice)[0].disqualified
    thrice = (*twice, (100.0, 10.0, 0.4))
    assert found(wakes=thrice)[0].disqualified is None
    assert found(wakes=visit, limits={"off_state_drain_ma": 4.0})[0].disqualified is None
    assert found(wakes=visit, limits={"off_state_drain_ma": 25.0})[0].disqualified is None
    assert found(wakes=visit, limits={"off_state_drain_ma": None})[0].disqualified is None


def test_drain_that_reads_as_its_zero_is_judged_without_it():
    """0.4 mA on a zero known to 0.3 mA; 5 mA is told from it."""
    zero = {"zeros": {"battery_a": Zero(0.002, 0.0003)}, "stated": {"battery_a": AMPS}}
    near, _ = found(amps=0.0004, accuracy=Accuracy(0.0, 0.0, 0.0), **zero)
    assert near.value == pytest.approx(2.4, abs=0.02)
    assert near.u == pytest.approx(1000 * AMPS.level_u(0.0024), rel=0.01)
    assert near.story.endswith(", no different from the zero, judged without it")
    assert near.offset_limit == pytest.approx(30.0)
    assert near.at_rest == pytest.approx(2.4, abs=0.02)
    assert near.parts.zeroable is False
    far, _ = found(accuracy=Accuracy(0.0, 0.0, 0.0), **zero)
    assert (far.value, far.offset_limit) == (pytest.approx(5.0, abs=0.02), None)
    assert found(amps=0.0007, accuracy=EXACT, **zero)[0].value == pytest.approx(0.7, abs=0.02)
    unstated = found(amps=0.0004, accuracy=EXACT, zeros=zero["zeros"])[0]
    assert unstated.u is None


@pytest.mark.parametrize(
    ("height", "noise", "u", "resolution", "shows"),
    [
        (0.011, 0.0, 0.0, 0.0, True),
        (0.009, 0.0, 0.0, 0.0, False),
        (0.021, 0.0, 0.001, 0.0, True),
        (0.019, 0.0, 0.001, 0.0, False),
        (0.021, 0.0, 0.0, 0.002, True),
        (0.019, 0.0, 0.0, 0.002, False),
        (0.050, 0.002, 0.0, 0.0, True),
        (0.030, 0.002, 0.0, 0.0, False),
    ],
)
def test_channel_shows_a_load_by_10_milliamperes_its_steps_noise_and_doubt(height, noise, u, resolution, shows):
    """Ten steps, twenty times its noise and its doubt."""
    n = np.arange(2000)
    amps = height * (n > 1900) + noise * np.where(n % 2, 0.5, -0.5) * (n < 1900)
    one = bench(HandLog(n * 0.1, {"battery_a": amps}), story(), accuracy={"battery_a": Accuracy(0.0, 0.0, resolution)})

    assert shows_load(one, "battery_a", u) is shows
    assert shows_load(bench(HandLog(n * 0.1, {"battery_a": amps}, over={"battery_a": n == 5}), story()), "battery_a")
