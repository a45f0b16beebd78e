"""Properties of the whole check on six random logs, twelve with ``--long``; ``tests/whole_check.py`` tries hundreds."""

import pytest
from conftest import few
from whole_check import PROPERTIES, SEED, Given, breaks, proven_with_noise

#: Two logs of each of three loggers, or four.
SEEDS = range(SEED, SEED + 12)


@pytest.mark.parametrize("seed", few(SEEDS, SEEDS[:6]))
def test_verdicts_do_not_hang_on_what_they_must_not(seed: int):
    """Order of logs, the clock's zero, a cut, tighter limits, a channel less: each as ``PROPERTIES`` says.

    Two of the five are tried on each log, in turn.
    """
    given = Given(seed)
    names = list(PROPERTIES)
    chosen = [names[(seed + n) % len(names)] for n in (0, 2)]

    assert given.result is not None
    assert {name: breaks(name, given) for name in chosen} == {name: [] for name in chosen}


def test_more_noise_proves_no_more_on_average():
    """Three logs, and the same with four times their noise added: no more of their checks are proven."""
    before, after = (sum(counts) for counts in zip(*(proven_with_noise(seed) for seed in SEEDS[:3]), strict=True))

    assert before > 20
    assert after <= before
