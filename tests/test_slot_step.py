"""A circuit's current by its load step: figure, doubt, and what makes it another load's, on steps written by hand."""

import math

import pytest
from hand_bench import EXACT, HandLog, bench, limit, plan, plateau, story, times

from benchlog.analysis.cranking import Crank
from benchlog.analysis.load_steps import LoadStep
from benchlog.analysis.running import Running
from benchlog.analysis.slots import Match
from benchlog.core.trace import Mark
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.slot_match import KeyOnSteps
from benchlog.examine.slot_step import from_step
from benchlog.examine.stepped import ANOTHER_BESIDE, Stepped

WITHIN = limit(2.4, 3.6)
NOTE = 'note "slot 1 on" as a mark when switching it on, or log slot1_a'


def step(at_s: float, amps: float, u: float = 0.01, owner="block", **more) -> LoadStep:
    """A step between two stretches of ten seconds."""
    return LoadStep(at_s, amps, u, at_s - 8.0, at_s + 10.0, owner, **more)


def key_on(*steps: LoadStep, match: Match, volts=(), marks=()) -> KeyOnSteps:
    """These steps, the first slot's match, and the battery's voltage after each step, V."""
    level = [*volts, *[12.0] * len(steps)]
    stepped = [
        Stepped(
            one, plateau(one.from_s, one.time_s), plateau(one.time_s, one.to_s, battery_v=level[n], feed_v=level[n])
        )
        for n, one in enumerate(steps)
    ]
    noted = tuple(Mark(at, text) for text, at in dict(marks).items())
    return KeyOnSteps(tuple(stepped), noted, {1: match}, {}, None, 60.0)


def a_bench(accuracy=EXACT, planned=(3.0,), **told):
    """The battery's current is as exact as its accuracy."""
    log = HandLog(times(60.0, 0.1), {"battery_a": 0.0})
    return bench(log, story(((0.0, 60.0),), **told), plan(*planned), accuracy={"battery_a": accuracy})


def found(one: KeyOnSteps, allowed=WITHIN, role="battery_a", **how):
    """The first slot's finding."""
    return from_step(a_bench(**how), 1, one, role, allowed)


def marked(one: LoadStep, *others) -> Match:
    """The step at its mark."""
    return Match(one, others, marked=True)


def by_size(one: LoadStep, chance: float = 1.0, *others) -> Match:
    """The step that fits by its size with such a chance; and others with theirs."""
    return Match(one, (), marked=False, chances=((one, chance), *others))


def test_marked_step_gives_the_circuits_current():
    """3.1 A, read to 10 mA, as the step was."""
    up = step(20.0, 3.1)
    one = found(key_on(up, match=marked(up)))

    assert (one.value, one.u, one.likely_u) == (3.1, 0.01, 0.01)
    assert (one.from_s, one.to_s) == (12.0, 30.0)
    assert one.story == "from the step of battery_a at 20.0 s, marked as slot 1"
    assert (one.disqualified, one.remedy, one.failed) == (None, None, None)
    assert found(key_on(up, match=by_size(up))).story.endswith("taken for slot 1 by its size")


def test_step_carries_the_channels_doubt_of_a_change():
    """1 % of gain and 10 mA steps; none where no accuracy is stated."""
    up, channel = step(20.0, 3.1), Accuracy(0.01, 0.05, 0.01)

    assert found(key_on(up, match=marked(up)), accuracy=channel).u == pytest.approx(
        math.hypot(0.01, 0.01 * 3.1 / math.sqrt(3), math.sqrt(2) * 0.005 / math.sqrt(3))
    )
    assert found(key_on(up, match=marked(up)), accuracy=None).u is None


def test_slot_without_a_step_is_a_mistake_of_the_asker():
    """There must be one."""
    with pytest.raises(ValueError, match="slot 1 has no step"):
        found(key_on(match=Match(None, (), marked=True)))


def test_voltage_that_goes_on_to_change_leaves_the_current_in_doubt():
    """From 12.5 V at the step to 12.0 V later, 4 %: ± 0.124 A between a heater and a converter."""
    up = step(20.0, 3.1)
    others = (step(30.0, 2.0), step(10.0, 1.0))
    one = key_on(others[1], up, others[0], match=marked(up), volts=(14.0, 12.5, 12.0))

    assert found(one).u == pytest.approx(math.hypot(0.01, 3.1 * 0.04 / math.sqrt(3)))
    assert found(one).likely_u == found(one).u


@pytest.mark.parametrize(
    "told", [{"cranks": (Crank(25.0, 26.0, 12.5, 1.0),)}, {"running": (Running(25.0, 40.0, "mark", 12.5, 1.0),)}]
)
def test_voltage_after_the_engines_start_does_not_count(told):
    """The circuit is judged before it; an earlier start changes nothing."""
    up, later = step(20.0, 3.1), step(30.0, 2.0)
    one = key_on(up, later, match=marked(up), volts=(12.5, 14.0))

    assert found(one, **told).u == 0.01
    assert found(one, cranks=(Crank(15.0, 16.0, 12.5, 1.0),)).u == pytest.approx(
        math.hypot(0.01, 3.1 * 0.12 / math.sqrt(3))
    )


def test_next_of_several_starts_ends_what_counts():
    """Two cranks after the step."""
    up, later = step(20.0, 3.1), step(30.0, 2.0)
    one = key_on(up, later, match=marked(up), volts=(12.5, 14.0))

    assert found(one, cranks=(Crank(25.0, 26.0, 12.5, 1.0), Crank(40.0, 41.0, 12.5, 1.0))).u == 0.01


def test_dead_voltage_tells_of_no_sag():
    """Below 5 V there is none to answer to."""
    up, later = step(20.0, 3.1), step(30.0, 2.0)

    assert found(key_on(up, later, match=marked(up), volts=(12.5, 4.9))).u == 0.01
    assert found(key_on(up, later, match=marked(up), volts=(12.5, 5.1))).u > 0.5


def test_step_that_is_in_doubt_disqualifies_and_says_what_to_do():
    """A faster logger for pulses; once more, alone, where another load came with it."""
    pulsed = step(20.0, 3.1, doubtful="too few samples")
    beside = step(20.0, 3.1, doubtful=ANOTHER_BESIDE)

    one = found(key_on(pulsed, match=marked(pulsed)))
    assert (one.disqualified, one.remedy) == (
        "too few samples",
        "a faster logger, or one that averages between its samples",
    )
    assert found(key_on(beside, match=marked(beside))).remedy == (
        "switch the circuit on again while nothing else is switched"
    )


def test_pulsed_step_is_told_with_its_root_mean_square():
    """3.1 A on the mean, 6.2 A while on: 4.38 A RMS."""
    up = step(20.0, 3.1, peak_a=6.2)

    assert found(key_on(up, match=marked(up))).story.endswith("pulsed: 6.20 A while on, 4.38 A RMS")


def test_another_step_at_the_mark_counts_where_its_verdict_differs():
    """Two loads at one mark, 3.1 and 5 A; or none; 3.2 A would pass as well."""
    up = step(20.0, 3.1)
    fits = "the step of 5.00 A at 21.0 s fits slot 1 about as well"

    one = found(key_on(up, match=marked(up, step(21.0, 5.0))))
    assert (one.disqualified, one.remedy) == (fits, NOTE)
    assert found(key_on(up, match=marked(up, None))).disqualified == "the step at 20.0 s may be another load"
    assert found(key_on(up, match=marked(up, step(21.0, 3.2)))).disqualified is None
    assert found(key_on(up, match=by_size(up))).disqualified is None
    assert found(key_on(up, match=marked(up, step(21.0, 3.2))), accuracy=None).disqualified is None
    unlimited = found(key_on(up, match=marked(up, step(21.0, 5.0))), allowed=None)
    assert (unlimited.disqualified, unlimited.remedy) == (None, None)


def test_load_that_may_hide_in_a_failing_step_leaves_it_open():
    """5.1 A for 3 A planned, with 2.1 A that were on before and went off; a passing step hides none."""
    before, gone, up = step(5.0, 2.1), step(10.0, -2.1), step(20.0, 5.1)

    one = found(key_on(before, gone, up, match=marked(up)))
    assert one.disqualified == "a load of 2.10 A that was seen at another time may have come or gone in the same step"
    assert found(key_on(up, match=marked(up))).disqualified is None
    fits = step(20.0, 3.1)
    assert found(key_on(before, gone, fits, match=marked(fits))).disqualified is None


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
