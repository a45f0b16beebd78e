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


def test_step_as_the_fuse_block_is_dead_may_be_another_load():
    """0.3 V at the block against 12.4 V at the battery: a brake light of the circuit's size is no pass, and no fail."""
    for amps in (3.1, 1.8):
        up = step(20.0, amps)
        after = plateau(20.0, 30.0, battery_v=12.4, feed_v=0.3)
        one = KeyOnSteps((Stepped(up, plateau(12.0, 20.0), after),), (), {1: marked(up)}, {}, None, 60.0)

        assert (
            found(one).disqualified
            == "the fuse block was dead by feed_v at 20.0 s, so the step there may be another load"
        )


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
