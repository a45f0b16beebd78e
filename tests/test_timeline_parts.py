"""Parts of the log's story by hand: dips amid a crank, the highest voltage, chargers, and what was on before a run."""

import numpy as np
import pytest
from hand_bench import HandLog, times
from test_timeline_edges import a_log, during, told

from benchlog.analysis.coarse import coarse
from benchlog.analysis.cranking import Crank
from benchlog.analysis.key_state import Turn
from benchlog.examine.charger import SLOW_POINT_S, charger_a
from benchlog.examine.timeline import _highest, _median_between, _without_dips, segment

CRANK = [Crank(30.0, 31.0, 12.4, 5.0)]


def turn(at_s, to, role="key_v"):
    """A turn and how well it is known."""
    return Turn(at_s, 0.1, to, role), 0.01


@pytest.mark.parametrize(
    ("turns", "starts_on", "kept"),
    [
        ([turn(29.9, "off"), turn(31.1, "on")], True, [29.9, 31.1]),
        ([turn(30.1, "off"), turn(30.9, "on")], True, []),
        ([turn(30.1, "on")], False, [30.1]),
        ([turn(30.1, "on"), turn(30.5, "off")], False, [30.1]),
        ([turn(30.1, "off", None), turn(30.9, "on", None)], True, [30.1, 30.9]),
        ([turn(20.0, "on"), turn(30.1, "on"), turn(40.0, "off")], False, [20.0, 40.0]),
        ([turn(20.0, "off"), turn(30.1, "on")], True, [20.0, 30.1]),
    ],
)
def test_lines_own_dips_amid_a_crank_are_no_turns(turns, starts_on, kept):
    """A rise is one where the key was off before; a mark has no line that could dip."""
    assert [one.time_s for one, _ in _without_dips(turns, starts_on, CRANK)] == kept


def table(**lines):
    """Half seconds of 100 s."""
    t = times(100.0, 0.1)
    log = HandLog(t, {role: make(t) for role, make in lines.items()})
    return coarse(log.overview, 0.0, 100.0, SLOW_POINT_S)


def volts(*levels):
    """(until, V) one after another."""

    def line(t):
        x = np.full(len(t), levels[-1][1], dtype=float)
        for until, level in reversed(levels[:-1]):
            x[t < until] = level
        return x

    return line


def test_highest_voltage_is_that_of_ten_seconds_before_the_key_on_or_after_its_first_second():
    """The key on at 40 s, the crank at 60 s."""

    def highest(*levels):
        return _highest(table(battery_v=volts(*levels)), 40.0, 60.0)

    assert highest((100.0, 12.5)) == 12.5
    assert highest((29.0, 14.0), (100.0, 12.5)) == 12.5
    assert highest((34.0, 14.0), (100.0, 12.5)) == 14.0
    assert highest((39.6, 12.5), (40.9, 14.0), (100.0, 12.5)) == 12.5
    assert highest((45.0, 12.5), (100.0, 14.0)) == 14.0
    assert highest((61.0, 12.5), (100.0, 14.0)) == 12.5
    assert highest((40.5, 12.5), (42.0, 14.0), (100.0, 12.5)) == 12.5
    assert np.isnan(_highest(table(battery_a=volts((100.0, 1.0))), 40.0, 60.0))
    assert np.isnan(highest((100.0, np.nan)))
    assert highest((39.0, np.nan), (100.0, 12.5)) == 12.5


def test_median_between_two_times_counts_both_and_no_missing_points():
    """0 where there is none."""
    t, x = np.arange(5.0), np.array([1.0, 2.0, np.nan, 4.0, 9.0])

    assert _median_between(t, x, 1.0, 4.0) == 4.0
    assert _median_between(t, x, 0.0, 1.0) == 1.5
    assert _median_between(t, x, 2.0, 2.5) == 0.0
    assert _median_between(t, x, 1.0, 3.0) == 3.0


def charger(off, *levels, amps=None, a=40.0, b=60.0, crank_s=None):
    """What a charger may give about a key-on from 40 to 60 s."""
    line = {} if amps is False else {"battery_a": volts(*(amps or ((100.0, -2.0),)))}
    return charger_a(table(battery_v=volts(*levels), **line), (a, b), off, crank_s, 0.01)


def test_charger_shows_by_current_into_a_battery_at_its_voltage_just_before_the_key_on():
    """In the ten seconds before it: three times what it gives there, and five amperes at the least."""
    off = ((0.0, 40.0),)

    assert charger(off, (100.0, 13.5)) == pytest.approx(6.0)
    assert charger(off, (100.0, 13.5), amps=((100.0, -1.0),)) == 5.0
    assert charger(off, (100.0, 13.5), amps=((35.0, -4.0), (100.0, -2.0))) == pytest.approx(12.0)
    assert charger(off, (100.0, 13.5), amps=((29.0, -4.0), (100.0, -2.0))) == pytest.approx(6.0)
    assert charger(off, (100.0, 13.1)) == 0.0
    assert charger(off, (29.0, 13.5), (100.0, 12.5)) == 0.0
    assert charger(off, (100.0, 13.5), amps=((100.0, -0.2),)) == 0.0
    assert charger(off, (100.0, 13.5), amps=False) == 0.0
    assert charger(((0.0, 38.5),), (100.0, 13.5)) == 0.0
    assert charger(((0.0, 39.2),), (100.0, 13.5)) == pytest.approx(6.0)
    assert charger(((38.0, 40.0),), (37.0, 12.0), (100.0, 13.5)) == pytest.approx(6.0)


def test_charger_shows_after_the_key_off_where_nothing_is_known_before():
    """From three seconds on, when the alternator has coasted, for ten seconds."""
    off = ((60.0, 100.0),)

    assert charger(off, (100.0, 13.5)) == pytest.approx(6.0)
    assert charger(off, (62.9, 13.5), (100.0, 12.5)) == 0.0
    assert charger(off, (74.0, 12.5), (100.0, 13.5)) == 0.0
    assert charger(off, (72.0, 12.5), (100.0, 13.5)) == pytest.approx(6.0)
    assert charger(((61.5, 100.0),), (100.0, 13.5)) == 0.0
    assert charger(((60.0, 63.2),), (100.0, 13.5)) == 0.0
    both = ((0.0, 40.0), (60.0, 100.0))
    assert charger(both, (50.0, 12.5), (100.0, 13.5)) == 0.0


def test_current_into_a_battery_before_the_crank_is_a_chargers_where_no_key_off_is_known():
    """5 s of it below a charger's voltage; at that voltage the engine may run already, and without a crank it may."""
    assert charger((), (100.0, 12.6), crank_s=50.0) == pytest.approx(6.0)
    assert charger((), (100.0, 12.6), amps=((44.9, -4.0), (100.0, 3.0)), crank_s=55.0) == pytest.approx(12.0)
    assert charger((), (100.0, 12.6), amps=((44.0, -4.0), (100.0, 3.0)), crank_s=55.0) == 0.0
    assert charger((), (100.0, 12.6), amps=((45.0, 3.0), (100.0, -4.0)), crank_s=45.0) == 0.0
    assert charger((), (100.0, 13.3), crank_s=50.0) == 0.0
    assert charger((), (100.0, 12.6)) == 0.0
    assert charger(((0.0, 40.0),), (100.0, 12.6), crank_s=50.0) == 0.0


def test_load_before_the_crank_is_known_by_the_feeds_own_channel():
    """4 A from 25 s on, of the last two seconds; what is held back of it is a twentieth."""
    one = told(feed_a=lambda t: np.where(t < 28.5, 9.0, np.where(during(t, (28.5, 80.0)), 4.0, 0.0)))

    assert one.running[0].before_fed_a == pytest.approx(0.95 * 4.0, rel=0.01)
    assert told().running[0].before_fed_a == 0.0


def test_triggers_rise_just_before_a_crank_is_the_keys():
    """0.4 s before it; a fall there is the starter's."""
    one = told(trigger_v=lambda t: 12.2 * during(t, (29.6, 80.0)))

    assert [round(rise.time_s, 1) for rise in one.rises] == [29.6]


def test_longest_train_of_pulses_tells_their_rate():
    """5 Hz for five seconds, then 2.5 Hz for forty."""

    def line(t):
        quick = during(t, (22.0, 27.0)) & ((t * 5 + 1e-6) % 1 < 0.5)
        slow = during(t, (30.0, 70.0)) & ((t * 2.5 + 1e-6) % 1 < 0.5)
        return 12.2 * (quick | slow | during(t, (27.0, 30.0), (70.0, 80.0)))

    one = told(crank=(), run=(), trigger_v=line, without=("feed_v",))
    assert one.trigger_pulses.hz == pytest.approx(2.5, rel=0.05)


def test_inrush_as_a_line_comes_up_is_no_crank():
    """The same dip 0.1 s after the key-on, or ten seconds after it."""

    def log_of(at_s):
        how = {"crank": ((at_s, at_s + 1.0),), "run": ()}
        return segment(a_log(**how), None).cranks

    assert len(log_of(20.1)) == 0
    assert len(log_of(30.0)) == 1


def test_turn_is_looked_at_for_four_tenths_of_a_second_around_it():
    """A slow log's for six of its steps: the edge lies where the samples show it."""
    for step_s in (0.02, 0.1):
        one = told(step_s=step_s, crank=(), run=(), without=("trigger_v", "feed_v"))
        assert [round(each.time_s, 2) for each in one.turns] == [
            pytest.approx(20 - step_s / 2, abs=0.011),
            pytest.approx(80 - step_s / 2, abs=0.011),
        ]


def test_turn_by_the_batterys_current_is_timed_on_single_samples():
    """5 A at 20 s, to half a sample."""
    one = told(crank=(), run=(), without=("key_v", "trigger_v", "feed_v"))

    assert one.turns[0].time_s == pytest.approx(19.99, abs=0.005)
    assert one.turns[0].half_width_s == pytest.approx(0.01)
