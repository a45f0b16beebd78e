"""The true value of every role at any time of a simulated log."""

from collections.abc import Iterable

import numpy as np

from benchlog.core.roles import SHUNT_ROLES, slot_of
from benchlog.core.trace import Array
from benchlog.standin import loads
from benchlog.standin.battery import posts
from benchlog.standin.lamp_test import lamp_test_level, trigger_level
from benchlog.standin.relay import DIODE_V, MOST_KICK_V, beside_ohm
from benchlog.standin.timeline import SimulatedTimeline

#: Of the current, what still passes a bridged shunt: a cable of 0.1 mΩ beside a shunt of 5 mΩ.
BRIDGED_SHARE = 0.1 / (0.1 + 5.0)
GROUND_OPEN_SHARE = 0.97  # of the feed voltage, that a bus without return rises to through the devices


def true_values(line: SimulatedTimeline, time_s: Array, roles: Iterable[str]) -> dict[str, Array]:
    """Role -> true value at each time (s, ascending), canonical unit and sign, no error of any logger."""
    install = line.install
    feed = loads.feed_a(line, time_s)
    current, voltage = posts(line, time_s, feed)
    values: dict[str, Array] = {}
    for role in roles:
        if role in ("battery_a", "drain_a"):
            values[role] = current.copy()
        elif role == "battery_v":
            values[role] = voltage
        elif role == "feed_a":
            values[role] = feed.copy()
        elif role == "feed_v":
            values[role] = feed_v(line, time_s, voltage, feed)
        elif role == "trigger_v":
            values[role] = _trigger_v(line, time_s, voltage)
        elif role == "key_v":
            values[role] = _key_v(line, time_s, voltage)
        elif role == "ground_v":
            values[role] = _ground_v(line, time_s, voltage, feed, current)
        elif role == "battery_c":
            values[role] = np.full_like(time_s, install.ambient_c)
        else:
            values[role] = _slot(line, role, time_s, voltage, feed)
    return values


def at_logger(line: SimulatedTimeline, time_s: Array, roles: Iterable[str]) -> dict[str, Array]:
    """Role -> what reaches the logger's channel: the true value, but for currents while zeroed or the shunt bridged.

    A bridge takes the drop of a shunt in the negative lead off the ground bus as well. Clips that are changed over
    bring each channel the other's voltage.
    """
    clips = {"trigger_v": "feed_v", "feed_v": "trigger_v"} if line.install.clips_swapped else {}
    wanted = list(roles)
    there = true_values(line, time_s, [clips.get(role, role) for role in wanted])
    values = {role: there[clips.get(role, role)] for role in wanted}
    zero, bridged = line.zero.at(time_s) > 0, line.bridged.at(time_s) > 0
    low_side_ohm = line.install.low_side_shunt_mohm / 1e3
    if bridged.any() and low_side_ohm and "ground_v" in values:
        current = true_values(line, time_s, ["battery_a"])["battery_a"]
        values["ground_v"][bridged] -= (1 - BRIDGED_SHARE) * low_side_ohm * current[bridged]
    for role, value in values.items():
        if role in SHUNT_ROLES:
            value[bridged] *= BRIDGED_SHARE
        if role.endswith("_a"):
            value[zero] = 0.0
    return values


def feed_v(line: SimulatedTimeline, time_s: Array, battery_v: Array, feed_a: Array) -> Array:
    """The fuse block's positive stud, V."""
    install = line.install
    contact = line.contact
    closed = contact.at(time_s) > 0
    value = np.where(closed, battery_v - feed_a * install.feed_mohm / 1e3, install.feed_leak_v)
    opens = [k for k in range(len(contact.times_s)) if contact.values[k] and not contact.values[k + 1]]
    if not opens:
        return value
    # what the load side holds when the contact opens
    before = contact.times_s[opens] - 1e-7
    amps = loads.feed_a(line, before)
    held = posts(line, before, amps)[1] - amps * install.feed_mohm / 1e3 - install.feed_leak_v
    nexts = np.r_[contact.times_s[1:], np.inf][opens]
    for opened, until, level in zip(contact.times_s[opens], nexts, held, strict=True):
        lo, hi = np.searchsorted(time_s, [opened, min(until, opened + 40 * install.feed_fall_tau_s)])
        value[lo:hi] += level * np.exp(-(time_s[lo:hi] - opened) / install.feed_fall_tau_s)
    return value


def _trigger_v(line: SimulatedTimeline, time_s: Array, battery_v: Array) -> Array:
    install = line.install
    value = np.zeros_like(time_s)
    up_v = battery_v - install.trigger_drop_v
    if install.lamp_test is not None:
        value = up_v * lamp_test_level(install, time_s) * (trigger_level(line, time_s) == 0)
    found = np.searchsorted([edge.time_s for edge in line.edges], time_s, side="right")
    for number in np.unique(found[found > 0]):
        edge, here = line.edges[number - 1], found == number
        if edge.level > 0:
            value[here] = up_v[here] * edge.level
        elif number > 1:
            after = time_s[here] - edge.time_s
            fallen = up_v[here] * np.exp(-after / install.trigger_fall_tau_s)
            if install.kick is not None and install.trigger_fall_tau_s < install.kick[1]:
                fallen[after < install.kick[1]] = -install.kick[0]
            value[here] = np.where(np.abs(fallen) > value[here], fallen, value[here])
    if install.kick is None:
        # while the coil's current runs on, through its diode or whatever else there is, the line lies below ground
        coil_a = loads.coil_a(line, time_s)
        freewheel = (value < DIODE_V) & (coil_a > 1e-4)
        kick_v = np.minimum(coil_a * beside_ohm(install), MOST_KICK_V) if install.suppression != "diode" else DIODE_V
        value = np.where(freewheel, value - kick_v, value)
    return value


def _key_v(line: SimulatedTimeline, time_s: Array, battery_v: Array) -> Array:
    key = line.key_contact
    value = key.at(time_s) * battery_v
    for off, state in zip(key.times_s, key.values[1:], strict=True):
        if not state:
            lo, hi = np.searchsorted(time_s, [off, off + 40 * line.install.key_fall_tau_s])
            fallen = np.exp(-(time_s[lo:hi] - off) / line.install.key_fall_tau_s)
            value[lo:hi] = np.maximum(value[lo:hi], battery_v[lo:hi] * fallen)
    return value


def _ground_v(line: SimulatedTimeline, time_s: Array, battery_v: Array, feed_a: Array, battery_a: Array) -> Array:
    install = line.install
    lift: Array = feed_a * install.ground_mohm / 1e3 + battery_a * install.low_side_shunt_mohm / 1e3
    if install.ground_open:
        fed = np.zeros_like(time_s)
        for slot in line.slots.values():
            fed = np.maximum(fed, slot.at(time_s))
        lift += fed * GROUND_OPEN_SHARE * battery_v
    return lift


def _slot(line: SimulatedTimeline, role: str, time_s: Array, battery_v: Array, feed: Array) -> Array:
    """A slot's current, or the voltage at its device's positive terminal."""
    slot = slot_of(role)
    circuit = next((circuit for circuit in line.install.circuits if circuit.slot == slot), None)
    if circuit is None:
        return np.zeros_like(time_s)
    amps = loads.circuit_a(line, circuit, time_s)
    if role.endswith("_a"):
        return amps
    on = line.slots[circuit.slot].at(time_s) > 0
    return np.where(on, feed_v(line, time_s, battery_v, feed) - amps * circuit.wire_mohm / 1e3, 0.0)
