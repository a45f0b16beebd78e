"""The fuse-pull walk at its edges: when a line was up, wake-ups while a fuse was out, and no drain; by hand."""

import numpy as np
import pytest
from hand_bench import bench, plan, story
from test_fuse_edges import FINE, OFF, PULLED, a_log, examined, out, walk_of
from test_fuse_named import WAKES, waking

from benchlog.analysis.fuse_walk import Pull
from benchlog.analysis.settling import Settled
from benchlog.examine.fuse_checks import _wakes_out
from benchlog.examine.off_spans import OffSpan


@pytest.mark.parametrize(
    ("up", "goes"),
    [((97.25, 100.0), True), ((97.35, 100.0), False), ((90.0, 97.25), True), ((90.0, 97.15), False)],
)
def test_line_was_up_where_it_was_for_most_of_the_time_before_the_pull(up, goes):
    """From 95.0 to 99.5 s: 46 samples, of which 23 make the middle half of 12 V."""
    line = {"feed_v": lambda t: 12.0 * ((t >= up[0]) & (t < up[1]))}

    assert bool(walk_of(PULLED, **line).let_go) is goes


def test_line_that_was_up_before_the_key_off_does_not_count():
    """The key went off at 98.5 s: a second of a live feed before the hand is all there is."""
    line = {"feed_v": lambda t: np.where(t < 98.45, 0.0, np.where(t < 100.0, 12.0, 0.0))}

    assert walk_of(PULLED, off=((98.5, 300.0),), **line).let_go
    assert not walk_of(PULLED, **line).let_go


def test_draw_beside_no_drain_is_its_step_alone():
    """No pulses are told of it, and no share."""
    (one,) = examined(PULLED, out((100.0, 130.0)), drain=False).draws

    assert (one.draw_ma, one.pulses, one.share) == (pytest.approx(20.0, abs=1e-6), False, None)
    assert examined(PULLED, out((100.0, 130.0)), mean_a=0.0).draws[0].share is None
    (blind,) = examined(PULLED, waking(), wakeups=WAKES, drain=False).draws
    assert blind.pulses is False


WOKE = ((50.0, 52.0), (70.0, 72.0))


def wakes(*bursts, settled=WOKE, out_s=(100.0, 130.0), smallest=0.06, base=0.05):
    """How many wake-ups are counted while the fuse was out; ``bursts`` are (from, to, A)."""

    def amps(t):
        x = np.full(len(t), base)
        for from_s, to_s, height in ((50.0, 52.0, 0.1), (70.0, 72.0, smallest), *bursts):
            x[(t > from_s - 0.01) & (t < to_s + 0.01)] += height
        return x

    one = bench(a_log(PULLED, amps), story((), OFF), plan(3.0), accuracy={"battery_a": FINE})
    span = OffSpan(0.0, 300.0, True, Settled(20.0, 300.0, 0.1, base, tuple(settled)), "battery_a")
    return _wakes_out(one, span, Pull(1, *out_s))


def test_wake_ups_while_a_fuse_is_out_are_half_as_tall_as_the_smallest_before():
    """30 mA of 60 mA; each counts once, one that is there from the beginning as well."""
    assert wakes() == 0
    assert wakes((110.0, 111.0, 0.031)) == 1
    assert wakes((110.0, 111.0, 0.029)) == 0
    assert wakes((110.0, 111.0, 0.04), (120.0, 121.0, 0.2)) == 2
    assert wakes((101.0, 103.0, 0.04)) == 1
    assert wakes((110.0, 111.0, 0.04), smallest=0.1) == 0
    assert wakes((110.0, 111.0, 0.04), settled=()) == 0


@pytest.mark.parametrize(
    ("burst", "seen"),
    [((101.0, 101.8), 0), ((101.0, 102.3), 1), ((128.2, 129.0), 0), ((127.7, 129.0), 1)],
)
def test_hand_at_the_fuse_is_no_wake_up(burst, seen):
    """Two seconds after it was pulled, and before it was put back."""
    assert wakes((*burst, 0.1)) == seen


@pytest.mark.parametrize(("burst", "seen"), [((100.5, 100.8), 0), ((100.5, 101.2), 1), ((104.2, 104.5), 0)])
def test_fuse_that_was_out_for_five_seconds_has_a_fifth_of_them_for_the_hand(burst, seen):
    """One second at either end."""
    assert wakes((*burst, 0.1), out_s=(100.0, 105.0)) == seen


def test_wake_up_outside_of_what_was_read_tells_no_height():
    """One before the span's first sample; alone it leaves nothing to compare with."""
    early = (-10.0, -8.0)

    assert wakes((110.0, 111.0, 0.04), settled=(early, *WOKE)) == 1
    assert wakes((110.0, 111.0, 0.04), settled=(early,)) == 0
