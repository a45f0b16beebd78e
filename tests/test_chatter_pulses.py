"""Chatter under a trigger that is pulsed: what a bouncing key does at the key-on is none."""

from dataclasses import replace

import numpy as np
import pytest
from hand_log import Bike, check

#: The trigger is down for 1 ms of every 5 ms, which the coil's diode bridges.
PULSED = Bike(
    key=((10.0, 1), (60.0, 0)),
    change={"trigger_v": lambda t, v: np.where((t >= 10.0) & (t < 60.0) & ((t * 200.0) % 1 < 0.2), 0.0, v)},
)


@pytest.mark.parametrize(("opens_s", "openings"), [(0.030, 0), (2.0, 1)])
def test_opening_at_the_key_on_is_the_keys_bounce(opens_s: float, openings: int):
    """The contact opens once for 8 ms: 30 ms after the key-on the key bounced, two seconds later nothing did."""
    at = 10.0 + opens_s
    contact = ((10.012, 1), (at, 0), (at + 0.008, 1), (60.005, 0))

    found = check(replace(PULSED, contact=contact).checked(), "relay_chatter")

    assert found.measured == openings
    assert (found.verdict == "fail") == bool(openings)
