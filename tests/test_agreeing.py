"""Of several logs that show one check: which decides it, and what can and cannot be outvoted."""

import itertools
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

import benchlog
from benchlog.analysis.measurement import Measured, NotEvaluated, UncertaintyParts
from benchlog.plan.model import plan_from_mapping
from benchlog.verdict.checks import judge

PLAN = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "relay": {"pull_in_max_ms": 30, "drop_out_max_ms": 60},
    "feed": {"drop_max_v": 0.3},
    "limits": {"off_state_drain_ma": 1.0, "added_drain_ma": 0.5, "crank_min_v": 9.6, "feed_in_crank": "drop",
               "charging_min_v": 13.5, "charging_max_v": 14.8, "settle_max_s": 120},
}  # fmt: skip
HOURS_8 = 8 * 3600.0


def found(value, u=0.01, **more):
    """A finding of one log."""
    return Measured(value, u, 0.0, more.get("watched_s") or 1.0, **more)


def judged(check_id, *findings):
    """The check from the findings of logs a, b, c …, in every order of the logs, which must not matter."""
    named = [(letter, {check_id: finding}) for letter, finding in zip("abcdef", findings, strict=False)]
    results = [
        next(check for check in judge(plan_from_mapping(PLAN), list(order)) if check.id == check_id)
        for order in itertools.permutations(named)
    ]
    assert len({(check.verdict, round(check.measured or 0.0, 6)) for check in results}) == 1
    return results[0]


# ---- the drain


def test_quiet_minutes_do_not_replace_a_night_that_woke():
    """1.24 ± 0.35 mA overnight stays not proven beside a pass of 400 s that saw no wake-up."""
    night = found(1.24, 0.175, watched_s=HOURS_8)
    short = found(0.3, 0.01, watched_s=400.0)

    check = judged("off_state_drain", night, short)

    assert (check.verdict, check.log) == ("not proven", "a")


def test_longest_watch_decides_even_where_a_short_one_is_surer():
    """0.7 ± 0.1 mA of a night is the figure, not 0.6 ± 0.001 mA of ten minutes."""
    check = judged("off_state_drain", found(0.7, 0.05, watched_s=HOURS_8), found(0.6, 0.0005, watched_s=600.0))

    assert (check.verdict, check.log, check.measured) == ("pass", "a", 0.7)


def test_short_watch_that_shows_more_is_judged():
    """A night of 0.3 mA does not excuse 0.95 ± 0.1 mA seen by day, which is not proven; the sentence tells both."""
    check = judged("off_state_drain", found(0.3, 0.01, watched_s=HOURS_8), found(0.95, 0.05, watched_s=400.0))

    assert (check.verdict, check.log) == ("not proven", "b")
    assert "a shows 0.300 ± 0.020 mA" in check.because


def test_proven_failure_of_a_short_watch_is_a_failure():
    """2 mA over 400 s is not averaged away by a quiet night."""
    check = judged("off_state_drain", found(0.3, 0.01, watched_s=HOURS_8), found(2.0, 0.05, watched_s=400.0))

    assert (check.verdict, check.log) == ("fail", "b")


@pytest.mark.parametrize("night", [found(1.0, 3.0, watched_s=HOURS_8), found(0.5, None, watched_s=HOURS_8)])
def test_night_too_coarse_to_see_it_counts_neither_way(night):
    """± 6 mA, or an accuracy that nobody states, tells nothing of 1 mA: the finer log decides alone."""
    check = judged("off_state_drain", night, found(0.3, 0.01, watched_s=400.0))

    assert (check.verdict, check.log) == ("pass", "b")


@pytest.mark.parametrize("u", [3.0, None])
def test_wake_ups_count_however_coarse_the_offset(u):
    """A night whose wake-ups alone add 1.1 mA to its base shows something worse, though its zero is anybody's guess."""
    parts = UncertaintyParts(0.05, HOURS_8, 3.0, 0.0, 0.0)
    night = found(1.5, u, watched_s=HOURS_8, at_rest=0.4, parts=parts)

    check = judged("off_state_drain", night, found(0.3, 0.01, watched_s=400.0))

    assert (check.verdict, check.log) == ("not proven", "a")


def test_wake_ups_over_a_base_below_zero_count_too():
    """A coarse zero that reads 0.9 mA too low hides no wake-ups of 1.1 mA, and one log never outdoes itself."""
    parts = UncertaintyParts(0.05, HOURS_8, 3.0, 0.0, 0.0)
    night = found(0.2, 3.0, watched_s=HOURS_8, at_rest=-0.9, parts=parts)

    assert judged("off_state_drain", night, found(0.3, 0.01, watched_s=400.0)).verdict == "not proven"
    assert judged("off_state_drain", found(0.3, 0.01, watched_s=400.0, at_rest=-0.5)).verdict == "pass"


def test_gap_in_the_night_does_not_make_the_minutes_decide():
    """A night with a gap is doubtful, but a short quiet log is no answer to it."""
    night = found(0.4, 0.01, watched_s=HOURS_8, disqualified="the log has a gap of 6000 s in that stretch")

    assert judged("off_state_drain", night, found(0.3, 0.01, watched_s=400.0)).verdict == "not proven"


def test_bypassed_shunt_saw_nothing_however_long():
    """A night that may have gone past the shunt counts neither way."""
    night = found(0.0, 0.01, watched_s=HOURS_8, one_sided="the shunt may be bypassed", needs_load_step=True)

    check = judged("off_state_drain", night, found(0.3, 0.01, watched_s=400.0))

    assert (check.verdict, check.log) == ("pass", "b")


def test_added_drain_follows_the_same_rule():
    """What the install adds is that of the longest watch too."""
    check = judged("added_drain", found(0.45, 0.05, watched_s=HOURS_8), found(0.1, 0.01, watched_s=400.0))

    assert (check.verdict, check.log) == ("not proven", "a")


# ---- everything else


def test_pass_must_hold_in_every_log_that_can_see_it():
    """0.10 V and 0.29 V lost in the feed, both within 0.005 V: the worse is judged, and is not proven."""
    check = judged("feed_drop", found(0.1, 0.0025), found(0.297, 0.0025))

    assert (check.verdict, check.log) == ("not proven", "b")


def test_logs_that_agree_are_judged_by_the_surest():
    """0.10 ± 0.01 V and 0.25 ± 0.20 V agree, so the coarse one does not spoil the pass."""
    check = judged("feed_drop", found(0.1, 0.005), found(0.25, 0.1))

    assert (check.verdict, check.log) == ("pass", "a")


def test_coarse_pass_does_not_outdo_a_sure_doubt():
    """0.297 ± 0.005 V of 0.3 stays not proven beside 0.10 ± 0.20 V, which agrees with it."""
    check = judged("feed_drop", found(0.297, 0.0025), found(0.1, 0.1))

    assert (check.verdict, check.log) == ("not proven", "a")


@pytest.mark.parametrize(
    ("check_id", "milder", "worse"),
    [
        ("crank_minimum", 10.5, 9.7),  # a lower limit: less is worse
        ("charging_voltage", 14.1, 13.6),  # a window: nearer to an edge is worse
        ("charging_voltage", 14.1, 14.75),
        ("feed_in_crank", 0.5, 0.1),  # "drop": a shorter loss is worse
        ("settle_time", 30.0, 90.0),
        ("relay_drop_out", 10.0, 50.0),
    ],
)
def test_worse_is_what_lies_nearer_to_breaking_the_limit(check_id, milder, worse):
    """Whatever the limit's side, the value that is nearer to breaking it is judged; here both pass."""
    check = judged(check_id, found(milder), found(worse))

    assert (check.verdict, check.log, check.measured) == ("pass", "b", worse)


def test_log_too_slow_counts_neither_way():
    """10 Hz say nothing of a relay; the fast log's pass stands."""
    slow = found(40.0, 80.0, one_sided="too slow")

    assert judged("relay_pull_in", found(5.0, 0.5), slow).verdict == "pass"
    assert judged("crank_minimum", found(10.5), found(10.48, one_sided="samples 100 ms apart")).verdict == "pass"


def test_log_too_slow_that_shows_worse_is_judged():
    """One slow sample at 9.7 V says that the battery fell at least so low: the 10.5 V of another crank is no pass."""
    check = judged("crank_minimum", found(10.5), found(9.61, one_sided="samples 100 ms apart can miss the lowest"))

    assert (check.verdict, check.log) == ("not proven", "b")


def test_slow_log_that_saw_chatter_fails():
    """A relay that was seen to chatter chatters, though a fast capture of two seconds saw none."""
    slow = found(3.0, 0.0, one_sided="samples 50 ms apart can miss an opening")
    seconds = found(0.0, 0.0, one_sided="no whole stretch with the key on")

    assert judged("relay_chatter", slow, seconds).verdict == "fail"
    assert judged("relay_chatter", found(0.0, 0.0, one_sided="too slow"), seconds).verdict == "not proven"
    assert judged("relay_chatter", found(0.0, 0.0), seconds).verdict == "pass"


def test_doubtful_figure_proves_nothing_either_way():
    """A step that may be another load's does not contradict the circuit's own current."""
    check = judged("feed_drop", found(0.1), found(0.28, disqualified="the step may be another load"))

    assert (check.verdict, check.log) == ("pass", "a")


base = st.floats(-1, 2)
finding = st.one_of(
    st.builds(found, st.floats(0, 3), st.floats(0.001, 2), watched_s=st.floats(100, 1e5), at_rest=base),
    st.builds(found, st.floats(0, 3), st.floats(0.001, 2), watched_s=st.floats(100, 1e5)),
    st.builds(found, st.floats(0, 3), st.floats(0.001, 2), watched_s=st.floats(100, 1e5), one_sided=st.just("slow")),
    st.builds(found, st.floats(0, 3), st.none(), watched_s=st.floats(100, 1e5)),
    st.just(NotEvaluated("not there")),
)


@given(st.sampled_from(["off_state_drain", "feed_drop", "crank_minimum"]), st.lists(finding, min_size=1, max_size=3))
def test_no_pass_without_a_log_that_passes_nor_over_a_failure(check_id, findings):
    """Whatever logs are put together: a pass is one of them's, and none of them fails."""
    alone = {judged(check_id, each).verdict for each in findings}
    together = judged(check_id, *findings).verdict

    assert "fail" not in alone or together == "fail"
    assert together != "pass" or "pass" in alone
    assert together != "fail" or "fail" in alone


# ---- the shunt that may be bypassed, over logs


LOGGER = {
    "logger": {"name": "two ranges"},
    "channel": [
        {"column": "battery_a", "role": "battery_a", "unit": "A", "gain_error_pct": 0.5, "offset_error": 0.0001,
         "resolution": 0.00001},
        {"column": "feed_v", "role": "feed_v", "unit": "V", "gain_error_pct": 0.5, "offset_error": 0.01,
         "resolution": 0.001},
    ],
}  # fmt: skip


def parked():
    """Ten minutes with the key off, through a shunt that sees nothing."""
    time = np.arange(0, 600, 0.5)
    noise = np.random.default_rng(3).normal(0, 2e-5, len(time))
    return pd.DataFrame({"time_s": time, "battery_a": np.round(noise, 5), "feed_v": 0.002})


def loaded(channel_at_work=True):
    """A minute with the key on for a while, 5 A through the shunt, or past it."""
    time = np.arange(0, 60, 0.01)
    on = (time > 20) & (time < 50)
    amps = 5.0 * on if channel_at_work else np.zeros(len(time))
    noise = np.random.default_rng(4).normal(0, 2e-5, len(time))
    return pd.DataFrame({"time_s": time, "battery_a": np.round(amps + noise, 5), "feed_v": np.where(on, 12.4, 0.002)})


def drain_of(*logs, loggers=None):
    """The drain's check of these frames."""
    return benchlog.check(list(logs), plan=PLAN, logger=loggers or LOGGER).check("off_state_drain")


def test_drain_near_zero_alone_is_not_proven():
    """Nothing through the shunt may be nothing to measure, or a shunt that is bridged."""
    check = drain_of(parked())

    assert check.verdict == "not proven"
    assert "bypassed" in check.because


def test_load_in_another_log_shows_the_shunt_at_work():
    """The same channel of the same logger that showed 5 A in one log is trusted in the other."""
    check = drain_of(parked(), loaded())

    assert (check.verdict, check.log) == ("pass", "log 1")
    assert "the channel showed a load in log 2" in check.because


def test_noise_in_another_log_is_no_load():
    """A log in which the shunt saw nothing while 12 V came and went lifts no doubt."""
    assert drain_of(parked(), loaded(channel_at_work=False)).verdict == "not proven"


def test_another_logger_lifts_no_doubt(tmp_path):
    """The load must have gone through the same channel of the same logger."""
    other = {**LOGGER, "logger": {"name": "another"}}
    paths = []
    for name, frame, logger in (("parked", parked(), LOGGER), ("loaded", loaded(), other)):
        path = tmp_path / f"{name}.csv"
        frame.to_csv(path, index=False)
        channels = "".join(
            "[[channel]]\n" + "".join(f"{key} = {value!r}\n" for key, value in channel.items())
            for channel in logger["channel"]
        )
        toml = f"[logger]\nname = {logger['logger']['name']!r}\n[time]\ncolumn = 'time_s'\n{channels}"
        (tmp_path / f"{name}.logger.toml").write_text(toml, encoding="utf-8")
        paths.append(path)

    assert benchlog.check(paths, plan=PLAN).check("off_state_drain").verdict == "not proven"


# ---- what a pass of the drain says


@pytest.mark.parametrize(("lasts_s", "days"), [(1800, False), (4000, True)])
def test_days_are_told_after_an_hour_of_watch(lasts_s, days):
    """A pass says how long was watched; how long the bike can stand is told from an hour on."""
    time = np.arange(0, lasts_s, 1.0)
    amps = 0.0005 + np.random.default_rng(5).normal(0, 1e-5, len(time))
    check = drain_of(pd.DataFrame({"time_s": time, "battery_a": np.round(amps, 5), "feed_v": 0.002}))

    assert check.verdict == "pass"
    assert f"watched for {lasts_s - 1} s" in check.because
    assert ("half charge" in check.because) is days


def test_figures_without_bound_do_not_decide():
    """An infinite uncertainty sees nothing."""
    assert judged("feed_drop", found(0.1), found(0.2, math.inf)).verdict == "pass"
