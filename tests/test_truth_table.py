"""Verdicts over random installs whose truth is known: how many are false, proven, and covered.

``python tests/truth_table.py`` prints the same for many more installs, check by check.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from truth_table import Tally

#: Installs as a rule, and with ``--long``.
INSTALLS, MORE, SEED = 6, 14, 1000


@pytest.fixture(scope="module")
def totals(long: bool) -> tuple[Tally, Tally]:
    """All checks together: limits close to the truth, and limits up to 30 % off."""
    # in a program of its own: worker processes forked from one whose polars already runs threads may never end
    ask = (
        "import json; from truth_table import figures; "
        f"tables = figures({MORE if long else INSTALLS}, {SEED}, workers=1); "
        "print(json.dumps([{k: int(v) for k, v in vars(t.total()).items()} for t in tables]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", ask], cwd=Path(__file__).parent, capture_output=True, text=True, timeout=300, check=True
    )
    tight, wide = (Tally(**total) for total in json.loads(done.stdout))
    return tight, wide


def test_enough_was_judged(totals: tuple[Tally, Tally], long: bool):
    """Nearly every check of every install was judged, so that the shares below mean something."""
    assert min(tally.judged for tally in totals) >= 15 * (MORE if long else INSTALLS)


def test_verdicts_are_hardly_ever_false(totals: tuple[Tally, Tally]):
    """At most 2 % of verdicts contradict the truth, with limits near it or far."""
    shares = [(tally.false_pass + tally.false_fail) / tally.judged for tally in totals]

    assert max(shares) <= 0.02


def test_bare_comparison_would_often_be_wrong(totals: tuple[Tally, Tally]):
    """With limits close to the truth, comparing the measured value alone is wrong in 5 % of cases or more."""
    tight, _ = totals

    assert tight.bare_wrong / tight.judged >= 0.05


def test_most_verdicts_are_proven(totals: tuple[Tally, Tally]):
    """With limits up to 30 % off the truth, at least three in four checks end in pass or fail."""
    _, wide = totals

    assert wide.proven / wide.judged >= 0.75


def test_uncertainty_covers_the_truth(totals: tuple[Tally, Tally]):
    """The expanded uncertainty, k = 2, covers the truth in at least 93 % of cases (95 % meant)."""
    shares = [tally.covered / tally.with_u for tally in totals]

    assert min(shares) >= 0.93
