"""Settling at the edges: at once, unseen in noise, and how late that may have been, on key-offs by hand."""

import numpy as np
import pytest
from hand_bench import times
from test_off_state import a_bench, found

from benchlog.analysis.noise import NoiseModel
from benchlog.analysis.settling import Settled
from benchlog.examine.bypass import BYPASSED
from benchlog.examine.off_settle import _unseen_until
from benchlog.examine.off_spans import OffSpan

WINDOWS = tuple(0.1 * 2**n for n in range(12))


def model(sigma):
    """Noise of the current whose means are no better."""
    return {"battery_a": NoiseModel(sigma, sigma, 0.1, WINDOWS, (sigma,) * 12)}


def test_bike_that_is_quiet_at_once_settled_no_earlier_than_its_key_off():
    """And within what is known of that."""
    settle = found(settles_s=0.0)[1]

    assert settle.interval[0] == 0.0
    assert 0.0 < settle.interval[1] < 0.35
    assert settle.value == pytest.approx(settle.interval[1] / 2)


def test_settling_at_once_that_noise_hides_is_told_as_none():
    """What was seen; up to the whole of the key-off may have been unseen."""
    rough = np.random.default_rng(8).normal(0, 0.01, 3000)
    amps = np.where(times(300.0, 0.1) < 50, 4.0, 0.005) + rough
    settle = found(values={"battery_a": lambda _: amps}, noise=model(0.01))[1]

    assert settle.one_sided.startswith("up to ")
    assert settle.value == pytest.approx(0.0, abs=0.15)
    assert settle.interval[0] == 0.0


def unseen_after(early_s):
    """Until when more than 10 mA may have flowed: settled at 60 s, 13 mA more than at the end for so long."""
    amps = np.where(times(300.0, 0.1) < 60, 0.1, np.where(times(300.0, 0.1) < 60 + early_s, 0.018, 0.005))
    one = a_bench(values={"battery_a": lambda _: amps}, noise=model(0.0001))
    settled = Settled(60.0, 300.0, 0.1, 0.005, (), seen_a=0.02)
    return _unseen_until(one, OffSpan(50.0, 300.0, False, settled, "battery_a"), settled, 160.0)


@pytest.mark.parametrize(
    ("early_s", "until_s"), [(75.0, 160.0), (50.0, 135.0), (20.0, 95.0), (10.0, 80.0), (5.0, 70.0)]
)
def test_settling_is_looked_for_at_shares_of_the_way_to_its_limit(early_s, until_s):
    """All, three quarters, 0.35, 0.2 and 0.1 of 100 s: the last at which the mean before tells nothing."""
    assert unseen_after(early_s) == (pytest.approx(until_s), None)


def test_limit_that_the_plan_lacks_is_a_minute():
    """Noise that hides 2.3 mA: a twentieth of the way to 60 s after the key-off is looked at last."""
    how = {"noise": model(0.001), "limits": {"settle_max_s": None}}
    t = times(300.0, 0.1)
    rough = np.random.default_rng(8).normal(0, 0.004, 3000)
    amps = np.where(t < 50, 4.0, np.where(t < 58, 0.5, 0.005)) + rough
    settle = found(values={"battery_a": lambda _: amps}, **how)[1]

    assert settle.one_sided is None
    assert settle.interval[1] == pytest.approx(8.0 + 0.05 * 52.0, abs=0.3)


def test_drain_that_no_load_step_proves_leaves_its_settling_as_open():
    """A shunt that sees nothing cannot see it settle; what else leaves a pass open waits for no load."""
    blind = found(amps=0.0004, on_a=0.0004, settles_s=0.0)[1]
    assert (blind.one_sided, blind.needs_load_step) == (BYPASSED, True)
    late = found(told={"source": "battery_v"})[1]
    assert late.one_sided is not None
    assert late.needs_load_step is False
    assert found()[1].needs_load_step is False
