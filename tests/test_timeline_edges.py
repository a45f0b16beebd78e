"""The log's story on lines written by hand: turns of the key, cranks, runs and the trigger's moves."""

import math

import numpy as np
import pytest
from hand_bench import AMPS, HandLog, times

from benchlog.analysis.cranking import Crank
from benchlog.analysis.running import Running
from benchlog.examine.timeline import _with_marks, segment

NAN = float("nan")
STEP_S = 0.02


def during(t, *stretches):
    """True inside of the stretches."""
    return np.any([(t >= a - 1e-9) & (t < b - 1e-9) for a, b in stretches], axis=0)


def a_log(
    key=((20.0, 80.0),),
    crank=((30.0, 31.0),),
    run=((31.0, 75.0),),
    end_s=120.0,
    without=(),
    marks=(),
    step_s=STEP_S,
    **lines,
):
    """Key, trigger, feed and battery of such a story; ``lines`` gives others in their place, by the times."""
    t = times(end_s, step_s)
    on, turns, runs = during(t, *key), during(t, *crank) if crank else t < -1, during(t, *run) if run else t < -1
    volts = np.where(turns, 9.5, np.where(runs, 14.2, np.where(on, 12.4, 12.7)))
    amps = np.where(turns, 90.0, np.where(runs, -3.0, np.where(on, 5.0, 0.01)))
    values = {"battery_v": volts, "battery_a": amps, "key_v": 12.3 * on, "trigger_v": 12.2 * on, "feed_v": 12.1 * on}
    values |= {role: make(t) for role, make in lines.items()}
    for role in without:
        values.pop(role, None)
    return HandLog(t, values, marks)


def told(*args, accuracy=AMPS, **how):
    """Its story."""
    return segment(a_log(*args, **how), accuracy)


def spans(pairs) -> list[tuple[float, float]]:
    """To a tenth of a second."""
    return [(round(float(a), 1), round(float(b), 1)) for a, b in pairs]


def stretches(found) -> list[tuple[float, float]]:
    """Of cranks or runs."""
    return spans((one.from_s, one.to_s) for one in found)


def test_story_of_a_ride_is_read_from_its_lines():
    """Key on at 20 s, starter at 30 s, engine until 75 s, key off at 80 s."""
    one = told()

    assert (one.source, one.sure, one.parked, one.trigger_pulses, one.marks_contradict) == (
        "key_v",
        True,
        False,
        None,
        False,
    )
    assert spans(one.on) == [(20.0, 80.0)]
    assert spans(one.off) == [(0.0, 20.0), (80.0, 120.0)]
    assert [(round(turn.time_s, 2), turn.on) for turn in one.turns] == [(19.99, True), (79.99, False)]
    assert [turn.half_width_s for turn in one.turns] == [pytest.approx(0.01), pytest.approx(0.01)]
    assert stretches(one.cranks) == [(30.0, 31.0)]
    assert (one.cranks[0].before_v, one.cranks[0].before_a) == (pytest.approx(12.4), pytest.approx(5.0))
    assert [(run.how, run.before_v, run.before_a) for run in one.running] == [("voltage", 12.4, 5.0)]
    assert stretches(one.running)[0][0] == pytest.approx(31.0, abs=0.6)
    assert stretches(one.running)[0][1] == pytest.approx(75.0, abs=1.1)
    assert [round(rise.time_s, 2) for rise in one.rises] == [19.99]
    assert [round(fall.time_s, 2) for fall in one.falls] == [79.99]
    assert [span.kind for span in one.spans] == ["key off", "key on", "cranking", "running", "key off"]
    assert [one.half_width_s(turn.time_s) for turn in one.turns] == [pytest.approx(0.01)] * 2
    assert one.half_width_s(50.0) == 0.0


def test_parked_log_has_the_key_off_throughout():
    """Whatever the lines are; a log of drain alone has no key."""
    parked = told(key=((500.0, 501.0),), crank=(), run=())
    assert (parked.parked, parked.on, spans(parked.off)) == (True, (), [(0.0, 120.0)])
    assert told().parked is False
    t = times(60.0)
    assert segment(HandLog(t, {"battery_c": 20.0}), None).parked is False
    assert segment(HandLog(t, {"battery_c": 20.0}), None).source == "none"


def test_dip_of_the_lines_amid_a_crank_is_no_turn_of_the_key():
    """Trigger and key line are cut from 30.2 to 30.8 s; the trigger's rise just before a crank is the key."""

    def cut(volts):
        return lambda t: volts * (during(t, (20.0, 80.0)) & ~during(t, (30.2, 30.8)))

    one = told(key_v=cut(12.3), trigger_v=cut(12.2))
    assert [turn.on for turn in one.turns] == [True, False]
    assert [round(move.time_s) for move in (*one.rises, *one.falls)] == [20, 80]


@pytest.mark.parametrize(
    ("from_s", "to_s", "kept"), [(29.3, 29.4, 2), (29.6, 29.66, 1), (31.8, 32.3, 1), (32.2, 32.4, 2)]
)
def test_moves_of_the_trigger_around_a_crank_are_the_starters(from_s, to_s, kept):
    """A fall from half a second before it, any move until a second after it."""

    def cut(t):
        return 12.2 * (during(t, (20.0, 80.0)) & ~during(t, (from_s, to_s)))

    assert len(told(trigger_v=cut).falls) == kept


def test_crank_outside_of_the_key_on_is_none():
    """By marks the key is off until 35 s."""
    marks = {"key on": 40.0, "key off": 80.0}
    lines = {"without": ("key_v", "trigger_v", "feed_v")}

    one = told(marks=marks, run=(), **lines)
    assert stretches(one.cranks) == []
    assert stretches(told(marks={"key on": 20.0, "key off": 80.0}, run=(), **lines).cranks) == [(30.0, 31.0)]
    assert stretches(told(marks={"key on": 20.0, "key off": 30.6}, run=(), **lines).cranks) == [(30.0, 31.0)]
    assert stretches(told(marks={"key on": 20.0, "key off": 30.3}, run=(), **lines).cranks) == []


def test_line_that_goes_down_around_a_mark_of_a_crank_shows_it_without_a_battery():
    """From 2 s before it to 4 s after it, for 20 s at the most, and not at the log's end."""

    def cut(from_s, to_s):
        return lambda t: 12.3 * (during(t, (20.0, 118.0)) & ~during(t, (from_s, to_s)))

    def cranks(at_s, from_s=30.0, to_s=31.0):
        how = {
            "without": ("battery_v", "battery_a", "trigger_v", "feed_v"),
            "marks": [(at_s, "crank"), (19.0, "key on")],
        }
        one = told(key_v=cut(from_s, to_s), key=((20.0, 118.0),), **how)
        return stretches(one.cranks)

    assert cranks(30.0) == [(30.0, 31.0)]
    assert cranks(33.9) == [(30.0, 31.0)]
    assert cranks(34.1) == []
    assert cranks(28.1) == [(30.0, 31.0)]
    assert cranks(27.9) == []
    assert cranks(30.0, to_s=49.8) == [(30.0, 49.8)]
    assert cranks(30.0, to_s=50.2) == []
    assert cranks(20.5) == []


def pulsed(duty=0.5, hz=5.0):
    """A trigger that is pulsed while the key is on."""
    return lambda t: 12.2 * during(t, (20.0, 80.0)) * ((t * hz + 1e-6) % 1.0 < duty)


def test_pulsed_trigger_is_told_with_its_duty_and_rate():
    """5 Hz, half of the time; its key-off is known no better than a pause."""
    one = told(crank=(), run=(), trigger_v=pulsed(), without=("key_v", "feed_v"))

    assert one.source == "trigger_v"
    assert one.trigger_pulses.hz == pytest.approx(5.0, rel=0.02)
    assert one.trigger_pulses.duty == pytest.approx(0.5, abs=0.02)
    assert one.trigger_pulses.to_s - one.trigger_pulses.from_s == pytest.approx(6.0, abs=0.1)
    assert (one.trigger_pulses.from_s + one.trigger_pulses.to_s) / 2 == pytest.approx(50.0, abs=0.3)
    pause = one.trigger_pulses.pause_s
    assert pause == pytest.approx(0.1, abs=0.021)
    on, off = one.turns
    assert (on.on, off.on) == (True, False)
    assert on.half_width_s < 0.03
    assert off.half_width_s == pytest.approx(0.01 + pause, abs=0.021)
    assert one.on[0][1] == pytest.approx(80.0, abs=0.12)
    by_key = told(crank=(), run=(), trigger_v=pulsed(), without=("feed_v",))
    assert by_key.turns[1].half_width_s == pytest.approx(0.01)
    assert by_key.trigger_pulses is not None
    assert told().trigger_pulses is None


def test_key_that_bounces_is_turned_at_its_first_edge():
    """Three times within 60 ms."""

    def line(t):
        return 12.3 * (during(t, (20.0, 80.0)) & ~during(t, (20.004, 20.012), (20.02, 20.03)))

    one = told(key_v=line, step_s=0.002, end_s=100.0, crank=(), run=(), without=("trigger_v", "feed_v"))
    assert one.turns[0].time_s == pytest.approx(19.999, abs=0.001)


def test_key_is_read_from_the_batterys_current_where_no_line_is_logged():
    """5 A from 20 s on; until the engine's voltage is gone."""
    one = told(without=("key_v", "trigger_v", "feed_v"), run=(), crank=())

    assert one.source == "battery_a"
    assert [(round(turn.time_s), turn.on) for turn in one.turns] == [(20, True), (80, False)]
    assert one.rises == one.falls == ()


def test_second_crank_after_a_failed_one_ends_what_came_between():
    """30 to 31 s without an engine, 40 to 41 s with one."""
    one = told(crank=((30.0, 31.0), (40.0, 41.0)), run=((41.0, 75.0),))

    assert stretches(one.cranks) == [(30.0, 31.0), (40.0, 41.0)]
    assert len(one.running) == 1
    assert one.running[0].from_s == pytest.approx(41.0, abs=0.6)
    twice = told(crank=((30.0, 31.0), (50.0, 51.0)), run=((31.0, 45.0), (51.0, 75.0)))
    assert [round(run.from_s, -1) for run in twice.running] == [30, 50]
    assert twice.running[0].to_s <= 50.0


def test_engine_off_mark_ends_the_run():
    """At 60 s, though the voltage stays; one before the crank does not."""
    assert told(marks={"engine off": 60.0}).running[0].to_s == pytest.approx(60.0, abs=1.1)
    assert told(marks={"engine off": 25.0}).running[0].to_s == pytest.approx(75.0, abs=1.1)


def test_battery_that_recovers_after_a_failed_crank_is_not_raised_by_an_engine():
    """12.4 V before the first crank, 11.8 V before the second, 12.6 V after it: 0.2 V more than it had."""

    def volts(t):
        turns = during(t, (30.0, 31.0), (34.0, 35.0))
        level = np.where(t < 20, 12.7, np.where(t < 30, 12.4, np.where(t < 34, 11.8, 12.6)))
        return np.where(turns, 9.5, level)

    how = {"crank": ((30.0, 31.0), (34.0, 35.0)), "run": (), "battery_v": volts}
    assert told(**how).running == ()


def test_pushed_engine_shows_by_current_into_a_charged_battery():
    """No crank, 14.2 V and 3 A into it from 40 s on; with a charger left on with the key off it proves nothing."""
    pushed = told(crank=(), run=((40.0, 75.0),))
    assert stretches(pushed.running)[0][0] == pytest.approx(40.0, abs=0.6)

    def charger(from_s, to_s):
        return {
            "battery_v": lambda t: np.where(during(t, (40.0, 75.0), (from_s, to_s)), 14.2, 12.5),
            "battery_a": lambda t: np.where(during(t, (40.0, 75.0), (from_s, to_s)), -3.0, 0.5),
        }

    assert told(crank=(), run=(), **charger(5.0, 20.0)).running == ()
    assert told(crank=(), run=(), **charger(5.0, 9.0)).running != ()
    assert told(crank=(), run=(), **charger(84.0, 100.0)).running != ()
    lines = {"key": ((0.0, 80.0),), "crank": (), "run": ()}
    assert told(**lines, **charger(84.0, 100.0)).running == ()
    assert told(**lines, **charger(80.0, 82.5)).running != ()
    assert told(key=((0.0, 200.0),), crank=(), run=((40.0, 75.0),)).running == ()


@pytest.mark.parametrize(("amps", "runs"), [(4.0, False), (6.0, True), (10.0, True)])
def test_charger_left_on_gives_up_to_three_times_its_current_and_five_amperes(amps, runs):
    """1 A with the key off: the engine must give more than 5 A into the battery."""

    def current(t):
        return np.where(
            during(t, (30.0, 31.0)), 90.0, np.where(during(t, (31.0, 75.0)), -amps, np.where(t < 20, -1.0, 0.5))
        )

    def volts(t):
        return np.where(during(t, (30.0, 31.0)), 9.5, np.where(t < 20, 13.6, 13.5))

    assert bool(told(battery_a=current, battery_v=volts).running) is runs


def runs_by(*marks, stops=(), found=(), cranks=(), key=(10.0, 100.0)):
    """The runs of one key-on with marks ``running``."""
    return _with_marks(list(found), list(marks), list(stops), list(cranks), key)


def test_mark_of_a_running_engine_begins_a_run_where_nothing_shows_one():
    """Until the key-off, the next stop, or the next crank, with the levels of the crank before it."""
    (one,) = runs_by(40.0)
    assert (one.from_s, one.to_s, one.how, one.before_fed_a, one.dark) == (40.0, 100.0, "mark", 0.0, ())
    assert math.isnan(one.before_v)
    assert math.isnan(one.before_a)
    early, late = Crank(30.0, 31.0, 12.4, 5.0), Crank(60.0, 61.0, 12.2, 4.0)
    (one,) = runs_by(40.0, cranks=(early, late), stops=(35.0, 70.0))
    assert (one.to_s, one.before_v, one.before_a) == (60.0, 12.4, 5.0)
    assert runs_by(40.0, cranks=(early,), stops=(35.0, 70.0))[0].to_s == 70.0
    assert runs_by(40.0, cranks=(Crank(20.0, 21.0, 12.0, 9.0), early))[0].before_v == 12.4
    assert runs_by(9.9) == runs_by(100.1) == []
    assert len(runs_by(10.1, 99.9)) == 1


def test_mark_before_a_run_that_shows_itself_begins_it():
    """It ends where that ended, with what was known of it, and what is dark after it."""
    seen = Running(50.0, 80.0, "share", 12.4, 5.0, 2.0, ((41.0, 50.0), (80.0, 95.0)))
    (one,) = runs_by(40.0, found=(seen,))

    assert (one.from_s, one.to_s, one.how, one.before_fed_a) == (40.0, 80.0, "mark", 2.0)
    assert one.dark == ((80.0, 95.0),)
    assert runs_by(60.0, found=(seen,)) == [seen]
    assert runs_by(50.0, found=(seen,)) == [seen]
    assert runs_by(80.0, found=(seen,)) == [seen]
    before = Running(20.0, 30.0, "share", 12.4, 5.0)
    assert [run.from_s for run in runs_by(40.0, found=(before, seen))] == [20.0, 40.0]
    assert [run.to_s for run in runs_by(40.0, found=(seen,), stops=(45.0,))] == [80.0, 45.0]
