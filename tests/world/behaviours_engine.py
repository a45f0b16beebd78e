"""Behaviours of the engine: starting, stopping, charging."""

from __future__ import annotations

from .bench import Bench, Twist, drop_marks, room
from .loads import Load, cut

WHOLE = (-1e4, 1e9)


def kill_switch(b: Bench) -> bool:
    """The engine is stopped by its kill switch, or stalls, a while before the key-off."""
    s = b.script
    if not s.run:
        return False
    stop = s.run[-1][1]
    gap = b.uniform(0.5, 15.0)
    room(s, stop, gap)
    s.run[-1] = (s.run[-1][0], stop)
    s.revs = [(x, min(y, stop)) for x, y in s.revs if x < stop]
    s.say(stop, "engine off", b.rng.random() < 0.5)
    return True


def failed_crank(b: Bench) -> bool:
    """A first crank does not start the engine; with some bikes a lamp stays out until the next key-on."""
    s = b.script
    if not s.crank:
        return False
    t = s.crank[0][0]
    crank, pause = b.uniform(0.5, 2.5), b.uniform(1.5, 8.0)
    room(s, t, crank + pause)
    s.crank.insert(0, (t, t + crank))
    s.all_on = [(x, y) for x, y in s.all_on if y <= t or x > t]
    s.say(t, "crank", True)
    if b.rng.random() < 0.5:
        lamp = next(x for x in b.inst.bike if x.name == "headlamp")
        run = s.run[0][0] if s.run else s.end_s
        lamp.spans = cut([WHOLE], [(t, run)])
        s.say(t, "headlamp stays out until the engine runs")
    return True


def several_cranks(b: Bench) -> bool:
    """Two to four cranks in a row before it starts."""
    s = b.script
    if not s.crank:
        return False
    for _ in range(int(b.rng.integers(1, 4))):
        t = s.crank[0][0]
        crank, pause = b.uniform(0.4, 1.5), b.uniform(0.3, 2.0)
        room(s, t, crank + pause)
        s.crank.insert(0, (t, t + crank))
        s.say(t, "crank", True)
    return True


def push_start(b: Bench) -> bool:
    """The engine is started without the starter."""
    s = b.script
    if not s.crank:
        return False
    for t, _ in s.crank:
        drop_marks(s, 0.0, "crank")
        s.story = [(x, y) for x, y in s.story if not (y == "crank" and abs(x - t) < 1e-3)]
    s.crank = []
    s.run_marked = b.rng.random() < 0.7
    if not s.run_marked:
        drop_marks(s, 0.0, "running")
    s.say(s.run[0][0], "push start")
    return True


def hot_restart(b: Bench) -> bool:
    """The engine stops for a few seconds and is cranked again, key on throughout."""
    s = b.script
    if not s.run or s.run[0][1] - s.run[0][0] < 20 or not s.crank:
        return False
    a, z = s.run[0]
    stop = a + (z - a) * b.uniform(0.4, 0.6)
    pause, crank = b.uniform(1.5, 6.0), b.uniform(0.4, 1.2)
    room(s, stop, pause + crank)
    s.crank.append((stop + pause, stop + pause + crank))
    s.run = [(a, stop), (stop + pause + crank, z + pause + crank)]
    s.revs = []
    s.all_on = [x for x in s.all_on if x[1] <= a] + list(s.run)
    s.say(stop, "engine off", True)
    s.say(stop + pause, "crank", True)
    s.say(stop + pause + crank, "running", True)
    return True


def charges_only_above_idle(b: Bench) -> bool:
    """The alternator gives nothing at idle."""
    ch = b.inst.charging
    if not b.script.run:
        return False
    ch.cut_in_rpm = ch.idle_rpm * b.uniform(1.1, 1.3)
    ch.full_rpm = ch.cut_in_rpm * 1.3
    ch.rev_rpm = max(ch.rev_rpm, ch.full_rpm * 1.2)
    if not b.script.revs:
        a, z = b.script.run[-1]
        b.script.revs.append((a + (z - a) * 0.35, a + (z - a) * 0.85))
    b.script.say(b.script.run[0][0], "charges only above idle")
    return True


def alternator_ripple(b: Bench) -> bool:
    """The alternator's current ripples with the engine's turns."""
    b.inst.charging.ripple = b.uniform(0.1, 0.6)
    return bool(b.script.run)


def ignition_spikes(b: Bench) -> bool:
    """Ignition spikes on the battery's voltage, 0.1 ms wide."""
    b.inst.charging.spike_v = b.uniform(0.3, 3.0) * float(b.rng.choice([-1.0, 1.0]))
    return bool(b.script.run)


def idle_stumble(b: Bench) -> bool:
    """The engine stumbles: for moments the alternator gives nothing."""
    if not b.script.run:
        return False
    a, z = b.script.run[-1]
    t = b.uniform(a + 4, z - 4)
    b.script.stumbles.append((t, t + b.uniform(0.5, 2.0)))
    b.script.say(t, "the engine stumbles")
    return True


def regulator_hunts(b: Bench) -> bool:
    """The regulator's voltage swings by up to 0.15 V within seconds."""
    b.inst.charging.hunt_v, b.inst.charging.hunt_hz = b.uniform(0.03, 0.15), b.uniform(0.2, 2.0)
    return bool(b.script.run)


def injector_pulses(b: Bench) -> bool:
    """Injectors and coils draw in pulses with the engine's turns."""
    if not b.script.run:
        return False
    hz, duty = b.uniform(8.0, 40.0), b.uniform(0.1, 0.4)
    b.inst.bike.append(
        Load("injectors", b.uniform(1.0, 4.0), "key", "resistor", list(b.script.run), pulse_hz=hz, duty=duty)
    )
    return True


ENGINE = (
    Twist("kill_switch", "script", kill_switch, ("charging_voltage", "charging_balance", "relay_drop_out")),
    Twist("hot_restart", "script", hot_restart, ("crank_minimum", "charging_voltage", "feed_in_crank")),
    Twist("failed_crank", "script", failed_crank, ("crank_minimum", "battery_sag", "feed_in_crank")),
    Twist("several_cranks", "script", several_cranks, ("crank_minimum", "feed_in_crank")),
    Twist(
        "push_start", "script", push_start, ("crank_minimum", "feed_in_crank", "charging_voltage", "charging_balance")
    ),
    Twist(
        "charges_only_above_idle",
        "script",
        charges_only_above_idle,
        ("charging_balance",),
        ("charging_voltage", "charging_balance"),
    ),
    Twist("alternator_ripple", "circuit", alternator_ripple, ("charging_voltage",)),
    Twist("ignition_spikes", "circuit", ignition_spikes, ("charging_voltage",)),
    Twist("idle_stumble", "circuit", idle_stumble, ("charging_voltage", "charging_balance")),
    Twist("regulator_hunts", "circuit", regulator_hunts, ("charging_voltage",)),
    Twist("injector_pulses", "circuit", injector_pulses, ("charging_voltage",)),
)
