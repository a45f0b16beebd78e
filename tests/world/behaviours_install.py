"""Behaviours of the install and of the logger in front of it."""

from __future__ import annotations

import numpy as np

from .bench import Bench, Twist
from .loads import cut


def pulsed_grips(b: Bench) -> bool:
    """One circuit is pulsed (heated grips, dimmed lamps): 0.5 to 500 Hz, same mean current as planned."""
    k = int(b.rng.integers(len(b.inst.circuits)))
    c = b.inst.circuits[k]
    c.duty = b.uniform(0.25, 0.9)
    c.pulse_hz, c.phase = b.logly(0.5, 500.0), b.uniform(0, 1)
    c.amps = c.amps / c.duty
    c.kind, c.inrush = "resistor", 1.0
    b.script.say(0.0, f"slot {k + 1} pulsed at {c.pulse_hz:.2f} Hz, duty {c.duty:.2f}")
    return True


def self_switched(b: Bench) -> bool:
    """A circuit goes off and on by itself (thermostat, charger that is full)."""
    k = int(b.rng.integers(len(b.inst.circuits)))
    c = b.inst.circuits[k]
    if not c.spans:
        return False
    a, z = c.spans[0]
    a, z = max(a, 0.0), min(z, b.script.end_s)
    holes, t = [], a + b.uniform(3.0, 12.0)
    while t < z:
        off = b.uniform(1.0, 8.0)
        holes.append((t, t + off))
        t += off + b.uniform(3.0, 15.0)
    c.spans = cut(c.spans, holes)
    b.script.say(holes[0][0] if holes else a, f"slot {k + 1} switches itself")
    return True


def relay_sticks_once(b: Bench) -> bool:
    """At one key-off the contact hangs for some seconds, then opens: a true late drop-out, seen once."""
    keys = [z for _, z in b.script.key if 0 < z < b.script.end_s - 12]
    if not keys:
        return False
    z = keys[int(b.rng.integers(len(keys)))]
    later = [a for a, _ in b.script.key if a > z]
    hang = b.uniform(0.3, 6.0)
    if later and later[0] < z + hang + 0.5:
        return False
    b.inst.forced_closed.append((z - 0.01, z + hang))
    b.script.say(z, f"the contact hangs for {hang:.2f} s")
    return True


def feed_opens(b: Bench) -> bool:
    """The feed opens for moments under vibration, with the engine running: a true loss of feed."""
    if not b.script.run:
        return False
    a, z = b.script.run[-1]
    for t in np.sort(b.rng.uniform(a + 2, z - 1, int(b.rng.integers(2, 12)))):
        b.inst.forced_open.append((float(t), float(t) + b.logly(0.01, 0.3)))
    b.script.say(b.inst.forced_open[0][0], "the feed opens for moments")
    return True


def no_suppression(b: Bench) -> bool:
    """The coil has no suppression, and nothing else on its line: its kick goes to -24 V and below for about 1 ms."""
    r = b.inst.relay
    r.suppression, r.clamp_v, r.lamp_ohm = "none", b.uniform(28.0, 90.0), 1e6
    b.plan["relay"]["suppression"] = "none"
    b.script.say(0.0, f"no suppression, kick to {-r.clamp_v:.0f} V")
    return True


def lamp_on_trigger(b: Bench) -> bool:
    """A lamp of 5 to 21 W hangs on the trigger's line and damps the coil."""
    b.inst.relay.lamp_ohm = 12.0**2 / b.uniform(5.0, 21.0)
    return True


def pulsed_lamp_trigger(b: Bench) -> bool:
    """The trigger hangs on a lamp line that is pulsed faster than the relay can follow, with a long duty: it holds."""
    if not b.script.key:
        return False
    b.inst.trigger_pulse = (b.uniform(180.0, 400.0), b.uniform(0.85, 0.95))
    b.inst.relay.suppression, b.inst.relay.clamp_v = "diode", 0.75
    b.plan["relay"]["suppression"] = "diode"
    b.script.say(0.0, f"trigger pulsed at {b.inst.trigger_pulse[0]:.0f} Hz, held by the diode")
    return True


def lamps_cut(b: Bench) -> bool:
    """The bike cuts its lamps, and the trigger with them, while cranking."""
    b.inst.lamps_cut = True
    return bool(b.script.crank)


def block_capacitors(b: Bench) -> bool:
    """Devices with large capacitors hold the fuse block up after the contact opened."""
    b.inst.block_f = b.logly(1e-3, 2e-2)
    return True


def slow_inrush(b: Bench) -> bool:
    """A circuit starts at a multiple of its current and takes a second to come down (motor, cold element)."""
    c = b.inst.circuits[int(b.rng.integers(len(b.inst.circuits)))]
    c.inrush, c.inrush_s = b.uniform(1.5, 3.0), b.uniform(0.2, 0.8)
    return True


def repeated_readings(b: Bench) -> bool:
    """Each reading stands in several rows."""
    b.logger.repeat = int(b.rng.integers(2, 40))
    b.script.say(0.0, f"each reading stands in {b.logger.repeat} rows")
    return True


def averaged_readings(b: Bench) -> bool:
    """Each row is the mean of the last 20 to 200 ms."""
    b.logger.average_s = b.logly(0.02, 0.2)
    b.script.say(0.0, f"rows are means over {b.logger.average_s * 1000:.0f} ms")
    return True


def packet_stamps(b: Bench) -> bool:
    """Rows come in packets that share the packet's time stamp."""
    b.logger.packet = int(b.rng.integers(4, 64))
    b.script.say(0.0, f"stamps bunched by {b.logger.packet}")
    return True


def jitter(b: Bench) -> bool:
    """Rows are taken at uneven times, and stamped so."""
    b.logger.jitter_s = b.uniform(0.05, 0.3) / b.logger.rate_hz
    return True


def gaps(b: Bench) -> bool:
    """The logger misses rows now and then."""
    for t in b.rng.uniform(0.0, b.script.end_s, int(b.rng.integers(1, 5))):
        b.logger.gaps.append((float(t), float(t) + b.logly(0.01, 2.0)))
    b.script.say(b.logger.gaps[0][0], "rows missing")
    return True


def offset_drift(b: Bench) -> bool:
    """The logger's offset moves by up to 0.8 of its limit as it warms; the whole stays within the limit."""
    for c in b.logger.channels:
        c.drift_true = c.offset * b.uniform(-0.8, 0.8)
        c.offset_true = float(np.clip(c.offset_true, -(c.offset - abs(c.drift_true)), c.offset - abs(c.drift_true)))
    b.logger.warm_s = b.uniform(20.0, 300.0)
    return True


def shunt_zero_drift(b: Bench) -> bool:
    """The current's zero comes and goes over a quarter of an hour, within the offset's limit."""
    for c in b.logger.channels:
        if c.role in ("battery_a", "drain_a"):
            c.wander_true, c.drift_true = c.offset * b.uniform(0.4, 0.9), 0.0
            left = c.offset - c.wander_true
            c.offset_true = float(np.clip(c.offset_true, -left, left))
    return True


def clock_off(b: Bench) -> bool:
    """The logger's clock is wrong by up to 200 ppm (quartz: 20 to 100; from memory)."""
    b.logger.clock_ppm = b.uniform(-200.0, 200.0)
    return True


def late_marks(b: Bench) -> bool:
    """The tester presses the mark 0.1 to 1.5 s late (now and then early)."""
    b.script.marks = [(x + b.uniform(-0.3, 1.5), y) for x, y in b.script.marks]
    b.script.marked = True
    return bool(b.script.marks)


def forgotten_marks(b: Bench) -> bool:
    """The tester forgets some marks, and writes some free text."""
    b.script.marks = [m for m in b.script.marks if b.rng.random() < 0.6]
    b.script.marks.append((b.uniform(0, b.script.end_s), "rain on the screen"))
    b.script.marked = True
    b.script.run_marked = any(y == "running" for _, y in b.script.marks)
    return True


def heavy_noise(b: Bench) -> bool:
    """Noise of many digits, with memory of 0.1 to 3 s."""
    for c in b.logger.channels:
        c.white = c.resolution * b.uniform(3.0, 10.0)
        c.slow, c.memory_s = c.resolution * b.uniform(2.0, 8.0), b.logly(0.1, 3.0)
    return True


def clipped_declared(b: Bench) -> bool:
    """The current channel ends below the cranking current, and says so."""
    return _clip(b, "battery_a", b.uniform(30.0, 60.0), "OL")


def clipped_silent(b: Bench) -> bool:
    """The current channel ends below the cranking current and stands at its highest figure."""
    return _clip(b, "battery_a", b.uniform(30.0, 60.0), None)


def wake_clips_fine_range(b: Bench) -> bool:
    """The fine range is too small for the wakes."""
    return _clip(b, "drain_a", b.uniform(3.0, 12.0), "OL" if b.rng.random() < 0.5 else None)


def _clip(b: Bench, role: str, top: float, text: str | None) -> bool:
    for c in b.logger.channels:
        if c.role == role:
            c.top, c.over_text = top, text
            b.script.say(0.0, f"{role} ends at {top:.1f} {c.unit}, {'declared' if text else 'not declared'}")
            return True
    return False


def _crop(b: Bench, start: float, stop: float) -> None:
    b.notes["from_s"], b.notes["to_s"] = start, stop


def starts_in_any_state(b: Bench) -> bool:
    """The log begins somewhere in the session."""
    key = b.script.key[-1] if b.script.key else (0.0, b.script.end_s)
    _crop(b, b.uniform(0.0, key[0] + 0.8 * (key[1] - key[0])), b.notes.get("to_s", b.script.end_s))
    return True


def ends_in_any_state(b: Bench) -> bool:
    """The log ends somewhere in the session."""
    key = b.script.key[-1] if b.script.key else (0.0, b.script.end_s)
    low = max(key[0] + 2.0, b.notes.get("from_s", 0.0) + 5.0)
    if low >= b.script.end_s - 1:
        return False
    _crop(b, b.notes.get("from_s", 0.0), b.uniform(low, b.script.end_s))
    return True


RELAY = ("relay_pull_in", "relay_drop_out", "relay_chatter")
INSTALL = (
    Twist("pulsed_grips", "circuit", pulsed_grips, ("slot_N_current", "battery_sag")),
    Twist("self_switched", "circuit", self_switched, ("slot_N_current", "battery_sag")),
    Twist("relay_sticks_once", "circuit", relay_sticks_once, RELAY, ("relay_drop_out",)),
    Twist("feed_opens", "circuit", feed_opens, ("relay_chatter",), ("relay_chatter",)),
    Twist("no_suppression", "circuit", no_suppression, RELAY),
    Twist("lamp_on_trigger", "circuit", lamp_on_trigger, RELAY),
    Twist("pulsed_lamp_trigger", "circuit", pulsed_lamp_trigger, RELAY),
    Twist("lamps_cut", "circuit", lamps_cut, ("feed_in_crank",)),
    Twist("block_capacitors", "circuit", block_capacitors, ("relay_drop_out", "feed_off_voltage", "feed_in_crank")),
    Twist("slow_inrush", "circuit", slow_inrush, ("slot_N_current", "battery_sag")),
    Twist("starts_in_any_state", "circuit", starts_in_any_state, ("resting_voltage",)),
    Twist("ends_in_any_state", "circuit", ends_in_any_state, ("off_state_drain", "settle_time")),
    Twist("repeated_readings", "logger", repeated_readings, RELAY),
    Twist("averaged_readings", "logger", averaged_readings, RELAY),
    Twist("packet_stamps", "logger", packet_stamps, RELAY),
    Twist("jitter", "logger", jitter, RELAY),
    Twist("gaps", "logger", gaps, RELAY),
    Twist("offset_drift", "logger", offset_drift, ("off_state_drain", "added_drain")),
    Twist("shunt_zero_drift", "logger", shunt_zero_drift, ("off_state_drain", "added_drain")),
    Twist("clock_off", "logger", clock_off),
    Twist("late_marks", "logger", late_marks),
    Twist("forgotten_marks", "logger", forgotten_marks, ("charging_voltage", "charging_balance")),
    Twist("heavy_noise", "logger", heavy_noise),
    Twist("clipped_declared", "logger", clipped_declared, ("charging_balance",)),
    Twist("clipped_silent", "logger", clipped_silent, ("charging_balance",)),
    Twist("wake_clips_fine_range", "logger", wake_clips_fine_range, ("off_state_drain",)),
)
