"""A new battery is found between the right dates, and a season without one has none."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
import season_table
from season_cases import START, readings_of, season_days, temperature, whole_season

from benchlog.plan.model import Limits
from benchlog.season import season_of
from benchlog.season.breaks import _by_chance, clearest_step, found_steps, kind_of

END = (START + timedelta(days=400)).date()


def season(readings, changes=()):
    """The season of an AGM battery without limits."""
    return season_of(readings, changes, chemistry="agm", capacity_ah=11.2, limits=Limits(), today=END)


def test_step_is_found_where_it_is():
    """A clear step beside a trend: its place, its size, and hardly a chance that it is none."""
    rng = np.random.default_rng(1)
    x = np.linspace(0, 1, 40)
    y = 24 + 10 * x - 12 * (np.arange(40) >= 25) + rng.normal(0, 0.4, 40)

    step = clearest_step(x, y, np.zeros((40, 0)), rng)

    assert step is not None
    assert (step.first, step.at, step.last) == (25, 25, 25)
    assert step.size == pytest.approx(-12, abs=1)
    assert step.p <= 0.001


def test_trend_alone_is_no_step():
    """A straight line with a little scatter has none."""
    rng = np.random.default_rng(2)
    x = np.linspace(0, 1, 40)

    assert found_steps(x, 24 + 10 * x + rng.normal(0, 0.4, 40), np.zeros((40, 0)), 0.01, rng) == []


@pytest.mark.parametrize("y", [np.zeros(30), np.linspace(24, 34, 30)])
def test_exact_line_has_no_step(y):
    """Readings all alike, or exactly on a line, leave nothing to explain."""
    rng = np.random.default_rng(2)

    assert clearest_step(np.arange(30.0), y, np.zeros((30, 0)), rng) is None


def test_two_steps_are_both_found():
    """Two batteries in two years."""
    rng = np.random.default_rng(3)
    k = np.arange(60)
    y = 24 - 6 * (k >= 20) + 9 * (k >= 42) + rng.normal(0, 0.4, 60)

    found = found_steps(k / 60, y, np.zeros((60, 0)), 0.01, rng)

    assert [step.at for step in found] == [20, 42]


def test_one_wild_reading_is_no_step():
    """A single reading far off is not a new battery."""
    rng = np.random.default_rng(4)
    y = 24 + rng.normal(0, 0.4, 40)
    y[20] += 30

    assert found_steps(np.arange(40) / 40, y, np.zeros((40, 0)), 0.01, rng) == []


def test_new_battery_is_one_change_of_three_quantities():
    """Resistance falls, rest voltage and cranking minimum rise at once: one change, between two readings."""
    rng = np.random.default_rng(5)
    readings = whole_season(rng, step_day=200, steps=season_table.NEW_BATTERY, per_year=season_table.AGEING)

    found = season(readings).breaks

    assert len(found) == 1
    assert found[0].after <= START + timedelta(days=200) <= found[0].before
    assert found[0].kind == "as with a new battery"
    assert set(found[0].steps) >= {"source_resistance", "crank_minimum"}


def test_trend_is_judged_after_the_change():
    """The old battery's ageing is told apart from the new one's."""
    rng = np.random.default_rng(6)
    steps = {"source_resistance": -14.0}
    readings = whole_season(rng, step_day=200, steps=steps, per_year={"source_resistance": 20.0})
    young = [r for r in readings if r.at < START + timedelta(days=200)]

    part = season([*young, *(r for r in whole_season(np.random.default_rng(7)) if r.at > START + timedelta(days=200))])
    resistance = part.part("source_resistance")

    assert resistance.since is not None
    assert resistance.earlier[0].proven
    assert resistance.earlier[0].per_year == pytest.approx(20, abs=4)
    assert not resistance.trend.proven


def test_noted_change_takes_up_the_found_one():
    """What was noted is told in its own words, not found again."""
    rng = np.random.default_rng(5)
    readings = whole_season(rng, step_day=200, steps=season_table.NEW_BATTERY, per_year=season_table.AGEING)
    fitted = (START + timedelta(days=200)).date()

    found = season(readings, [(fitted, "new battery")]).breaks

    assert [(one.before.date(), one.noted) for one in found] == [(fitted, "new battery")]


def test_record_of_the_same_day_is_after_the_change():
    """A battery is fitted, noted and measured on one day: that reading is the new battery's."""
    rng = np.random.default_rng(9)
    day = season_days(20, 300.0, rng)
    readings = readings_of("source_resistance", day, np.full(20, 20.0), rng)

    found = season(readings, [(readings[12].at.date(), "new battery")]).part("source_resistance")

    assert found.trend.n == 8


def test_accessory_leaves_the_battery_as_it_was():
    """A tracker starts the drain anew, not the source resistance."""
    rng = np.random.default_rng(10)
    made = season(whole_season(rng), [(date(2025, 9, 1), "tracker added")])

    assert made.part("off_state_drain").since == datetime(2025, 9, 1, tzinfo=UTC)
    assert made.part("source_resistance").since is None


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        ({"source_resistance": -8, "resting_voltage": 0.1, "crank_minimum": 0.4}, "new battery"),
        ({"source_resistance": -8}, "posts cleaned"),
        ({"resting_voltage": 0.1}, "freshly charged"),
        ({"source_resistance": 9, "crank_minimum": -0.5}, "cell that failed"),
        ({"off_state_drain": 0.5}, "accessory that draws"),
        ({"off_state_drain": -0.5}, "taken off"),
        ({"charging_voltage": 0.3}, "regulator"),
        ({"source_resistance": -8, "resting_voltage": -0.2}, "more than one direction"),
    ],
)
def test_steps_have_words(steps, words):
    """What such steps go with, in words."""
    assert words in kind_of(steps)


@pytest.mark.parametrize("noted", [True, False])
def test_seasons_without_a_change_have_none(noted):
    """At most 5 % of whole seasons are said to have a change that they had not (40 seasons)."""
    row = season_table.breaks("", 40, noted=noted, changed=False, seed=21)

    # three standard deviations of 40 draws at 5 %
    assert row.alarms <= 0.05 + 0.103


def test_new_batteries_are_found():
    """A new battery is found within its dates in nearly every season (30 seasons)."""
    row = season_table.breaks("", 30, noted=True, changed=True, seed=22)

    assert row.covers >= 0.9


def test_same_readings_give_the_same_season():
    """Shuffling hangs on nothing but the readings."""
    readings = whole_season(np.random.default_rng(5), step_day=200, steps=season_table.NEW_BATTERY)

    assert season(readings) == season(list(reversed(readings)))


def test_temperature_of_the_seasons_swings():
    """The simulated seasons are a real trial: July is 15 degrees warmer than January at least."""
    rng = np.random.default_rng(1)
    day = np.arange(365.0)
    warm = temperature(day, rng)

    assert warm[110:140].mean() - warm[295:325].mean() > 15


@pytest.mark.parametrize("wanted", [0.5, 0.1, 0.01])
def test_chance_of_a_step_is_that_of_all_shuffles(wanted):
    """Shuffling stops early where chance is likely; the probability is that of 20,000 plain shuffles all the same."""
    rng = np.random.default_rng(31)
    n = 40
    basis = np.linalg.qr(np.ones((n, 1)))[0]
    steps = (np.arange(n)[:, None] >= np.arange(3, n - 2)).astype(float)
    steps -= steps.mean(axis=0)
    steps /= np.sqrt((steps**2).sum(axis=0))
    noise = rng.normal(size=n)
    noise -= noise.mean()
    plain = np.array([rng.permutation(noise) for _ in range(20_000)])
    clear = float(np.quantile(((plain @ steps) ** 2).max(axis=1) / (noise @ noise), 1 - wanted))

    found = [_by_chance(noise, basis, steps, clear, rng) for _ in range(8)]

    # three standard deviations of eight times 20 seen (8 %) and of 200 plain ones (7 %), and one in 2,000 (5 %)
    assert np.mean(found) == pytest.approx(wanted, rel=0.37)
