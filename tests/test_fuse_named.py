"""What the fuse-pull walk says of wake-ups and names in the causes: on key-offs written by hand."""

from dataclasses import replace

import pytest
from hand_bench import bench, plan, story
from test_fuse_edges import OFF, PULLED, a_log, examined, out

from benchlog.analysis.measurement import NotEvaluated
from benchlog.examine.fuse_checks import examine_walk, find_walk, with_circuits
from benchlog.examine.off_spans import OffSpan
from benchlog.examine.off_state import OffState
from benchlog.verdict.evidence import KeyOffDraw
from benchlog.verdict.result import Cause


def test_walk_without_a_current_says_nothing():
    """The span is told by the feed alone, or by none, or the pull lies in no span."""
    for role in ("feed_v", None):
        assert examined(PULLED, out((100.0, 130.0)), role=role).notes == ()
    log = a_log(PULLED, out((100.0, 130.0)))
    walk = find_walk(log, story((), OFF))
    spans = [OffSpan(0.0, 100.0, True, None, "battery_a"), OffSpan(102.1, 300.0, False, None, "battery_a")]
    off = OffState({"off_state_drain": NotEvaluated("no")}, None, None, tuple(spans))
    one = bench(log, story((), OFF), plan(3.0), left_out=walk.left_out)
    assert examine_walk(one, walk, off).notes == ()
    near = replace(off, spans=(OffSpan(101.9, 300.0, False, None, "battery_a"),))
    assert examine_walk(one, walk, near).notes != ()


def test_second_fuse_is_told_by_the_steps_between_the_moves():
    """Slot 1 out from 100 to 200 s, slot 2 out from 140 to 170 s: each by its own steps."""

    def amps(t):
        return 0.05 - 0.02 * ((t >= 100) & (t < 200)) - 0.01 * ((t >= 140) & (t < 170))

    marks = {"fuse 1 out": 100.0, "fuse 2 out": 140.0, "fuse 2 in": 170.0, "fuse 1 in": 200.0}
    found = examined(marks, amps)
    assert [(draw.slot, round(draw.draw_ma, 3)) for draw in found.draws] == [(1, 20.0), (2, 10.0)]


def test_current_before_it_settled_does_not_count():
    """100 mA until 80 s, settled from there on; a pull just after the settling is read from what came before it too."""

    def amps(t):
        return out((100.0, 130.0))(t) + 0.05 * (t < 80)

    assert examined(PULLED, amps, settled_s=80.0).draws[0].draw_ma == pytest.approx(20.0, abs=0.01)
    assert examined(PULLED, amps, settled_s=20.0).draws[0].draw_ma != pytest.approx(20.0, abs=0.5)
    assert examined(PULLED, amps, settled_s=97.0).draws[0].draw_ma != pytest.approx(20.0, abs=0.5)


def test_trend_counts_between_before_and_after():
    """The current falls by 0.2 mA a second throughout; the middle of both is the level beside it."""

    def amps(t):
        return out((100.0, 130.0))(t) + 0.0002 * (200 - t)

    assert examined(PULLED, amps).draws[0].draw_ma == pytest.approx(20.0, abs=0.3)
    open_ = examined({"fuse 1 out": 100.0}, lambda t: 0.05 - 0.02 * (t >= 100) + 0.0002 * (200 - t))
    assert open_.draws[0].draw_ma > 22.0


WAKES = tuple((20.0 + 10 * n, 20.5 + 10 * n) for n in range(8)) + tuple(
    (200.0 + 10 * n, 200.5 + 10 * n) for n in range(9)
)


def waking(out_wakes=False, height=0.03):
    """Half a second every ten, of 30 mA; not while the fuse is out, unless another circuit wakes."""

    def amps(t):
        wakes = (t % 10 < 0.5) & ((t < 100) | (t >= 130) | out_wakes)
        return 0.05 + height * wakes

    return amps


def test_circuit_whose_wake_ups_stay_away_draws_in_pulses():
    """By what they add to the drain on average."""
    found = examined(PULLED, waking(), mean_a=0.0515, base_a=0.05, wakeups=WAKES, type_a=0.0002)
    (draw,) = found.draws

    assert (draw.told, draw.pulses) == (True, True)
    assert draw.draw_ma == pytest.approx(1.5, abs=0.05)
    assert draw.uncertainty_ma == pytest.approx(0.4, rel=0.05)
    assert draw.share == pytest.approx(1.5 / 51.5, rel=0.05)
    assert found.notes[0] == (
        "slot 1 (device 1) draws in pulses, 1.50 ± 0.40 mA on average with the key off (fuse 1 out at 100.0 s)"
    )


def test_wake_ups_that_go_on_are_another_circuits():
    """From half of the smallest of them on."""
    how = {"mean_a": 0.0515, "base_a": 0.05, "wakeups": WAKES}

    other = examined(PULLED, waking(out_wakes=True), **how)
    assert other.draws[0].pulses is False
    assert "too briefly" not in other.notes[0]

    def lower(share):
        def amps(t):
            return waking()(t) + share * 0.03 * ((t >= 100) & (t < 130) & (t % 10 < 0.5))

        return amps

    assert examined(PULLED, lower(0.6), **how).draws[0].pulses is False
    assert examined(PULLED, lower(0.4), **how).draws[0].pulses is True


def test_fuse_that_is_out_for_less_than_the_wake_ups_interval_tells_nothing_of_them():
    """Eight seconds of ten."""
    marks = {"fuse 1 out": 101.0, "fuse 1 in": 109.0}
    found = examined(marks, waking(out_wakes=True), mean_a=0.0515, base_a=0.05, wakeups=WAKES)

    assert found.draws[0].pulses is False
    assert found.notes[0].endswith("; its fuse was out too briefly to tell whether it is the one that wakes")
    assert "too briefly" not in examined(marks, out((101.0, 109.0))).notes[0]


def cause(name: str) -> Cause:
    """As the fit names it."""
    return Cause(id=name, text="w", fit=0.5, evidence=["e"], next_test="measure", explains=[])


def draw(slot, ma, told=True, pulses=False, device="lamp") -> KeyOffDraw:
    """What one circuit draws."""
    return KeyOffDraw(slot, device, 100.0, ma, 0.1, told, pulses, None)


def circuits(name, draws=(), let_go=(), drain_ma=50.0):
    """The cause with what the walk found."""
    return with_circuits([cause(name)], list(draws), list(let_go), drain_ma)[0]


def test_backfed_coil_is_told_with_the_circuit_that_held_it():
    """And its device, where the plan names it."""
    told = circuits("backfed_coil", let_go=[(1, "lamp"), (2, "")])

    assert told.evidence == ["e", "with fuse 1 out the relay let go", "with fuse 2 out the relay let go"]
    assert told.next_test == (
        "slot 1 (lamp) feeds the coil: part that device from 86; then slot 2 feeds the coil: part that device from 86; "
        "then measure"
    )
    assert circuits("backfed_coil") == cause("backfed_coil")
    assert circuits("welded_contact", [draw(1, 40.0)], [(1, "lamp")]) == cause("welded_contact")


def test_drains_cause_is_told_with_the_circuits_that_take_a_tenth_of_it():
    """The greatest first; from half of it on the circuit is looked at."""
    told = circuits("unswitched_device", [draw(1, 5.1), draw(2, 25.1, device=""), draw(3, 4.9)])

    assert told.evidence == [
        "e",
        "pulling fuse 2 takes 25.1 mA of 50 mA away",
        "pulling fuse 1 takes 5.1 mA of 50 mA away",
    ]
    assert told.next_test == "look at slot 2: its fuse feeds that drain; then measure"
    less = circuits("unswitched_device", [draw(2, 24.9)])
    assert less.next_test == "measure"
    assert len(less.evidence) == 2
    assert circuits("unswitched_device", [draw(2, 25.1)]).next_test.startswith("look at slot 2 (lamp): its fuse")
    assert circuits("unswitched_device", [draw(2, 25.1, told=False)]) == cause("unswitched_device")
    for nothing in (None, 0.0):
        assert circuits("unswitched_device", [draw(2, 25.1)], drain_ma=nothing) == cause("unswitched_device")


def test_waking_devices_cause_is_told_with_the_circuits_that_pulse():
    """Alone."""
    assert circuits("waking_device", [draw(1, 40.0)]) == cause("waking_device")
    assert len(circuits("waking_device", [draw(1, 40.0), draw(2, 30.0, pulses=True)]).evidence) == 2
