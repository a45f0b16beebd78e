"""A whole ride by hand: what is found is what was written, and the clock's zero does not matter."""

import math

import numpy as np
import pytest
from hand_bench import HandLog, limit, plan, times

from benchlog.analysis.measurement import Measured
from benchlog.examine.everything import LogFindings, examine
from benchlog.logger.model import logger_from_mapping

V = {"unit": "V", "gain_error_pct": 0.1, "offset_error": 0.002, "resolution": 0.001}
CHANNELS = [
    *({"column": role, "role": role, **V} for role in ("battery_v", "trigger_v", "feed_v", "ground_v")),
    {"column": "i", "role": "battery_a", "unit": "A", "gain_error_pct": 0.5, "offset_error": 0.02, "resolution": 0.001},
]
LOGGER = logger_from_mapping({"logger": {"name": "by hand"}, "time": {"column": "t"}, "channel": CHANNELS})
LIMITS = {
    "off_state_drain_ma": 10.0,
    **{"settle_max_s": 30.0, "crank_min_v": 9.0, "charging_min_v": 13.5, "charging_max_v": 14.8},
    "charging_balance_min_a": 0.0,
}
ALLOWED = {
    **{"slot_1_current": limit(2.4, 3.6), "slot_2_current": limit(4.0, 6.0), "off_state_drain": limit(None, 10.0)},
    **{"feed_drop": limit(None, 0.3), "ground_lift": limit(None, 0.2), "settle_time": limit(None, 30.0)},
    **{"relay_pull_in": limit(None, 30.0), "relay_drop_out": limit(None, 60.0)},
    **{"charging_voltage": limit(13.5, 14.8), "source_resistance": limit(None, 50.0)},
}


def ride(start_s: float) -> LogFindings:
    """Off for 60 s, on at 60, circuits at 70 and 80, crank at 95, engine until 135, circuits off at 140, off at 150 s.

    The battery has 12.7 V and 30 mΩ, the feed 20 mΩ, the return 10 mΩ; 5 mA flow with the key off, from 158 s on, with
    a wake-up of 30 mA for two seconds every 20 s.
    """
    t = times(260.0, 0.01)
    on = (t >= 60) & (t < 150)
    live = (t >= 60.02) & (t < 150.03)
    crank, run = (t >= 95) & (t < 96), (t >= 96) & (t < 135)
    block = live * (3.0 * ((t >= 70) & (t < 140)) + 5.0 * ((t >= 80) & (t < 141)))
    own = 0.2 * live + 1.0 * on
    asleep = ((t < 60) | (t >= 158)) * (0.005 + 0.03 * ((t % 20 >= 12) & (t % 20 < 14)))
    drawn = block + own + asleep + 0.1 * ((t >= 150) & (t < 158))
    amps = np.where(crank, drawn + 90.0, np.where(run, -3.0, drawn))
    rng = np.random.default_rng(11)
    noise = rng.normal(0, 1, (5, len(t)))
    volts = np.where(run, 14.2, 12.7 - 0.03 * amps) + 0.001 * noise[0]
    amps = amps + 0.0005 * noise[4]
    values = {
        "battery_v": volts,
        "battery_a": amps,
        "trigger_v": (volts - 0.1) * on + 0.001 * noise[1],
        "feed_v": (volts - 0.02 * block) * live + 0.001 * noise[2],
        "ground_v": 0.01 * block + 0.001 * noise[3],
    }
    marks = [(70.0, "slot 1 on"), (80.0, "slot 2 on"), (140.0, "slot 1 off"), (141.0, "slot 2 off")]
    log = HandLog(t + start_s, values, [(at + start_s, text) for at, text in marks])
    relay = {"pull_in_max_ms": 30.0, "drop_out_max_ms": 60.0, "coil_a": 0.2}
    return examine(log, LOGGER, plan(3.0, 5.0, limits=LIMITS, relay=relay), ALLOWED)


@pytest.fixture(scope="module")
def found() -> LogFindings:
    """The ride whose first sample lies at 0 s."""
    return ride(0.0)


#: Check -> what was written, and how near the figure comes.
WRITTEN = {
    "off_state_drain": (5.0 + 30 * 2 / 20, 0.7),
    "settle_time": (8.0, 0.2),
    "feed_off_voltage": (0.0, 0.001),
    "resting_voltage": (12.7, 0.001),
    "relay_pull_in": (20.0, 0.1),
    "relay_drop_out": (30.0, 5.1),
    "relay_chatter": (0.0, 0.0),
    "battery_sag": (0.24, 0.003),
    "source_resistance": (30.0, 0.3),
    "feed_drop": (0.16, 0.002),
    "ground_lift": (0.08, 0.001),
    "slot_1_current": (3.0, 0.02),
    "slot_2_current": (5.0, 0.03),
    "crank_minimum": (12.7 - 0.03 * 99.2, 0.002),
    "feed_in_crank": (0.0, 0.0),
    "charging_voltage": (14.2, 0.001),
    "charging_balance": (3.0, 0.01),
}


@pytest.mark.parametrize("check_id", WRITTEN)
def test_ride_shows_what_was_written(found: LogFindings, check_id: str):
    """Within what its noise and its samples leave open, and nothing keeps it from counting."""
    value, near = WRITTEN[check_id]
    told = found.findings[check_id]

    assert told.value == pytest.approx(value, abs=near)
    assert (told.disqualified, told.failed) == (None, None)


def test_every_finding_of_the_ride_is_asked_after(found: LogFindings):
    """None is left out of the table."""
    assert set(found.findings) == set(WRITTEN)


def same(a: float | None, b: float | None, shift: float = 0.0) -> bool:
    """Alike to what a later clock's own digits leave."""
    if a is None or b is None:
        return a is b
    return (math.isnan(a) and math.isnan(b)) or a + shift == pytest.approx(b, rel=2e-3, abs=1e-5) or a == b


def test_clocks_zero_does_not_matter(found: LogFindings):
    """The same ride that begins at 1000 s: every figure and its doubt, and every time 1000 s later."""
    later = ride(1000.0)

    for check_id, one in found.findings.items():
        other = later.findings[check_id]
        assert isinstance(one, Measured), check_id
        assert isinstance(other, Measured), check_id
        assert same(one.value, other.value), check_id
        assert same(one.u, other.u), check_id
        assert (bool(one.one_sided), bool(one.disqualified)) == (bool(other.one_sided), bool(other.disqualified)), (
            check_id
        )
        assert one.from_s + 1000 == pytest.approx(other.from_s, abs=1e-3), check_id
        assert one.to_s + 1000 == pytest.approx(other.to_s, abs=1e-3), check_id
        assert same(one.watched_s, other.watched_s), check_id
        if one.parts is not None:
            assert same(one.parts.watched_s, other.parts.watched_s), check_id
    assert set(found.seen) == set(later.seen)
    for name, quantity in found.seen.items():
        assert same(quantity.value, later.seen[name].value), name
        assert same(quantity.u, later.seen[name].u), name
    assert found.notes == later.notes == ()
    for kind in ("on", "off"):
        for one, other in zip(getattr(found.story, kind), getattr(later.story, kind), strict=True):
            assert np.allclose(np.add(one, 1000), other, atol=1e-3)


def test_ride_is_drawn_with_all_its_parts(found: LogFindings):
    """Spans, events and points."""
    drawn = found.evidence

    assert [span.kind for span in drawn.spans] == ["key off", "key on", "cranking", "running", "key off"]
    assert (len(drawn.pull_ins), len(drawn.drop_outs)) == (1, 1)
    assert [round(at, 1) for at in (*drawn.pull_in_at_s, *drawn.drop_out_at_s)] == [60.0, 150.0]
    assert drawn.samples == 26000
    assert drawn.key_off_drain_ma == pytest.approx(found.drain.value)
    assert [len(group) for group in drawn.battery_points] == [4]
    assert len(drawn.feed_points) == len(drawn.ground_points) == 3
    assert [one.settled_s is not None for one in drawn.settlings] == [True, True]
    assert (drawn.zero_offsets, drawn.key_off_draws, found.let_go) == ({}, (), ())


def test_quantities_of_the_ride_are_those_of_a_good_install(found: LogFindings):
    """As they were written."""
    seen = {name: one.value for name, one in found.seen.items()}

    expected = {
        **{"trigger_on": 0.99, "feed_on": 1.0, "trigger_off": 0.0, "feed_off": 0.0, "feed_duty": 1.0, "bus_on": 0.0},
        **{"feed_path": 0.16 / 0.3, "ground_path": 0.4, "settle": 8 / 30, "source": 0.6, "slot_1": 1.0, "slot_2": 1.0},
        **{"pull_in": 20 / 30, "drop_out": 0.5, "load_on": 1.0, "keyed_a": 4.2, "run_rest_v": 1.5},
        **{"charge_over_v": -0.6, "charge_under_v": -0.7, "alternator_share": 1 + 3 / 9.2, "off_charge_a": 0.008},
    }
    assert {name: seen[name] for name in expected} == pytest.approx(expected, abs=0.1)
