"""Where a contact chatters, and what spikes and brief feeds are: each time from both sides."""

import math

import numpy as np
import pytest

from benchlog.analysis.contact import chatter_count, contact_moves, without_spikes
from benchlog.analysis.levels import Crossing
from benchlog.core.trace import Trace

NAN = math.nan


def moves(*times: tuple[float, str], width_s: float = 0.0) -> list[Crossing]:
    """The contact moved then, known to so much."""
    return [Crossing(t, t, t + width_s, n, to) for n, (t, to) in enumerate(times)]


def count(*times: tuple[float, str], width_s: float = 0.0, **how) -> int:
    """With the key on from 1 s to 10 s, off until 20 s."""
    return chatter_count(moves(*times, width_s=width_s), 1.0, 10.0, 20.0, **how)


@pytest.mark.parametrize(
    ("times", "counted"),
    [
        ((), 0),
        (((5.0, "low"), (5.1, "high")), 1),
        (((1.004, "low"), (1.2, "high")), 0),
        (((1.006, "low"), (1.2, "high")), 1),
        (((5.0, "low"), (5.1, "high"), (5.104, "low"), (5.2, "high")), 1),
        (((5.0, "low"), (5.1, "high"), (5.106, "low"), (5.2, "high")), 2),
        (((9.994, "low"), (9.996, "high"), (10.03, "low")), 1),
        (((9.996, "low"), (9.999, "high"), (10.03, "low")), 0),
        (((10.03, "low"),), 0),
        (((10.03, "low"), (10.034, "high")), 0),
        (((10.03, "low"), (10.036, "high")), 1),
        (((10.03, "low"), (12.0, "high"), (13.0, "low"), (14.0, "high")), 2),
        (((10.03, "low"), (19.9, "high")), 1),
        (((10.03, "low"), (20.1, "high")), 0),
        (((12.0, "high"),), 0),
        (((9.95, "low"),), 0),
        (((9.89, "low"),), 1),
        (((9.91, "low"),), 0),
        (((9.91, "low"), (9.92, "high")), 1),
    ],
)
def test_openings_with_the_key_on_and_closings_with_it_off_are_counted(times: tuple, counted: int):
    """Bounce of 5 ms apart; an opening for good within a tenth of a second before the key-off is the drop-out."""
    assert count(*times) == counted


@pytest.mark.parametrize(
    ("times", "how", "counted"),
    [
        (((9.7, "low"), (9.8, "high"), (10.0, "low")), {}, 1),
        (((9.7, "low"), (9.8, "high"), (10.0, "low")), {"slack_s": 0.4}, 1),
        (((9.7, "low"), (10.1, "high"), (10.2, "low")), {"slack_s": 0.4}, 1),
        (((9.7, "low"), (9.702, "high"), (10.2, "low")), {"slack_s": 0.4}, 0),
        (((9.7, "low"), (9.702, "high"), (10.2, "low")), {"slack_s": 0.2}, 1),
        (((9.7, "low"), (9.702, "high"), (10.2, "low")), {"stamped_s": 0.4}, 0),
        (((1.2, "low"), (1.3, "high")), {"stamped_s": 0.1}, 1),
        (((1.2, "low"), (1.3, "high")), {"stamped_s": 0.25}, 0),
        (((9.5, "low"),), {}, 1),
        (((9.5, "low"),), {"falls_from_s": 9.55}, 0),
        (((9.5, "low"),), {"falls_from_s": 9.65}, 1),
        (((9.89, "low"),), {"falls_from_s": 10.5}, 1),
    ],
)
def test_slack_of_stamps_and_of_a_slow_trigger_is_left_to_the_key(times: tuple, how: dict, counted: int):
    """How well the key-off is known, how far a stamp may lie off, and since when the trigger fell."""
    assert count(*times, **how) == counted


def test_opening_is_known_to_the_rows_around_it():
    """12 ms before the key-off less bounce, in rows of 10 ms: it lies before; in rows of 20 ms it may be the key's."""
    times = ((9.983, "low"), (9.985, "high"), (10.03, "low"))

    assert count(*times, width_s=0.01) == 1
    assert count(*times, width_s=0.02) == 0


def test_contact_moves_at_half_of_the_live_level():
    """With 40/60 % hysteresis: 12 V, 5.0 V (not below 4.8) and 4 V."""
    given = Trace(np.arange(7.0), {"feed_v": np.array([12, 5, 12, 4, 4, 7, 12.0])}, {})

    assert [(round(each.time_s, 3), each.to) for each in contact_moves(given, 12.0)] == [(2.75, "low"), (4.667, "high")]


def kept(feed, battery=None, step_s: float = 0.001) -> list[float]:
    """What is left of a feed that lives at 12 V."""
    values = {"feed_v": np.array(feed, dtype=float)}
    if battery is not None:
        values["battery_v"] = np.array(battery, dtype=float)
    return without_spikes(Trace(np.arange(len(feed)) * step_s, values, {}), 12.0).values["feed_v"].tolist()


@pytest.mark.parametrize(
    ("feed", "spiked"),
    [
        ([12, 12, -2, 12, 12], True),
        ([12, 12, -0.9, 12, 12], False),
        ([12, -2, -2, 12, 12], True),
        ([12, -2, -2, -2, 12], False),
        ([12, 12, -2, 5, 5], False),
        ([5, 5, -2, 12, 12], False),
        ([7, 7, -2, 7, 7], True),
        ([12, 12, 12, 12, -2], False),
    ],
)
def test_spike_lies_below_minus_one_volt_for_3_ms_between_live_samples(feed: list[float], spiked: bool):
    """What lasts longer, or goes on to a dead line, is a contact that opened on a coil."""
    left = kept(feed)

    assert [math.isnan(x) for x in left] == [spiked and x < -1 for x in feed]


@pytest.mark.parametrize(
    ("battery", "feed", "left"),
    [
        *((10.0, 9.0, 10.8), (11.0, 9.0, 9.0)),
        *((6.0, 3.0, 6.0), (0.1, 0.4, 9.6)),
        (15.0, 9.0, 9.0),
    ],
)
def test_dip_that_the_battery_shows_as_well_is_no_contacts(battery: float, feed: float, left: float):
    """Below 90 % of the live level the feed counts as its share of the battery, of 0.5 V at the least."""
    assert kept([12, feed, 12], [12, battery, 12])[1] == pytest.approx(left)


def test_battery_that_is_sampled_less_often_is_read_between():
    """10 V half way between 12 and 8 V; one sample is no battery."""
    assert kept([12, 5, 12], [12, NAN, 8])[1] == pytest.approx(6.0)
    assert kept([12, 5, 12], [NAN, 8, NAN])[1] == 5.0
