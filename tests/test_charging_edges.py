"""What the battery gets and what is surely on, on points written by hand."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.charging import (
    course_mean,
    lasting_states,
    rises_slowly,
    steadied,
    whole_cycles,
    without_pulses,
)
from benchlog.analysis.fed import _by_steps, falls, fed_a
from benchlog.core.trace import Trace
from benchlog.core.uncertainty import Mean, block_mean

NAN = math.nan


def parts(*levels: tuple[int, float]) -> np.ndarray:
    """So many points of each."""
    return np.concatenate([np.full(rows, level) for rows, level in levels])


@pytest.mark.parametrize(("over_s", "half"), [(1.0, 1), (0.4, 0), (0.9, 1), (1.4, 1), (1.6, 2), (2.4, 2), (9.0, 9)])
def test_steadied_is_the_median_over_a_time(over_s: float, half: int):
    """Points half a second apart, half of the time on either side; missing ones stay so and count nowhere."""
    x = np.array([1.0, 9, 2, 8, NAN, 3, 7, 4, 6, 5])
    wide = np.pad(x, half, mode="edge")

    got = steadied(x, np.arange(10) * 0.5, over_s)

    expected = [NAN if math.isnan(x[n]) else np.nanmedian(wide[n : n + 2 * half + 1]) for n in range(10)]
    assert got == pytest.approx(expected, nan_ok=True)
    assert steadied(x[:2], np.arange(2) * 0.5, over_s).tolist() == [1, 9]


@pytest.mark.parametrize(
    ("text", "held", "other"),
    [
        ("u" * 10 + "d" * 10, "u" * 10, "d" * 10),
        ("u" * 6 + "d" * 5, "u" * 6, ""),
        ("u" * 5 + "d" * 6, "", "d" * 6),
        ("u" * 10 + "d" + "u" * 10, "u" * 21, ""),
        ("u" * 10 + "dd" + "u" * 10, "u" * 10 + "  " + "u" * 10, ""),
        ("ud" * 10, "u", "d"),
        ("u" * 10 + "??" + "u" * 10, "u" * 10 + "  " + "u" * 10, ""),
    ],
)
def test_state_lasts_five_seconds(text: str, held: str, other: str):
    """Interruptions below 2 s are bridged; what turns each second (but for its ends) or was not read is neither."""
    flags, known = np.array([c == "u" for c in text]), np.array([c != "?" for c in text])
    t = np.arange(len(text), dtype=float)

    got_held, got_other = lasting_states(flags, known, t, t)

    assert "".join("u" if each else " " for each in got_held).rstrip() == held.rstrip()
    assert "".join("d" if each else " " for each in got_other).strip() == other


def change(ramp_s: float, step_s: float = 0.01, rows: int = 400, low: float = 4.0, high: float = 10.0) -> Trace:
    """From one level to the other in the middle of a stretch."""
    t = np.arange(rows) * step_s
    middle = t[-1] / 2
    x = np.interp(t, [middle - max(ramp_s, 1e-9) / 2, middle + max(ramp_s, 1e-9) / 2], [low, high])
    return Trace(t, {"battery_a": x}, {})


@pytest.mark.parametrize(
    ("ramp_s", "step_s", "rows", "slow"),
    [
        (0.0, 0.01, 400, False),
        *((0.24, 0.01, 400, False), (0.34, 0.01, 400, True)),
        (1.0, 0.1, 400, True),
        *((0.15, 0.1, 401, False), (0.2, 0.1, 400, True)),
        (0.3, 0.2, 400, False),
    ],
)
def test_change_of_more_than_150_ms_from_a_quarter_to_three_quarters_is_slow(
    ramp_s, step_s: float, rows: int, slow: bool
):
    """A ramp spends half of its time there; where rows lie further apart, two and a half of them are needed."""
    assert rises_slowly(change(ramp_s, step_s, rows), "battery_a", 1.0) is slow
    assert rises_slowly(change(ramp_s, step_s, rows, low=10.0, high=4.0), "battery_a", 1.0) is slow


def test_change_needs_eight_samples_and_two_levels():
    """Seven do not tell, a level that stays is none, and without samples beside it nothing changes."""
    assert rises_slowly(change(4.0, 1.0, rows=8), "battery_a", 1.0)
    assert not rises_slowly(change(4.0, 1.0, rows=7), "battery_a", 1.0)
    assert not rises_slowly(change(1.0, high=4.0), "battery_a", 1.0)
    assert not rises_slowly(change(1.0), "battery_a", 9.0)


@pytest.mark.parametrize(
    ("load", "level"),
    [
        (((20, 5.0), (4, 0.0), (20, 5.0)), (44, 5.0)),
        (((20, 5.0), (5, 0.0), (20, 5.0)), None),
        (((20, 5.0), (4, 9.0), (20, 5.0)), (44, 5.0)),
        (((20, 5.0), (5, 9.0), (20, 5.0)), None),
        (((1, 5.0),), None),
    ],
)
def test_pauses_below_2_5_s_are_filled_and_peaks_of_2_s_taken_off(load: tuple, level: tuple | None):
    """Points half a second apart."""
    x = parts(*load)

    assert without_pulses(x, np.arange(len(x)) * 0.5).tolist() == (parts(level) if level else x).tolist()


@pytest.mark.parametrize(("points_", "over_s"), [(121, 5.0), (17, 2.0)])
def test_mean_of_a_course_is_in_doubt_by_what_scatters_around_it(points_: int, over_s: float):
    """The course is a median over 5 s, or a quarter of the stretch."""
    t = np.arange(points_) * 0.5
    x = 10 - 0.05 * t + np.random.default_rng(2).normal(0, 0.3, points_)

    assert course_mean(x, t) == Mean(pytest.approx(x.mean()), pytest.approx(block_mean(x - steadied(x, t, over_s)).u))


def wave(*lengths: int, begins: int = 5, ends: int = 5) -> np.ndarray:
    """Cycles of so many points, up for the first half of each."""
    cycles = [parts((n // 2, 9.0), (n - n // 2, 0.0)) for n in lengths]
    return np.concatenate((np.zeros(begins), *cycles, np.full(ends, 9.0)))


@pytest.mark.parametrize(
    ("x", "part"),
    [
        (wave(10, 10, 10), (5, 35)),
        (wave(10, 10), (5, 25)),
        (wave(10), None),
        (wave(10, 10, begins=13), (13, 33)),
        (wave(10, 10, begins=14), None),
        (wave(10, 10, ends=13), (5, 25)),
        (wave(10, 10, ends=14), None),
        (wave(8, 16), (5, 29)),
        (wave(8, 18), None),
        (wave(4, 4, begins=1, ends=1)[:7], None),
        (np.zeros(30), None),
        (np.tile([0.0, 1.0], 20), None),
    ],
)
def test_part_with_whole_cycles_goes_from_rise_to_rise(x: np.ndarray, part: tuple[int, int] | None):
    """Two cycles or more, alike to 35 %, over all of the stretch; noise has none."""
    assert whole_cycles(x) == slice(*(part or (0, len(x))))


def test_load_is_that_of_the_feed_or_of_the_circuits_less_a_twentieth():
    """The feed's channel before the circuits'; negative is none, and a circuit that was not read counts as off."""
    both = {"feed_a": [4.0, -1.0, NAN], "slot1_a": [1.0, 2.0, NAN], "slot2_a": [3.0, NAN, NAN]}
    slots = {role: x for role, x in both.items() if role != "feed_a"}

    assert fed_a(points(0.5, both), 0, 9) == pytest.approx([3.8, 0.0, NAN], nan_ok=True)
    assert fed_a(points(0.5, slots), 0, 9) == pytest.approx([3.8, 1.9, 0.0])
    assert fed_a(points(0.5, {"battery_a": [1.0, 2.0]}), 0, 9) is None
    assert fed_a(points(0.5, {"feed_v": [1.0, 2.0]}), 0, 9) is None


def test_falls_are_known_where_the_feed_lives():
    """Above 70 % of the battery: 8.5 of 12 V, not 8.3 V; a lift without a feed is known anywhere."""
    mean = {"battery_v": np.array([12.0, 12, 12]), "feed_v": np.array([11.5, 8.5, 8.3]), "ground_v": np.full(3, 0.1)}

    found = falls(mean)

    assert found["drop"] == pytest.approx([0.5, 3.5, NAN], nan_ok=True)
    assert found["lift"] == pytest.approx([0.1, 0.1, NAN], nan_ok=True)
    assert falls({"ground_v": mean["ground_v"]})["lift"].tolist() == [0.1] * 3
    assert falls({"battery_v": mean["battery_v"]}) == {}


LOAD = parts((10, 0.0), (10, 3.0), (10, 6.0), (10, 2.0))


def by_fall(load=LOAD, drop_ohm: float = 0.02, lift_ohm: float = 0.0, own=2.0, to_s: float = 99.0, offset=0.003, **how):
    """A battery's current of the load and the bike's own, and what it does to the paths."""
    values = {"battery_a": load + own, "battery_v": np.full(len(load), 12.5)}
    values["feed_v"] = values["battery_v"] - drop_ohm * load - offset
    if lift_ohm:
        values["ground_v"] = lift_ohm * load
    return fed_a(points(0.5, values | how), 0.0, to_s)


def test_fall_is_scaled_by_the_batterys_current():
    """20 mΩ and an offset of 3 mV: the load less a twentieth, scaled over the first 15 s as well as over all."""
    assert by_fall() == pytest.approx(0.95 * LOAD)
    assert by_fall(to_s=14.6) == pytest.approx(0.95 * LOAD)
    assert by_fall(lift_ohm=0.004, drop_ohm=0.0) == pytest.approx(0.95 * LOAD)


@pytest.mark.parametrize(
    ("load", "known"),
    [
        (parts((3, 0.0), (3, 3.0)), True),
        (parts((3, 0.0), (2, 3.0)), False),
        (parts((10, 0.0), (10, 1.05)), True),
        (parts((10, 0.0), (10, 0.95)), False),
        (parts((20, 5.0)), False),
        (parts((10, 0.0), (10, -3.0)), True),
    ],
)
def test_fall_is_a_witness_after_six_points_over_one_ampere(load: np.ndarray, known: bool):
    """That follow the current."""
    assert (by_fall(load) is not None) is known


def test_fall_against_the_current_or_without_it_is_none():
    """A path that lifts as the load goes, one that never moves, and one that follows by less than nine tenths."""
    wild = np.random.default_rng(5).normal(0, 0.03, 40)

    assert by_fall(drop_ohm=-0.02) is None
    assert by_fall(drop_ohm=0.0, offset=0.0) is None
    assert by_fall(offset=wild) is None
    assert by_fall(battery_a=np.full(40, NAN)) is None


def test_of_drop_and_lift_the_one_that_follows_better_tells():
    """A drop with 1 mV of noise beside a lift without."""
    noisy = np.random.default_rng(6).normal(0, 0.004, 40)

    assert by_fall(lift_ohm=0.004, offset=noisy) == pytest.approx(0.95 * LOAD)


def test_loads_of_the_bikes_own_tilt_levels_and_not_steps():
    """4 A more of its own during the second half: by steps 20 mΩ are still 50 A/V."""
    load = parts((10, 0.0), (10, 3.0), (10, 6.0), (10, 8.0))
    own = parts((15, 2.0), (25, 6.0))

    assert by_fall(load, own=own) == pytest.approx(0.95 * load)


@pytest.mark.parametrize(
    ("x", "slope"),
    [
        ([0, 0, 0, 1, 1, 1, 1], 2.0),
        ([0, 0, 0, 0, 0], math.inf),
        ([0, 1], math.inf),
        ([0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 2.9, 3.0, 3.1], 2.0),
        ([0.1 * n for n in range(30)], math.inf),
    ],
)
def test_steps_stand_out_of_the_usual_change_over_two_points(x: list[float], slope: float):
    """Six times it, and a tenth of all; a slope has none."""
    assert _by_steps(np.array(x, dtype=float), 2 * np.array(x, dtype=float)) == pytest.approx(slope)


def test_passage_is_the_last_one():
    """A spike of 80 ms, and a second later a slow or a quick change, wherever the log's clock begins."""
    for ramp_s in (0.5, 0.0):
        given = change(ramp_s)
        given.values["battery_a"][90:98] = 10.0
        later = Trace(given.time_s + 1000.0, given.values, {})

        assert rises_slowly(given, "battery_a", 1.0) is (ramp_s > 0)
        assert rises_slowly(later, "battery_a", 1.0) is (ramp_s > 0)


def test_levels_of_a_change_are_those_beside_its_middle():
    """4 A until half a second before it and 10 A from half a second after; a level between them is on the way."""
    t = np.arange(400) * 0.01
    x = np.select([t < 1.45, t < 2.55], [4.0, 7.0], 10.0)

    assert rises_slowly(Trace(t, {"battery_a": x}, {}), "battery_a", 1.0)
    assert not rises_slowly(Trace(t, {"battery_a": np.where(t < 2.0, 4.0, 10.0)}, {}), "battery_a", 3.9)


def test_five_deviations_of_noise_are_no_cycles():
    """Readings that go to and fro by 1 have 1.05 of noise; a slow wave of 5 is hidden in it and one of 9 is not."""
    noise = np.tile([0.0, 1.0], 40)
    slow = np.where(np.arange(80) % 20 < 10, 0.0, 1.0)

    assert whole_cycles(noise + 4.0 * slow) == slice(0, 80)
    assert whole_cycles(noise + 9.0 * slow) == slice(10, 70)
