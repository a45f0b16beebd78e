"""What proves a running engine: each threshold from both sides, on points 0.5 s apart."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.running import (
    EngineOff,
    Running,
    _after_fall,
    _steadied,
    bridged,
    find_charged,
    find_running,
    least_a,
)

NAN = math.nan
OFF = EngineOff(volts=12.5, amps=5.0, line_ohm=0.045)


def parts(*levels: tuple[int, float]) -> np.ndarray:
    """So many points of each."""
    return np.concatenate([np.full(rows, level) for rows, level in levels])


def found(volts=None, amps=None, before=OFF, share_u=0.01, fed=None, to_s=60.0, ripple=None) -> Running | None:
    """Between 0 and 60 s."""
    mean = {role: x for role, x in (("battery_v", volts), ("battery_a", amps)) if x is not None}
    high = None if ripple is None else {"battery_v": np.asarray(volts) + ripple}
    table = points(0.5, mean, high=high)
    return find_running(table, 0.0, to_s, before, share_u, None if fed is None else np.asarray(fed, dtype=float))


def full(value: float) -> np.ndarray:
    """A minute of it."""
    return np.full(121, value)


@pytest.mark.parametrize(
    ("volts", "amps", "how"),
    [
        (13.18, 0.2, None),
        (13.25, 0.2, "voltage"),
        (14.0, 0.4, "voltage"),
        (13.18, 0.4, None),
        (12.6, -0.35, "share"),
        (12.6, -0.25, None),
        (13.2, -0.25, None),
        (13.25, -0.25, "voltage"),
        (NAN, -0.35, "share"),
        (12.98, NAN, None),
        (13.02, NAN, "voltage"),
        (13.02, 5.0, "voltage"),
        (13.02, 6.0, "voltage"),
    ],
)
def test_engine_shows_by_a_raised_voltage_or_current_into_the_battery(volts: float, amps: float, how: str | None):
    """Half a volt above 12.5 V and what 5 A less raise a battery of 45 mΩ by; or 0.3 A into it."""
    got = found(full(volts), full(amps))

    assert (got.how if got else None) == how
    if got:
        assert (got.from_s, got.to_s, got.before_v, got.before_a, got.dark) == (0.0, 60.0, 12.5, 5.0, ())


@pytest.mark.parametrize(
    ("amps", "before", "share_u", "fed", "how"),
    [
        (-0.55, OFF, 0.2, None, None),
        (-0.65, OFF, 0.2, None, "share"),
        (-2.25, EngineOff(12.5, 5.0, charger_a=2.0), 0.01, None, None),
        (-2.35, EngineOff(12.5, 5.0, charger_a=2.0), 0.01, None, "share"),
        (4.6, OFF, 0.01, full(5.0), "share"),
        (4.8, OFF, 0.01, full(5.0), None),
        (2.8, EngineOff(12.5, 5.0, charger_a=2.0), 0.01, full(5.0), None),
        (2.6, EngineOff(12.5, 5.0, charger_a=2.0), 0.01, full(5.0), "share"),
    ],
)
def test_alternators_share_exceeds_the_channels_doubt_and_a_chargers_current(amps, before, share_u, fed, how):
    """Three uncertainties, or 0.3 A; less current than the load that is surely on is a share too."""
    got = found(full(12.5), full(amps), before, share_u, fed)

    assert (got.how if got else None) == how


@pytest.mark.parametrize(
    ("highest_v", "amps", "charger_a", "runs"),
    [
        *((13.35, None, 0.0, False), (13.25, None, 0.0, True)),
        (13.35, 0.0, 0.0, True),
        *((13.35, 0.0, 1.0, False), (13.25, 0.0, 1.0, True)),
        (NAN, None, 0.0, True),
    ],
)
def test_voltage_alone_is_above_the_highest_with_the_engine_off(highest_v, amps, charger_a: float, runs: bool):
    """0.2 V above, where no current was read or a charger was on."""
    before = EngineOff(12.5, 5.0, line_ohm=0.045, highest_v=highest_v, charger_a=charger_a)

    assert bool(found(full(13.5), None if amps is None else full(amps), before)) is runs


def test_run_ends_where_current_flows_out_again():
    """Though the voltage stays raised: a charge that was."""
    assert found(full(14.0), parts((60, -2.0), (61, 4.0))).to_s == 29.5
    assert found(full(14.0), full(-2.0), to_s=60.3).to_s == 60.3


def test_tail_with_more_load_that_is_surely_on_stands():
    """1 A before the crank and 4 A now: 8 A out of the battery are the 5 A of then and 3 A more."""
    before = EngineOff(12.5, 5.0, fed_a=1.0)

    assert found(full(12.5), parts((60, -1.0), (61, 8.0)), before, fed=full(4.0)).dark == ()


def test_engine_off_is_known_by_its_levels_alone():
    """Without a load that is surely on, a crank's resistance or a charger: 30 mΩ and a half more."""
    assert (OFF.fed_a, OFF.charger_a, EngineOff(12.5, 5.0).line_ohm) == (0.0, 0.0, pytest.approx(0.045))
    assert (
        find_charged(points(0.5, {"battery_v": full(14.0), "battery_a": full(-5.0)}), 0, 60, 0.01).before_fed_a == 0.0
    )


def test_two_points_ten_seconds_apart_are_a_run():
    """By a crank or without."""
    table = points(10.0, {"battery_v": [14.0, 14.0], "battery_a": [-5.0, -5.0]})

    assert find_running(table, 0.0, 10.4, OFF, 0.01).to_s == 10.4
    assert find_charged(table, 0.0, 10.4, 0.01).to_s == 10.4


def test_least_current_is_three_uncertainties_or_three_tenths():
    """Of an ampere."""
    assert least_a(0.05) == 0.3
    assert least_a(0.2) == pytest.approx(0.6)


@pytest.mark.parametrize(("rows", "runs"), [(11, True), (10, False)])
def test_proof_lasts_five_seconds(rows: int, runs: bool):
    """Eleven points span them; the run ends with the last but one, which nothing else can be in."""
    got = found(full(12.5), parts((4, 5.0), (rows, -1.0), (117 - rows, 5.0)), to_s=60.0)

    assert bool(got) is runs
    if got:
        assert (got.from_s, got.to_s, got.dark) == (2.0, 2.0 + 0.5 * (rows - 1), ())


@pytest.mark.parametrize(("piece", "runs"), [(5, True), (3, False)])
def test_short_pieces_of_charging_add_up(piece: int, runs: bool):
    """Three of 2 s each, 3 s apart, are 6 s; of 1 s each they are 3 s."""
    amps = parts((10, 5.0), *[(piece, -1.0), (6, 5.0)] * 3, (93 - 3 * piece, 5.0))

    got = found(full(12.5), amps)

    assert bool(got) is runs
    if got:
        assert (got.from_s, got.how) == (5.0, "share")


@pytest.mark.parametrize(
    ("idle", "run", "begins_s"), [(0.02, 0.02, 0.0), (0.02, 0.06, 20.0), (0.04, 0.06, 0.0), (0.02, 0.03, 0.0)]
)
def test_run_began_with_the_crank_unless_its_ripple_was_missing_then(idle: float, run: float, begins_s: float):
    """20 s without charge before it: twice the ripple in the run was pushed, less was an idle."""
    ripple = parts((40, idle), (80, run), (1, 0.01))

    got = found(full(12.5), parts((40, 5.0), (81, -1.0)), ripple=ripple)

    assert got.from_s == begins_s
    assert got.dark == (((0.0, 20.0),) if begins_s else ())


@pytest.mark.parametrize(
    ("tail_a", "run", "tail", "dark"),
    [
        (5.0, 0.0, 0.0, False),
        *((4.4, 0.0, 0.0, True), (4.6, 0.0, 0.0, False)),
        *((4.4, 0.06, 0.02, False), (4.4, 0.06, 0.04, True)),
    ],
)
def test_tail_without_charge_is_dark_unless_the_engine_surely_stands(tail_a, run: float, tail: float, dark: bool):
    """Within a tenth of the 5 A before, or with half of the ripple gone, it stands."""
    got = found(full(12.5), parts((60, -1.0), (61, tail_a)), ripple=parts((60, run), (61, tail)))

    assert got.to_s == 29.5
    assert got.dark == (((29.5, 60.0),) if dark else ())


def test_brief_tail_and_brief_beginning_are_not_dark():
    """Within 5 s of the crank, and of the end."""
    got = found(full(12.5), parts((9, 4.0), (102, -1.0), (10, 4.0)))

    assert (got.from_s, got.to_s, got.dark) == (4.5, 55.0, ())
    later = points(0.5, {"battery_v": full(12.5), "battery_a": parts((29, 4.0), (92, -1.0))})
    assert find_running(later, 10.0, 60.0, OFF, 0.01).from_s == 14.5


def test_one_point_is_no_run():
    """Nor is a stretch that the table does not hold."""
    table = points(0.5, {"battery_v": full(14.0), "battery_a": full(-5.0)})

    assert find_running(table, 0.0, 0.4, OFF, 0.01) is None
    assert find_running(table, 0.0, 5.0, OFF, 0.01) is not None
    assert find_running(table, 70.0, 80.0, OFF, 0.01) is None


def test_load_that_is_on_is_taken_at_the_points_of_the_stretch():
    """5 A surely on from 30 s: less than that before proves nothing."""
    table = points(0.5, {"battery_v": full(12.5), "battery_a": full(2.0)})
    fed = parts((60, 0.0), (61, 5.0))

    assert find_running(table, 0.0, 29.0, OFF, 0.01, fed) is None
    assert find_running(table, 30.0, 60.0, OFF, 0.01, fed).how == "share"


@pytest.mark.parametrize(
    ("volts", "from_point"),
    [
        (((20, 14.2), (20, 12.8)), 20),
        (((20, 13.0), (20, 12.65)), 20),
        (((20, 13.0), (20, 12.75)), None),
        (((20, 14.5), (20, 14.0)), None),
        (((20, 14.5), (20, 13.85)), 20),
        (((20, 14.2), (10, 12.8), (10, 14.2)), None),
        (((20, 14.2), (10, 13.8), (10, 12.8)), 30),
        (((20, 14.2), (10, 13.4), (10, 13.1)), 20),
        (((20, 14.2), (5, NAN), (20, 12.8)), 20),
        (((40, 12.8),), None),
    ],
)
def test_voltage_that_falls_for_good_held_nothing_up(volts: tuple, from_point: int | None):
    """By 0.3 V to below 13.9 V; of several falls the first that is seven tenths of the greatest."""
    x = parts(*volts)
    expected = np.zeros(len(x), dtype=bool)
    if from_point is not None:
        expected[from_point:] = True

    assert _after_fall(x, np.arange(len(x)) * 0.5).tolist() == expected.tolist()


@pytest.mark.parametrize(("volts_per_s", "gone"), [(0.16, False), (0.25, True)])
def test_fall_is_from_the_median_of_three_seconds_before(volts_per_s: float, gone: bool):
    """Their middle lies 1.75 s back: 0.28 V or 0.44 V."""
    x = 13.5 - volts_per_s * np.arange(20) * 0.5

    assert _after_fall(x, np.arange(20) * 0.5).any() == gone


def test_raised_voltage_proves_nothing_after_its_fall():
    """14 V for 20 s, then 13.2 V, which is still above 13 V: the run ends with the fall."""
    got = found(parts((40, 14.0), (81, 13.2)), full(4.0))

    assert got.to_s == 19.5


@pytest.mark.parametrize(("rows", "closed"), [(3, True), (4, False)])
def test_interruption_of_less_than_two_seconds_is_none(rows: int, closed: bool):
    """Three points of 0.5 s are 1.5 s; at either end nothing is interrupted."""
    flags = np.array([False] * 2 + [True] * 5 + [False] * rows + [True] * 5 + [False] * 2)

    got = bridged(flags, np.arange(len(flags)) * 0.5)

    assert bridged(flags[6:], np.arange(len(flags) - 6) * 0.5)[1 : rows + 1].all() == closed
    assert got.sum() == 10 + rows * closed
    assert not got[:2].any()
    assert not got[-2:].any()


def test_single_odd_points_are_steadied():
    """A spike goes and an edge stays; beside a missing point, at the ends and of two points nothing changes."""
    assert _steadied(np.array([1.0, 9, 1, 1, 5, 5])).tolist() == [1, 1, 1, 1, 5, 5]
    assert _steadied(np.array([1.0, 9, NAN, 9, 1]))[[0, 1, 3, 4]].tolist() == [1, 9, 9, 1]
    assert _steadied(np.array([9.0, 1, NAN, 1, 9]))[[1, 3]].tolist() == [1, 1]
    assert _steadied(np.array([1.0, 9, 1])).tolist() == [1, 1, 1]
    assert _steadied(np.array([1.0, 9])).tolist() == [1, 9]
