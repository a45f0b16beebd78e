"""A charger on a parked bike is no engine: with the key off throughout nothing of the alternator is judged. By hand."""

import numpy as np
import pandas as pd
import pytest
from marked_frame import BATTERY_LOGGER, GOOD, RATE_HZ, times

import benchlog

PLAN = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "limits": {"charging_min_v": 13.5, "charging_max_v": 14.7, "charging_balance_min_a": 0.0},
}
LINES = [{"column": role, "role": role, "unit": "V", **GOOD} for role in ("trigger_v", "feed_v")]
LOGGER = {**BATTERY_LOGGER, "channel": [one for one in BATTERY_LOGGER["channel"] if one["role"] != "mark"] + LINES}


@pytest.mark.parametrize(("volts", "amps"), [(13.25, -0.7), (14.2, -2.0)])
def test_a_charger_is_taken_for_no_alternator(volts: float, amps: float):
    """Trigger and feed at 0 V, and a battery that is charged: what a charger gives neither passes nor fails a check."""
    t = times(90.0)
    noise = np.random.default_rng(1).normal(0, 0.002, (4, int(90 * RATE_HZ)))
    frame = pd.DataFrame(
        {
            "time_s": t,
            "battery_v": volts + noise[0],
            "battery_a": amps + noise[1],
            "trigger_v": noise[2],
            "feed_v": noise[3],
        }
    )

    result = benchlog.check(frame, plan=PLAN, logger=LOGGER)

    assert [result.check(name).verdict for name in ("charging_voltage", "charging_balance")] == ["not seen"] * 2
    assert [cause.id for cause in result.causes] == ["charging_while_off"]
