"""The fuse-pull walk on key-offs written by hand: what it leaves out, what each circuit draws, and what it names."""

import numpy as np
import pytest
from hand_bench import HandLog, bench, plan, story, times

from benchlog.analysis.drain import Drain
from benchlog.analysis.fuse_walk import Pull
from benchlog.analysis.levels import Crossing
from benchlog.analysis.measurement import NotEvaluated
from benchlog.analysis.settling import Settled
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.fuse_checks import FuseWalk, examine_walk, find_walk, without_pulled
from benchlog.examine.off_spans import OffSpan
from benchlog.examine.off_state import OffState

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
@pytest.mark.parametrize(
    ("up", "down", "goes"), [(12.0, 0.0, True), (5.1, 4.9, True), (4.9, 0.0, False), (12.0, 5.1, False)]
)
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


def examined(
    marks,
    amps,
    mean_a=0.05,
    base_a=None,
    settled_s=20.0,
    wakeups=(),
    accuracy=FINE,
    role="battery_a",
    drain=True,
    type_a=0.0001,
):
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
    assert found.notes[0].startswith(
        "slot 1 (device 1) draws nothing that can be distinguished from zero with the key off (2.0 ± 4.1 mA"
    )
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


def test_fall_with_any_of_several_fuses_is_no_drop_out():
    """The relay let go with both."""
    falls = tuple(Crossing(at, at - 0.01, at, 0, "low") for at in (110.0, 210.0, 250.0))
    pulls = (Pull(1, 100.0, 130.0), Pull(2, 200.0, 230.0))

    kept = without_pulled(story((), OFF, falls=falls), FuseWalk(pulls, (), pulls))
    assert [fall.time_s for fall in kept.falls] == [250.0]
