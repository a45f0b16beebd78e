"""Verdicts in the second world, whose truth comes from a circuit that shares nothing with benchlog.

``python tests/world_table.py`` prints the same for many more logs: by check, by behaviour and by logger.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest
import scipy
from world_pages import FIGURES, PAGE, quoted, readme_lines
from world_table import Tally

ROOT = Path(__file__).parent.parent
#: Seeds that nobody tuned on; logs as a rule, and with ``--long``.
LOGS, MORE, SEED = 6, 14, 910_000
#: What an ideal rule with normal errors does, and what may come by chance once in a thousand runs.
IDEAL_FALSE, IDEAL_COVERED, CHANCE = 0.0035, 0.95, 0.001


@pytest.fixture(scope="module")
def totals(long: bool) -> tuple[Tally, Tally, int]:
    """All checks together, limits close to the truth and up to 30 % off; and how many logs were refused."""
    logs = MORE if long else LOGS
    # in a program of its own: worker processes forked from one whose polars already runs threads may never end
    ask = (
        "import json\n"
        "from world_table import Asked, Tally, run\n"
        "if __name__ == '__main__':\n"
        f"    table = run(range({SEED}, {SEED + logs}), Asked(), jobs=1)\n"
        "    keys = [('all', 'tight'), ('all', 'wide'), ('refused', 'refused')]\n"
        "    print(json.dumps([vars(table.rows.get(key, Tally())) for key in keys]))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", ask], cwd=Path(__file__).parent, capture_output=True, text=True, timeout=600, check=True
    )
    tight, wide, refused = (Tally(**row) for row in json.loads(done.stdout))
    return tight, wide, refused.judged


def _most(share: float, of: int) -> int:
    """So many, or fewer, come by chance in all but one of a thousand runs."""
    return int(scipy.stats.binom.ppf(1 - CHANCE, of, share))


def test_no_log_of_a_bike_is_refused(totals: tuple[Tally, Tally, int], long: bool):
    """Every log was read and judged; a refusal or a traceback of a log that a bike can make is a fault."""
    tight, wide, refused = totals

    assert refused == 0
    assert min(tight.judged, wide.judged) >= 12 * (MORE if long else LOGS)


def test_verdicts_are_hardly_ever_false(totals: tuple[Tally, Tally, int]):
    """False passes and false fails are no more than an ideal rule makes, up to chance."""
    tight, wide, _ = totals

    for tally in (tight, wide):
        assert tally.false_pass <= _most(IDEAL_FALSE, tally.judged)
        assert tally.false_fail <= _most(IDEAL_FALSE, tally.judged)


def test_uncertainty_covers_the_truth(totals: tuple[Tally, Tally, int]):
    """The expanded uncertainty covers the truth in 95 %, up to chance."""
    tight, _, _ = totals

    assert tight.with_u - tight.covered <= _most(1 - IDEAL_COVERED, tight.with_u)


def test_most_of_what_can_be_proven_is(totals: tuple[Tally, Tally, int]):
    """At least three in four of what an ideal prover with the same logger could decide are decided."""
    _, wide, _ = totals

    assert wide.proven >= 0.75 * wide.provable


def test_the_readme_quotes_what_the_script_last_wrote():
    """The figures of the second world stand in the README as the scripts left them with `--write`."""
    known = json.loads(FIGURES.read_text(encoding="utf-8"))

    assert quoted(PAGE.read_text(encoding="utf-8")) == readme_lines(known)
