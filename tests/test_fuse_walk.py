"""The fuse-pull walk: what each circuit draws with the key off, and that pulling fuses wins no verdict."""

import tomllib
from dataclasses import replace

import numpy as np
import pytest
from truth_table import canonical_logger

import benchlog
from benchlog.analysis.coarse import coarse
from benchlog.analysis.fuse_walk import Pull, draw_of, missing_wakeups, pulls_of, started_up_s
from benchlog.core.trace import Mark, Trace
from benchlog.log.overview import OverviewBuilder
from benchlog.report.html import render_html
from benchlog.report.text import render_text
from benchlog.standin import (
    Action,
    SimulatedInstall,
    Simulation,
    WakeUps,
    acceptance_script,
    fast_logger,
    plan_toml_of,
    simulate,
    with_behaviours,
)
from benchlog.verdict.evidence import KeyOffDraw
from benchlog.verdict.result import Result


def _table(t, amps):
    builder = OverviewBuilder(["drain_a"])
    builder.add(Trace(t, {"drain_a": amps}, {}))
    return coarse(builder.finish(), t[0], t[-1], 0.1)


def _times(lasts_s=300.0):
    return np.arange(0, lasts_s, 0.1)


def _noise(t, seed=1):
    return np.random.default_rng(seed).normal(0, 2e-5, len(t))


def _out(t, from_s=100.0, to_s=130.0):
    return (t >= from_s) & (t < to_s)


def _walked(
    install: SimulatedInstall,
    *,
    wait_s: float = 200.0,
    out_s: float = 20.0,
    between_s: float = 20.0,
    settle_s: float = 600.0,
    put_back: bool = True,
    late_s: float = 0.0,
    seed: int = 1,
) -> Simulation:
    """The acceptance run, then one fuse after another pulled with the key off."""
    script = acceptance_script(settle_s=settle_s)
    now = script.times("key off")[0] + wait_s
    actions = list(script.actions)
    for slot in (1, 2, 3, 4):
        actions.append(Action(now, "fuse out", slot))
        now += out_s
        if put_back:
            actions.append(Action(now, "fuse in", slot))
            now += between_s
    script = replace(script, actions=tuple(actions), mark_late_s=late_s)
    return simulate(install, script, fast_logger(100), np.random.default_rng(seed))


def _result(sim: Simulation) -> Result:
    return benchlog.check(sim.frame, plan=tomllib.loads(sim.plan_toml), logger=canonical_logger(sim.spec))


def _draws(result: Result) -> dict[int, KeyOffDraw]:
    return {draw.slot: draw for draw in result.evidence.logs[0].key_off_draws}


def _notes(result: Result) -> str:
    return "\n".join(note.text for note in result.notes)


AROUND = SimulatedInstall(extra_drain_a=0.018, extra_drain_slot=3)


def test_marks_make_pulls():
    """Each fuse has its own out and in, in any order of slots; one that never goes back in has no end."""
    texts = [(1, "fuse 3 out"), (2, "Fuse 2 out"), (3, "fuse 3 in"), (4, "fuse 5 in"), (5, "again: fuse 1 out")]

    got = pulls_of([Mark(float(t), text) for t, text in texts])

    assert got == [Pull(3, 1.0, 3.0), Pull(2, 2.0, None)]


def test_draw_is_the_step():
    """Closed form: 18 mA less while the fuse is out."""
    t = _times()

    got = draw_of(_table(t, np.where(_out(t), 0.0006, 0.0186) + _noise(t)), "drain_a", Pull(3, 100, 130), 0, (132, 300))

    assert got.amps == pytest.approx(0.018, abs=2 * got.type_a_u + 1e-6)
    assert got.type_a_u < 5e-5


def test_linear_trend_is_no_draw():
    """A current that falls steadily all the while is the same before and after, so to speak, and no circuit's."""
    t = _times(230.0)

    got = draw_of(_table(t, 0.020 - 5e-5 * t + _noise(t)), "drain_a", Pull(3, 100, 130), 40, (130, 190))

    assert got.amps == pytest.approx(0.0, abs=2e-5)


def test_draw_does_not_know_the_level_below_it():
    """Invariance: a constant on top of everything changes no step."""
    t = _times()
    amps = np.where(_out(t), 0.0006, 0.0186) + _noise(t)
    pull, after = Pull(3, 100, 130), (132, 300)

    one, other = (draw_of(_table(t, amps + more), "drain_a", pull, 0, after) for more in (0.0, 0.3))

    assert other.amps == pytest.approx(one.amps, abs=1e-9)
    assert other.type_a_u == pytest.approx(one.type_a_u, rel=1e-4)


def test_wake_ups_do_not_count_as_a_draw():
    """Pulses of another device fall among the points before, during and after, and leave the steady step alone."""
    t = _times()
    pulses = np.where(t % 25 < 2, 0.1, 0.0)

    got = draw_of(
        _table(t, np.where(_out(t), 0.0, 0.002) + pulses + _noise(t)), "drain_a", Pull(3, 100, 130), 0, (132, 300)
    )

    assert got.amps == pytest.approx(0.002, abs=5e-5)
    assert got.type_a_u < 1e-4


def test_settling_across_a_pull_leaves_it_open():
    """The bike falls asleep while the fuse is out: the fall may be either's, and the uncertainty says so."""
    t = _times()

    got = draw_of(_table(t, np.where(t < 110, 0.35, 0.0006) + _noise(t)), "drain_a", Pull(3, 100, 130), 0, (132, 300))

    assert abs(got.amps) < 2 * got.type_a_u


def test_start_up_lasts_until_the_current_is_steady():
    """A device that draws more for 12 s after it gets its fuse back has started up then."""
    t = _times()
    amps = np.where(t < 130, 0.0006, np.where(t < 142, 0.2, 0.005)) + _noise(t)

    assert started_up_s(_table(t, amps), "drain_a", 130.0, 290.0) == pytest.approx(142.0, abs=0.3)


@pytest.mark.parametrize(
    ("wakes", "out_s", "count", "missing"),
    [
        ([10, 70, 130, 190], 130, 0, True),
        ([10, 70, 130, 190], 130, 2, False),
        ([10, 70, 130, 190], 40, 0, False),
        ([10, 70, 250, 310], 130, 0, True),
        ([10, 35, 190], 130, 0, False),
        ([10], 600, 0, False),
    ],
    ids=["away", "still there", "too short", "regular with a hole", "irregular", "one alone"],
)
def test_wake_ups_that_stay_away_are_the_circuits(wakes, out_s, count, missing):
    """Regular wake-ups are missed after one and a half intervals, others after three; a single one tells nothing."""
    assert missing_wakeups([(w, w + 2.0) for w in wakes], 300.0, out_s, count) is missing


def test_walk_finds_the_circuit_that_draws():
    """18 mA behind fuse 3: slot 3 draws it, within its uncertainty, and the others nothing that can be told."""
    result = _result(_walked(AROUND))
    draws = _draws(result)

    assert draws[3].draw_ma == pytest.approx(18.0, abs=draws[3].uncertainty_ma)
    assert draws[3].told
    assert draws[3].share == pytest.approx(18 / 18.6, abs=0.01)
    assert [slot for slot, draw in draws.items() if draw.told] == [3]
    assert "slot 3 (auxiliary lamp) draws 18." in _notes(result)
    assert "slot 2 (heated grips) draws nothing that can be distinguished from zero" in _notes(result)


def test_draws_are_covered():
    """Over 30 logs the true draws lie inside k = 2 about as often as they should."""
    inside = 0
    for seed in range(30):
        for slot, draw in _draws(_result(_walked(AROUND, seed=seed, settle_s=400, wait_s=150))).items():
            inside += abs(draw.draw_ma - (18.0 if slot == 3 else 0.0)) <= draw.uncertainty_ma

    assert inside >= 0.93 * 120


@pytest.mark.parametrize("put_back", [True, False], ids=["one at a time", "left out"])
def test_pulled_fuses_lower_no_drain(put_back):
    """What the drain was while a fuse was out does not count, whether it goes back in or not."""
    check = _result(_walked(AROUND, put_back=put_back)).check("off_state_drain")

    assert check.measured == pytest.approx(18.6, abs=check.uncertainty)
    assert check.verdict == "fail"


def test_fuses_left_out_one_after_another_still_tell():
    """With the fuses before it out already, each further step is one circuit's own."""
    draws = _draws(_result(_walked(AROUND, put_back=False)))

    assert draws[3].draw_ma == pytest.approx(18.0, abs=2 * draws[3].uncertainty_ma)
    assert [slot for slot, draw in draws.items() if draw.told] == [3]


def test_fuse_out_before_the_key_off_leaves_nothing_to_pass():
    """A fuse that was out before the key-off and stays out: no stretch with all fuses in, so the drain is not seen."""
    sim = _walked(AROUND)
    frame = sim.frame.copy()
    frame["mark"] = frame["mark"].where(~frame["mark"].str.startswith("fuse"), "")
    frame.loc[int(np.searchsorted(frame["time_s"], 40.0)), "mark"] = "fuse 3 out"
    # before the first key-on the fuse was in, too briefly to count
    check = _result(replace(sim, frame=frame)).check("off_state_drain")

    assert check.verdict == "not seen"
    assert "with all fuses in" in check.because


def test_marks_that_come_late_change_little():
    """A mark set a second and a half after the fuse was moved finds the same draw."""
    draws = _draws(_result(_walked(AROUND, late_s=1.5)))

    assert draws[3].draw_ma == pytest.approx(18.0, abs=draws[3].uncertainty_ma)


def test_waking_device_is_found_by_its_silence():
    """Wake-ups every minute that stay away for two minutes with fuse 4 out are slot 4's."""
    result = _result(
        _walked(SimulatedInstall(wakeups=WakeUps(height_a=0.12), wakeups_slot=4), out_s=130, settle_s=1200)
    )
    draws = _draws(result)

    assert [slot for slot, draw in draws.items() if draw.pulses] == [4]
    assert "slot 4 (tracker and charger) draws in pulses" in _notes(result)
    cause = next(cause for cause in result.causes if cause.id == "waking_device")
    assert any("pulling fuse 4 takes" in line for line in cause.evidence)


def test_short_pulls_do_not_clear_a_waking_device():
    """A fuse out for 20 s cannot tell whether its device wakes once a minute, and says so."""
    result = _result(_walked(SimulatedInstall(wakeups=WakeUps(height_a=0.12), wakeups_slot=4)))

    assert not any(draw.pulses for draw in _draws(result).values())
    assert "too briefly to tell whether it is the one that wakes" in _notes(result)


def test_cause_names_the_circuit():
    """The device fed around the relay is named with how much its fuse took away, and where to look first."""
    cause = next(c for c in _result(_walked(AROUND)).causes if c.id == "unswitched_device")

    assert any("pulling fuse 3 takes 18 mA of 18." in line for line in cause.evidence)
    assert cause.next_test.startswith("look at slot 3 (auxiliary lamp)")


def test_relay_that_lets_go_with_a_fuse_is_no_pass():
    """A backfed relay lets go as its circuit's fuse is pulled: told, and what comes after proves nothing good."""
    result = _result(_walked(SimulatedInstall(backfed=True, backfed_slot=2)))

    assert "with fuse 2 out the relay let go" in _notes(result)
    assert result.check("relay_drop_out").verdict == "fail"
    assert result.check("feed_off_voltage").verdict == "fail"
    assert result.check("off_state_drain").verdict == "fail"
    cause = next(c for c in result.causes if c.id == "backfed_coil")
    assert "with fuse 2 out the relay let go" in cause.evidence


def test_walk_hurts_no_good_install():
    """A good install that is walked passes as one that is not."""
    walked, plain = (
        _result(_walked(SimulatedInstall())),
        _result(_walked(SimulatedInstall(), out_s=0.0, between_s=0.0, wait_s=10_000.0)),
    )

    assert {c.id: c.verdict for c in walked.checks} == {c.id: c.verdict for c in plain.checks}


def test_reports_show_the_table():
    """Text and page list each circuit with its current and share, and the rest that no fuse took away."""
    result = _result(_walked(AROUND))

    for text in (render_text(result), render_html(result)):
        assert "What each circuit draws with the key off" in text
        assert "slot 3, auxiliary lamp" in text
        assert "97 % of the drain" in text
        assert "rest, not removed by any fuse" in text


def test_reports_without_a_walk_show_no_table():
    """No fuse pulled, no table."""
    result = _result(_walked(SimulatedInstall(), wait_s=10_000.0))

    assert "What each circuit draws" not in render_text(result)


@pytest.mark.parametrize("text", ["again: key on", "again: fuse 3 out", "again: zero"])
def test_free_text_marks_do_nothing(text):
    """A mark of a step that was taken again is free text: nothing is read from it."""
    sim = _walked(SimulatedInstall(), wait_s=10_000.0)
    frame = sim.frame.copy()
    frame.loc[20_000, "mark"] = text

    with_mark, without = _result(replace(sim, frame=frame)), _result(sim)

    assert with_mark.to_json() == without.to_json()


def test_walk_on_a_bike_that_is_awake_hides_no_drain():
    """Fuses pulled and marked while 0.42 A still flows: the stretch counts all the same, and the drain fails."""
    script = acceptance_script(rest_s=70.0, settle_s=260.0)
    first_s = script.times("key off")[0] + 110
    walk = tuple(Action(first_s + 15 * k, "fuse in" if k % 2 else "fuse out", k // 2 + 1) for k in range(8))
    lit = with_behaviours(SimulatedInstall(), ["park_light"])
    sim = simulate(lit, replace(script, actions=(*script.actions, *walk)), fast_logger(100), np.random.default_rng(1))
    plan = tomllib.loads(plan_toml_of(SimulatedInstall(), {"added_drain_ma": None, "settle_max_s": 60.0}))

    result = benchlog.check(sim.frame, plan=plan, logger=canonical_logger(sim.spec))

    assert result.check("off_state_drain").verdict == "fail"
    assert result.check("off_state_drain").measured == pytest.approx(420, abs=2)
