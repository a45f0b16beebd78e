"""Which of several logs decides: each rule of precedence alone, in both orders of the logs."""

import itertools
from typing import Any

import pytest

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated, UncertaintyParts
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.agreeing import judged_of
from benchlog.verdict.registry.engine import CRANK_MINIMUM, FEED_IN_CRANK
from benchlog.verdict.registry.key_off import OFF_STATE_DRAIN
from benchlog.verdict.registry.kind import CheckKind

CRANK, DRAIN = PlannedLimit(9.6, None, "given", "k"), PlannedLimit(None, 1.0, "given", "k")
HOURS_8 = 8 * 3600.0


def found(value: float, u: float | None = 0.1, **more: Any) -> Measured:
    """A finding of one log."""
    return Measured(value, u, 0.0, 1.0, **more)


def decides(kind: CheckKind, limit: PlannedLimit | None, *findings: Finding) -> tuple[int, Finding]:
    """The number of the finding that decides, from 0, and itself: the same in every order of the logs."""
    named = [(str(n), finding) for n, finding in enumerate(findings)]
    chosen = {judged_of(kind, order, limit)[0] for order in itertools.permutations(named)}
    assert len(chosen) == 1
    name, finding = judged_of(kind, named, limit)
    return int(name), finding


def test_of_two_failures_the_worse_counts():
    """9.0 and 8.0 V are both below 9.6."""
    assert decides(CRANK_MINIMUM, CRANK, found(9.0), found(8.0))[0] == 1


def test_of_figures_as_sure_the_longer_watched_counts_then_the_worse():
    """10.0 and 10.05 V ± 0.2: the lower one, unless the other was watched longer, however little."""
    assert decides(CRANK_MINIMUM, CRANK, found(10.05), found(10.0))[0] == 1
    assert decides(CRANK_MINIMUM, CRANK, found(10.05, watched_s=0.5), found(10.0))[0] == 0
    assert decides(CRANK_MINIMUM, CRANK, found(10.05, watched_s=10), found(10.0, watched_s=5))[0] == 0
    assert decides(CRANK_MINIMUM, CRANK, found(10.05, 0.09), found(10.0, watched_s=5))[0] == 0


def test_of_drains_watched_as_long_the_surer_counts_then_the_worse():
    """0.30 and 0.31 mA of one night."""
    one, other = found(0.30, 0.01, watched_s=HOURS_8), found(0.31, 0.02, watched_s=HOURS_8)

    assert decides(OFF_STATE_DRAIN, DRAIN, one, other)[0] == 0
    assert decides(OFF_STATE_DRAIN, DRAIN, one, found(0.31, 0.01, watched_s=HOURS_8))[0] == 1
    assert decides(OFF_STATE_DRAIN, DRAIN, found(0.30, 0.01, watched_s=0.5), found(0.30, 0.01))[0] == 0


def test_of_worse_figures_that_agree_the_worst_is_judged():
    """12.0 ± 0.002 V is outvoted by 10.00 and 10.05 ± 0.2 V: 10.00 is the figure, with a word on the sure one."""
    which, finding = decides(CRANK_MINIMUM, CRANK, found(12.0, 0.001), found(10.05), found(10.0, story="held 10 ms"))

    assert which == 2
    assert isinstance(finding, Measured)
    assert finding.story == "held 10 ms; the worse of logs that differ, 0 shows 12.0000 ± 0.0020 V"


def test_word_on_a_milder_figure_of_nothing():
    """A night of 0 mA that saw only part of it is told without its uncertainty."""
    night = found(0.0, 0.01, watched_s=HOURS_8, one_sided="the night was cut")

    which, finding = decides(OFF_STATE_DRAIN, DRAIN, night, found(0.9, 0.05, watched_s=400))

    assert which == 1
    assert isinstance(finding, Measured)
    assert finding.story == "the worse of logs that differ, 0 shows 0 mA"


def pulsed(pulses_ma: float, type_a: float | None) -> Measured:
    """A short watch of 0.9 mA in all on a channel without a zero, whose wake-ups add so much to its base."""
    parts = None if type_a is None else UncertaintyParts(type_a, 400.0, 3.0, 0.0, 0.0)
    return found(0.9, 3.0, watched_s=400.0, at_rest=0.9 - pulses_ma, parts=parts)


@pytest.mark.parametrize(
    ("pulses_ma", "type_a", "which"),
    [(2.0, 0.05, 1), (2.0, 1.0, 0), (2.0, None, 1), (0.39, 0.05, 0), (0.42, 0.05, 1)],
)
def test_wake_ups_count_beyond_twice_their_own_scatter(pulses_ma: float, type_a: float | None, which: int):
    """Beside a night of 0.3 ± 0.02 mA: 2.0 mA of wake-ups, unless they scatter by 1; 0.39 is within, 0.42 beyond."""
    night = found(0.3, 0.01, watched_s=HOURS_8)

    assert decides(OFF_STATE_DRAIN, DRAIN, night, pulsed(pulses_ma, type_a))[0] == which


def test_wake_ups_count_beside_a_worse_figure_too():
    """0.95 ± 0.1 mA is worse than a night's 0.3, and 2.0 mA of wake-ups are worse than that."""
    night, day = found(0.3, 0.01, watched_s=HOURS_8), found(0.95, 0.05, watched_s=400.0)

    assert decides(OFF_STATE_DRAIN, DRAIN, night, day, pulsed(2.0, 0.05))[0] == 2


def test_of_logs_that_cannot_tell_the_one_that_proves_most_counts():
    """A loss that was seen in part is a pass where one is planned; else what is measured comes before what is not."""
    drop = PlannedLimit(0.0, None, "given", "k")
    seen, little = found(0.5, 0.01, one_sided="slow"), found(0.01, 0.009, one_sided="slow")
    unseen = NotEvaluated("no crank")

    assert decides(FEED_IN_CRANK, drop, unseen, little, seen)[0] == 2
    assert decides(FEED_IN_CRANK, drop, unseen, little)[0] == 1
    assert decides(FEED_IN_CRANK, None, unseen, little)[0] == 1


def test_of_logs_that_cannot_tell_the_surer_counts_then_the_worse():
    """10.0 and 10.05 V, both seen in part."""
    first, second = found(10.05, 0.1, one_sided="slow"), found(10.0, 0.1, one_sided="slow")

    assert decides(CRANK_MINIMUM, CRANK, first, second)[0] == 1
    assert decides(CRANK_MINIMUM, CRANK, found(10.05, 0.09, one_sided="slow"), second)[0] == 0
