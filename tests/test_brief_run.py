"""An engine that is cut off right after it started has shown nothing of its alternator. Arrays by hand."""

import pytest
from marked_frame import BATTERY_LOGGER, battery_frame, times

import benchlog

CRANK_S, STARTED_S = 30.0, 31.0
PLAN = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "limits": {"charging_min_v": 13.5, "charging_balance_min_a": 0.0},
}


def verdicts(ran_s: float) -> tuple[str, str]:
    """Voltage and balance of an engine that ran so long and did not charge."""
    off_s = STARTED_S + ran_s
    t = times(off_s + 20.0)
    amps = 0.02 + 5.0 * ((t >= 20.0) & (t < off_s)) + 75.0 * ((t >= CRANK_S) & (t < STARTED_S))
    marks = {20.0: "key on", CRANK_S: "crank", STARTED_S: "running", off_s: "key off"}
    result = benchlog.check(battery_frame(amps, marks), plan=PLAN, logger=BATTERY_LOGGER)
    return result.check("charging_voltage").verdict, result.check("charging_balance").verdict


@pytest.mark.parametrize(("ran_s", "verdict"), [(3.0, "not seen"), (20.0, "fail")])
def test_a_run_of_moments_proves_no_missing_charge(ran_s: float, verdict: str):
    """Marked as running and cut off after 3 s: not seen. After 20 s without charge: a failure."""
    assert verdicts(ran_s) == (verdict, verdict)
