"""Behaviours of the bike and its rider: none is a fault, and none may be taken for one."""

from __future__ import annotations

import numpy as np

from .bench import Bench, Twist, room
from .loads import Load, cut

WHOLE = (-1e4, 1e9)


def _last_key(b: Bench) -> tuple[float, float] | None:
    return b.script.key[-1] if b.script.key else None


def _beside(b: Bench, name: str, amps: float, spans: list, kind: str = "resistor", **extra: float) -> None:
    b.inst.bike.append(Load(name, amps, "key", kind, spans, **extra))


def key_bounce(b: Bench) -> bool:
    """The key contact bounces for up to 50 ms at key-on (and now and then at key-off)."""
    s = b.script
    if not s.key:
        return False
    raw = s.key_raw or list(s.key)
    for a, z in s.key:
        for t, on in ((a, True), (z, False)):
            if not on and b.rng.random() < 0.6:
                continue
            n = int(b.rng.integers(1, 5))
            whole = b.uniform(0.005, 0.045)
            cuts = np.sort(b.rng.uniform(0.05, 1.0, 2 * n)) * whole
            gaps = [(t + x, t + y) for x, y in zip(cuts[::2].tolist(), cuts[1::2].tolist(), strict=True)]
            raw = cut(raw, gaps) if on else sorted(raw + gaps)
    s.key_raw = raw
    s.say(s.key[-1][0], "key contact bounces")
    return True


def flashers(b: Bench) -> bool:
    """Turn signals, 60 to 120 flashes a minute (ISO and UN rules; from memory)."""
    key = _last_key(b)
    if not key:
        return False
    length = key[1] - key[0]
    a = key[0] + length * b.uniform(0.05, 0.7)
    z = min(a + b.uniform(4.0, 30.0), key[1])
    _beside(b, "flasher", b.uniform(1.4, 4.0), [(a, z)], pulse_hz=b.uniform(1.0, 2.0), duty=b.uniform(0.4, 0.6))
    b.script.say(a, f"flashers for {z - a:.1f} s")
    return True


def brake_light(b: Bench) -> bool:
    """The brake light comes on amid the steps."""
    key = _last_key(b)
    if not key:
        return False
    spans = []
    for _ in range(int(b.rng.integers(1, 6))):
        a = b.uniform(key[0], key[1])
        spans.append((a, min(a + b.uniform(0.3, 4.0), key[1])))
    spans = [x for k, x in enumerate(sorted(spans)) if k == 0 or x[0] > sorted(spans)[k - 1][1]]
    _beside(b, "brake light", b.uniform(0.3, 1.9), spans, inrush=b.uniform(1.0, 6.0), inrush_s=0.04)
    b.script.say(spans[0][0], "brake light")
    return True


def fan_running(b: Bench) -> bool:
    """The radiator fan comes on by itself while the key is on."""
    key = _last_key(b)
    if not key:
        return False
    a = key[0] + (key[1] - key[0]) * b.uniform(0.1, 0.8)
    z = min(a + b.uniform(5.0, 40.0), key[1])
    _beside(b, "fan", b.uniform(2.0, 6.0), [(a, z)], inrush=b.uniform(2.0, 5.0), inrush_s=b.uniform(0.1, 0.4))
    b.script.say(a, "fan")
    return True


def fan_after_key_off(b: Bench) -> bool:
    """The fan runs on after key-off; the watch is as much longer."""
    key = _last_key(b)
    if not key or key[1] >= b.script.end_s:
        return False
    length = b.uniform(3.0, 0.8 * b.script.settle_max_s)
    b.script.end_s += max(0.0, length - b.settle_s)
    b.inst.bike.append(
        Load("fan after key-off", b.uniform(2.0, 5.0), "battery", "resistor", [(key[1], key[1] + length)])
    )
    b.script.say(key[1], f"fan runs on for {length:.1f} s")
    return True


def fuel_pump(b: Bench) -> bool:
    """The fuel pump primes for 2 to 4 s after key-on and runs with the engine."""
    s = b.script
    if not s.key:
        return False
    spans = [(a, min(a + b.uniform(2.0, 4.0), z)) for a, z in s.key] + [(a, z) for a, z in s.crank] + list(s.run)
    spans.sort()
    joined: list[tuple[float, float]] = []
    for x in spans:
        if joined and x[0] <= joined[-1][1] + 1e-6:
            joined[-1] = (joined[-1][0], max(joined[-1][1], x[1]))
        else:
            joined.append(x)
    _beside(b, "fuel pump", b.uniform(2.0, 4.5), joined, inrush=b.uniform(1.5, 3.0), inrush_s=0.05)
    s.say(s.key[0][0], "fuel pump primes")
    return True


def _stays_on(b: Bench, name: str, kind: str, amps: tuple[float, float], said: str) -> bool:
    """From the last key-off on the battery feeds one more load."""
    key = _last_key(b)
    if not key:
        return False
    b.inst.bike.append(Load(name, b.uniform(*amps), "battery", kind, [(key[1], WHOLE[1])]))
    b.script.say(key[1], said)
    return True


def park_light(b: Bench) -> bool:
    """A park light is left on after key-off: awake above 0.25 A."""
    return _stays_on(b, "park light", "resistor", (0.3, 0.9), "park light left on")


def never_sleeps(b: Bench) -> bool:
    """Something stays awake above 0.25 A after key-off."""
    return _stays_on(b, "bus kept awake", "power", (0.27, 0.6), "never falls asleep")


def key_to_and_fro(b: Bench) -> bool:
    """The key is turned off and on again within seconds, before the session proper."""
    s = b.script
    if not s.key:
        return False
    t = s.key[-1][0]
    for _ in range(int(b.rng.integers(1, 4))):
        on, off = b.uniform(0.4, 2.0), b.uniform(0.4, 2.5)
        room(s, t, on + off)
        s.key.insert(-1, (t, t + on))
        s.say(t, "key on", True)
        s.say(t + on, "key off", True)
        t += on + off
    s.key_raw = sorted(s.key)
    s.key = sorted(s.key)
    return True


def charger_left_on(b: Bench) -> bool:
    """A maintenance charger is connected for the opening rest; it is taken off before the key-on, or not at all."""
    s = b.script
    first = s.key[0][0] if s.key else s.end_s
    stays = b.rng.random() < 0.5
    stop = s.end_s + 1 if stays else first * b.uniform(0.3, 0.8)
    b.inst.chargers.append((-600.0, stop, b.uniform(0.3, 1.5), b.uniform(13.2, 14.2)))
    s.say(0.0, "charger connected" + ("" if stays else f" until {stop:.0f} s"))
    return True


def surface_charge(b: Bench) -> bool:
    """The battery was charged shortly before: it stands above rest and falls."""
    b.inst.battery.surface_v = b.inst.battery.surface_max_v * b.uniform(0.3, 1.0)
    b.script.say(0.0, "charged shortly before")
    return True


def cold_slow_battery(b: Bench) -> bool:
    """A cold battery: higher resistances, slower branches (resistance up by half near freezing; from memory)."""
    bat, up = b.inst.battery, b.uniform(1.1, 1.3)
    bat.r0, bat.r1, bat.r2 = bat.r0 * up, bat.r1 * up * 1.3, bat.r2 * up * 1.3
    bat.tau1, bat.tau2 = bat.tau1 * 1.5, bat.tau2 * 1.8
    b.script.say(0.0, "cold battery")
    return True


def wakes_rarely(b: Bench) -> bool:
    """Something wakes for a moment every few minutes with the key off, within the drain's limit."""
    s = b.script
    night = s.template == "night"
    every = b.uniform(300.0, 900.0) if night else b.uniform(12.0, 40.0)
    length = b.uniform(0.5, 3.0) if night else b.uniform(0.1, 0.6)
    left = 0.3 * (b.limits["off_state_drain_ma"] / 1000 - b.inst.drain_a - b.inst.added_a)
    amps = min(left * every / length, 0.15)
    if amps <= 1e-5:
        return False
    times = np.arange(b.uniform(0.2, 0.9) * every, s.end_s, every)
    spans = [(float(t), float(t) + length) for t in times if not any(x - 5 < t < y + 5 for x, y in s.key)]
    if not spans:
        return False
    b.inst.bike.append(Load("wake of the alarm", amps, "battery", "current", spans))
    s.say(spans[0][0], f"wakes every {every:.0f} s for {length:.2f} s at {amps * 1000:.1f} mA")
    return True


def lamp_swell(b: Bench) -> bool:
    """The headlamp is dipped and raised a few times."""
    key = _last_key(b)
    if not key:
        return False
    t = np.sort(b.rng.uniform(key[0] + 1, key[1], 6))
    spans = [(float(x), float(y)) for x, y in zip(t[::2], t[1::2], strict=True)]
    _beside(b, "main beam", b.uniform(0.5, 4.5), spans, inrush=3.0, inrush_s=0.03)
    b.script.say(spans[0][0], "main beam")
    return True


def horn(b: Bench) -> bool:
    """The horn is sounded: short, strong, at 300 to 500 Hz."""
    key = _last_key(b)
    if not key:
        return False
    t = b.uniform(key[0] + 0.5, key[1] - 1)
    _beside(b, "horn", b.uniform(3.0, 6.0), [(t, t + b.uniform(0.2, 1.0))], pulse_hz=b.uniform(300, 500), duty=0.5)
    b.script.say(t, "horn")
    return True


def slow_key_decay(b: Bench) -> bool:
    """A control unit keeps drawing through its own relay for some tenths of a second after key-off."""
    key = _last_key(b)
    if not key:
        return False
    amps = b.uniform(0.5, 2.0)
    spans = [(z, z + b.uniform(0.1, 0.9)) for _, z in b.script.key]
    b.inst.bike.append(Load("main relay held", amps, "battery", "resistor", spans))
    b.script.say(key[1], "main relay of the bike held after key-off")
    return True


BIKE = (
    Twist("key_to_and_fro", "script", key_to_and_fro, ("relay_pull_in", "relay_drop_out")),
    Twist("key_bounce", "script", key_bounce, ("relay_pull_in", "relay_drop_out", "relay_chatter")),
    Twist("flashers", "circuit", flashers, ("battery_sag", "source_resistance")),
    Twist("brake_light", "circuit", brake_light, ("battery_sag", "source_resistance")),
    Twist("fan_running", "circuit", fan_running, ("battery_sag",)),
    Twist("fan_after_key_off", "circuit", fan_after_key_off, ("settle_time", "off_state_drain")),
    Twist("fuel_pump", "circuit", fuel_pump, ("battery_sag",)),
    Twist("park_light", "circuit", park_light, ("off_state_drain",), ("settle_time", "off_state_drain")),
    Twist("never_sleeps", "circuit", never_sleeps, ("off_state_drain",), ("settle_time", "off_state_drain")),
    Twist("charger_left_on", "circuit", charger_left_on, ("resting_voltage", "off_state_drain", "settle_time")),
    Twist("surface_charge", "circuit", surface_charge, ("resting_voltage", "battery_sag")),
    Twist("cold_slow_battery", "circuit", cold_slow_battery, ("battery_sag", "source_resistance")),
    Twist("wakes_rarely", "circuit", wakes_rarely, ("off_state_drain",)),
    Twist("lamp_swell", "circuit", lamp_swell, ("battery_sag",)),
    Twist("horn", "circuit", horn, ("battery_sag",)),
    Twist("slow_key_decay", "circuit", slow_key_decay, ("relay_drop_out", "settle_time")),
)
