"""Chatter, fluttering feeds and pulled fuses at their edges: when a contact is watched, on lines written by hand."""

import numpy as np
import pytest
from test_chatter_checks import a_bench, count, during, edge
from test_off_state import a_bench as off_bench
from test_slot_dead import a_bench as slot_bench

from benchlog.analysis.pulsing import Pulses
from benchlog.analysis.settling import Settled
from benchlog.examine.chatter_checks import examine_chatter
from benchlog.examine.off_settle import _without_a_fuse
from benchlog.examine.off_spans import OffSpan
from benchlog.examine.slot_dead import comes_and_goes


def late(rise_s, opened=(2.7, 2.72), falls=(), **told):
    """Openings of a contact that was closed already, with the key marked on at 2 s and a trigger that comes later."""
    lines = {"trigger_v": lambda t: 12.5 * during(t, (rise_s, 8.0))}
    moves = {"rises": (edge(rise_s, "high"),), "falls": (*falls, edge(8.0, "low"))}
    return count(closed=[(0.0, 2.1)], opened=[opened], lines=lines, told={**moves, **told})


@pytest.mark.parametrize(("rise_s", "counts"), [(2.45, 1), (2.55, 0), (9.0, 1)])
def test_trigger_that_comes_half_a_second_after_its_key_on_begins_the_watch(rise_s, counts):
    """An opening 0.7 s after the key-on, of a contact that was closed; one within the key-on alone."""
    assert late(rise_s) == counts


def test_trigger_that_was_there_before_or_is_pulsed_was_driven_from_the_key_on():
    """It fell between; a fall before the key-on tells nothing."""
    assert late(4.0) == 0
    assert late(4.0, falls=(edge(3.0, "low"),)) == 1
    assert late(4.0, falls=(edge(1.0, "low"),)) == 0
    assert late(4.0, falls=(edge(5.0, "low"),)) == 0
    assert late(4.0, trigger_pulses=Pulses(0.5, 10.0, 0.05, 4.0, 8.0)) == 1


def test_opening_of_a_feed_well_below_its_battery_counts():
    """10 V of 12.5 V."""

    def feed(t):
        return 10.0 * (during(t, (2.01, 8.01)) & ~during(t, (5.0, 5.02)))

    assert count(lines={"feed_v": feed}) == 1


def test_small_planned_load_is_seen_by_its_circuits_own_current():
    """1 A: nothing of it, 0.7 A, and 0.9 A."""

    def told(amps):
        lines = {"slot1_a": lambda t: amps * during(t, (3.0, 7.0))}
        return examine_chatter(a_bench(planned=(1.0,), lines=lines)).one_sided is None

    assert [told(amps) for amps in (0.0, 0.7, 0.9)] == [False, False, True]


@pytest.mark.parametrize(
    ("low", "high", "flutters"), [(4.9, 5.1, True), (4.8, 4.9, False), (5.1, 12.0, False), (0.0, 12.0, True)]
)
def test_feed_comes_and_goes_around_five_volts(low, high, flutters):
    """Dead for half a second of the three after the mark."""

    def values(t):
        return {"battery_a": 0.0 * t, "feed_v": np.where((t >= 21.0) & (t < 21.5), low, high)}

    assert comes_and_goes(slot_bench(values=values), 20.0) is flutters


@pytest.mark.parametrize(
    ("out", "settled_s", "tells"),
    [
        ((40.0, 60.0), None, True),
        ((55.0, 60.0), None, False),
        ((40.0, 49.9), None, False),
        ((57.9, 90.0), 58.0, True),
        ((58.1, 90.0), 58.0, False),
    ],
)
def test_fuse_that_is_out_at_the_key_off_or_before_it_settled_is_no_way_to_settle(out, settled_s, tells):
    """The key goes off at 50 s; where nothing tells when it settled, the key-off itself counts."""
    settled = None if settled_s is None else Settled(settled_s, 300.0, 0.1, 0.005, ())
    span = OffSpan(50.0, 300.0, False, settled, "battery_a")

    assert _without_a_fuse(off_bench(left_out=(out,)), span) is tells
