"""The 26 faults, each put into the circuit with a strength clear of the plan's limits."""

from __future__ import annotations

import numpy as np

from .bench import Bench, Twist
from .loads import Load, cut

WHOLE = (-1e4, 1e9)


def _steady(b: Bench, name: str, amps: float, spans: list, kind: str = "current") -> None:
    b.inst.bike.append(Load(name, amps, "battery", kind, spans))


def trigger_always_live(b: Bench) -> bool:
    """The trigger's circuit is not switched by the key."""
    b.inst.trigger_live = True
    return True


def backfed_coil(b: Bench) -> bool:
    """The load side holds the coil: once closed, the contact feeds its own coil."""
    b.inst.relay.backfed = True
    return bool(b.script.key)


def welded_contact(b: Bench) -> bool:
    """The contact does not open, from the start or after it first closed."""
    start = -1e4 if b.rng.random() < 0.6 or not b.script.key else b.script.key[0][0] + 0.1
    b.inst.forced_closed.append((start, 1e9))
    return True


def inverted_contact(b: Bench) -> bool:
    """The feed is on 87a."""
    b.inst.inverted = True
    return True


def coil_open(b: Bench) -> bool:
    """The coil, its fuse or its ground is open."""
    b.inst.relay.coil_open = True
    return True


def feed_open(b: Bench) -> bool:
    """The feed's fuse, wire or contact is open."""
    b.inst.feed_open = True
    return True


def feed_resistance(b: Bench) -> bool:
    """A poor joint in the feed: the drop at planned load 1.3 to 3 times its limit."""
    b.inst.feed_ohm = b.plan["feed"]["drop_max_v"] / b.inst.planned_a * b.uniform(1.3, 3.0)
    return True


def ground_resistance(b: Bench) -> bool:
    """The same in the return."""
    b.inst.ground_ohm = b.plan["ground"]["lift_max_v"] / b.inst.planned_a * b.uniform(1.4, 4.0)
    return True


def ground_open(b: Bench) -> bool:
    """The bus has no return."""
    b.inst.ground_open = True
    return True


def slot_dead(b: Bench) -> bool:
    """One circuit draws nothing."""
    k = int(b.rng.integers(len(b.inst.circuits)))
    b.inst.circuits[k].amps = 0.0
    b.notes["slot"] = k + 1
    return True


def slot_overload(b: Bench) -> bool:
    """One circuit draws 1.5 to 2.2 times its planned current."""
    k = int(b.rng.integers(len(b.inst.circuits)))
    b.inst.circuits[k].amps = b.inst.wiring["planned"][k] * b.uniform(1.6, 2.2)
    b.notes["slot"] = k + 1
    return True


def unswitched_device(b: Bench) -> bool:
    """A device is fed around the relay and draws 2 to 40 times the allowed drain."""
    _steady(b, "device fed around the relay", b.limits["off_state_drain_ma"] / 1000 * b.logly(2.0, 40.0), [WHOLE])
    return True


def waking_device(b: Bench) -> bool:
    """Something wakes at intervals and takes the mean above the limit."""
    night = b.script.template == "night"
    every = b.uniform(60.0, 600.0) if night else b.uniform(3.0, 10.0)
    length = every * b.uniform(0.02, 0.15)
    amps = b.limits["off_state_drain_ma"] / 1000 * b.uniform(2.0, 6.0) * every / length
    times = np.arange(b.uniform(0.1, 0.9) * every, b.script.end_s, every)
    _steady(b, "wake of a device", amps, [(float(t), float(t) + length) for t in times])
    return True


def slow_to_sleep(b: Bench) -> bool:
    """Something stays awake for longer than the limit after key-off; the watch is as much longer."""
    if not b.script.key:
        return False
    off = b.script.key[-1][1]
    length = b.script.settle_max_s * b.uniform(1.3, 2.0)
    b.script.end_s += length - b.settle_s
    _steady(b, "slow to sleep", b.uniform(0.01, 0.2), [(off, off + length)])
    return True


def slow_trigger_decay(b: Bench) -> bool:
    """A capacitor on the trigger's line holds it up past the drop-out's limit."""
    r = b.inst.relay
    r.lamp_ohm = max(r.lamp_ohm, 1e6)
    limit = b.plan["relay"]["drop_out_max_ms"] / 1000
    # the coil's current falls with the line; hold is reached after about ln(12 V / hold) lags
    r.c = limit * b.uniform(2.5, 8.0) / (r.coil_ohm * np.log(12.0 / (r.hold_a * r.coil_ohm)))
    r.rs = min(r.rs, 0.2)
    b.notes["soft_drop_out"] = 1.0
    return bool(b.script.key)


def weak_coil_supply(b: Bench) -> bool:
    """The coil gets too little: its line's resistance leaves it barely above pull-in, or the load takes it away."""
    r = b.inst.relay
    r.lamp_ohm = 1e6
    volts = b.inst.battery.open_circuit_v(b.inst.battery.charge) - b.inst.key_drop_v - 0.3
    if b.rng.random() < 0.5:  # late: the current creeps up to pull-in
        limit = b.plan["relay"]["pull_in_max_ms"] / 1000 * b.uniform(1.4, 2.5)
        lag = r.coil_h / r.coil_ohm
        share = 1.0 / (1.0 - np.exp(-max(limit - r.rise_s, 2 * lag) / (lag * 0.7)))
        r.rs = max(volts / (r.pull_a * max(share, 1.012)) - r.coil_ohm, 5.0)
        r.coil_h *= max(1.0, (limit - r.rise_s) / (4.4 * r.coil_h / (r.coil_ohm + r.rs)))
        b.notes["late"] = 1.0
    else:  # buzz: closing takes the line below hold
        r.shared = r.hold_a * (r.coil_ohm + r.rs) / volts * b.uniform(0.3, 0.8)
        b.notes["buzz"] = 1.0
    return bool(b.script.key)


def weak_battery(b: Bench) -> bool:
    """Source resistance 1.4 to 2.5 times the limit, or a state of charge with the rest voltage below its limit."""
    bat = b.inst.battery
    if b.rng.random() < 0.6:
        up = b.limits["source_resistance_max_mohm"] / 1000 * b.uniform(1.4, 2.5) / bat.r0
        bat.r0, bat.r1, bat.r2 = bat.r0 * up, bat.r1 * up, bat.r2 * up
        b.inst.starter.ohm *= max(1.0, up * 0.5)
        b.notes["resistance"] = 1.0
    else:
        low = b.limits["resting_min_v"] - b.uniform(0.1, 0.4)
        grid = np.linspace(0.02, 1.0, 400)
        bat.charge = float(grid[int(np.argmin([abs(bat.open_circuit_v(x) - low) for x in grid]))])
        bat.surface_v = 0.0
        b.notes["charge"] = 1.0
    return True


def no_charge(b: Bench) -> bool:
    """The alternator gives nothing."""
    b.inst.charging.full_a = 0.0
    return bool(b.script.run)


def overcharge(b: Bench) -> bool:
    """The regulator holds 0.3 to 1.5 V above the window."""
    b.inst.charging.regulated_v = b.limits["charging_max_v"] + b.uniform(0.3, 1.5)
    b.inst.charging.full_a += 3.0 / (b.inst.battery.r0 + b.inst.battery.accept_ohm)
    return bool(b.script.run)


def load_exceeds_charging(b: Bench) -> bool:
    """The alternator gives 0.4 to 0.75 of what bike and install draw."""
    bike = sum(x.mean_amps for x in b.inst.bike if x.place == "key")
    b.inst.charging.full_a = (b.inst.planned_a + bike) * b.uniform(0.4, 0.75)
    return bool(b.script.run)


def trigger_dead(b: Bench) -> bool:
    """No voltage comes to 86; lamp-test pulses at key-on may still reach it."""
    b.inst.trigger_dead = True
    if b.script.key and b.rng.random() < 0.5:
        a = b.script.key[-1][0] + b.uniform(0.1, 0.5)
        for _ in range(int(b.rng.integers(1, 4))):
            b.inst.trigger_flashes.append((a, a + b.uniform(0.2e-3, 2e-3)))
            a += b.uniform(0.05, 0.4)
        b.script.say(a, "lamp-test pulses on the dead trigger")
    return bool(b.script.key)


def slow_relay(b: Bench) -> bool:
    """The relay itself lets go or pulls in late."""
    r, k = b.inst.relay, b.plan["relay"]
    if b.rng.random() < 0.6:
        r.fall_s = k["drop_out_max_ms"] / 1000 * b.uniform(1.3, 4.0)
        b.notes["late_out"] = 1.0
    else:
        r.rise_s = k["pull_in_max_ms"] / 1000 * b.uniform(1.3, 4.0)
        b.notes["late_in"] = 1.0
    return bool(b.script.key)


def pulsed_trigger(b: Bench) -> bool:
    """The trigger hangs on a pulsed lamp line, slow enough for the contact to follow."""
    r = b.inst.relay
    slowest = r.rise_s + r.fall_s + 4 * r.coil_h / r.coil_ohm
    hz = b.logly(1.0, max(min(0.3 / slowest, 20.0), 1.5))
    b.inst.trigger_pulse = (hz, b.uniform(0.4, 0.7))
    return bool(b.script.key)


def intermittent_feed(b: Bench) -> bool:
    """A joint opens under vibration: moments of lost feed, many with the engine running, few without."""
    holes = []
    for a, z in b.script.key:
        n = int(b.rng.integers(1, 5))
        holes += [(float(t), float(t) + b.logly(0.01, 0.4)) for t in b.rng.uniform(a + 1.0, max(z - 1.0, a + 1.1), n)]
    for a, z in b.script.run:
        n = int(b.rng.integers(8, 40))
        holes += [(float(t), float(t) + b.logly(0.005, 0.5)) for t in b.rng.uniform(a + 0.5, z - 0.7, n)]
    busy = [(x - 0.2, y + 0.4) for x, y in b.script.crank]
    b.inst.forced_open += sorted(cut(holes, busy)) if busy else sorted(holes)
    return bool(b.script.key)


def charging_while_off(b: Bench) -> bool:
    """Something charges the battery with the key off (a charger left on, a solar panel)."""
    b.inst.chargers.append((-600.0, 1e9, b.logly(0.05, 2.0), b.uniform(13.4, 14.6)))
    return True


def clips_swapped(b: Bench) -> bool:
    """Trigger and feed clips are changed over."""
    b.logger.swapped = True
    return True


CHARGE = ("charging_voltage", "charging_balance")
FAULTS = (
    Twist(
        "trigger_always_live",
        "circuit",
        trigger_always_live,
        (),
        ("feed_off_voltage", "off_state_drain", "relay_drop_out"),
    ),
    Twist("backfed_coil", "circuit", backfed_coil, (), ("feed_off_voltage", "relay_drop_out", "off_state_drain")),
    Twist("welded_contact", "circuit", welded_contact, (), ("feed_off_voltage", "relay_drop_out")),
    Twist("inverted_contact", "circuit", inverted_contact, (), ("feed_off_voltage", "relay_pull_in")),
    Twist("coil_open", "circuit", coil_open, (), ("relay_pull_in",)),
    Twist("feed_open", "circuit", feed_open, (), ("relay_pull_in",)),
    Twist("feed_resistance", "circuit", feed_resistance, (), ("feed_drop",)),
    Twist("ground_resistance", "circuit", ground_resistance, (), ("ground_lift",)),
    Twist("ground_open", "circuit", ground_open, (), ("ground_lift", "slot_N_current")),
    Twist("slot_dead", "circuit", slot_dead, (), ("slot_N_current",)),
    Twist("slot_overload", "circuit", slot_overload, (), ("slot_N_current",)),
    Twist("unswitched_device", "circuit", unswitched_device, (), ("off_state_drain", "added_drain")),
    Twist("waking_device", "circuit", waking_device, (), ("off_state_drain", "added_drain")),
    Twist("slow_to_sleep", "circuit", slow_to_sleep, (), ("settle_time",)),
    Twist("slow_trigger_decay", "circuit", slow_trigger_decay, (), ("relay_drop_out",)),
    Twist("weak_coil_supply", "circuit", weak_coil_supply, (), ("relay_pull_in", "relay_chatter")),
    Twist("weak_battery", "circuit", weak_battery, (), ("source_resistance", "battery_sag", "resting_voltage")),
    Twist("no_charge", "circuit", no_charge, (), CHARGE),
    Twist("overcharge", "circuit", overcharge, (), ("charging_voltage",)),
    Twist("load_exceeds_charging", "circuit", load_exceeds_charging, (), CHARGE),
    Twist("trigger_dead", "circuit", trigger_dead, (), ("relay_pull_in",)),
    Twist("slow_relay", "circuit", slow_relay, (), ("relay_pull_in", "relay_drop_out")),
    Twist("pulsed_trigger", "circuit", pulsed_trigger, (), ("relay_chatter",)),
    Twist("intermittent_feed", "circuit", intermittent_feed, (), ("relay_chatter",)),
    Twist("charging_while_off", "circuit", charging_while_off, ("resting_voltage", "off_state_drain"), ()),
    Twist("clips_swapped", "logger", clips_swapped, ("relay_pull_in", "relay_drop_out"), ()),
)
