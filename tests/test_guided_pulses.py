"""What the guided test takes for a circuit's step beside pulses of the bike's own, on hand-written streams."""

import numpy as np
import pytest

from benchlog.bench.guided.history import History
from benchlog.bench.guided.moves import pulses
from benchlog.bench.guided.sight import Look, Sight
from benchlog.bench.guided.watch import slot_on
from benchlog.core.trace import Array, Trace

HZ = 50.0
PERIOD_S = 0.7  # of flashers, on for half of it (86 a minute: common practice, no source)
FLASH_A = 3.6


def flashing(time_s: Array, from_s: float, to_s: float) -> Array:
    """1 while the flashers draw."""
    on = (time_s >= from_s) & (time_s < to_s) & ((time_s - from_s) % PERIOD_S < PERIOD_S / 2)
    return on.astype(float)


def bike(time_s: Array, own_a: Array, slot_a: Array) -> Trace:
    """A live feed of 15 mΩ and a return of 5 mΩ carry what the circuit draws, the battery's 25 mΩ all of it."""
    battery_a = 4.3 + own_a + slot_a
    battery_v = 12.85 - 0.025 * battery_a
    values = {
        "battery_a": battery_a,
        "battery_v": battery_v,
        "feed_v": battery_v - 0.015 * slot_a,
        "ground_v": 0.005 * slot_a,
    }
    return Trace(time_s, values, {})


def asked(history: History, trace: Trace, since_s: float, over_s: float, planned_a: float) -> tuple[Sight, Look]:
    """The question for a circuit at ``since_s``, and its answer at the end of the stream or once it is seen."""
    at = int(np.searchsorted(trace.time_s, since_s))

    def part(a: int, b: int) -> Trace:
        return Trace(trace.time_s[a:b], {role: x[a:b] for role, x in trace.values.items()}, {})

    history.add(part(0, at))
    sight = Sight(history, history.now_s, history.before(history.now_s, over_s), slot=2, planned_a=planned_a)
    look = Look()
    for a in range(at, len(trace.time_s), 5):
        history.add(part(a, a + 5))
        look = slot_on(sight)
        if look.seen:
            break
    return sight, look


@pytest.mark.parametrize("since_s", [41.2, 42.0, 50.0])
def test_flashers_are_not_the_next_circuit_where_one_of_their_size_came_as_they_ended(since_s: float):
    """A circuit of 3.4 A came on at 40.0 s amid flashes of 3.6 A; when they return at 62 s, the next is not on."""
    t = np.arange(0.0, 71.0, 1 / HZ)
    own_a = FLASH_A * (flashing(t, 31.2, 40.2) + flashing(t, 62.0, 71.0))
    history = History()
    _, look = asked(history, bike(t, own_a, np.where(t >= 40.0, 3.4, 0.0)), since_s, 0.5, 3.0)

    assert look.seen is None


def test_pulses_that_end_in_a_pause_are_still_pulses_and_those_that_a_load_follows_are_not():
    """2 s after the last flash: the floor and the top stand; a load of their size that stays leaves none."""
    t = np.arange(0.0, 12.0, 1 / HZ)
    for stays_a, found in ((0.0, (4.3, 7.9)), (3.6, None)):
        history = History()
        history.add(bike(t, FLASH_A * flashing(t, 0.0, 10.15), np.where(t >= 10.15, stays_a, 0.0)))
        known = pulses(history, "battery_a", 11.8)
        assert known == (pytest.approx(found, abs=0.01) if found else None)


def test_a_circuit_beside_pulses_with_an_inrush_is_seen_when_it_came():
    """Each third flash begins with 2 A more for 0.1 s, and a circuit of 1 A comes at 30 s: seen there, not before."""
    t = np.arange(0.0, 40.0, 1 / HZ)
    on = flashing(t, 0.0, 40.0)
    inrush = on * ((t % (3 * PERIOD_S)) < 0.1)
    history = History()
    trace = bike(t, FLASH_A * on + 2.0 * inrush, np.where(t >= 30.0, 1.0, 0.0))
    _, look = asked(history, trace, 20.0, 2.0, 1.0)

    assert look.seen is not None
    assert look.seen.at_s == pytest.approx(30.0, abs=PERIOD_S)
    assert look.seen.value == pytest.approx(1.0, abs=0.1)
