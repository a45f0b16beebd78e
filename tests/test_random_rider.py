"""The guided test with a rider played at random: a small part of ``rider_table.py``."""

from pathlib import Path

import pytest
from rider_play import played
from rider_table import the_plan

#: Seed, fault, behaviour.
CASES = [(7, "", "kill_switch"), (8, "feed_resistance", "several_cranks")]


@pytest.mark.parametrize(("seed", "fault", "behaviour"), CASES)
def test_no_rider_makes_a_wrong_verdict(seed: int, fault: str, behaviour: str, tmp_path: Path):
    """Late, out of order, once more: the session ends by its rider alone, and no verdict contradicts the truth."""
    one = played(seed, fault, behaviour, the_plan(), tmp_path / "a.csv", latest_s=40.0, strange=0.2, again=0.2)

    assert one.ended == "done", one.told[-6:]
    assert one.verdicts is not None
    assert (one.verdicts.wrong, one.verdicts.passed) == ((), ())
    assert len(one.rider.story) > 8
