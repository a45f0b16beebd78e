"""Whole logs of unmarked circuits and slow noise, built from Ohm's law alone: what size and paths can prove."""

import numpy as np
import pandas as pd
import pytest

import benchlog

EMF_V, SOURCE_OHM, FEED_OHM, GROUND_OHM = 12.8, 0.022, 0.016, 0.005
KEY_S, END_S, RATE_HZ = 6.0, 48.0, 50
ON_S = (14.0, 22.0, 30.0)


def _plan(*planned_a):
    circuits = [
        {"slot": n, "device": f"device {n}", "planned_a": a, "tolerance_pct": 20.0, "fuse_a": 15.0}
        for n, a in enumerate(planned_a, start=1)
    ]
    return {
        "install": {"bike": "bench"},
        "battery": {"chemistry": "agm", "capacity_ah": 12.0},
        "circuit": circuits,
        "feed": {"drop_max_v": 0.5},
        "ground": {"lift_max_v": 0.5},
    }


def _logger(*roles, volts_step=0.001):
    return {
        "channel": [
            {
                "column": role,
                "role": role,
                "unit": "A",
                "gain_error_pct": 0.2,
                "offset_error": 0.02,
                "resolution": 0.005,
            }
            | ({"positive": "discharge"} if role == "battery_a" else {})
            if role.endswith("_a")
            else {
                "column": role,
                "role": role,
                "unit": "V",
                "gain_error_pct": 0.05,
                "offset_error": 0.004,
                "resolution": volts_step,
            }
            for role in roles
        ]
    }


def _steadily(amps):
    """A circuit that draws the same at any voltage."""
    return lambda volts: amps + 0 * volts


def _heater(amps):
    """A circuit of a fixed resistance, its current stated at 12.5 V."""
    return lambda volts: amps * volts / 12.5


def _silent(_, n):
    return np.zeros(n)


def _log(amps_at, feed_noise=_silent, seed=1, clamp=False):
    """Circuits that come on one after another, as functions of the feed's voltage; the bike's own draws 5 A."""
    t = np.arange(0, END_S, 1 / RATE_HZ)
    key = (t >= KEY_S).astype(float)
    on = [(t >= at).astype(float) for at in ON_S]
    feed = np.full(len(t), 12.5)
    for _ in range(30):
        block = sum(circuit(feed) * up for circuit, up in zip(amps_at, on, strict=False)) * key
        total = block + 5.0 * key + 0.001
        volts = EMF_V - SOURCE_OHM * total
        feed = volts - FEED_OHM * block
    rng = np.random.default_rng(seed)
    columns = {
        "battery_v": volts,
        "battery_a": total,
        "trigger_v": np.where(key > 0, volts - 0.1, 0.0),
        "feed_v": np.where(key > 0, feed, 0.0),
        "ground_v": GROUND_OHM * block,
    }
    if clamp:
        columns["feed_a"] = block
    frame = {"time_s": t}
    for role, x in columns.items():
        step = 0.005 if role.endswith("_a") else 0.001
        own = feed_noise(rng, len(t)) if role == "feed_v" else 0.0
        frame[role] = np.round((x + own + rng.normal(0, step, len(t))) / step) * step
    return pd.DataFrame(frame), _logger(*columns)


def test_two_unmarked_circuits_that_strayed_do_not_pass_with_each_others_current():
    """Planned 4.2 A and 3.7 A, drawn 2.95 A and 4.7 A: each fits the other's plan within 30 %, and neither its own."""
    frame, logger = _log([_steadily(2.95), _steadily(4.7)])

    result = benchlog.check(frame, plan=_plan(4.2, 3.7), logger=logger)

    for slot, true in ((1, 2.95), (2, 4.7)):
        check = result.check(f"slot_{slot}_current")
        assert check.verdict == "not proven"
        assert abs(check.measured - true) <= check.uncertainty


def test_unmarked_circuits_of_distinct_size_pass_and_fail_by_size():
    """Planned 7, 3 and 1.2 A; the one of 3 A draws 4.2 A, through the feed, and is no other's."""
    frame, logger = _log([_steadily(7.1), _steadily(4.2), _steadily(1.2)])

    result = benchlog.check(frame, plan=_plan(7.0, 3.0, 1.2), logger=logger)

    assert [result.check(f"slot_{n}_current").verdict for n in (1, 2, 3)] == ["pass", "fail", "pass"]


def test_heaters_current_at_the_voltage_that_the_others_leave_it_is_covered():
    """Slot 1 is a heater: 6 A as it comes on, and less once 14 A more pull battery and feed down."""
    frame, logger = _log([_heater(6.0), _steadily(8.0), _steadily(6.0)])
    last_v = float(frame["feed_v"].iloc[-100:].mean())

    check = benchlog.check(frame, plan=_plan(6.0, 8.4, 2.0), logger=logger).check("slot_1_current")

    assert abs(check.measured - 6.0 * last_v / 12.5) <= check.uncertainty


@pytest.mark.parametrize("seed", range(6))
def test_slow_noise_of_the_feeds_channel_is_in_the_feeds_drop(seed):
    """3 mV that remember for 2 s do not average out over a stretch of 6 s, the feed's load by its own clamp."""

    def slow(rng, n):
        kept = np.exp(-1 / (2.0 * RATE_HZ))
        kicks, level, out = rng.normal(0, 0.003 * np.sqrt(1 - kept**2), n), 0.0, np.empty(n)
        for at, kick in enumerate(kicks):
            level = level * kept + kick
            out[at] = level
        return out

    frame, logger = _log([_steadily(2.0), _steadily(1.5), _steadily(1.2)], slow, seed, clamp=True)

    check = benchlog.check(frame, plan=_plan(2.0, 1.5, 1.2), logger=logger).check("feed_drop")

    assert check.uncertainty > 0.002
    assert abs(check.measured - 4.7 * FEED_OHM) <= 1.5 * check.uncertainty
