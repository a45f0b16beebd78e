"""Asleep or awake: what the current of a key-off span proves of settling, drain and rest, on logs written by hand."""

import math

import numpy as np
import pandas as pd
import pytest
import scipy

import benchlog

STEP_S, OFF_S = 0.1, 60.0
PLAN = {
    "install": {"bike": "Rowan"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "limits": {"off_state_drain_ma": 1.0, "settle_max_s": 60, "feed_off_max_v": 0.5, "resting_min_v": 12.5},
}
UNITS = {"battery_a": ("A", 0.02, 0.001), "drain_a": ("A", 1e-5, 1e-6)}


def logger(*roles):
    """A good logger with these channels."""
    channels = []
    for role in roles:
        unit, offset, resolution = UNITS.get(role, ("V", 0.005, 0.001))
        channels.append(
            {
                "column": role,
                "role": role,
                "unit": unit,
                "gain_error_pct": 0.2,
                "offset_error": offset,
                "resolution": resolution,
            }
        )
    return {"logger": {"name": "bench"}, "channel": channels}


def night_of(current, lasts_s=200.0, role="drain_a", noise=2e-6, volts=12.8, over_a=math.inf, seed=1):
    """Key on with 5 A for a minute, then off with ``current(seconds since the key-off)``, A."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, OFF_S + lasts_s, STEP_S)
    off = t >= OFF_S - 1e-9
    amps = np.where(off, current(t - OFF_S), 5.0)
    read = amps + (rng.normal(0, noise, len(t)) if np.isscalar(noise) else noise(rng, len(t)))
    columns = {
        "time_s": t,
        "battery_v": volts - 0.01 * amps + rng.normal(0, 0.001, len(t)),
        "key_v": np.where(off, 0.02, 12.2) + rng.normal(0, 0.001, len(t)),
        "feed_v": np.where(off, 0.02, 12.1) + rng.normal(0, 0.001, len(t)),
        role: np.where(amps > over_a, np.nan, read),
    }
    frame = pd.DataFrame(columns)
    if math.isfinite(over_a):
        frame[role] = frame[role].map(lambda x: "OL" if math.isnan(x) else f"{x:.7f}")
    return frame


def checked(frame, limits=(), role="drain_a"):
    """Check id -> check."""
    stated = logger("battery_v", "key_v", "feed_v", role)
    if not pd.api.types.is_numeric_dtype(frame[role]):
        stated["channel"][-1]["over_range"] = ["OL"]
    plan = {**PLAN, "limits": {**PLAN["limits"], **dict(limits)}}
    return {check.id: check for check in benchlog.check(frame, plan=plan, logger=stated).checks}


@pytest.mark.parametrize(
    ("amps", "lasts_s", "verdict"), [(9.5, 200.0, "fail"), (0.3, 90.0, "fail"), (9.5, 40.0, "not seen")]
)
def test_steady_current_above_a_quarter_ampere_never_settles(amps, lasts_s, verdict):
    """Watched for longer than the limit of 60 s the settling fails, and the drain with it; before, nothing is seen."""
    got = checked(night_of(lambda s: np.full(len(s), amps), lasts_s))

    assert got["settle_time"].verdict == verdict
    assert got["settle_time"].measured is None
    assert got["off_state_drain"].verdict == verdict
    if verdict == "fail":
        assert got["off_state_drain"].measured == pytest.approx(amps * 1000, rel=0.01)
        assert got["off_state_drain"].to_s - got["off_state_drain"].from_s == pytest.approx(60.0, abs=0.5)


@pytest.mark.parametrize(("amps", "until_s"), [(0.4, 40.0), (4.0, 50.0)])
def test_park_light_or_fan_that_goes_off_settles_then(amps, until_s):
    """0.4 A for 40 s, or a fan's 4 A for 50 s, then 0.4 mA: settled as it ends, and the drain is what is left."""
    got = checked(night_of(lambda s: np.where(s < until_s, amps, 0.0004)))

    assert got["settle_time"].verdict == "pass"
    assert got["settle_time"].measured == pytest.approx(until_s, abs=0.3)
    assert got["off_state_drain"].measured == pytest.approx(0.4, abs=0.02)


@pytest.mark.parametrize("tau_s", [2.0, 6.0])
def test_slow_fading_is_followed_to_its_end(tau_s):
    """50 mA that fade: settled where a twentieth of a milliampere is left above 0.4 mA."""
    got = checked(night_of(lambda s: 0.0004 + 0.05 * np.exp(-s / tau_s)))

    assert got["settle_time"].measured == pytest.approx(tau_s * math.log(0.05 / 5e-5), abs=1.0)


@pytest.mark.parametrize("amps", [-1.5, -0.005])
def test_charger_left_on_proves_nothing(amps):
    """A current into the battery hides the bike's own: drain and settling are not proven."""
    got = checked(night_of(lambda s: np.full(len(s), amps)))

    assert got["off_state_drain"].verdict == "not proven"
    assert got["settle_time"].verdict == "not proven"
    assert "into the battery" in got["settle_time"].because


def test_hand_on_the_bike_decides_no_drain():
    """5 A for 3 s, once, 100 s after the key-off: 75 mA on average with it, 0.4 mA without; neither pass nor fail."""
    got = checked(night_of(lambda s: np.where((s > 100) & (s < 103), 5.0, 0.0004)))

    assert got["off_state_drain"].verdict == "not proven"
    assert "awake for a moment" in got["off_state_drain"].because
    assert got["settle_time"].verdict == "pass"


def test_bike_that_wakes_fully_again_and_again_fails():
    """0.5 A for 1 s every 20 s is its habit: 25 mA on average."""
    got = checked(night_of(lambda s: np.where((s > 10) & (s % 20 < 1), 0.5, 0.0004), 300.0))

    assert got["off_state_drain"].verdict == "fail"
    assert got["off_state_drain"].measured == pytest.approx(25.4, rel=0.15)


@pytest.mark.parametrize(("base_a", "verdict"), [(0.0004, "not proven"), (0.0020, "fail")])
def test_wakeups_over_range_never_pass(base_a, verdict):
    """Wake-ups beyond the fine range add what nobody saw: the drain may fail by what was seen, but not pass."""
    wakes = night_of(lambda s: np.where((s > 10) & (s % 50 < 2), 0.2, base_a), 400.0, over_a=0.05)

    got = checked(wakes)

    assert got["off_state_drain"].verdict == verdict
    assert got["off_state_drain"].uncertainty is None


def test_current_over_range_to_the_end_has_no_drain_but_a_feed():
    """A charger, or a load, beyond the fine range all night: the drain is not proven, the dead feed is seen."""
    got = checked(night_of(lambda s: np.full(len(s), 0.2), over_a=0.05))

    assert got["off_state_drain"].verdict == "not proven"
    assert "over range" in got["off_state_drain"].because
    assert got["feed_off_voltage"].verdict == "pass"


@pytest.mark.parametrize("seed", range(4))
def test_what_stays_awake_in_the_noise_passes_no_settling(seed):
    """30 mA for 100 s of 60 in noise of 50 mA that remembers a second: fail or not proven, never a pass."""

    def noise(rng, n):
        keeps = math.exp(-STEP_S)
        return scipy.signal.lfilter([1.0], [1.0, -keeps], rng.normal(0, 0.05 * math.sqrt(1 - keeps**2), n))

    hidden = night_of(lambda s: np.where(s < 100, 0.03, 0.0004), 180.0, "battery_a", noise, seed=seed)

    assert checked(hidden, role="battery_a")["settle_time"].verdict in ("fail", "not proven")


def test_quiet_coarse_channel_still_proves_settling():
    """5 mA of white noise leave no room for 10 mA that stayed: a steady 0.4 mA after a step is settled in time."""
    quiet = night_of(lambda s: np.where(s < 5, 0.1, 0.0004), 180.0, "battery_a", 0.005)

    got = checked(quiet, role="battery_a")["settle_time"]

    assert got.verdict == "pass"
    assert abs(got.measured - 5.0) <= got.uncertainty + 0.1


@pytest.mark.parametrize(("drift_v", "verdict"), [(0.03, "not proven"), (0.0, "pass")])
def test_rest_that_still_falls_is_not_proven(drift_v, verdict):
    """Surface charge that fades by 30 mV over the stretch before the key-on proves no rest."""
    rng = np.random.default_rng(2)
    t = np.arange(0.0, 160.0, STEP_S)
    on = t >= 120
    frame = pd.DataFrame(
        {
            "time_s": t,
            "battery_v": 12.75 - drift_v * t / 120 - 0.05 * on + rng.normal(0, 0.002, len(t)),
            "key_v": np.where(on, 12.2, 0.02),
            "feed_v": np.where(on, 12.1, 0.02),
            "drain_a": np.where(on, 5.0, 0.0004) + rng.normal(0, 2e-6, len(t)),
        }
    )

    assert checked(frame)["resting_voltage"].verdict == verdict


@pytest.mark.parametrize("amps", [0.4, -1.0])
def test_battery_that_feeds_or_is_fed_does_not_rest(amps):
    """A park light left on, or a charger, before the first key-on: the voltage is not that of rest."""
    t = np.arange(0.0, 160.0, STEP_S)
    on = t >= 120
    rng = np.random.default_rng(3)
    frame = pd.DataFrame(
        {
            "time_s": t,
            "battery_v": 12.75 - 0.05 * on + rng.normal(0, 0.002, len(t)),
            "key_v": np.where(on, 12.2, 0.02),
            "feed_v": np.where(on, 12.1, 0.02),
            "drain_a": np.where(on, 5.0, amps) + rng.normal(0, 2e-6, len(t)),
        }
    )

    assert checked(frame)["resting_voltage"].verdict == "not proven"
