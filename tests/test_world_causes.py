"""Causes in the second world, whose faults are put into a circuit that shares nothing with benchlog.

``python tests/world_causes.py`` prints the same for many more installs: by fault and by logger.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest
import scipy
from world_causes import NAMES

#: Seeds that nobody tuned on; each install is drawn with some of the faults, each logger four times.
INSTALLS, SEED, FAULTS_EACH, HEALTHY = 4, 930_000, 7, 6
#: Installs and healthy ones with ``--long``.
MORE, MORE_HEALTHY = 7, 12
#: What is asked for over all loggers, and what may come by chance once in a thousand runs.
FIRST, WRONG, CHANCE = 0.94, 0.01, 0.001


@pytest.fixture(scope="module")
def runs(long: bool) -> dict[str, list]:
    """What became of each run that counts, with its words; and what healthy installs with behaviours named."""
    # in a program of its own: worker processes forked from one whose polars already runs threads may never end
    ask = (
        "import json\n"
        "from world_causes import GRADES, NAMES, one_healthy, one_install\n"
        "kinds, named = [], []\n"
        f"for k in range({MORE if long else INSTALLS}):\n"
        f"    faults = [NAMES[(k * {FAULTS_EACH} + n) % len(NAMES)] for n in range({FAULTS_EACH})]\n"
        f"    found = one_install({SEED} + k, GRADES[k % 3], faults)\n"
        "    kinds += [(run.kind, run.line) for run in found if run.counts]\n"
        f"for k in range({MORE_HEALTHY if long else HEALTHY}):\n"
        f"    run = one_healthy({SEED} + k, GRADES[k % 3])\n"
        "    if run is not None and run.first and not run.truly:\n"
        "        named.append(run.line)\n"
        "print(json.dumps({'kinds': kinds, 'named': named}))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", ask], cwd=Path(__file__).parent, capture_output=True, text=True, timeout=600, check=True
    )
    return json.loads(done.stdout)


def test_true_fault_stands_first(runs: dict[str, list]):
    """The fault, or exactly what this log cannot part from it, comes first as often as is asked for, up to chance."""
    kinds = [kind for kind, _ in runs["kinds"]]

    assert len(NAMES) <= INSTALLS * FAULTS_EACH
    assert len(kinds) >= INSTALLS * FAULTS_EACH // 2
    least = int(scipy.stats.binom.ppf(CHANCE, len(kinds), FIRST))
    assert kinds.count("right") >= least, [line for kind, line in runs["kinds"] if kind != "right"]


def test_wrong_fault_hardly_ever_stands_first(runs: dict[str, list]):
    """Neither a wrong fault nor too large a group, up to chance."""
    wrong = [line for kind, line in runs["kinds"] if kind in ("wrong", "large")]

    assert len(wrong) <= int(scipy.stats.binom.ppf(1 - CHANCE, len(runs["kinds"]), WRONG)), wrong


def test_healthy_installs_name_nothing(runs: dict[str, list]):
    """Whatever a bike does beside the test, where nothing truly fails no cause is named."""
    assert runs["named"] == []
