"""What a log's own figures say before the first test is asked, and how sure a belief is said to be."""

from typing import Any

import numpy as np
import pytest
from test_find_drawing import plan
from test_find_hunt import Scripted

from benchlog.find.hunt import Hunt, log_figures, share_words
from benchlog.verdict.result import Check, Result


def check(name: str, measured: float | None, verdict: str) -> Any:
    """A check of a result."""
    return Check.model_construct(id=name, measured=measured, verdict=verdict)


def test_figures_of_the_log_are_answers_of_their_own():
    """Of checks that are proven either way; each under the name of the test that measures the same."""
    given = Result.model_construct(
        checks=(check("feed_drop", 0.1, "pass"), check("ground_lift", 0.2, "fail"),
                check("off_state_drain", 3.0, "pass"), check("resting_voltage", 12.6, "pass"),
                check("charging_voltage", 14.2, "fail"),
                check("slot_1_current", 2.0, "pass"), check("slot_9_current", 2.0, "pass"),
                check("relay_pull_in", 9.0, "pass"))
    )  # fmt: skip
    open_ = Result.model_construct(checks=(check("feed_drop", 0.1, "not proven"), check("ground_lift", None, "pass")))

    assert log_figures(given, plan((1,))) == [
        ("voltage battery + to block, all on", 0.1),
        ("voltage bus to battery -, all on", 0.2),
        ("mean drain of the log", 3.0),
        ("voltage battery + to battery -, asleep", 12.6),
        ("voltage battery + to battery -, running", 14.2),
        ("current slot 1, all on", 2.0),
    ]
    assert log_figures(open_, plan((1,))) == log_figures(None, plan((1,))) == []


def test_the_logs_figures_are_wrong_in_two_of_a_hundred():
    """Those that are a test of this plan; then the answers."""
    known = Scripted([0.2] * 5, {"voltage bus to battery -, all on": 1.0})
    given = Result.model_construct(causes=(), checks=(check("ground_lift", 0.2, "fail"), check("feed_drop", 1, "fail")))
    known.of_answer["voltage bus to battery -, all on"] = (np.array([1.0, 1, 1, 3, 1]), np.zeros(5))
    session = Hunt(known, given)  # type: ignore[arg-type]  # its like

    assert known.seen == [("voltage bus to battery -, all on", 0.2, 0.02)]
    assert session.weights == pytest.approx(np.array([1, 1, 1, 3, 1]) / 7)


@pytest.mark.parametrize(("belief", "words"), [(0.004, "0 %"), (0.5, "50 %"), (0.986, "99 %"), (1.0, "99 %")])
def test_nothing_is_ever_quite_sure(belief: float, words: str):
    """Whole per cent, 99 at most."""
    assert share_words(belief) == words
