"""A mark that comes late: the step that it belongs to is not taken for a dead circuit's proof. Arrays by hand."""

import numpy as np
import pandas as pd
import pytest

import benchlog

RATE_HZ, KEY_S, END_S = 50.0, 20.0, 90.0
PLAN = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "circuit": [
        {"slot": 1, "device": "cool box", "planned_a": 3.5, "fuse_a": 5},
        {"slot": 2, "device": "grips", "planned_a": 3.0, "fuse_a": 5},
    ],
}
GOOD = {"gain_error_pct": 0.2, "offset_error": 0.005, "resolution": 0.001}
LOGGER = {
    "logger": {"name": "by hand"},
    "time": {"column": "time_s"},
    "channel": [
        {"column": "battery_v", "role": "battery_v", "unit": "V", **GOOD},
        {"column": "battery_a", "role": "battery_a", "unit": "A", **GOOD},
        {"column": "mark", "role": "mark"},
    ],
}


def verdicts(steps: dict[float, float], marks: dict[float, str]) -> tuple[str, str]:
    """Verdict of each circuit where the battery's current steps so, A at s, beside these marks."""
    t = np.arange(0.0, END_S, 1 / RATE_HZ)
    noise = np.random.default_rng(1)
    amps = 0.02 + sum((size * (t >= at_s) for at_s, size in {KEY_S: 5.0, **steps}.items()), np.zeros(len(t)))
    amps += noise.normal(0, 0.01, len(t))
    column = np.full(len(t), "", dtype=object)
    for at_s, text in {KEY_S: "key on", **marks}.items():
        column[int(at_s * RATE_HZ)] = text
    frame = pd.DataFrame({"time_s": t, "battery_v": 12.8 - 0.02 * amps, "battery_a": amps, "mark": column})
    result = benchlog.check(frame, plan=PLAN, logger=LOGGER)
    return result.check("slot_1_current").verdict, result.check("slot_2_current").verdict


def test_marks_in_time_tell_who_is_dead():
    """Both come on at their marks; then the second does not, and is dead."""
    marks = {30.0: "slot 1 on", 45.0: "slot 2 on"}

    assert verdicts({30.0: 3.5, 45.0: 3.0}, marks) == ("pass", "pass")
    assert verdicts({30.0: 3.5}, marks) == ("pass", "fail")


def test_a_step_at_no_mark_may_be_that_of_a_mark_that_came_late():
    """The mark comes 8 s after the step that it belongs to: nothing at the mark is no proof that nothing came."""
    assert verdicts({30.0: 3.5, 45.0: 3.0}, {30.0: "slot 1 on", 53.0: "slot 2 on"}) == ("pass", "not proven")


def test_a_late_mark_does_not_take_the_next_circuits_step():
    """The first mark is 9 s late and lies beside the second one's step: that step may be the second's after all."""
    late = verdicts({30.0: 3.5, 40.0: 3.0}, {39.0: "slot 1 on", 41.8: "slot 2 on"})

    assert "fail" not in late


@pytest.mark.parametrize("size", [8.0, 0.6])
def test_a_step_that_fits_no_circuit_hides_no_dead_one(size: float):
    """A load of another size beside the mark: whichever it is, the circuit fails."""
    assert verdicts({30.0: 3.5, 52.0: size}, {30.0: "slot 1 on", 45.0: "slot 2 on"}) == ("pass", "fail")


def test_a_step_long_before_the_mark_is_another_load():
    """Beyond 15 s nobody's mark is late: the circuit is dead."""
    assert verdicts({30.0: 3.5, 45.0: 3.0}, {30.0: "slot 1 on", 70.0: "slot 2 on"}) == ("pass", "fail")
