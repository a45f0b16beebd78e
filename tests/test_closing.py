"""The load that comes on as the contact closes, at the edges: small ones, none, long waits; pull-ins by hand."""

import math

import numpy as np
import pytest
from hand_bench import HandLog, bench, plan, plateau, story, times

from benchlog.core.trace import Trace
from benchlog.examine.closing import closing_load
from benchlog.examine.load_checks import Loads

ROOT3 = math.sqrt(3)


def a_bench(*missing):
    """Of a log with a current and a feed."""
    values = {role: 0.0 for role in ("battery_a", "feed_v") if role not in missing}
    return bench(HandLog(times(60.0, 0.1), values or {"battery_v": 12.5}), story(((0.0, 60.0),)), plan(8.0))


def pull_in(waiting, sustained, at_s=10.0, took_s=0.02):
    """The samples around a pull-in: the current by the seconds since the trigger, until the contact closes."""
    since = np.arange(-100, 600) / 1000
    amps = np.where(since < took_s, waiting(since), sustained)
    feed = np.where(since < took_s, 0.0, 12.0)
    return Trace(at_s + since, {"feed_v": feed, "battery_a": amps}, {}), at_s


def closing(*pull_ins, sustained=(4.0,), missing=()):
    """The load of such pull-ins, each with a steady stretch of ten seconds after it."""
    after = tuple(plateau(at, at + 10.0, battery_a=amps) for (_, at), amps in zip(pull_ins, sustained, strict=True))
    return closing_load(a_bench(*missing), Loads((after,), ()), pull_ins)


def steady(amps=1.0):
    """A wait that draws so much throughout."""
    return lambda since: np.where(since > 0, amps, 0.0)


def falling(to_s, high, low):
    """A wait that draws much until then, and less afterwards."""
    return lambda since: np.where(since < to_s, high, low)


def test_current_and_feed_are_needed():
    """Both of them."""
    one = pull_in(steady(), 4.0)

    assert closing(one).points[0].load_a == pytest.approx(3.0)
    assert closing(one, missing=["battery_a"]) is None
    assert closing(one, missing=["feed_v"]) is None
    assert closing_load(a_bench(), Loads((), ()), ()) is None


@pytest.mark.parametrize(("drops_s", "load"), [(0.0135, 2.88), (0.0155, 1.64)])
def test_second_half_of_the_wait_stands_for_what_is_drawn_before(drops_s, load):
    """6 A, then 2 A: of its 19 samples the last ten, most of which are at 2 or at 6 A."""
    one = closing(pull_in(falling(drops_s, 6.0, 2.0), 4.0))

    assert one.points[0].load_a == pytest.approx(load)


def test_load_of_half_an_ampere_counts():
    """As surely as a greater one."""
    one = closing(pull_in(steady(), 1.5), sustained=(1.5,))

    assert (one.points[0].load_a, one.extra_rel) == (pytest.approx(0.5), 0.05)


def test_step_of_nothing_lies_anywhere_up_to_what_an_inrush_leaves():
    """1 A before and after: between none and 0.88 A."""
    one = closing(pull_in(steady(), 1.0), sustained=(1.0,))

    assert one.points[0].load_a == pytest.approx(0.44)
    assert one.extra_rel == pytest.approx(1 / ROOT3)
    assert closing(pull_in(steady(), 0.12), sustained=(0.12,)) is None
    assert closing(pull_in(steady(), 0.1), sustained=(0.1,)) is None


def test_closing_without_a_load_takes_nothing_from_another():
    """Before it and after it; two that show none show none."""
    none = pull_in(steady(), 0.1)
    some = pull_in(steady(), 4.0, 30.0)

    assert closing(none, some, sustained=(0.1, 4.0)).points[0].load_a == pytest.approx(3.0)
    early = pull_in(steady(), 4.0), pull_in(steady(), 0.1, 30.0)
    assert closing(*early, sustained=(4.0, 0.1)).points[0].load_a == pytest.approx(3.0)
    assert closing(none, pull_in(steady(), 0.1, 30.0), sustained=(0.1, 0.1)) is None


@pytest.mark.parametrize(("moved", "is_steady"), [(0.14, True), (0.16, False)])
def test_wait_of_longer_than_an_inrush_may_move_by_a_twentieth_of_the_step(moved, is_steady):
    """0.2 s of it: 0.15 A of 3 A."""
    one = closing(pull_in(falling(0.1, 1.0 + moved, 1.0), 4.0, took_s=0.2))

    assert (one.extra_rel == 0.05) is is_steady


@pytest.mark.parametrize(("lasts_s", "told"), [(1.05, True), (1.0, False)])
def test_stretch_after_it_must_last_beyond_a_second(lasts_s, told):
    """From the closing at 10.02 s on."""
    after = (plateau(10.0, 10.0 + lasts_s, battery_a=4.0),)

    assert (closing_load(a_bench(), Loads((after,), ()), (pull_in(steady(), 4.0),)) is not None) is told


def test_samples_that_are_missing_from_the_wait_do_not_count():
    """Every other one; all but two leave none."""
    half = pull_in(lambda since: np.where(np.round(since * 1000) % 2 == 0, 1.0, np.nan), 4.0)
    few = pull_in(lambda since: np.where((since > 0.0175) & (since < 0.0195), 1.0, np.nan), 4.0)

    assert closing(half).points[0].load_a == pytest.approx(3.0)
    assert closing(few) is None
