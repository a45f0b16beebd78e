"""Readings that no bike gives: each threshold from both sides, on overviews and benches written by hand."""

from types import SimpleNamespace

import numpy as np
import pytest
from hand_bench import HandLog, bench, measured, plan, story

from benchlog.analysis.drain import Drain
from benchlog.analysis.measurement import NotEvaluated
from benchlog.analysis.settling import Settled
from benchlog.core.errors import BadLog
from benchlog.examine.off_spans import OffSpan
from benchlog.examine.off_state import OffState
from benchlog.examine.sense import doubtful_readings, refuse_senseless

STEP_S = 0.05


def refused(rows=2000, **values) -> str:
    """What is said of such a log; "" where it is taken."""
    try:
        refuse_senseless(HandLog(np.arange(rows) * STEP_S, values))
    except BadLog as fault:
        return str(fault)
    return ""


def some(part: float, a: float, b: float, rows: int = 2000):
    """``a`` for such a part of the rows, then ``b``."""
    return np.where(np.arange(rows) < round(part * rows), a, b)


@pytest.mark.parametrize(
    ("reads", "part", "told"), [(-1.1, 1.0, True), (-0.9, 1.0, False), (-1.1, 0.51, True), (-1.1, 0.49, False)]
)
def test_battery_below_minus_one_volt_for_half_of_the_log_is_turned_round(reads, part, told):
    """It takes both."""
    says = refused(battery_v=some(part, reads, 12.0))

    assert (f"battery_v reads {reads:g} V, so its leads are the wrong way round".replace("-", "−") in says) is told


@pytest.mark.parametrize(
    ("role", "reads", "told"),
    [
        *(("battery_v", 101.0, "V"), ("battery_v", 99.0, ""), ("feed_v", -101.0, "V"), ("feed_v", -99.0, "")),
        *(("battery_a", 1010.0, "A"), ("battery_a", 990.0, ""), ("drain_a", 305.0, "A"), ("drain_a", 295.0, "")),
        *(("feed_a", 205.0, "A"), ("feed_a", 195.0, ""), ("slot3_a", 205.0, "A"), ("battery_c", 5000.0, "")),
    ],
)
def test_figure_that_no_bike_has_is_in_a_smaller_unit(role, reads, told):
    """100 V, 1000 A of the battery, 300 A of its drain, 200 A of a load."""
    says = refused(**{role: reads})

    assert (f"which no bike has, so the column is in a smaller unit: head it {role} [m{told}]" in says) is bool(told)


@pytest.mark.parametrize(
    ("rows", "glitch", "told"), [(2000, 9, False), (2000, 10, True), (20000, 19, False), (20000, 21, True)]
)
def test_glitch_refuses_nothing(rows, glitch, told):
    """Fewer than ten rows, or than one in a thousand."""
    assert bool(refused(rows, battery_v=np.where(np.arange(rows) < glitch, 5000.0, 12.0))) is told


@pytest.mark.parametrize(
    ("feed", "battery", "part", "told"),
    [(17.1, 12.0, 0.011, True), (16.9, 12.0, 0.02, False), (17.1, 12.0, 0.009, False)],
)
def test_voltage_above_the_battery_is_refused(feed, battery, part, told):
    """By 5 V, for one in a hundred rows."""
    says = refused(feed_v=some(part, feed, 12.0), battery_v=battery)

    assert (
        "feed_v reads 17.1 V where battery_v reads 12 V, and nothing on a bike stands above its battery" in says
    ) is (told)
    if told:
        assert "the two columns are swapped, or feed_v is in mV: then head it feed_v [mV]" in says


@pytest.mark.parametrize(
    ("has", "usual", "why"),
    [
        (3.1, 12.0, "feed_v is in mV"),
        (2.9, 9.1, "battery_v had a lead off for a while, or missing samples are written as 0"),
        (2.9, 8.9, "the two columns are swapped, or battery_v has another unit or a lead off"),
    ],
)
def test_what_may_be_wrong_is_told_by_what_the_battery_reads(has, usual, why):
    """There, and on the whole."""
    assert why in refused(battery_v=some(0.1, has, usual), feed_v=some(0.1, 12.0, usual))


@pytest.mark.parametrize(
    ("role", "down", "up", "part", "told"),
    [
        ("feed_a", -1.1, 0.0, 0.02, True),
        ("feed_a", -0.9, 0.0, 0.02, False),
        ("feed_a", -1.1, 0.0, 0.009, False),
        ("feed_a", -10.0, 2.9, 0.02, True),
        ("feed_a", -10.0, 3.1, 0.02, False),
        ("slot2_a", -1.1, -0.1, 0.02, True),
        ("battery_a", -1.1, 0.0, 0.02, False),
    ],
)
def test_load_that_only_reads_down_is_reversed(role, down, up, part, told):
    """By an ampere for one in a hundred rows, and up by less than three tenths of that."""
    says = refused(**{role: some(part, down, up)})

    text = f"{role} reads down to {down:g} A and never above {max(up, 0.0):g} A, so it is reversed".replace("-", "−")
    assert (text in says) is told


def notes(values=None, marks=(), findings=None, off=None, unit=None, step_s=STEP_S, rows=2000, tables=(), **how):
    """What is told of such a log."""
    t = np.arange(rows) * step_s
    log = HandLog(t, {role: x(t) if callable(x) else x for role, x in (values or {"battery_v": 12.5}).items()}, marks)
    one = bench(log, story((), ((0.0, float(t[-1])),)), plan(3.0, **dict(tables)), **how)
    logger = SimpleNamespace(time=None if unit is None else SimpleNamespace(unit=unit))
    found = {"off_state_drain": NotEvaluated("no")} if findings is None else findings
    nothing = OffState({"off_state_drain": found.get("off_state_drain", NotEvaluated("no"))}, None, None)
    return doubtful_readings(one, logger, found, off or nothing)


def test_sound_log_is_told_nothing_of():
    """12.5 V throughout."""
    assert notes() == ()
    assert notes({"feed_v": 12.0}) == ()
    assert notes({"battery_v": np.nan, "feed_v": 12.0}) == ()


@pytest.mark.parametrize(("volts", "told"), [(2.9, True), (3.1, False)])
def test_battery_that_never_reads_three_volts_is_told(volts, told):
    """A lead may be off."""
    text = (
        "battery_v never reads above 2.9 V, and no battery of a bike is so low: a lead may be off, or its unit is not V"
    )

    assert notes({"battery_v": volts}) == ((text,) if told else ())


@pytest.mark.parametrize(
    ("rows", "low", "usual", "told"),
    [(10, 0.9, 12.5, True), (9, 0.9, 12.5, False), (10, 1.1, 12.5, False), (10, 0.9, 8.9, False), (10, 0.9, 9.1, True)],
)
def test_battery_that_reads_nothing_now_and_then_is_told(rows, low, usual, told):
    """In ten rows of a log whose battery usually has 9 V."""

    def volts(t):
        return np.where((np.arange(len(t)) >= 100) & (np.arange(len(t)) < 100 + rows), low, usual)

    said = notes({"battery_v": volts})
    assert bool(said) is told
    if told:
        assert said[0].startswith("battery_v reads next to 0 V now and then, first at 5.0 s, as no battery does")


def ended(rows=30, top=5.0, quiet=False, role="battery_a"):
    """A current that varies and stands at its highest figure for so many rows from the hundredth on."""

    def amps(t):
        n = np.arange(len(t))
        wave = np.full(len(t), 2.0) if quiet else 2 + np.sin(n * 1.7)
        return np.where((n >= 100) & (n < 100 + rows), top, wave)

    return {role: amps}


def test_channel_that_stands_at_its_highest_figure_may_be_at_its_end():
    """30 rows on end where neighbours differ; one that is steady anyway is not."""
    for role in ("battery_a", "drain_a", "feed_a"):
        assert notes(ended(role=role)) == (
            f"{role} stands at exactly 5 A, its highest, from 5.0 to 6.5 s: the logger's range may end there; then add "
            "that figure, as the log writes it, to `over_range` in the logger file",
        )
    assert "battery_v stands at exactly 15 V, its highest" in notes(ended(top=15.0, role="battery_v"))[-1]
    assert notes(ended(29)) == ()
    assert notes(ended(quiet=True)) == ()
    assert notes(ended(role="slot1_a")) == ()
    assert notes({"battery_a": 2.0}) == ()

    def half(share):
        def amps(t):
            n = np.arange(len(t))
            wave = np.where(n % 100 < share, 2 + np.sin(n * 1.7), 2.0)
            return np.where((n >= 100) & (n < 130), 5.0, wave)

        return {"battery_a": amps}

    assert notes(half(52))
    assert notes(half(46)) == ()


def test_longest_of_several_stands_counts():
    """30 rows in all do not do."""

    def amps(t):
        n = np.arange(len(t))
        wave = 2 + np.sin(n * 1.7)
        return np.where(((n >= 100) & (n < 115)) | ((n >= 200) & (n < 215)), 5.0, wave)

    def longer(t):
        n = np.arange(len(t))
        return np.where((n >= 300) & (n < 340), 5.0, amps(t))

    assert notes({"battery_a": amps}) == ()
    assert "from 15.0 to 16.9 s" in notes({"battery_a": longer})[0]


@pytest.mark.parametrize(
    ("chemistry", "volts", "told"),
    [("agm", 13.31, True), ("agm", 13.24, False), ("lifepo4", 14.06, True), ("lifepo4", 13.9, False)],
)
def test_battery_that_rests_above_its_chemistry_is_told(chemistry, volts, told):
    """By 0.45 V over a full one's figure."""
    battery = {"battery": {"chemistry": chemistry, "capacity_ah": 10.0}}
    said = notes(findings={"resting_voltage": measured(volts)}, tables=battery)

    assert bool(said) is told
    if told:
        assert said[0].startswith(f"{volts:g} V at rest is more than a full ")
        assert ("a LiFePO4 battery needs chemistry" in said[0]) is (chemistry == "agm")
    assert notes(findings={"resting_voltage": measured(None)}, tables=battery) == ()
    assert notes(findings={"resting_voltage": NotEvaluated("no")}, tables=battery) == ()


def drained(mean_a=2.0, averaged_s=5000.0, from_s=0.0, to_s=6000.0, awake=None) -> OffState:
    """A drain; a bike that was awake has its span from ``awake`` on."""
    drain = Drain(mean_a, 0.001, 0.002, mean_a, 0, averaged_s, 0, 10.0)
    finding = measured(mean_a * 1000, 1.0, from_s=from_s, to_s=to_s)
    settled = Settled(from_s, to_s, 1.0, mean_a, (), awake=awake is not None)
    spans = () if awake is None else (OffSpan(awake, to_s + 1.0, False, settled, "drain_a"),)
    return OffState({"off_state_drain": finding}, drain, "drain_a", spans)


def falling(by_v):
    """A voltage that falls by so much over 6000 s."""
    return {"battery_v": lambda t: 12.8 - by_v * t / 6000}


LONG = {"step_s": 10.0, "rows": 601}


def test_battery_that_gave_a_quarter_of_its_charge_falls_by_50_millivolts():
    """2 A over 5000 s are 2.78 Ah of 10 Ah."""
    text = (
        "by drain_a the battery gave {} Ah of its 10 Ah, yet battery_v fell by only {} V; if "
        "the column is in mA, head it "
        "drain_a [mA], or set its unit in the logger file"
    )

    assert notes(falling(0.0), off=drained(), **LONG) == (text.format("3.333", "0.00"),)
    assert notes(falling(0.05), off=drained(), **LONG) == (text.format("3.333", "0.05"),)
    assert notes(falling(0.054), off=drained(), **LONG)
    assert notes(falling(0.06), off=drained(), **LONG) == ()
    assert notes(falling(0.0), off=drained(1.51), **LONG)
    assert notes(falling(0.0), off=drained(1.49), **LONG) == ()
    assert notes(falling(0.0), off=drained(2.0, 4600.0, 1500.0, 6000.0), **LONG)
    assert notes(falling(0.0), off=drained(2.0, 4400.0, 1500.0, 5900.0), **LONG) == ()


def test_bike_that_stayed_awake_gave_its_charge_over_the_whole_span():
    """Judged from 5000 s on, awake from 1000 s on."""
    assert notes(falling(0.0), off=drained(2.0, 900.0, 5000.0, 6000.0, 1000.0), **LONG)
    assert notes(falling(0.0), off=drained(2.0, 900.0, 5000.0, 6000.0, 1600.0), **LONG) == ()
    assert notes(falling(0.0), off=drained(2.0, 900.0, 5000.0, 6000.0), **LONG) == ()


def test_charge_is_not_asked_of_what_cannot_tell():
    """LiFePO4, which hardly falls; no voltage; no drain; a log of months, whose time is doubted instead."""
    lithium = {"battery": {"chemistry": "lifepo4", "capacity_ah": 10.0}}

    assert notes(falling(0.0), off=drained(), tables=lithium, **LONG) == ()
    assert notes({"drain_a": 0.0}, off=drained(), **LONG) == ()
    none = OffState({"off_state_drain": measured(1.0)}, None, None)
    assert notes(falling(0.0), off=none, **LONG) == ()
    assert notes({"battery_v": lambda t: np.full(len(t), np.nan)}, off=drained(), **LONG) == ()


def test_pull_in_of_seconds_on_wide_steps_hints_at_the_times_unit():
    """Over a second beyond its doubt, on steps of half a second and more."""

    def hints(value, u, step_s=1.0, unit="s"):
        return notes(findings={"relay_pull_in": measured(value, u)}, step_s=step_s, unit=unit, rows=200)

    assert hints(20000.0, 400.0)
    assert hints(1900.0, 400.0)
    assert hints(1700.0, 400.0) == ()
    assert hints(20000.0, None) == ()
    assert hints(20000.0, 400.0, 0.4) == ()
    assert hints(20000.0, 400.0, 0.6)
    assert notes(findings={"relay_pull_in": NotEvaluated("no")}, step_s=1.0, unit="s", rows=200) == ()
