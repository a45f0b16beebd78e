"""The sentence beside each verdict: the figure, the limit and, where a check is open, what would prove it."""

import itertools
import re

import pytest

from benchlog.analysis.measurement import Measured, NotEvaluated
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.registry.table import CHECKS, check_of
from benchlog.verdict.sentences import UNSTATED, because

MAX = PlannedLimit(None, 1.0, "given", "limits.it")
MIN = PlannedLimit(1.0, None, "given", "limits.it")
BOTH = PlannedLimit(1.0, 2.0, "given", "limits.it")
IDS = [spec.id.replace("_N_", "_3_") for spec in CHECKS]
UNITS = {spec.id.replace("_N_", "_3_"): spec.unit for spec in CHECKS}


def said(check_id: str, finding: Measured | NotEvaluated, limit: PlannedLimit | None) -> str:
    """The sentence with the verdict that belongs to it."""
    kind = check_of(check_id).kind
    return because(kind, kind.verdict(finding, limit), finding, limit)


@pytest.mark.parametrize("check_id", IDS)
@pytest.mark.parametrize("limit", [None, MAX, MIN, BOTH], ids=["none", "max", "min", "both"])
def test_each_is_one_whole_sentence(check_id: str, limit: PlannedLimit | None):
    """It begins with a capital letter or figure, ends with one full stop, and holds no trace of Python."""
    texts = [
        said(check_id, Measured(value, u, 0.0, 1.0, story="over 3 events"), limit)
        for value, u in itertools.product((-0.5, 0.0, 0.4, 0.99, 1.0, 7.0), (None, 0.0, 0.01, 0.5))
    ]
    bad = re.compile(r"None|nan|inf\b|\{|\}|  |\.\.$")

    assert [text for text in texts if not re.match(r"[A-Z0-9−]", text) or not text.endswith(".")] == []
    assert [text for text in texts if bad.search(text)] == []


@pytest.mark.parametrize("check_id", [i for i in IDS if i not in ("relay_chatter", "feed_in_crank")])
def test_figure_and_limit_stand_in_it(check_id: str):
    """A pass tells what was measured, how surely, and against what."""
    text = said(check_id, Measured(0.5, 0.02, 0.0, 1.0), MAX)

    assert f"0.500 ± 0.040 {UNITS[check_id]}" in text
    assert f"within the limit of at most 1 {UNITS[check_id]}" in text


@pytest.mark.parametrize(
    ("limit", "words"),
    [(MAX, "at most 1 V"), (MIN, "at least 1 V"), (BOTH, "limits of 1 to 2 V")],
)
def test_limit_is_told_by_its_sides(limit: PlannedLimit, words: str):
    """One side or both."""
    assert words in said("charging_voltage", Measured(1.5, 0.001, 0.0, 1.0), limit)


def test_failure_says_that_the_limit_is_broken():
    """A failure names the limit that it breaks."""
    text = said("feed_drop", Measured(1.5, 0.01, 0.0, 1.0, story="by feed_a"), MAX)

    assert "which breaks the limit of at most 1 V" in text
    assert "(by feed_a)" in text


def test_thing_that_never_happened_says_so():
    """A relay that never opens has no figure to tell."""
    finding = Measured(None, None, 0.0, 60.0, failed="the contact never opened after the trigger fell, for 60.0 s")

    assert said("relay_drop_out", finding, MAX) == "The contact never opened after the trigger fell, for 60.0 s."


def test_unseen_says_what_is_missing():
    """A check that was not seen says what to record; a role keeps its name."""
    assert said("feed_drop", NotEvaluated("turn the loads on"), MAX) == "Turn the loads on."
    assert said("feed_drop", NotEvaluated("feed_v is not logged"), MAX) == "feed_v is not logged."


def test_unstated_accuracy_says_what_to_state():
    """Without a stated accuracy the sentence names the keys that are missing."""
    assert UNSTATED in said("feed_drop", Measured(0.5, None, 0.0, 1.0), MAX)


def test_doubt_comes_with_its_remedy():
    """A doubt is told, and what would remove it."""
    finding = Measured(
        0.5, 0.01, 0.0, 1.0, disqualified="3 samples were over range", remedy="a wider range would prove it"
    )

    assert said("feed_drop", finding, MAX).endswith("3 samples were over range; a wider range would prove it.")


def test_open_figure_says_how_finely_to_measure():
    """Half a volt from its limit, a value needs an uncertainty of at most 2 / 1.645 times that: 0.61 V."""
    text = said("feed_drop", Measured(0.5, 0.4, 0.0, 1.0), MAX)

    assert "the limit lies inside the uncertainty" in text
    needed = float(re.search(r"measures to ± ([\d.]+) V", text).group(1))  # type: ignore[union-attr]  # fails where it is not there
    assert needed == pytest.approx(2 * 0.5 / 1.645, rel=0.01)
    assert check_of("feed_drop").kind.verdict(Measured(0.5, needed / 2 * 0.999, 0.0, 1.0), MAX) == "pass"


def test_value_on_its_limit_asks_for_no_wonder():
    """A value at the limit itself cannot be settled by any logger, and the sentence says so."""
    assert "right at the limit" in said("feed_drop", Measured(1.0, 0.1, 0.0, 1.0), MAX)


def test_log_too_slow_hides_a_figure_without_bound():
    """What may lie between samples has no uncertainty to print."""
    text = said("crank_minimum", Measured(9.0, 0.01, 0.0, 1.0, one_sided="samples 100 ms apart can miss it"), MIN)

    assert "±" not in text
    assert "samples 100 ms apart can miss it" in text


@pytest.mark.parametrize(
    ("count", "words"),
    [(0, "did not open or re-close out of turn"), (1, "out of turn once"), (3, "out of turn 3 times")],
)
def test_chatter_is_counted_in_words(count: int, words: str):
    """None, once, or so many times."""
    none = PlannedLimit(None, 0.0, "given", "the plan has a [relay]")

    assert words in said("relay_chatter", Measured(float(count), 0.0, 0.0, 1.0), none)


def test_unplanned_check_says_that_the_plan_is_silent():
    """A measured value without a limit."""
    assert said("feed_drop", Measured(0.5, 0.01, 0.0, 1.0), None).endswith("the plan gives no limit.")


def test_remedy_of_an_open_figure_is_the_findings_own_but_for_a_relays_times():
    """A relay's time is told by its samples, so a rate is what helps it, whatever the finding says."""
    near, late = Measured(0.95, 0.1, 0.0, 1.0, remedy="x would"), Measured(29.0, 3.0, 0.0, 1.0, remedy="x would")

    assert said("feed_drop", near, MAX).endswith("the limit lies inside the uncertainty; x would.")
    assert "samples a second" in said("relay_pull_in", late, PlannedLimit(None, 30.0, "given", "k"))


@pytest.mark.parametrize(
    ("value", "remedy", "ends"),
    [
        (0.5, "a faster log would prove it", "slow; a faster log would prove it."),
        (0.95, "a faster log would prove it", "slow; a faster log is needed, and even then the limit lies inside"),
        (0.95, "log it again", "slow; log it again."),
        (0.95, None, "slow."),
    ],
)
def test_a_remedy_for_a_log_that_is_too_slow(value: float, remedy: str | None, ends: str):
    """Alone where the figure would then prove its limit, or where it promises nothing; else with what is missing."""
    assert ends in said("feed_drop", Measured(value, 0.1, 0.0, 1.0, one_sided="slow", remedy=remedy), MAX)
