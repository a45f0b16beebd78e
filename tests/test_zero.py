"""Zeros: marked stretches without current take a channel's offset away, and only where they are what they claim."""

import math
import tomllib
from dataclasses import replace

import numpy as np
import pytest
from truth_table import canonical_logger

import benchlog
from benchlog.analysis.zero import Zero, pooled, read_zero, zero_stretches
from benchlog.core.trace import Mark, Trace
from benchlog.examine.zeroed import zeroed_overview
from benchlog.log.overview import OverviewBuilder
from benchlog.standin import (
    Action,
    LoggerSpec,
    Script,
    SimulatedInstall,
    Simulation,
    acceptance_script,
    channel,
    fast_logger,
    parked_script,
    simulate,
)
from benchlog.standin.logger import DrawnErrors
from benchlog.verdict.result import Check, Result

#: A good shunt behind an amplifier with a large zero error.
OFFSET_A = 0.05


def _zeroed(script: Script, *stretches: tuple[float, float]) -> Script:
    """The same with the currents out of circuit, and marked so."""
    actions = [act for a, b in stretches for act in (Action(a, "zero"), Action(b, "zero end"))]
    return replace(script, actions=(*actions, *script.actions))


def _parked(
    *stretches: tuple[float, float], seed: int = 1, drain_a: float = 0.0006, lasts_s: float = 180.0, **fields: object
) -> Simulation:
    """Some minutes parked on one current channel that is off by up to ± 50 mA."""
    spec = LoggerSpec(10.0, (channel("battery_v"), channel("battery_a"))).changed(
        "battery_a", **{"offset_error": OFFSET_A, "resolution": 0.0, "noise": 0.0005, **fields}
    )
    script = _zeroed(parked_script(lasts_s / 3600), *stretches)
    return simulate(SimulatedInstall(drain_a=drain_a), script, spec, np.random.default_rng(seed))


def _checked(sim: Simulation, logger: dict | None = None, before: Simulation | None = None) -> Result:
    plan = tomllib.loads(sim.plan_toml)
    return benchlog.check(
        sim.frame, plan=plan, logger=logger or canonical_logger(sim.spec), before=before.frame if before else None
    )


def _drain(sim: Simulation) -> Check:
    return _checked(sim).check("off_state_drain")


def _notes(result: Result) -> str:
    return "\n".join(note.text for note in result.notes)


def _read(amps, offset=OFFSET_A, resolution=0.0, step_s=0.1):
    return read_zero(np.arange(len(amps)) * step_s, np.asarray(amps, dtype=float), offset, resolution)


def test_zero_is_the_mean_of_its_samples():
    """Closed form: samples of ± 1 mA about 3 mA give 3 mA, sure to 1 mA over the root of their number or so."""
    noise = np.random.default_rng(2).normal(0, 0.001, 400)

    got = _read(0.003 + noise)

    assert got.offset == pytest.approx(0.003 + noise.mean())
    assert got.u == pytest.approx(0.001 / 20, rel=0.6)


def test_rounding_is_part_of_a_zero():
    """A channel that rounds to 10 mA and reads the same throughout may still be off by up to 5 mA."""
    got = _read(np.full(50, 0.01), resolution=0.01)

    assert got.u == pytest.approx(0.005 / np.sqrt(3))


@pytest.mark.parametrize(
    ("amps", "why"),
    [
        (np.full(9, 0.001), "9 samples"),
        (np.where(np.arange(60) < 30, 0.0, 0.3), "varied by 300 mA"),
        (np.linspace(0, 0.1, 60), "varied by"),
        (np.full(60, 0.2), "reads 200 mA, where the logger file states ± 50 mA"),
        (np.full(60, np.nan), "0 samples"),
    ],
    ids=["short", "step", "ramp", "far", "missing"],
)
def test_what_is_plainly_no_zero_is_refused(amps, why):
    """Too few samples, a current that varies, or one far beyond the stated offset: no zero, and it says why."""
    got = _read(amps)

    assert isinstance(got, str)
    assert why in got


def test_drift_between_zeros_stays_in_doubt():
    """Two zeros 2 mA apart: their middle, and ± 1 mA either way on top of the surer figure's own doubt."""
    got = pooled([Zero(0.001, 1e-5), Zero(0.003, 2e-5)])

    assert got.offset == pytest.approx(0.002)
    assert got.u == pytest.approx(np.hypot(0.001 / np.sqrt(3), 2e-5))


def test_one_zero_alone_is_itself():
    """Pooling one zero changes nothing."""
    assert pooled([Zero(0.001, 1e-5)]) == Zero(0.001, 1e-5)


def test_only_whole_zeros_are_taken():
    """A zero without its end, and an end without its zero, are named and left alone."""
    texts = [(1.0, "Zero"), (3.0, "zero end"), (5.0, "zero end"), (7.0, "zero")]

    found, faults = zero_stretches([Mark(t, text) for t, text in texts])

    assert found == [(1.0, 3.0)]
    assert 'at 5.0 s has no "zero" before it' in faults[0]
    assert 'the zero at 7.0 s was not used: it has no "zero end"' in faults[1]


@pytest.mark.parametrize("max_buckets", [None, 64], ids=["single samples", "joined"])
def test_overview_shifts_as_its_samples_would(max_buckets):
    """Taking an offset off the overview is the same as taking it off every sample before."""
    t = np.arange(0, 60, 0.05)
    amps = np.random.default_rng(3).normal(0.5, 0.1, len(t))

    def overview(x):
        builder = OverviewBuilder(["battery_a"], max_buckets)
        builder.add(Trace(t, {"battery_a": x}, {}))
        return builder.finish().bands["battery_a"]

    builder = OverviewBuilder(["battery_a"], max_buckets)
    builder.add(Trace(t, {"battery_a": amps}, {}))
    got, wanted = zeroed_overview(builder.finish(), {"battery_a": 0.2}, ()).bands["battery_a"], overview(amps - 0.2)

    for name in ("min", "mean", "max", "area", "weight_s"):
        assert getattr(got, name) == pytest.approx(getattr(wanted, name), abs=1e-12)


def test_no_charge_leads_out_of_a_zero_to_a_channel_that_is_sampled_less_often():
    """With every tenth cell filled the first valid sample after the zero brings none of its lack of current along."""
    time_s = np.arange(400.0)
    zero = (time_s >= 20) & (time_s <= 80)
    amps = np.where(time_s % 10 == 0, np.where(zero, 0.0, 0.01), np.nan)
    builder = OverviewBuilder(("drain_a",))
    builder.add(Trace(time_s, {"drain_a": amps}, {}))

    band = zeroed_overview(builder.finish(), {}, [(20.0, 80.0)]).bands["drain_a"]

    assert band.area.sum() / band.weight_s.sum() == pytest.approx(0.01)
    assert band.weight_s.sum() == pytest.approx(10 + 300)


def test_nothing_of_the_zero_itself_is_left():
    """The buckets of the zero are gone, the one after it has no area, and its gap says how long nothing was seen."""
    t = np.arange(0, 20, 0.1)
    builder = OverviewBuilder(["battery_a"])
    builder.add(Trace(t, {"battery_a": np.ones(len(t))}, {}))

    got = zeroed_overview(builder.finish(), {}, [(5.0, 10.0)])
    after = int(np.searchsorted(got.start_s, 10.0))

    assert not ((got.start_s >= 5.0) & (got.start_s <= 10.0)).any()
    assert got.bands["battery_a"].weight_s[after] == 0
    assert got.gap_s[after] == pytest.approx(5.2, abs=0.01)
    assert got.bands["battery_a"].area.sum() == pytest.approx(4.9 + 9.8, abs=0.01)


def test_zero_proves_what_the_stated_offset_cannot():
    """A channel good to ± 50 mA proves a drain of 0.6 mA against 1 mA once it has been zeroed, and not before."""
    script, spec = (
        acceptance_script(settle_s=200),
        fast_logger(100).only("battery_v", "battery_a", "trigger_v", "feed_v"),
    )
    spec = spec.changed("battery_a", offset_error=OFFSET_A, resolution=0.0, noise=0.0005)
    plain = simulate(SimulatedInstall(), script, spec, np.random.default_rng(4))
    zeroed = simulate(SimulatedInstall(), _zeroed(script, (5.0, 10.0)), spec, np.random.default_rng(4))

    assert _drain(plain).verdict == "not proven"
    assert _drain(zeroed).verdict == "pass"
    assert _drain(zeroed).uncertainty < _drain(plain).uncertainty / 100


def test_drain_is_covered_with_and_without_zero():
    """Over 100 loggers the truth lies inside k = 2 about as often as it should, zeroed or not, the zero far closer."""
    inside, wide = {True: 0, False: 0}, {True: 0.0, False: 0.0}
    for seed in range(100):
        for zeroed in (True, False):
            check = _drain(_parked(*([(20.0, 40.0)] if zeroed else []), seed=seed, drain_a=0.2))
            inside[zeroed] += abs(check.measured - 200) <= check.uncertainty
            wide[zeroed] += check.uncertainty / 100

    assert inside[True] >= 92
    assert inside[False] >= 92
    assert wide[True] < wide[False] / 50


def test_adding_a_constant_to_a_zeroed_channel_changes_nothing():
    """Invariance: the offset that a zero takes off may be any."""
    sim = _parked((20.0, 40.0))
    shifted = replace(sim, frame=sim.frame.assign(battery_a=sim.frame["battery_a"] + 0.017))

    plain, other = _drain(sim), _drain(shifted)

    assert other.measured == pytest.approx(plain.measured, abs=1e-9)
    assert other.uncertainty == pytest.approx(plain.uncertainty, rel=1e-6)
    assert other.verdict == plain.verdict


def test_zero_is_never_surer_than_it_proves_nor_wider_than_stated():
    """A stated offset that is finer than the zero's own scatter stays as stated."""
    # told from zero, so that nothing hangs on whether the shunt sees current at all
    fields = {"offset_error": 0.001, "noise": 0.02, "resolution": 0.0, "drain_a": 0.02}
    with_zero, without = _drain(_parked((20.0, 24.0), **fields)), _drain(_parked(**fields))

    # the offset is as stated in both; only the scatter of the mean differs
    assert with_zero.uncertainty == pytest.approx(without.uncertainty, rel=0.35)


def test_zero_says_nothing_of_the_gain():
    """Where no accuracy is stated a zero corrects the reading, and the drain is still not proven."""
    sim = _parked((20.0, 40.0), drain_a=0.05)
    logger = {"logger": {"name": "bare"}, "channel": [{"column": c, "role": c} for c in ("battery_v", "battery_a")]}
    logger["time"] = {"column": "time_s", "unit": "s"}

    check = _checked(sim, logger).check("off_state_drain")

    assert check.verdict == "not proven"
    assert check.measured == pytest.approx(50, abs=0.5)
    assert "accuracy is not stated" in check.because


def test_zero_gives_the_offset_where_only_the_gain_is_stated():
    """A stated gain and a zero are an accuracy."""
    sim = _parked((20.0, 40.0), drain_a=0.05)
    logger = canonical_logger(sim.spec)
    for one in logger["channel"]:
        one.pop("offset_error", None)

    check = _checked(sim, logger).check("off_state_drain")

    assert check.uncertainty is not None
    assert check.uncertainty < 1.0
    assert check.verdict == "fail"


def test_zero_with_the_current_still_flowing_wins_nothing():
    """A drain of 18 mA through a zero that nobody interrupted reads as none, and is judged as without the zero."""
    script = acceptance_script(settle_s=200)
    spec = fast_logger(100).only("battery_v", "battery_a", "trigger_v", "feed_v")
    spec = spec.changed("battery_a", offset_error=OFFSET_A, resolution=0.0, noise=0.0005)
    noted = replace(
        script, actions=(Action(5.0, "note", text="zero"), Action(15.0, "note", text="zero end"), *script.actions)
    )
    sim = simulate(
        SimulatedInstall(drain_a=0.018),
        noted,
        spec,
        np.random.default_rng(5),
        drawn={"battery_a": DrawnErrors(1.0, 0.0)},
    )

    check = _drain(sim)

    assert check.verdict == "not proven"
    assert "judged without it" in check.because


def test_note_tells_what_was_corrected():
    """The result says which zero took what off which channel, with its uncertainty."""
    sim = _parked((20.0, 40.0))
    offset_ma = sim.drawn["battery_a"].offset * 1000

    text = _notes(_checked(sim))

    assert "the zero at 20." in text
    assert "corrected battery_a by " in text
    assert f"{-offset_ma:.1f}".replace("-", "\N{MINUS SIGN}") in text


def test_refused_zero_is_named():
    """A zero in which a current came and went is not used, and the note says why."""
    sim = _parked((20.0, 40.0))
    frame = sim.frame.copy()
    frame.loc[(frame["time_s"] > 30) & (frame["time_s"] < 60), "battery_a"] += 0.4

    result = _checked(replace(sim, frame=frame))

    assert "was not used for battery_a: the current varied by" in _notes(result)
    assert result.check("off_state_drain").verdict == "not proven"


def test_zero_is_no_part_of_the_key_off_state():
    """Eighty seconds without current in four minutes do not lower the mean, nor count as a wake-up or a step."""
    sim = _parked((20.0, 100.0), drain_a=0.2, lasts_s=240, offset_error=0.001)

    check = _drain(sim)

    assert check.measured == pytest.approx(200, abs=1.5)
    assert "no wake-up" in check.because
    assert "watched for 160 s" in check.because


def test_zero_over_the_whole_log_is_not_used():
    """A log that is nothing but a zero is not emptied by it."""
    sim = _parked()
    frame = sim.frame.copy()
    frame.loc[0, "mark"], frame.loc[len(frame) - 1, "mark"] = "zero", "zero end"

    result = _checked(replace(sim, frame=frame))

    assert "it covers the whole log" in _notes(result)


@pytest.mark.parametrize(("now_zeroed", "before_zeroed"), [(True, True), (True, False), (False, True), (False, False)])
def test_added_drain_holds_with_zeros_in_either_log(now_zeroed, before_zeroed):
    """One logger before and after: its offset cancels, or each log's own zero takes it off; never only one of them."""
    zero = [(20.0, 40.0)]
    now = _parked(*(zero if now_zeroed else []), drain_a=0.0600)
    script = _zeroed(parked_script(0.05), *(zero if before_zeroed else []))
    before = simulate(SimulatedInstall(drain_a=0.0500), script, now.spec, np.random.default_rng(9), drawn=now.drawn)

    check = _checked(now, before=before).check("added_drain")

    assert check.measured == pytest.approx(10.0, abs=2 * check.uncertainty + 1e-9)
    # without a zero in both, the offset may have drifted between the logs
    drift_ma = 0.0 if now_zeroed and before_zeroed else 2 * 0.4 * OFFSET_A * 1000
    assert check.uncertainty < 0.5 + drift_ma / math.sqrt(3)


def test_added_drain_counts_what_drifted_between_two_zeros():
    """The logger's offset moved by 5 mA between the logs; each has its own zero, so the difference is still right."""
    now = _parked((20.0, 40.0), drain_a=0.0600)
    moved = {**now.drawn, "battery_a": DrawnErrors(now.drawn["battery_a"].gain, now.drawn["battery_a"].offset + 0.005)}
    script = _zeroed(parked_script(0.05), (20.0, 40.0))
    before = simulate(SimulatedInstall(drain_a=0.0500), script, now.spec, np.random.default_rng(9), drawn=moved)

    check = _checked(now, before=before).check("added_drain")

    assert check.measured == pytest.approx(10.0, abs=check.uncertainty)
