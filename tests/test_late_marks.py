"""A mark that comes late: the step that it belongs to is not taken for a dead circuit's proof. Arrays by hand."""

import pytest
from marked_frame import BATTERY_LOGGER, battery_frame, times

import benchlog

KEY_S, END_S = 20.0, 90.0
PLAN = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "circuit": [
        {"slot": 1, "device": "cool box", "planned_a": 3.5, "fuse_a": 5},
        {"slot": 2, "device": "grips", "planned_a": 3.0, "fuse_a": 5},
    ],
}


def verdicts(steps: dict[float, float], marks: dict[float, str]) -> tuple[str, str]:
    """Verdict of each circuit where the battery's current steps so, A at s, beside these marks."""
    t = times(END_S)
    amps = 0.02 + 5.0 * (t >= KEY_S)
    for at_s, size in steps.items():
        amps += size * (t >= at_s)
    result = benchlog.check(battery_frame(amps, {KEY_S: "key on", **marks}), plan=PLAN, logger=BATTERY_LOGGER)
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
