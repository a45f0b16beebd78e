"""Whose a load step is: doubts by size and by what went off, on steps written by hand."""

import pytest
from hand_bench import EXACT, HandLog, bench, plan, story, times
from test_slot_step import WITHIN, by_size, found, key_on, marked, step

from benchlog.analysis.slots import Match
from benchlog.examine.slot_step import from_step


@pytest.mark.parametrize(
    ("owner", "role", "amps", "is_marked", "doubt"),
    [
        ("unknown", "battery_a", 5.0, False, True),
        ("block", "battery_a", 5.0, False, False),
        ("unknown", "feed_a", 5.0, False, False),
        ("unknown", "battery_a", 5.0, True, False),
        ("unknown", "battery_a", 3.0, False, False),
    ],
)
def test_size_alone_fails_no_circuit(owner, role, amps, is_marked, doubt):
    """With no mark, no path and no channel of the feed that tells whose it is."""
    up = step(20.0, amps, owner=owner)
    match = marked(up) if is_marked else by_size(up)
    log = HandLog(times(60.0, 0.1), {"battery_a": 0.0, "feed_a": 0.0})
    one = bench(log, story(((0.0, 60.0),)), plan(3.0), accuracy={"battery_a": EXACT, "feed_a": EXACT})

    told = from_step(one, 1, key_on(up, match=match), role, WITHIN).disqualified
    assert told == (
        "nothing but its size tells whose the step at 20.0 s is, and it does not fit the plan" if doubt else None
    )


OFF = "the load that came on at 20.0 s went off again while others stayed, and may be another"


@pytest.mark.parametrize(
    ("steps", "marks", "doubt"),
    [
        ((step(20.0, 3.1, owner="unknown"), step(30.0, -3.1), step(40.0, 2.0)), {}, True),
        ((step(20.0, 3.1, owner="unknown"), step(30.0, -3.1)), {}, False),
        ((step(10.0, 1.0), step(20.0, 3.1, owner="unknown"), step(30.0, -3.1)), {}, False),
        (
            (
                *(step(20.0, 3.1, owner="unknown"), step(25.0, -3.1), step(28.0, 3.1), step(30.0, -3.1)),
                *(step(40.0, 2.0),),
            ),
            {},
            True,
        ),
        ((step(20.0, 3.1, owner="unknown"), step(40.0, 2.0)), {}, False),
        ((step(20.0, 3.1, owner="unknown"), step(30.0, -3.1), step(40.0, 2.0)), {"slot 1 off": 30.0}, False),
        ((step(20.0, 3.1, owner="unknown"), step(30.0, -3.1), step(40.0, 2.0)), {"slot 1 off": 33.1}, True),
        ((step(20.0, 3.1, owner="unknown"), step(30.0, -3.1), step(40.0, 2.0)), {"slot 1 off": 26.9}, True),
        ((step(20.0, 3.1, owner="unknown"), step(30.0, -3.1), step(40.0, 2.0)), {"slot 2 off": 30.0}, True),
        (
            (step(10.0, 1.0), step(15.0, -1.0), step(20.0, 3.1, owner="unknown"), step(30.0, -3.1), step(40.0, 2.0)),
            {},
            False,
        ),
        (
            (step(10.0, 1.0), step(20.0, 3.1, owner="unknown"), step(30.0, -3.1), step(40.0, 2.0), step(50.0, -1.0)),
            {},
            True,
        ),
        ((step(10.0, -5.0), step(20.0, 3.1, owner="unknown"), step(30.0, -3.1), step(40.0, 2.0)), {}, True),
    ],
)
def test_load_that_goes_off_amid_the_test_may_be_another(steps, marks, doubt):
    """While at least half of the loads stay and another comes later, and no mark says that it was switched off."""
    up = next(one for one in steps if one.amps == 3.1)

    assert found(key_on(*steps, match=marked(up), marks=marks)).disqualified == (OFF if doubt else None)


UP, OTHER = step(20.0, 3.0, 0.05), step(30.0, 5.0, 0.05)


@pytest.mark.parametrize(
    ("match", "doubt"),
    [
        (by_size(UP, 0.96, (OTHER, 0.04)), None),
        (by_size(UP, 0.94, (OTHER, 0.06)), "the step of 5.00 A at 30.0 s may be slot 1 instead"),
        (by_size(UP, 0.94, (None, 0.06)), "the step at 20.0 s may be another load"),
        (by_size(UP, 0.90, (None, 0.03), (OTHER, 0.07)), "the step of 5.00 A at 30.0 s may be slot 1 instead"),
        (by_size(UP, 0.90, (None, 0.07), (OTHER, 0.03)), "the step at 20.0 s may be another load"),
        (by_size(UP, 0.60, (step(30.0, 3.1, 0.05), 0.40)), None),
        (
            by_size(UP, 0.75, (step(25.0, 3.1, 0.05), 0.19), (OTHER, 0.06)),
            "the step of 5.00 A at 30.0 s may be slot 1 instead",
        ),
        (by_size(OTHER, 0.96, (UP, 0.04)), None),
        (by_size(OTHER, 0.94, (UP, 0.06)), "the step of 3.00 A at 20.0 s may be slot 1 instead"),
        (by_size(OTHER, 0.60, (step(40.0, 5.5, 0.05), 0.40)), None),
    ],
)
def test_verdict_by_size_must_hold_over_all_assignments(match, doubt):
    """With 95 %: 3 A pass and 5 A fail."""
    assert found(key_on(UP, OTHER, match=match)).disqualified == doubt


def test_step_that_proves_nothing_needs_no_other():
    """3.6 A on the limit: not proven by its own figure."""
    edge = step(20.0, 3.6, 0.05)

    assert found(key_on(edge, OTHER, match=by_size(edge, 0.5, (OTHER, 0.5)))).disqualified is None
    near = step(20.0, 3.515, 0.05)
    assert found(key_on(near, match=by_size(near, 0.97, (None, 0.03)))).disqualified is None


@pytest.mark.parametrize(
    ("chances", "u"),
    [
        (((UP, 1.0),), 0.05),
        (((UP, 0.96), (step(30.0, 5.0, 0.05), 0.04)), 0.05),
        (((UP, 0.90), (step(30.0, 5.0, 0.05), 0.10)), (2.0 + 0.1) / 2),
        (((UP, 0.45), (step(30.0, 5.0, 0.05), 0.05), (None, 0.5)), (2.0 + 0.1) / 2),
        (((UP, 0.90), (step(30.0, 5.0, 0.05), 0.06), (step(40.0, 9.0, 0.05), 0.04)), (2.0 + 0.1) / 2),
        (((UP, 0.90), (step(30.0, 5.0, 0.05), 0.0)), 0.05),
    ],
)
def test_doubt_covers_95_percent_of_what_the_step_may_be(chances, u):
    """Its double reaches as far as the nearest steps that together have so much of the chance."""
    match = Match(UP, (), marked=False, chances=chances)
    one = found(key_on(UP, match=match), allowed=None)

    assert (one.value, one.likely_u) == (3.0, 0.05)
    assert one.u == pytest.approx(u)


def test_circuit_that_fits_the_plan_by_none_of_its_steps_fails():
    """5 or 5.5 A for 3 A; with one in ten for a step of 3 A, or for none of them, it is open."""
    high, higher = step(30.0, 5.0, 0.05), step(40.0, 5.5, 0.05)

    one = found(key_on(high, higher, match=by_size(high, 0.6, (higher, 0.4))))
    assert one.failed == (
        "whichever step of battery_a is whose, this circuit draws 5 A or 5.5 A, and none of these fits the plan"
    )
    for chances in (((UP, 0.1), (higher, 0.3)), ((None, 0.1), (higher, 0.3))):
        match = by_size(high, 0.6, *chances)
        assert found(key_on(high, higher, UP, match=match)).failed is None
    assert found(key_on(high, match=by_size(high, 0.97, (higher, 0.03)))).failed is None
    assert found(key_on(high, match=by_size(high, 0.95, (higher, 0.05)))).failed is None
    assert found(key_on(high, match=by_size(high, 0.94, (higher, 0.06)))).failed is not None
    assert found(key_on(high, match=marked(high))).failed is None
    assert found(key_on(high, match=by_size(high, 0.6, (higher, 0.4))), allowed=None).failed is None


def test_doubt_of_each_step_leaves_room_for_the_plan():
    """3.65 and 3.66 ± 0.05 A of at most 3.6 A."""
    high, higher = step(30.0, 3.65, 0.05), step(40.0, 3.66, 0.05)

    assert found(key_on(high, higher, match=by_size(high, 0.6, (higher, 0.4)))).failed is None
