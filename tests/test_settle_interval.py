"""When did it settle? Between what was seen to end and what may have ended unseen, on currents written by hand."""

import numpy as np
import pandas as pd
import pytest
import scipy

import benchlog
from benchlog.analysis.coarse import Coarse
from benchlog.analysis.key_state import key_state
from benchlog.analysis.measurement import Measured
from benchlog.analysis.noise import noise_model
from benchlog.analysis.switched import SwitchedLine
from benchlog.core.trace import Mark
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.registry.table import check_of

OFF_S, BASE_A = 30.0, 0.0005
CONTROL_A, CONTROL_S = 0.15, 3.0


def limit(most):
    """A limit that the plan gives."""
    return PlannedLimit(None, most, "given", "by hand")


@pytest.mark.parametrize(("most", "word"), [(12.0, "pass"), (11.0, "not proven"), (6.7, "not proven"), (1.0, "fail")])
def test_interval_passes_and_fails_as_a_whole(most, word):
    """Anything from 1.1 s to 12 s is as possible: within 12 s it passes, beyond 1 s it fails, else it is open."""
    found = Measured(value=6.55, u=3.15, from_s=0.0, to_s=1.0, interval=(1.1, 12.0))

    assert check_of("settle_time").kind.verdict(found, limit(most)) == word


@pytest.mark.parametrize(("value", "word"), [(21.0, "not proven"), (24.5, "not proven"), (26.0, "fail")])
def test_unknown_zero_accuses_nobody_from_its_edge(value, word):
    """A zero within ± 20 mA and 3 mA of scatter: 21 mA may be 1 mA, and so may 24.5 mA; 26 mA is not."""
    u = float(np.hypot(20 / np.sqrt(3), 3.0))
    found = Measured(value=value, u=u, from_s=0.0, to_s=60.0, offset_limit=20.0)

    assert check_of("off_state_drain").kind.verdict(found, limit(1.0)) == word


def night(tail_a, tail_s, noise, rate_hz=20.0, lasts_s=100.0, seed=1, resolution=0.001):
    """Key off at 30 s: 150 mA for 3 s, ``tail_a`` until ``tail_s`` after it, then 0.5 mA, on a coarse channel."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, OFF_S + lasts_s, 1 / rate_hz)
    since = t - OFF_S
    off = since >= -1e-9
    amps = np.where(off, BASE_A, 5.0)
    amps = amps + np.where(off & (since < CONTROL_S), CONTROL_A, 0.0) + np.where(off & (since < tail_s), tail_a, 0.0)
    read = amps + rng.normal(0, noise, len(t))
    return pd.DataFrame(
        {
            "time_s": t,
            "battery_v": 12.8 - 0.01 * amps + rng.normal(0, 0.001, len(t)),
            "key_v": np.where(off, 0.02, 12.2) + rng.normal(0, 0.001, len(t)),
            "battery_a": np.round(read / resolution) * resolution,
        }
    )


def settled(frame, most):
    """The settling check under a limit, s."""
    plan = {
        "install": {"bike": "Rowan"},
        "battery": {"chemistry": "agm", "capacity_ah": 11.2},
        "limits": {"settle_max_s": most},
    }
    errors = {"gain_error_pct": 0.2, "resolution": 0.001}
    channels = [
        {"column": role, "role": role, "unit": role[-1].upper(), "offset_error": 0.02, **errors}
        for role in ("battery_v", "key_v", "battery_a")
    ]
    return benchlog.check(frame, plan=plan, logger={"logger": {"name": "bench"}, "channel": channels}).check(
        "settle_time"
    )


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("noise", [0.005, 0.03, 0.08])
def test_tail_in_the_noise_lies_in_the_interval(noise, seed):
    """A tracker's 20 mA until 9 s, in noise of 5 to 80 mA: no pass below 9 s; covered, or not proven."""
    frame = night(0.02, 9.0, noise, seed=seed)

    assert settled(frame, 8.0).verdict != "pass"
    wide = settled(frame, 30.0)
    assert wide.verdict in {0.005: ("pass",), 0.03: ("pass", "not proven"), 0.08: ("not proven",)}[noise]
    assert wide.verdict == "not proven" or abs(wide.measured - 9.0) <= wide.uncertainty


def test_channel_that_cannot_tell_ten_milliamperes_passes_nothing():
    """Noise of 0.15 A over half a minute hides a control unit that is awake: not proven, however early it fell."""
    found = settled(night(0.0, 0.0, 0.15, lasts_s=40.0), 30.0)

    assert found.verdict == "not proven"
    assert "flowed for longer" in found.because


@pytest.mark.parametrize(("noise", "word"), [(0.0, "to within 2 mA"), (0.03, "to within 10 mA")])
def test_sentence_says_which_band_is_meant(noise, word):
    """Two steps of the resolution where the channel is quiet; 10 mA, below which no control unit is awake, else."""
    assert word in settled(night(0.0, 0.0, noise), 30.0).because


@pytest.mark.parametrize("shift_s", [0.03, 0.21, 0.43])
def test_packets_of_rows_place_the_settling_no_better(shift_s):
    """Rows stamped half a second at a time: the key and the current's end are each known to half a second."""
    frame = night(0.02, 9.0 + shift_s, 0.0005)
    period = 0.5
    late = np.ceil((frame["time_s"] + 1e-9) / period) * period
    within = frame.groupby(late).cumcount()
    frame["time_s"] = late + within * 1e-5

    found = settled(frame, 30.0)

    assert found.uncertainty > 0.5
    assert abs(found.measured - 9.0 - shift_s) <= found.uncertainty


def _table(t, **roles):
    values = {role: np.asarray(x, dtype=float) for role, x in roles.items()}
    none = {role: np.zeros(len(t), dtype=np.int64) for role in roles}
    return Coarse(t, t + 0.09, values, values, values, none)


def test_one_key_on_serves_one_mark():
    """On, off and on again within 3 s, and a full battery whose voltage hides the second: its mark places it."""
    t = np.arange(0.0, 60.0, 0.1)
    on = ((t >= 10) & (t < 11)) | (t >= 12.8)
    table = _table(t, battery_a=np.where(on, 7.0, 0.02), battery_v=np.where(on, 13.38, 13.46))
    marks = [Mark(10.05, "key on"), Mark(11.05, "key off"), Mark(12.85, "key on")]

    got = key_state(table, {}, marks, [])

    assert [turn.to for turn in got.turns] == ["on", "off", "on"]
    assert [turn.time_s for turn in got.turns] == pytest.approx([10.0, 11.0, 12.8], abs=0.15)


def test_key_turned_again_soon_after_the_last_mark_is_seen():
    """The tester noted the first key-on and key-off only; the key line shows the next, 4 s later, and its end."""
    t = np.arange(0.0, 60.0, 0.1)
    up = ((t >= 10) & (t < 15)) | ((t >= 19) & (t < 50))
    table = _table(t, key_v=np.where(up, 12.2, 0.02))
    line = SwitchedLine("key_v", None, up, moves=True, pulsed=np.zeros(len(up), dtype=bool))

    got = key_state(table, {"key_v": line}, [Mark(10.0, "key on"), Mark(15.0, "key off")], [])

    assert [turn.time_s for turn in got.turns] == pytest.approx([10.0, 15.0, 19.0, 50.0], abs=0.15)


def test_packets_of_rows_show_noise_that_remembers():
    """Rows 20 ms apart, stamped twenty at a time, with noise that remembers 1 s: the mean of 10 s strays as it does."""
    rng = np.random.default_rng(4)
    step, keeps = 0.02, float(np.exp(-0.02))
    true_t = np.arange(0.0, 400.0, step)
    x = scipy.signal.lfilter([1.0], [1.0, -keeps], rng.normal(0, np.sqrt(1 - keeps**2), len(true_t)))
    stamps = np.floor(true_t / 0.4) * 0.4 + np.arange(len(true_t)) % 20 * 1e-5

    model = noise_model(stamps, x)

    assert model.mean_u(10.0) == pytest.approx(np.sqrt(2 / 10.0), rel=0.3)
