"""A feed that is lost while the starter turns: how long, how sure, and what that proves, on logs written by hand."""

import pytest
from hand_log import PLAN, Bike, check

CRANK_S = (30.0, 31.5)


def lost(ms: float, rate_hz: float = 1000.0, wanted: str = "hold"):
    """``feed_in_crank`` of a bike whose feed is lost for so long in the midst of a crank."""
    contact = [(10.012, 1), (60.03, 0)]
    if ms:
        contact[1:1] = [(30.5, 0), (30.5 + ms / 1000, 1)]
    bike = Bike(contact=contact, cranks=[CRANK_S], running=[(31.5, 60.0)], rate_hz=rate_hz)
    return check(bike.checked({**PLAN, "limits": {**PLAN["limits"], "feed_in_crank": wanted}}), "feed_in_crank")


@pytest.mark.parametrize("ms", [12.0, 65.0, 200.0])
def test_loss_is_as_long_as_it_was_to_within_two_samples(ms: float):
    """1000 samples a second: each end is known to a millisecond, so that 12 ms are a loss beyond doubt."""
    got = lost(ms)

    assert got.measured == pytest.approx(ms / 1000, abs=2e-3)
    # two rectangles of ± 1 ms, k = 2: 2 sqrt(2/3) ms (JCGM 100:2008, 4.3.7 and 5.1.2)
    assert got.uncertainty == pytest.approx(1.633e-3, rel=0.02)
    assert got.verdict == "fail"


def test_loss_that_was_wanted_passes():
    """A plan that wants the feed to drop while cranking."""
    assert lost(65.0, wanted="drop").verdict == "pass"
    assert lost(0.0, wanted="drop").verdict == "fail"


def test_feed_that_holds_passes():
    """No loss in the whole crank."""
    got = lost(0.0)

    assert (got.measured, got.verdict) == (0.0, "pass")


@pytest.mark.parametrize(("rate_hz", "verdict"), [(200.0, "pass"), (50.0, "not proven")])
def test_samples_further_apart_than_10_ms_can_miss_a_loss(rate_hz: float, verdict: str):
    """20 ms between samples: a loss of 10 ms could lie between two of them, so that nothing proves the feed held."""
    assert lost(0.0, rate_hz).verdict == verdict
