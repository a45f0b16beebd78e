"""Where a current has settled, on points 1 s apart without noise: each decision from both sides."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.noise import NoiseModel
from benchlog.analysis.settling import (
    Settled,
    _across_gaps,
    _Fineness,
    _Points,
    _sort_out,
    _tail,
    _under_noise_s,
    settle,
)

ROLE = "battery_a"


def levels(*parts: tuple[int, float]) -> np.ndarray:
    """So many points of each level, A."""
    return np.concatenate([np.full(rows, level) for rows, level in parts])


def settled(x, step_s=1.0, **how) -> Settled | None:
    """Of points that hold one sample each."""
    over = how.pop("over", None)
    return settle(points(step_s, {ROLE: x}, over={ROLE: over} if over is not None else None), ROLE, 0.0, **how)


@pytest.mark.parametrize(
    ("parts", "base_a"),
    [
        (((20, 9), (10, 0.001), (6, 0.002), (4, 0.003)), 0.0015),
        (((20, 9), (10, 0.003), (6, 0.002), (4, 0.003)), 0.002),
        (((20, 9), (10, 0.003), (6, 0.002), (4, 0.001)), 0.001),
        (((6, 9), (1, 0.003), (1, 0.001)), 0.002),
    ],
)
def test_base_is_the_lowest_median_of_the_last_tenth_quarter_and_half(parts: tuple, base_a: float):
    """Of forty points the last four, ten and twenty; of eight two at the least."""
    assert settled(levels(*parts)).base_a == pytest.approx(base_a)


def test_step_down_has_settled_where_it_ends():
    """5 A for 10 s, then nothing: known to a point, and perhaps one later; 50 µA are the least band."""
    found = settled(levels((10, 5.0), (30, 0.0)))

    assert found == Settled(10.0, 39.0, 1.0, 0.0, (), 0.0, 11.0, seen_a=5e-5)
    assert found.lasts_s == 29.0


def test_steady_current_has_settled_from_the_first_point_on():
    """The step between points is all that is not known."""
    assert settled(levels((40, 0.001))) == Settled(0.0, 39.0, 1.0, 0.001, (), 0.0, 0.0, seen_a=1e-4)


def test_four_points_are_enough_and_three_are_not():
    """Missing and left-out ones do not count."""
    assert settled(levels((4, 0.0))) is not None
    assert settled(levels((3, 0.0))) is None
    assert settled([0.0, 0.0, math.nan, 0.0]) is None
    assert settled(levels((4, 0.0)), left_out=[(2.5, 3.5)]) is None


def test_current_beyond_the_range_is_no_base_and_outside():
    """Throughout, nothing settles; for a while, it does after that."""
    assert settled(levels((8, 1.0)), over=[1] * 8) == Settled(7.0, 7.0, 0.0, math.inf, ())
    assert settled(levels((40, 0.0)), over=[1] * 5 + [0] * 35).from_s == 5.0


def test_key_on_at_the_end_is_cut_off():
    """Where one follows; a current that is off its base from the first point on is none."""
    x = levels((20, 0.0), (2, 9.0))

    assert settled(x, key_on_follows=True).to_s == 19.0
    assert settled(x).to_s == 21.0
    assert settled(levels((6, 0.0), (2, 9.0)), key_on_follows=True).to_s == 7.0


def test_excursion_within_a_span_is_no_key_on():
    """It returns, so nothing is cut off."""
    found = settled(levels((20, 0.0), (5, 9.0), (15, 0.0)), key_on_follows=True)

    assert (found.to_s, found.wakeups) == (39.0, ((20.0, 24.0),))


def test_step_as_high_as_the_wakeups_may_be_one_of_them():
    """0.1 A for 6 s before the settling at 14 s, and once more for 6 s later: it may have settled since 7 s."""
    found = settled(levels((8, 5.0), (6, 0.1), (20, 0.0), (6, 0.1), (20, 0.0)))

    assert found.from_s == 14.0
    assert found.width_s == 14.0 - 7.0
    assert found.wakeups == ((34.0, 39.0),)


@pytest.mark.parametrize(
    ("x", "base", "resolution", "noise_a", "band"),
    [
        ([0.0] * 8, 0.0, 0.0, 0.0, 5e-5),
        ([0.0] * 8, 0.01, 0.0, 0.0, 0.001),
        ([0.0] * 8, -0.01, 0.0, 0.0, 0.001),
        ([0.0] * 8, 0.01, 0.002, 0.0, 0.004),
        ([0.0] * 8, 0.01, 0.0, 0.003, 0.015),
        ([0, 1, 0, 1, 0, 0, 0, 0], 0.0, 0.0, 0.0, 5e-5),
        ([0, 0, 0, 0, 0, 0.1, 0, 0.1], 0.0, 0.0, 0.0, 5 * 0.1 / 0.6744897501960817 / math.sqrt(2)),
        ([0, 0, 0, 0, 0, 0.1, math.inf, 0, 0.1], 0.0, 0.0, 0.0, 5 * 0.1 / 0.6744897501960817 / math.sqrt(2)),
        ([0.0, 7.0], 0.0, 0.0, 0.0, 5e-5),
        ([0, 0, 0.1, 0.0], 0.0, 0.0, 0.0, 5 * 0.1 / 0.6744897501960817 / math.sqrt(2)),
    ],
)
def test_final_band_is_the_widest_of_four(x: list[float], base: float, resolution: float, noise_a: float, band: float):
    """Five deviations of the last half's neighbours or the channel, two codes, a tenth of the base, 50 µA."""
    noise = NoiseModel(1.0, 1.0, 1.0, (0.5, 1.0), (noise_a, noise_a)) if noise_a else None

    assert _Fineness(1.0, resolution, noise).band_a(spanned(x, base)) == pytest.approx(band)


T = np.arange(60.0)


def spanned(x, base: float, t=None) -> _Points:
    """Points a second apart, or at these times, that hold one sample each."""
    t = T[: len(x)] if t is None else t
    return _Points(np.array(x, dtype=float), t, t, base)


@pytest.mark.parametrize(
    ("outside", "wakeups", "at"),
    [
        ([], [], 0),
        ([(0, 5)], [], 5),
        ([(0, 60)], [], 59),
        ([(0, 5), (10, 12)], [(10, 12)], 5),
        ([(0, 5), (6, 8)], [(6, 8)], 5),
        ([(0, 5), (7, 9)], [(7, 9)], 5),
        ([(0, 5), (7, 10)], [(7, 10)], 5),
        ([(0, 5), (7, 11)], [], 11),
        ([(3, 5)], [(3, 5)], 0),
        ([(1, 5)], [], 5),
        ([(0, 5), (7, 16), (30, 36)], [(7, 16), (30, 36)], 5),
        ([(0, 5), (7, 17), (30, 36)], [(30, 36)], 17),
        ([(0, 5), (7, 14), (25, 28), (40, 46)], [(7, 14), (25, 28), (40, 46)], 5),
        ([(0, 5), (7, 14), (25, 31), (45, 48)], [(7, 14), (25, 31), (45, 48)], 5),
    ],
)
def test_excursion_no_longer_than_the_calm_before_it_is_a_wakeup(
    outside: list[tuple[int, int]], wakeups: list[tuple[int, int]], at: int
):
    """Or one up to half as long again, and a point, as the wake-ups that come later (5 s: up to 8.5 s)."""
    x = np.zeros(60)
    for first, stop in outside:
        x[first:stop] = 0.1

    assert _sort_out(outside, spanned(x, 0.0)) == (wakeups, at)


@pytest.mark.parametrize(("calm_s", "wakeup"), [(1.1, True), (0.9, False)])
def test_calm_before_a_wakeup_lasts_a_second(calm_s: float, wakeup: bool):
    """However brief the excursion is."""
    t = np.array([0.0, 0.5, 0.5 + calm_s, 0.6 + calm_s, 9.0])

    found, at = _sort_out([(0, 1), (2, 3)], spanned([1, 0, 1, 0, 0], 0.0, t))

    assert (found, at) == (([(2, 3)], 1) if wakeup else ([], 3))


@pytest.mark.parametrize(("height", "wakeup"), [(1.14, True), (1.16, False)])
def test_excursion_soon_after_settling_is_a_wakeup_if_no_more_than_half_higher(height: float, wakeup: bool):
    """Above a base of 1 A, later ones reach 1.1 and 1.05 A."""
    x = np.ones(60)
    x[:5], x[7:14], x[30:36], x[45:50] = 5.0, height, 1.1, 1.05

    found, at = _sort_out([(0, 5), (7, 14), (30, 36), (45, 50)], spanned(x, 1.0))

    assert ((7, 14) in found) is wakeup
    assert at == (5 if wakeup else 14)


@pytest.mark.parametrize(
    ("wakeups", "begins", "height", "first"),
    [
        ([(30, 36)], 7, 1.14, 7),
        ([(30, 36)], 6, 1.14, 14),
        ([(30, 36)], 7, 1.16, 14),
        ([(30, 36), (50, 52)], 7, 1.14, 7),
        ([(20, 22), (30, 36)], 7, 1.14, 7),
        ([], 7, 1.14, 14),
        ([(30, 46)], 0, 1.14, 14),
    ],
)
def test_last_step_before_settling_is_no_longer_than_the_wakeups(wakeups: list, begins: int, height: float, first: int):
    """5 s and two points; half as high again; and something higher was before it."""
    x = np.ones(60)
    x[:begins], x[begins:14] = 5.0, height
    for a, b in wakeups:
        x[a:b] = 1.1

    assert _tail(wakeups, 14, spanned(x, 1.0)) == first


@pytest.mark.parametrize(
    ("from_s", "seen_a", "base", "level", "lasts_s"),
    [
        (8.0, 0.02, 0.0, 1.0, 1.25),
        (8.0, 0.02, 0.15, 1.0, 2.5 * math.log(4 / 3) / math.log(4)),
        (8.0, 0.02, -0.15, 1.0, 2.5 * math.log(4 / 3) / math.log(4)),
        (8.0, 0.02, 0.0, 0.07, 0.0),
        (8.0, 0.02, 0.0, 0.09, 1.25),
        (5.0, 0.02, 0.0, 1.0, 0.0),
        (8.0, 0.009, 0.0, 1.0, 0.0),
    ],
)
def test_fade_goes_on_at_its_pace_below_what_is_seen(
    from_s: float, seen_a: float, base: float, level: float, lasts_s: float
):
    """From four times what is seen at 4 s, less a point and a half, until 8 s: as long again for each factor of 4."""
    above = levels((5, level), (45, 0.0), (10, 1.0))

    assert _under_noise_s(spanned(above + base, base), from_s, seen_a) == pytest.approx(lasts_s)


def ends(*parts: tuple[float, float]) -> np.ndarray:
    """Points every second from one time to the other."""
    return np.concatenate([np.arange(begin, end + 0.5) for begin, end in parts])


@pytest.mark.parametrize(
    ("parts", "from_s", "left_out", "latest_s", "unseen_s"),
    [
        (((0, 9), (30, 39)), 5.0, (), 30.0, 21.0),
        (((0, 9), (30, 39)), 20.0, (), 20.0, 0.0),
        (((0, 19), (31, 39)), 0.0, (), 0.0, 12.0),
        (((0, 19), (31, 39)), 9.0, (), 31.0, 12.0),
        (((0, 9), (21, 30), (42, 50)), 0.0, (), 42.0, 24.0),
        (((0, 9), (21, 30), (42, 50)), 0.0, ((8.5, 21.5),), 0.0, 24.0),
        (((0, 30), (42, 45), (57, 70)), 0.0, (), 0.0, 24.0),
        (((0, 9), (19.5, 30)), 5.0, (), 19.5, 10.5),
        (((0, 9), (18.5, 30)), 5.0, (), 5.0, 0.0),
    ],
)
def test_gap_longer_than_the_calm_before_it_may_hide_the_settling(
    parts: tuple, from_s: float, left_out: tuple, latest_s: float, unseen_s: float
):
    """Ten usual steps make a gap; calm adds up over gaps that hide nothing, and what was left out hides nothing."""
    t = ends(*parts)

    assert _across_gaps(t, t, from_s, left_out) == (latest_s, unseen_s)


@pytest.mark.parametrize(("gap_s", "unseen_s"), [(0.9, 0.0), (1.1, 1.1)])
def test_gap_lasts_a_second(gap_s: float, unseen_s: float):
    """Where points lie 10 ms apart too."""
    t = np.concatenate((np.arange(50) * 0.01, 0.49 + gap_s + np.arange(50) * 0.01))

    assert _across_gaps(t, t, 0.0, ())[1] == pytest.approx(unseen_s)
