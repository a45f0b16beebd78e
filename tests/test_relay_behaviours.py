"""What bikes and loggers do beside the test, and what the relay's verdicts make of it: whole logs written by hand."""

import numpy as np
import pytest
from hand_log import PLAN, Bike, bounce, check, judged

ON, OFF = 10.0, 60.0


def _on_off(result):
    return [(round(event.time_s, 1), event.to) for event in result.key_events]


def _verdicts(result):
    return {name: check(result, name).verdict for name in ("relay_pull_in", "relay_drop_out", "relay_chatter")}


PASSES = dict.fromkeys(("relay_pull_in", "relay_drop_out", "relay_chatter"), "pass")


def _pulses(hz, duty, from_s=ON, to_s=OFF):
    times = np.arange(from_s, to_s - 1e-6, 1 / hz)
    return [change for t in times for change in ((float(t), 1), (float(t) + duty / hz, 0))]


def _following(changes, pull_in_s=0.012, drop_out_s=0.030):
    """A contact that follows its coil's supply."""
    moves, closed = [], False
    for (t, level), (until, _) in zip(changes, [*changes[1:], (1e9, 0)], strict=True):
        lasts = pull_in_s if level else drop_out_s
        if bool(level) != closed and until - t > lasts:
            closed = bool(level)
            moves.append((t + lasts, level))
    return moves


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_contact_that_closes_before_the_last_bounce_of_the_key_has_pulled_in(seed):
    """The key bounces for 40 ms and the relay closes within that: one key-on and a pull-in."""
    result = Bike(key=[*bounce(ON, 1, 0.040, seed), (OFF, 0)], contact=[(ON + 0.022, 1), (OFF + 0.030, 0)]).checked()

    assert _on_off(result) == [(ON, "on"), (OFF, "off")]
    assert _verdicts(result) == PASSES
    assert check(result, "relay_pull_in").measured < 22.5


def test_pull_in_counts_from_the_edge_that_energised_the_coil():
    """The key is on for good 40 ms after it first touched; the contact closes 10 ms later, within 30 ms."""
    result = Bike(key=[*bounce(ON, 1, 0.040), (OFF, 0)], contact=[(ON + 0.050, 1), (OFF + 0.030, 0)]).checked()

    assert check(result, "relay_pull_in").measured == pytest.approx(10.0, abs=1.5)
    assert result.key_events[0].time_s == pytest.approx(ON, abs=0.002)


def test_contact_that_follows_the_bounce_is_no_chatter():
    """The relay closes at the first touch, opens again in a pause of 20 ms, and closes for good."""
    key = [(ON, 1), (ON + 0.014, 0), (ON + 0.034, 1), (OFF, 0)]
    contact = [(ON + 0.010, 1), (ON + 0.030, 0), (ON + 0.046, 1), (OFF + 0.030, 0)]

    assert _verdicts(Bike(key=key, contact=contact).checked()) == PASSES


def test_key_off_that_bounces_is_one_key_off():
    """The drop-out counts from the last touch before the contact opened."""
    result = Bike(key=[(ON, 1), *bounce(OFF, 0, 0.045)], contact=[(ON + 0.012, 1), (OFF + 0.075, 0)]).checked()

    assert _on_off(result) == [(ON, "on"), (OFF, "off")]
    assert check(result, "relay_drop_out").measured < 40.0
    assert _verdicts(result) == PASSES


@pytest.mark.parametrize(("hz", "duty"), [(0.5, 0.4), (2.0, 0.5), (8.0, 0.5)])
def test_contact_that_chatters_with_a_pulsed_trigger_fails(hz, duty):
    """One key-on, in which the contact opens with every pause."""
    pulses = _pulses(hz, duty)

    result = Bike(trigger=pulses, contact=_following(pulses)).checked()

    assert [to for _, to in _on_off(result)] == ["on", "off"]
    assert check(result, "relay_chatter").verdict == "fail"
    assert check(result, "relay_chatter").measured >= 0.8 * 50 * hz


@pytest.mark.parametrize("rate_hz", [1000.0, 100.0, 10.0, 5.0])
def test_pulses_faster_than_the_contact_and_the_logger_prove_no_failure(rate_hz):
    """173 Hz hold the contact; samples that meet pulses now and then do not make a late drop-out."""
    pulses = _pulses(173.0, 0.4)

    result = Bike(trigger=pulses, contact=[(ON + 0.020, 1), (OFF + 0.020, 0)], rate_hz=rate_hz).checked()

    assert [to for _, to in _on_off(result)] == ["on", "off"]
    assert "fail" not in _verdicts(result).values()


@pytest.mark.parametrize("key_line", [True, False])
def test_lamp_tests_on_a_dead_trigger_are_no_event(key_line):
    """Pulses of 3 ms once a second while the key is on: no trigger rises, no contact can be judged by it."""
    roles = ("battery_v", "battery_a", "trigger_v", "feed_v", *(("key_v",) if key_line else ()))

    result = Bike(trigger=_pulses(1.0, 0.003), contact=[], roles=roles).checked()

    assert len(result.key_events) == (2 if key_line else 0)
    assert check(result, "relay_drop_out").verdict == "not seen"
    assert check(result, "relay_chatter").verdict == "not seen"


def test_feed_that_stays_dead_through_a_known_key_on_has_no_pull_in():
    """The key line is up for 50 s and nothing comes to 86: a failure, and no number."""
    result = Bike(trigger=[], contact=[], roles=("battery_v", "key_v", "trigger_v", "feed_v")).checked()

    assert check(result, "relay_pull_in").verdict == "fail"
    assert check(result, "relay_pull_in").measured is None


@pytest.mark.parametrize("spike_v", [-24.0, -80.0])
def test_coil_without_suppression_leaves_the_key_events(spike_v):
    """1 ms far below zero at 86 as it is switched off."""
    spike = {"trigger_v": lambda t, x: np.where((t >= OFF) & (t < OFF + 0.001), spike_v, x)}

    result = Bike(change=spike).checked()

    assert _on_off(result) == [(ON, "on"), (OFF, "off")]
    assert _verdicts(result) == PASSES


def test_load_dump_and_ignition_leave_the_key_events():
    """40 V for 40 ms on all lines, and spikes of 6 to 8 V both ways 40 times a second."""

    def spiked(t, x):
        y = np.where((t > 30) & (t < 30.04), 40.0, x)
        on = (t > 15) & (t < 50)
        y[on & (np.arange(len(t)) % 25 == 0)] += 6.0
        y[on & (np.arange(len(t)) % 25 == 1)] -= 8.0
        return y

    result = Bike(change=dict.fromkeys(("trigger_v", "feed_v", "battery_v"), spiked)).checked()

    assert _on_off(result) == [(ON, "on"), (OFF, "off")]
    assert _verdicts(result) == PASSES


def _standing(rows):
    return lambda _, x: x[np.arange(len(x)) // rows * rows]


def _mean(rows):
    def change(_, x):
        total = np.cumsum(np.insert(x, 0, 0.0))
        out = x.copy()
        out[rows - 1 :] = (total[rows:] - total[:-rows]) / rows
        return out

    return change


@pytest.mark.parametrize("change", [_standing(25), _mean(100)])
@pytest.mark.parametrize("took_s", [(0.020, 0.050), (0.040, 0.075)])
def test_logger_that_sees_slower_than_it_writes_proves_nothing_near_the_limit(change, took_s):
    """Rows 1 ms apart whose readings stand for 25 ms, or are means over 100 ms: neither pass nor fail."""
    bike = Bike(
        contact=[(ON + took_s[0], 1), (OFF + took_s[1], 0)],
        change=dict.fromkeys(("battery_v", "battery_a", "trigger_v", "feed_v", "feed_a"), change),
    )

    assert _verdicts(bike.checked()) == dict.fromkeys(PASSES, "not proven")


def test_packets_are_not_believed_to_their_stamps():
    """25 rows come at once, stamped 0.1 ms apart as they come."""
    frame = Bike(contact=[(ON + 0.020, 1), (OFF + 0.050, 0)]).frame()
    n = np.arange(len(frame))
    frame["time_s"] = n // 25 * 0.025 + n % 25 * 1e-4

    assert _verdicts(judged(frame)) == dict.fromkeys(PASSES, "not proven")


def test_late_drop_out_among_good_ones_is_judged():
    """Three key-ons; the second time the contact sticks for 0.4 s."""
    key = [(10.0, 1), (20.0, 0), (30.0, 1), (40.0, 0), (50.0, 1), (60.0, 0)]
    contact = [(10.012, 1), (20.03, 0), (30.012, 1), (40.4, 0), (50.012, 1), (60.03, 0)]

    found = check(Bike(key=key, contact=contact).checked(), "relay_drop_out")

    assert (found.verdict, found.measured) == ("fail", pytest.approx(400.0, abs=2.0))


def test_contact_that_is_still_closed_at_the_next_key_on_never_opened():
    """The key is off for half a second, eight times the limit, and the feed does not let go."""
    key, contact = [(10.0, 1), (30.0, 0), (30.5, 1), (60.0, 0)], [(10.012, 1), (60.030, 0)]

    found = check(Bike(key=key, contact=contact).checked(), "relay_drop_out")

    assert (found.verdict, found.measured) == ("fail", None)


@pytest.mark.parametrize("hold_tau_s", [0.05, 0.5, 3.0])
def test_capacitors_on_the_block_are_no_late_drop_out(hold_tau_s):
    """The contact opens after 30 ms and the block's voltage falls for seconds."""
    found = check(Bike(hold_tau_s=hold_tau_s).checked(), "relay_drop_out")

    assert found.verdict == "pass"
    assert found.measured == pytest.approx(30.0, abs=max(2.0, found.uncertainty))


def test_capacitors_do_not_hide_a_late_drop_out():
    """The same block, but the contact opens after 130 ms."""
    found = check(Bike(contact=[(ON + 0.012, 1), (OFF + 0.130, 0)], hold_tau_s=0.5).checked(), "relay_drop_out")

    assert found.verdict == "fail"
    assert found.measured == pytest.approx(130.0, abs=found.uncertainty)


def test_capacitors_without_the_batterys_voltage_prove_neither():
    """Whether contact or engine takes the feed down is not known then."""
    roles = ("battery_a", "trigger_v", "feed_v", "feed_a")

    assert check(Bike(hold_tau_s=0.5, roles=roles).checked(), "relay_drop_out").verdict == "not proven"


def test_engine_that_dies_with_the_key_is_no_drop_out():
    """Battery and feed fall by 1.6 V over a second from the key-off on; the contact opens after 30 ms."""

    def dying(t, x):
        return x - np.where(t < OFF, 0.0, 1.6 * np.clip(t - OFF, 0, 1))

    roles = ("battery_v", "trigger_v", "feed_v")
    bike = Bike(running=[(20.0, 90.0)], change={"battery_v": dying}, roles=roles)
    frame = bike.frame()
    gone = frame["time_s"] >= OFF
    frame.loc[gone, "feed_v"] = np.where(
        frame.loc[gone, "time_s"] < OFF + 0.030, frame.loc[gone, "battery_v"] - 0.16, 0.0
    )

    found = check(judged(frame), "relay_drop_out")

    assert (found.verdict, found.measured) == ("pass", pytest.approx(30.0, abs=2.0))


@pytest.mark.parametrize("tau_s", [0.02, 0.3, 1.5])
def test_slow_trigger_is_timed_from_half_its_own_fall(tau_s):
    """A lamp circuit lets the line fall slowly; the contact opens 20 ms after its half."""
    half_s = tau_s * np.log(2)
    found = check(
        Bike(trigger_tau_s=tau_s, contact=[(ON + 0.012, 1), (OFF + half_s + 0.020, 0)]).checked(), "relay_drop_out"
    )

    assert (found.verdict, found.measured) == ("pass", pytest.approx(20.0, abs=max(3.0, 30 * tau_s)))


def test_opening_under_vibration_is_chatter_and_its_bounce_is_not():
    """Two openings of 12 ms with the trigger up; each closing bounces for 3 ms."""
    contact = [(ON + 0.012, 1)]
    for at in (25.0, 41.0):
        contact += [(at, 0), (at + 0.012, 1), (at + 0.0135, 0), (at + 0.015, 1)]
    contact += [(OFF + 0.030, 0)]

    found = check(Bike(contact=contact, rate_hz=2000.0).checked(), "relay_chatter")

    assert (found.verdict, found.measured) == ("fail", 2.0)


def test_loss_while_cranking_belongs_to_the_crank():
    """Trigger and contact go for the crank, as many bikes cut the lamps: no chatter, and one key-on."""
    trigger = [(ON, 1), (30.0, 0), (31.5, 1), (OFF, 0)]
    contact = [(ON + 0.012, 1), (30.02, 0), (31.512, 1), (OFF + 0.030, 0)]

    result = Bike(trigger=trigger, contact=contact, cranks=[(30.0, 31.5)], running=[(31.5, 60.0)]).checked()

    assert _on_off(result) == [(ON, "on"), (OFF, "off")]
    assert check(result, "relay_chatter").verdict == "pass"
    assert check(result, "feed_in_crank").verdict == "fail"


def test_seconds_of_a_capture_are_no_stretch():
    """A fast capture of the key-on alone: nothing opens in it, and that proves nothing."""
    found = check(Bike(ends_s=20.0, key=[(ON, 1)], contact=[(ON + 0.012, 1)]).checked(), "relay_chatter")

    assert found.verdict == "not proven"
    assert "whole stretch" in found.because


def test_stretch_without_the_loads_proves_no_contact():
    """8 A are planned, and 16 A would be the planned load of a second circuit that stayed off."""
    plan = PLAN | {"circuit": [*PLAN["circuit"], {"slot": 2, "device": "lamps", "planned_a": 8.0, "fuse_a": 15}]}

    assert check(Bike().checked(plan), "relay_chatter").verdict == "not proven"
    assert check(Bike().checked(), "relay_chatter").verdict == "pass"
    assert check(Bike().checked(PLAN | {"circuit": []}), "relay_chatter").verdict == "pass"


def test_marks_tell_that_all_circuits_were_on():
    """No channel shows the load, but the tester noted that the circuit was on."""
    roles, marks = ("battery_v", "trigger_v", "feed_v"), [(20.0, "slot 1 on")]

    assert check(Bike(roles=roles).checked(), "relay_chatter").verdict == "not proven"
    assert check(Bike(roles=roles, marks=marks).checked(), "relay_chatter").verdict == "pass"


def test_wake_ups_at_the_end_of_the_range_pass_no_drain():
    """Wake-ups of 40 mA on a range that ends at 5 mA look like 0.7 mA in the mean: no pass, and it is said why."""
    rng = np.random.default_rng(1)
    t = np.arange(0.0, 900.0, 0.1)
    true = 0.0006 + np.where(t % 30 < 1.0, 0.040, 0.0) + rng.normal(0, 2e-5, len(t))
    volts = 12.8 + rng.normal(0, 0.003, len(t))
    frame = Bike(ends_s=1.0).frame().iloc[:0][["time_s", "battery_v"]].reindex(range(len(t)))
    frame["time_s"], frame["battery_v"] = t, np.round(volts, 3)
    frame["battery_a"] = np.round(np.minimum(true, 0.005), 5)

    result = judged(frame)

    assert check(result, "off_state_drain").verdict in ("not proven", "not seen")
    assert any("range ends there" in note.text for note in result.notes)
