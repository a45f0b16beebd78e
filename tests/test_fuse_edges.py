"""The fuse-pull walk on key-offs written by hand: what it leaves out, what each circuit draws, and what it names."""

from dataclasses import replace

import numpy as np
import pytest
from hand_bench import HandLog, bench, plan, story, times

from benchlog.analysis.drain import Drain
from benchlog.analysis.fuse_walk import Pull
from benchlog.analysis.levels import Crossing
from benchlog.analysis.measurement import NotEvaluated
from benchlog.analysis.settling import Settled
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.fuse_checks import FuseWalk, examine_walk, find_walk, with_circuits, without_pulled
from benchlog.examine.off_spans import OffSpan
from benchlog.examine.off_state import OffState
from benchlog.verdict.evidence import KeyOffDraw
from benchlog.verdict.result import Cause

OFF = ((0.0, 300.0),)
FINE = Accuracy(0.0, 0.001, 0.0)


def a_log(marks, amps=None, end_s=300.0, step_s=0.1, **lines):
    """50 mA with the key off; ``lines`` are further channels by the times."""
    t = times(end_s, step_s)
    values = {"battery_a": np.full(len(t), 0.05) if amps is None else amps(t)}
    values |= {role: make(t) for role, make in lines.items()}
    return HandLog(t, values, marks)


def out(*stretches, draw=0.02, base=0.05, rush=0.0):
    """A circuit of 20 mA whose fuse is out in these; as it comes back it draws ``rush`` for five seconds."""
    def amps(t):
        x = np.full(len(t), base)
        for a, b in stretches:
            x[(t >= a) & (t < b)] -= draw
            x[(t >= b) & (t < b + 5)] += rush
        return x

    return amps


def walk_of(marks, off=OFF, **how):
    """The walk of such a log."""
    return find_walk(a_log(marks, **how), story((), off))


PULLED = {"fuse 1 out": 100.0, "fuse 1 in": 130.0}


def test_pulled_fuse_is_left_out_from_two_seconds_before_until_the_circuit_has_started():
    """At once where it draws no rush, after five seconds where it does; within its key-off."""
    calm = walk_of(PULLED, amps=out((100.0, 130.0)))
    assert calm.pulls == (Pull(1, 100.0, 130.0),)
    assert calm.left_out == ((98.0, pytest.approx(132.0, abs=0.11)),)
    assert calm.let_go == ()
    assert walk_of(PULLED, amps=out((100.0, 130.0), rush=0.1)).left_out[0][1] == pytest.approx(135.0, abs=0.11)
    assert walk_of(PULLED, off=((99.0, 300.0),)).left_out[0][0] == 99.0
    assert walk_of(PULLED, off=((130.0, 300.0),)) == FuseWalk((), (), ())
    both = walk_of(PULLED, off=((0.0, 110.0), (120.0, 300.0)))
    assert [round(a) for a, _ in both.left_out] == [98, 120]
    assert both.pulls == (Pull(1, 100.0, 130.0),)
    assert both.left_out[0][1] == 110.0


def test_fuse_that_is_not_put_back_is_left_out_to_the_end():
    """Of its key-off."""
    assert walk_of({"fuse 1 out": 100.0}).left_out == ((98.0, 300.0),)
    assert walk_of({"fuse 1 out": 100.0}, off=((0.0, 200.0),)).left_out == ((98.0, 200.0),)
    assert walk_of(PULLED, off=((0.0, 120.0),)).left_out == ((98.0, 120.0),)


def test_next_fuse_ends_the_time_in_which_a_circuit_may_start():
    """Two seconds before its mark; without a current two seconds are taken."""
    marks = {**PULLED, "fuse 2 out": 134.0, "fuse 2 in": 160.0}
    assert walk_of(marks, amps=out((100.0, 130.0), rush=0.1)).left_out[0][1] == pytest.approx(132.0, abs=0.11)
    soon = {**PULLED, "fuse 2 out": 131.0, "fuse 2 in": 160.0}
    assert walk_of(soon, amps=out((100.0, 130.0), rush=0.1)).left_out[0][1] == 130.0
    t = times(300.0, 0.1)
    blind = find_walk(HandLog(t, {"battery_v": 12.5}, PULLED), story((), OFF))
    assert blind.left_out == ((98.0, 132.0),)
    short = find_walk(HandLog(t, {"battery_v": 12.5}, PULLED), story((), ((0.0, 131.0),)))
    assert short.left_out == ((98.0, 131.0),)


@pytest.mark.parametrize("role", ["feed_v", "trigger_v"])
@pytest.mark.parametrize(("up", "down", "goes"), [(12.0, 0.0, True), (5.1, 4.9, True), (4.9, 0.0, False), (12.0, 5.1, False)])
def test_relay_lets_go_where_a_line_was_up_and_falls_with_the_fuse(role, up, down, goes):
    """From above 5 V to below it: the rest of that key-off is no longer what it left."""
    def line(t):
        return np.where(t < 100, up, np.where(t < 130, down, up))

    walk = walk_of(PULLED, **{role: line})
    assert bool(walk.let_go) is goes
    assert (walk.left_out == ((98.0, 300.0),)) is goes


def test_line_is_read_from_five_seconds_before_the_pull_until_half_a_second_before():
    """What it did earlier, or as the hand pulled, does not count; without samples the next line tells."""
    def early(t):
        return np.where(t < 94, 0.0, np.where(t < 99.6, 12.0, 0.0))

    assert walk_of(PULLED, feed_v=early).let_go
    assert not walk_of(PULLED, feed_v=lambda t: np.where((t > 94) & (t < 96), 12.0, 0.0)).let_go

    def blind(t):
        return np.where(t < 100, np.nan, 0.0)

    def falls(t):
        return np.where(t < 100, 12.0, 0.0)

    assert walk_of(PULLED, feed_v=blind, trigger_v=falls).let_go
    assert not walk_of(PULLED, feed_v=lambda t: 0 * t, trigger_v=falls).let_go
    after = walk_of(PULLED, feed_v=lambda t: np.where(t < 100, 12.0, np.nan), trigger_v=falls)
    assert after.let_go


def test_fall_of_the_trigger_with_a_fuse_is_no_drop_out():
    """From two seconds before its mark until it is back; without a relay that let go nothing changes."""
    falls = tuple(Crossing(at, at - 0.01, at, 0, "low") for at in (50.0, 98.5, 120.0, 140.0))
    told = story((), OFF, falls=falls)
    pull = Pull(1, 100.0, 130.0)

    kept = without_pulled(told, FuseWalk((pull,), (), (pull,)))
    assert [fall.time_s for fall in kept.falls] == [50.0, 140.0]
    assert without_pulled(told, FuseWalk((pull,), (), ())) is told
    open_ = Pull(1, 100.0, None)
    assert [fall.time_s for fall in without_pulled(told, FuseWalk((open_,), (), (open_,))).falls] == [50.0]


def examined(marks, amps, mean_a=0.05, base_a=None, settled_s=20.0, wakeups=(), accuracy=FINE, role="battery_a", drain=True, type_a=0.0001):
    """What the walk of such a log says, with its drain."""
    log = a_log(marks, amps)
    told = story((), OFF)
    walk = find_walk(log, told)
    one = bench(log, told, plan(3.0, 2.0), accuracy={"battery_a": accuracy}, left_out=walk.left_out)
    base = mean_a if base_a is None else base_a
    settled = Settled(settled_s, 300.0, 0.1, base, tuple(wakeups))
    span = OffSpan(0.0, 300.0, True, settled, role)
    figure = Drain(mean_a, type_a, None, base, len(wakeups), 200.0, 0, 0.1) if drain else None
    return examine_walk(one, walk, OffState({"off_state_drain": NotEvaluated("no")}, figure, role, (span,)))


def test_circuits_draw_is_the_step_of_the_drain():
    """20 of 50 mA, within two uncertainties of a change."""
    found = examined(PULLED, out((100.0, 130.0)))
    (draw,) = found.draws

    assert (draw.slot, draw.device, draw.out_at_s) == (1, "device 1", 100.0)
    assert draw.draw_ma == pytest.approx(20.0, abs=1e-6)
    assert draw.uncertainty_ma == pytest.approx(0.0, abs=1e-6)
    assert (draw.told, draw.pulses, draw.share) == (True, False, pytest.approx(0.4))
    assert found.notes == ("slot 1 (device 1) draws 20 mA with the key off (fuse 1 out at 100.0 s)",)
    rough = examined(PULLED, out((100.0, 130.0)), accuracy=Accuracy(0.1, 0.0, 0.0))
    assert rough.draws[0].uncertainty_ma == pytest.approx(2 * 2.0 / 3**0.5, rel=1e-3)
    assert examined(PULLED, out((100.0, 130.0)), accuracy=None).draws[0].uncertainty_ma is None
    assert examined(PULLED, out((100.0, 130.0)), drain=False).draws[0].share is None
    assert examined(PULLED, out((100.0, 130.0)), mean_a=-0.01).draws[0].share is None


def test_draw_within_its_doubt_is_told_as_nothing():
    """2 mA where steps of 5 mA are all that shows."""
    found = examined(PULLED, out((100.0, 130.0), draw=0.002), accuracy=Accuracy(0.0, 0.0, 0.005))

    assert found.draws[0].told is False
    assert found.notes[0].startswith("slot 1 (device 1) draws nothing that can be distinguished from zero with the key off (2.0 ± 4.1 mA")
    assert examined(PULLED, out((100.0, 130.0), draw=0.005), accuracy=Accuracy(0.0, 0.0, 0.005)).draws[0].told is True
    noisy = examined(PULLED, lambda t: out((100.0, 130.0))(t) + 0.001 * np.sin(t * 7), accuracy=None)
    assert noisy.draws[0].told is True


def test_slot_that_the_plan_does_not_name_is_told_by_its_number():
    """Slot 7."""
    found = examined({"fuse 7 out": 100.0, "fuse 7 in": 130.0}, out((100.0, 130.0)))

    assert found.notes[0].startswith("slot 7 draws 20 mA")
    assert found.draws[0].device == ""


def test_fuse_that_was_out_too_briefly_tells_nothing():
    """0.3 s."""
    found = examined({"fuse 1 out": 100.0, "fuse 1 in": 100.3}, out((100.0, 100.3)))

    assert found.draws == ()
    assert found.notes == ("fuse 1 was out at 100.0 s too briefly to tell what slot 1 (device 1) draws",)


def test_fuse_with_which_the_relay_let_go_feeds_its_coil():
    """No draw is told of it."""
    log = a_log(PULLED, feed_v=lambda t: np.where(t < 100, 12.0, 0.0))
    walk = find_walk(log, story((), OFF))
    one = bench(log, story((), OFF), plan(3.0))
    nothing = OffState({"off_state_drain": NotEvaluated("no")}, None, None)

    assert examine_walk(one, walk, nothing).notes == (
        "with fuse 1 out the relay let go (at 100.0 s): slot 1 (device 1) feeds its coil",
    )


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


WAKES = tuple((20.0 + 10 * n, 20.5 + 10 * n) for n in range(8)) + tuple((200.0 + 10 * n, 200.5 + 10 * n) for n in range(9))


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

    assert told.evidence == ["e", "pulling fuse 2 takes 25.1 mA of 50 mA away", "pulling fuse 1 takes 5.1 mA of 50 mA away"]
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
