"""An engine that is cut off right after it started has shown nothing of its alternator. Arrays by hand."""

import numpy as np
import pandas as pd
import pytest

import benchlog

RATE_HZ, CRANK_S, STARTED_S = 50.0, 30.0, 31.0
PLAN = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "limits": {"charging_min_v": 13.5, "charging_balance_min_a": 0.0},
}
GOOD = {"gain_error_pct": 0.2, "offset_error": 0.005, "resolution": 0.001}
LOGGER = {
    "logger": {"name": "by hand"},
    "time": {"column": "time_s"},
    "channel": [
        {"column": "battery_v", "role": "battery_v", "unit": "V", **GOOD},
        {"column": "battery_a", "role": "battery_a", "unit": "A", **GOOD},
        {"column": "mark", "role": "mark"},
    ],
}


def verdicts(ran_s: float) -> tuple[str, str]:
    """Voltage and balance of an engine that ran so long and did not charge."""
    t = np.arange(0.0, STARTED_S + ran_s + 20.0, 1 / RATE_HZ)
    off_s = STARTED_S + ran_s
    key = (t >= 20.0) & (t < off_s)
    crank = (t >= CRANK_S) & (t < STARTED_S)
    amps = 0.02 + 5.0 * key + 75.0 * crank + np.random.default_rng(1).normal(0, 0.01, len(t))
    column = np.full(len(t), "", dtype=object)
    for at_s, text in {20.0: "key on", CRANK_S: "crank", STARTED_S: "running", off_s: "key off"}.items():
        column[int(at_s * RATE_HZ)] = text
    frame = pd.DataFrame({"time_s": t, "battery_v": 12.8 - 0.02 * amps, "battery_a": amps, "mark": column})
    result = benchlog.check(frame, plan=PLAN, logger=LOGGER)
    return result.check("charging_voltage").verdict, result.check("charging_balance").verdict


@pytest.mark.parametrize(("ran_s", "verdict"), [(3.0, "not seen"), (20.0, "fail")])
def test_a_run_of_moments_proves_no_missing_charge(ran_s: float, verdict: str):
    """Marked as running and cut off after 3 s: not seen. After 20 s without charge: a failure."""
    assert verdicts(ran_s) == (verdict, verdict)
