"""Pull-in and drop-out on hand-written samples, where every instant can be worked out."""

import math

import numpy as np
import pytest

from benchlog.analysis.levels import Crossing, Levels
from benchlog.analysis.relay import drop_out, local_levels, pull_in, trigger_crossings
from benchlog.core.trace import Trace

NAN = math.nan


def trace(t, **values) -> Trace:
    """Samples without any over range."""
    return Trace(np.array(t, dtype=float), {role: np.array(x, dtype=float) for role, x in values.items()}, {})


def passage(at_s: float, before_s: float, after_s: float, to="low") -> Crossing:
    """The trigger's own."""
    return Crossing(at_s, before_s, after_s, 0, to)


@pytest.mark.parametrize(
    ("x", "levels"),
    [
        ([0, 0, 12], None),
        ([0, 0, NAN, 12, 12], Levels(0, 12)),
        ([12, 12, 0, 0], Levels(0, 12)),
        ([0, 1, *[5] * 16, 11, 12], Levels(0.5, 11.5)),
        ([0, 1, *[5] * 15, 11, 12], Levels(0, 12)),
        ([0, 0, 1.1, 1.1], Levels(0, 1.1)),
        ([0, 0, 0.9, 0.9], None),
        ([5, 5, 5.9, 5.9], None),
    ],
)
def test_levels_of_a_window_are_the_medians_of_its_first_and_last_tenth(x: list[float], levels: Levels | None):
    """Four samples and 1 V at least; two samples of each end from twenty on."""
    assert local_levels(np.array(x, dtype=float)) == levels


@pytest.mark.parametrize(("low", "at_s"), [(None, [2.25]), (0.0, []), (10.5, [1.375]), (11.2, [2.25])])
def test_known_low_level_moves_the_half_way_where_it_lies_1_v_below_the_high_one(low: float | None, at_s: list[float]):
    """12 to 7 V: half of it, none of 0 V, or half of 10.5 to 12 V; 11.2 V are too near."""
    given = trace(range(6), trigger_v=[12, 12, 10, 8, 7, 7])

    assert [each.time_s for each in trigger_crossings(given, "trigger_v", low)] == at_s


def test_line_that_never_moves_has_no_passage():
    """12 V throughout."""
    assert trigger_crossings(trace(range(6), trigger_v=[12] * 6)) == []


RISE = passage(0.012, 0.010, 0.020, "high")


@pytest.mark.parametrize(
    ("feed", "dead_v", "took_s", "already"),
    [
        ([0, 0, 0, 12, 12], 0.0, 0.013, False),
        ([2, 2, 2, 12, 12], 2.0, 0.013, False),
        ([2, 2, 2, 14, 14], 2.0, 0.008 + 0.01 * 5 / 12, False),
        ([0, 12, 12, 12, 12], 0.0, None, True),
        ([12, NAN, 0, 12, 12], 0.0, 0.013, False),
        ([0, 0, 5, 5, 5], 0.0, None, False),
        ([12, NAN, NAN, NAN, NAN], 0.0, None, False),
    ],
)
def test_pull_in_lasts_until_half_of_the_swing(feed: list[float], dead_v: float, took_s: float | None, already: bool):
    """Rows of 10 ms; a feed that is live from the row before the trigger's passage on was so already."""
    found = pull_in(trace(np.arange(5) * 0.01, feed_v=feed), RISE, 12.0, dead_v)

    assert found.took_s == (None if took_s is None else pytest.approx(took_s))
    assert (found.trigger_s, found.widths_s) == (0.012, pytest.approx((0.01, 0.01)))
    assert found.already is already


FALL = passage(0.005, 0.0, 0.010)


def dropped(feed: list[float], dead_v: float = 0.0, step_s: float = 0.01):
    """Without a battery's channel."""
    return drop_out(trace(np.arange(len(feed)) * step_s, feed_v=feed), FALL, 12.0, dead_v)


def test_feed_alone_has_left_at_90_per_cent():
    """12 to 0 V within a row: a tenth of it; with 2 V left of a dead line, 90 % of 10 V."""
    assert dropped([12, 12, 12, 0, 0]).took_s == pytest.approx(0.016)
    assert dropped([12, 12, 12, 2, 2], 2.0).took_s == pytest.approx(0.016)
    assert not dropped([12, 12, 12, 0, 0]).vague
    assert dropped([12, 12, 12, 0, 0]).slow_s == 0.0


@pytest.mark.parametrize(("step_s", "vague"), [(0.0104, False), (0.0107, True)])
def test_fall_of_more_than_10_ms_from_90_to_50_per_cent_is_vague(step_s: float, vague: bool):
    """12, 8 and 0 V: a tenth is passed after 0.3 rows and half 0.95 rows later."""
    found = dropped([12, 12, 8, 0, 0, 0], step_s=step_s)

    assert found.vague is vague
    assert found.took_s == pytest.approx(1.3 * step_s - 0.005)
    assert found.slow_s == pytest.approx(0.3 * step_s if vague else 0.0)


@pytest.mark.parametrize(
    ("feed", "slow_s"),
    [
        ([12, 12, 10, 8, 5, 0], 0.006),
        ([12, 12, 12, 12, 10, 8, 5, 0], 0.006),
        ([11.7, 11.7, 10, 8, 5, 0], 0.01 * 9 / 17 + 0.005),
        ([12, 10, 12, 10, 8, 5], 0.0),
        ([12, 11.8, 10, 8, 5, 0], 0.01 * 10 / 18),
    ],
)
def test_slow_fall_may_have_begun_at_98_per_cent(feed: list[float], slow_s: float):
    """From the last row at 98 % of the live level, or from the trigger where there is none, never after the fall."""
    found = dropped(feed)

    assert found.vague
    assert found.slow_s == pytest.approx(slow_s)


def test_half_of_a_fall_is_that_of_the_swing():
    """From 12 V to a dead line's 2 V half is 7 V: 13 ms after 11 V, where 9 V came after 7 ms."""
    assert dropped([12, 12, 9, 6, 2, 2], 2.0).vague
    assert pull_in(trace(np.arange(5) * 0.01, feed_v=[0, 0, 0, 12, 12]), RISE, 12.0).took_s == pytest.approx(0.013)


def test_feed_that_falls_but_not_to_half_has_not_dropped_out():
    """8 V for good, and no fall at all."""
    assert dropped([12, 12, 8, 8]).took_s is None
    assert dropped([12, 12, 8, 8]).widths_s == pytest.approx((0.01, 0.01))
    assert dropped([12, 12, 12, 12]).took_s is None


def left(feed, battery=12.0, trigger=None, **more):
    """Rows of 1 ms; the trigger has fallen at 100 ms unless another is given."""
    t = np.arange(len(feed)) * 0.001
    values = {"feed_v": feed, "battery_v": np.broadcast_to(battery, len(feed)), **more}
    return drop_out(trace(t, **values), trigger or passage(0.1, 0.0995, 0.1005), 12.0)


def shares(*parts: tuple[int, float]) -> np.ndarray:
    """So many rows with this share of 12 V each."""
    return np.concatenate([np.full(rows, 12.0 * share) for rows, share in parts])


@pytest.mark.parametrize(
    ("parts", "took_ms"),
    [
        (((111, 1.0), (50, 0.0)), 10.05),
        (((111, 1.0), (50, 0.94)), 10.0 + 5 / 6),
        (((111, 1.0), (50, 0.96)), None),
        (((105, 0.9), (6, 1.0), (50, 0.94)), 10.0 + 5 / 6),
        (((50, 0.9), (50, 1.0), (50, 0.93)), -1.0 + 5 / 7),
        (((110, 1.0), (1, 0.97), (50, 0.0)), 10.0 + 2 / 97),
        (((99, 1.0), (1, 0.9), (50, 0.8)), -1.0),
        (((99, 1.0), (1, 0.7), (50, 0.8)), -0.5),
        (((111, 1.0), (2, 0.0), (4, 1.0), (50, 0.0)), 10.05),
        (((111, 1.0), (2, 0.0), (7, 1.0), (50, 0.0)), 19.05),
        (((111, 1.0), (2, 0.0), (4, 1.0), (2, 0.0), (4, 1.0), (50, 0.0)), 10.05),
        (((111, 1.0), (50, 0.0), (5, 1.0)), 10.05),
        (((111, 1.0), (50, 0.0), (8, 1.0)), None),
        (((111, 0.55), (50, 0.0)), 10.05),
    ],
)
def test_drop_out_is_when_the_feed_leaves_the_battery_by_a_twentieth_for_good(
    parts: tuple[tuple[int, float], ...], took_ms: float | None
):
    """Touches of up to 5 ms are bounce; what it was just before the trigger, or came to since, is what it leaves."""
    found = left(shares(*parts))

    assert found.took_s == (None if took_ms is None else pytest.approx(took_ms / 1000, abs=1e-9))
    assert not found.already
    assert found.slow_s == 0.0
    if took_ms is not None:
        assert found.widths_s == pytest.approx((0.001, 0.001))


def test_feed_below_half_of_the_battery_was_gone_already():
    """45 % is no live feed, beside a dead battery too, whose own 0.5 V count as 1 V."""
    assert left(shares((111, 0.45), (50, 0.0))).already
    assert not left(shares((111, 0.05), (50, 0.0)), battery=0.5).already
    assert left(shares((111, 0.04), (50, 0.0)), battery=0.5).already


def test_trigger_outside_the_window_shows_nothing():
    """Before the first sample there is no level, and after the last no fall."""
    feed = shares((111, 1.0), (50, 0.0))

    assert left(feed, trigger=passage(-0.05, -0.1, 0.0)).took_s is None
    assert left(feed, trigger=passage(0.25, 0.2, 0.3)).took_s is None


def test_level_before_is_that_of_the_last_fifty_rows():
    """90 % for long, then 100 % in 45 rows: 93 % is away from that."""
    feed = shares((115, 0.9), (45, 1.0), (50, 0.93))

    assert left(feed, trigger=passage(0.16, 0.1595, 0.1605)).took_s == pytest.approx(-0.001 + 0.001 * 5 / 7)


def test_battery_of_two_samples_is_one():
    """12 V throughout, then."""
    whole = [12.0, 12.0, *[NAN] * 159]

    assert left(shares((111, 1.0), (50, 0.0)), battery=whole).took_s == pytest.approx(0.01005)


@pytest.mark.parametrize("battery", [[12.0, NAN], [NAN, NAN]])
def test_battery_of_fewer_than_two_samples_is_none(battery: list[float]):
    """The feed is then told by its own level alone."""
    whole = [*battery, *[NAN] * 159]

    assert left(shares((111, 1.0), (50, 0.0)), battery=whole).took_s == pytest.approx(0.0101)


def falling(tau_s: float, from_s: float = 0.1105, step_s: float = 0.001, end_s: float = 0.4) -> np.ndarray:
    """Held up by a capacitor from then on."""
    t = np.arange(0.0, end_s, step_s)
    return 12.0 * np.exp(-np.maximum(t - from_s, 0.0) / tau_s)


@pytest.mark.parametrize("tau_s", [0.05, 0.2])
def test_slow_fall_is_followed_back_to_where_it_began(tau_s: float):
    """An exponential without noise from between two rows on: their middle, known to a row and 2 % of the way back."""
    found = left(falling(tau_s))

    gone_s = math.ceil(1000 * (0.1105 - tau_s * math.log(0.95))) / 1000
    assert found.took_s == pytest.approx(0.0105, abs=1e-6)
    assert found.slow_s == pytest.approx(0.001 + 0.02 * (gone_s - 0.1105), abs=1e-6)


@pytest.mark.parametrize(("tau_s", "followed"), [(0.0205, True), (0.0155, False)])
def test_fall_is_followed_with_four_rows_above_85_per_cent(tau_s: float, followed: bool):
    """From the row where it is clearly gone down to 85 % of that: 3.3 ms or 2.5 ms."""
    assert bool(left(falling(tau_s)).slow_s > 0) is followed


def test_fall_that_began_before_the_trigger_let_go_began_then():
    """Falling since 90 ms: at 99.5 ms it is below 95 % of what it was, so the next row is all that is known."""
    found = left(falling(0.05, from_s=0.09))

    assert found.took_s == pytest.approx(0.0)
    assert found.slow_s == pytest.approx(0.0, abs=0.002)


@pytest.mark.parametrize(("from_s", "slow_s"), [(0.0985, 0.002), (0.0975, 0.001)])
def test_fall_that_was_not_yet_clear_as_the_trigger_let_go_began_then(from_s: float, slow_s: float):
    """Below 95 % at 102 or at 101 ms; the row at 100 ms is the first after the trigger."""
    found = left(falling(0.05, from_s=from_s))

    assert found.took_s == pytest.approx(0.0, abs=1e-9)
    assert found.slow_s == pytest.approx(slow_s)


def noisy(share: float, tau_s: float = 0.2, from_s: float = 0.1105) -> tuple[np.ndarray, int]:
    """A fall whose rows go to and fro by this share from where it is clearly gone, and the number of that row."""
    feed = falling(tau_s, from_s)
    gone = int(np.argmax(feed < 0.95 * 12))
    sign = np.where(np.arange(len(feed) - gone) % 2, 1.0, -1.0)
    feed[gone:] *= np.exp(share * sign)
    return feed, gone


def test_noise_on_a_slow_fall_leaves_its_beginning_in_doubt():
    """1 % of noise on 5 % in 10 ms is 2 ms, twice that for k = 2."""
    feed, gone = noisy(0.01)

    assert left(feed).slow_s == pytest.approx(0.001 + 2 * 0.01 * 0.2 + 0.02 * (gone * 0.001 - 0.1105), rel=0.04)


def test_doubt_of_a_slow_fall_ends_where_the_trigger_let_go():
    """5 % of noise would be 20 ms; from 99.5 ms to where it was clearly gone, and a row, it can have begun."""
    feed, gone = noisy(0.05, from_s=0.1005)

    part = (feed[gone - 1] - 11.4) / (feed[gone - 1] - feed[gone])
    assert left(feed).slow_s == pytest.approx((gone - 1 + part) * 0.001 - 0.0995 + 0.001)


def test_rows_beside_the_battery_under_load_or_without_are_live():
    """93 % under load, 98 % for 13 ms as it goes, then the fall: all rows before it are live."""
    t = np.arange(0.0, 0.4, 0.001)
    feed = 12.0 * np.where(t < 0.12, 0.93, 0.98) * np.exp(-np.maximum(t - 0.1305, 0.0) / 0.05)

    assert left(feed).took_s == pytest.approx(0.0305, abs=1e-6)
