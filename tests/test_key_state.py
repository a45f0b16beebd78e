"""When the key was turned, from each source that a log can have."""

from itertools import pairwise

import numpy as np
import pytest

from benchlog.analysis.coarse import coarse
from benchlog.analysis.cranking import Crank
from benchlog.analysis.key_state import key_state
from benchlog.analysis.switched import line_state
from benchlog.core.trace import Mark, Trace
from benchlog.log.overview import OverviewBuilder

STEP_S = 0.01
ON_S, OFF_S, END_S = 10.0, 40.0, 60.0
LINES = ("key_v", "trigger_v", "feed_v")


def _on(from_s=ON_S, to_s=OFF_S, end_s=END_S, step_s=STEP_S):
    """1 with the key on, 0 with it off."""
    t = np.arange(0, end_s, step_s)
    return np.where((t >= from_s) & (t < to_s), 1.0, 0.0)


def _read(values, marks=(), cranks=(), over=None, step_s=STEP_S, point_s=0.05):
    t = np.arange(len(next(iter(values.values())))) * step_s
    builder = OverviewBuilder(values)
    builder.add(Trace(t, values, over or {}))
    table = coarse(builder.finish(), t[0], t[-1], point_s)
    lines = {role: line for role in LINES if (line := line_state(table, role)) is not None}
    return key_state(table, lines, [Mark(time_s, text) for time_s, text in marks], cranks)


def _turns(state):
    return [(turn.to, turn.role) for turn in state.turns]


EVERYTHING = {
    "key_v": 12.4 * _on(10.0, 40.0),
    "trigger_v": 12.2 * _on(10.5, 40.5),
    "feed_v": 12.0 * _on(11.0, 41.0),
    "battery_a": 0.001 + 4.0 * _on(11.5, 41.5),
    "battery_v": 12.8 - 0.5 * _on(12.0, 42.0),
}


@pytest.mark.parametrize(
    ("source", "on_s", "role"),
    [
        ("key_v", 10.0, "key_v"),
        ("trigger_v", 10.5, "trigger_v"),
        ("feed_v", 11.0, "feed_v"),
        ("battery_a", 11.5, "battery_a"),
        ("battery_v", 12.0, None),
    ],
)
def test_source_is_the_best_that_the_log_has(source, on_s, role):
    """The key line before the trigger, the feed, the current, the voltage; each places both turns by itself."""
    order = list(EVERYTHING)
    values = {name: EVERYTHING[name] for name in order[order.index(source) :]}

    got = _read(values)

    assert got.source == source
    assert got.starts_on is False
    assert got.sure
    assert _turns(got) == [("on", role), ("off", role)]
    assert [turn.time_s for turn in got.turns] == pytest.approx([on_s, on_s + 30.0], abs=0.1)
    assert all(
        abs(turn.time_s - at) <= turn.half_width_s + 0.05
        for turn, at in zip(got.turns, (on_s, on_s + 30.0), strict=True)
    )


def test_marks_come_before_every_line():
    """What the tester noted names the events; the nearest change of a line places them."""
    got = _read(EVERYTHING, [(8.0, "key on"), (43.0, "Key Off"), (20.0, "slot 1 on")])

    assert got.source == "marks"
    assert _turns(got) == [("on", "key_v"), ("off", "key_v")]
    assert [turn.time_s for turn in got.turns] == pytest.approx([10.0, 40.0], abs=0.06)


def test_mark_far_from_any_change_stands_by_itself():
    """A line that moves more than 5 s away is another event: the mark's own time holds, to a second."""
    got = _read({"trigger_v": 12.2 * _on()}, [(4.0, "key on"), (46.0, "key off")])

    assert _turns(got) == [("on", None), ("off", None)]
    assert [(turn.time_s, turn.half_width_s) for turn in got.turns] == [(4.0, 1.0), (46.0, 1.0)]


def test_mark_takes_the_change_in_its_own_direction():
    """Of two changes near a mark the one to the noted state counts, and of those the nearest."""
    volts = 12.2 * (_on(10.0, 12.0) + _on(13.0, 40.0))

    got = _read({"trigger_v": volts}, [(12.4, "key on"), (38.0, "key off")])

    assert [turn.time_s for turn in got.turns] == pytest.approx([13.0, 40.0], abs=0.06)
    assert [turn.to for turn in got.turns] == ["on", "off"]


def test_trigger_that_stays_up_does_not_hide_a_marked_key_off():
    """A trigger fed past the key never falls; the mark tells."""
    got = _read({"trigger_v": np.full(6000, 12.2)}, [(10.0, "key on"), (40.0, "key off")])

    assert _turns(got) == [("on", None), ("off", None)]
    assert got.starts_on is False


def test_first_mark_tells_how_the_log_began():
    """A log whose first mark is key off began with the key on; a repeated mark is no second turn."""
    got = _read({"battery_v": np.full(6000, 12.5)}, [(10.0, "key off"), (20.0, "key off"), (40.0, "key on")])

    assert got.starts_on is True
    assert [(turn.to, turn.time_s) for turn in got.turns] == [("off", 10.0), ("on", 40.0)]


@pytest.mark.parametrize("noted", ["slot 2 on", "crank", "running"])
def test_what_needs_the_key_contradicts_a_key_noted_off(noted):
    """Key off, then a circuit, the starter or the engine, and no key on between: one was forgotten, a line tells."""
    got = _read({"trigger_v": 12.2 * _on()}, [(4.0, "key off"), (20.0, noted)])

    assert got.marks_contradict
    assert (got.source, _turns(got)) == ("trigger_v", [("on", "trigger_v"), ("off", "trigger_v")])

    late = _read({"trigger_v": 12.2 * _on()}, [(10.0, "key on"), (40.0, "key off"), (43.0, noted)])
    assert not late.marks_contradict, "a mark by hand may come 5 s late"


def test_a_line_that_stays_still_settles_no_contradiction():
    """A dead trigger is low all the time; where nothing else tells, the key's state is not known."""
    marks = [(4.0, "key off"), (20.0, "crank")]
    amps = 0.02 + 5 * _on()

    assert _read({"trigger_v": np.zeros(6000), "battery_a": amps}, marks).source == "battery_a"
    nothing = _read({"trigger_v": np.zeros(6000)}, marks)
    assert (nothing.source, nothing.starts_on) == ("none", None)


def test_chatter_shorter_than_50_ms_is_no_turn():
    """The line drops for 30 ms, and a pulse of 30 ms with the key off is none either; 200 ms are."""
    step_s = 0.002
    volts = 12.2 * _on(step_s=step_s)
    for at, up in ((20.0, 0.0), (50.0, 12.2)):
        volts[round(at / step_s) : round((at + 0.030) / step_s)] = up
    long = volts.copy()
    long[round(20.0 / step_s) : round(20.2 / step_s)] = 0.0

    assert len(_read({"trigger_v": volts}, step_s=step_s, point_s=0.004).turns) == 2
    assert len(_read({"trigger_v": long}, step_s=step_s, point_s=0.004).turns) == 4


@pytest.mark.parametrize("source", [(), ((9.0, "key on"), (41.0, "key off"))])
def test_trigger_that_drops_while_cranking_is_no_key_event(source):
    """Many bikes cut the lamps as the starter turns; the same drop without a crank is a turn of the key."""
    volts = 12.2 * _on()
    volts[2000:2150] = 0.0

    cranking = _read({"trigger_v": volts}, source, cranks=[Crank(20.0, 21.4, 12.4, 4.0)])

    assert [turn.to for turn in cranking.turns] == ["on", "off"]
    assert len(_read({"trigger_v": volts}).turns) == 4
    assert len(_read({"trigger_v": volts}, cranks=[Crank(30.0, 31.4, 12.4, 4.0)]).turns) == 4


def test_key_off_after_a_crank_is_a_key_event():
    """A line that falls for good soon after the starter stopped is the key, not the starter."""
    got = _read({"trigger_v": 12.2 * _on(10.0, 22.0)}, cranks=[Crank(20.0, 21.4, 12.4, 4.0)])

    assert [turn.time_s for turn in got.turns] == pytest.approx([10.0, 22.0], abs=0.06)


@pytest.mark.parametrize(
    ("volts", "crank"),
    [
        (12.2 * (_on(10.0, 20.5) + _on(30.0, 40.0)), Crank(20.0, 21.4, 12.4, 4.0)),
        (12.2 * (_on(10.0, 17.0) + _on(20.7, 40.0)), Crank(20.0, 21.4, 12.4, 4.0)),
    ],
)
def test_long_drop_beside_a_crank_is_a_key_event(volts, crank):
    """Lamps are cut while the starter turns, not for seconds before or after it."""
    assert [turn.to for turn in _read({"trigger_v": volts}, cranks=[crank]).turns] == ["on", "off", "on", "off"]


def test_key_off_that_ends_the_log_soon_after_a_crank_counts():
    """Nothing shows that the line came back."""
    got = _read({"trigger_v": 12.2 * _on(10.0, 58.6)}, cranks=[Crank(57.0, 58.8, 12.4, 4.0)])

    assert [turn.to for turn in got.turns] == ["on", "off"]


@pytest.mark.parametrize(
    ("role", "volts", "starts_on", "sure"),
    [
        ("trigger_v", 0.0, False, True),
        ("trigger_v", 12.4, True, False),
        ("feed_v", 12.4, True, False),
        ("key_v", 12.4, True, True),
        ("key_v", 0.0, False, True),
    ],
)
def test_line_with_one_level_has_no_turns(role, volts, starts_on, sure):
    """Low throughout is a parked log; a trigger up throughout may be a log taken with the key on, a key line is."""
    got = _read({role: np.full(6000, volts)})

    assert (got.source, got.starts_on, got.turns, got.sure) == (role, starts_on, (), sure)


def test_current_tells_the_key_while_it_charges():
    """With the engine running the battery takes current: still not the key-off level."""
    amps = np.repeat([0.001, 4.0, -3.0, 0.001], [1000, 1000, 2000, 2000])

    got = _read({"battery_a": amps})

    assert [turn.time_s for turn in got.turns] == pytest.approx([10.0, 40.0], abs=0.06)


@pytest.mark.parametrize("base", [0.0, 0.2, 0.45])
def test_key_is_told_from_a_high_drain(base):
    """What counts is the current above the calm level."""
    got = _read({"battery_a": base + 4.0 * _on()})

    assert [(turn.to, round(turn.time_s)) for turn in got.turns] == [("on", 10), ("off", 40)]


def test_passing_zero_on_the_way_to_charging_is_no_key_off():
    """For less than 1 s the alternator carries just the load."""
    amps = np.repeat([0.001, 4.0, 0.05, -3.0, 0.001], [1000, 1000, 50, 1950, 2000])

    assert len(_read({"battery_a": amps}).turns) == 2


def test_current_over_range_is_a_drawing_bike():
    """A low-range shunt that overflows with the key on shows the key by that alone."""
    amps = np.where(_on() > 0, np.nan, 0.0006)

    got = _read({"battery_a": amps}, over={"battery_a": _on() > 0})

    assert got.source == "battery_a"
    assert [turn.time_s for turn in got.turns] == pytest.approx([ON_S, OFF_S], abs=0.06)


@pytest.mark.parametrize("base", [0.0006, 0.2, -0.02])
def test_parked_log_with_current_alone_has_no_turns(base):
    """Drain with wake-ups of 50 mA is not the key."""
    amps = np.full(6000, base)
    amps[2000:2300] += 0.05

    got = _read({"battery_a": amps})

    assert (got.starts_on, got.turns) == (False, ())


def test_calm_battery_voltage_has_no_turns():
    """A voltage that creeps by noise and drift shows no key."""
    volts = 12.8 - np.linspace(0, 0.05, 6000) + np.random.default_rng(1).normal(0, 0.01, 6000)

    got = _read({"battery_v": volts})

    assert (got.starts_on, got.turns) == (False, ())


def test_drain_channel_alone_is_a_parked_log():
    """Nothing shows the key, but a drain is only recorded parked: off, and not sure."""
    got = _read({"drain_a": np.full(6000, 0.0006)})

    assert (got.source, got.starts_on, got.turns, got.sure) == ("none", False, (), False)


def test_log_without_any_source_says_so():
    """A ground voltage alone says nothing about the key."""
    got = _read({"ground_v": np.zeros(6000)})

    assert (got.source, got.starts_on, got.turns) == ("none", None, ())
    assert got.spans(0.0, 60.0) == []


def test_spans_cover_the_log_without_gap_or_overlap():
    """Off, on, off: each ends where the next begins, and together they are the log."""
    got = _read({"trigger_v": 12.2 * _on()})

    spans = got.spans(0.0, END_S)

    assert [on for on, _, _ in spans] == [False, True, False]
    assert (spans[0][1], spans[-1][2]) == (0.0, END_S)
    assert all(before[2] == after[1] for before, after in pairwise(spans))


def test_span_of_no_length_is_left_out():
    """A turn at the log's very start leaves no stretch before it."""
    got = _read({"battery_v": np.full(6000, 12.5)}, [(0.0, "key on")])

    assert got.spans(0.0, END_S) == [(True, 0.0, END_S)]


@pytest.mark.parametrize("rate_hz", [10, 100, 1000])
def test_turns_do_not_hang_on_the_rate(rate_hz):
    """Ten to a thousand samples a second find the same turns, as well as each can."""
    got = _read({"trigger_v": 12.2 * _on(step_s=1 / rate_hz)}, step_s=1 / rate_hz)

    assert [turn.to for turn in got.turns] == ["on", "off"]
    for turn, at in zip(got.turns, (ON_S, OFF_S), strict=True):
        assert abs(turn.time_s - at) <= turn.half_width_s + 1 / rate_hz
