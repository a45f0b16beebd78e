"""What a logger can show of a fault at all, and which faults it cannot part: from the world's noise-free logs.

A fault *shows* in an install where its noise-free log differs from that of the same install without it, in any channel
by more than both logs' limits of error together, for ten samples or more. It can be *asked of* the log where, besides,
a check truly fails by more than an ideal prover's uncertainty with this logger: causes explain failed checks. A drain
truly below zero, and clips that are changed over, ask by themselves. Where no mark says whose a step is, a circuit
fails if it fails whichever of the steps is its own; where samples would not meet a bounce of the key's contact, a
relay's time fails beyond the longest bounce. Two faults are *alike* in an install where their noise-free logs do not
differ in that sense once what no plan knows may be different: the bike's own load with the key on, and how the
circuits' currents change with the voltage.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import permutations

import numpy as np
from world.case import Case
from world.logger import read

#: Samples that must differ for a difference to show, and by how many of the limits: each log may be off by one.
SAMPLES, LIMITS_APART = 10, 2.0
#: What stands between a load and the battery's posts, ohms; what the trigger's own line may lose, V.
OWN_LOAD_OHM, LINE_V = 0.05, 0.5
#: It asks for a cause by itself.
ASKING = ("clips_swapped",)
#: What a circuit draws changes with the voltage, up or down by its kind, from key-on to key-off by this share.
BY_KIND = 0.03
#: A key's contact bounces for up to so long, s, which samples closer than this would meet, and which a trigger shows
#: that takes so many samples to fall.
KEY_BOUNCE_S, SEES_BOUNCE_S, FEWEST_IN_FALL = 0.050, 0.005, 3
#: How often a circuit draws whatever it draws, rather than what was planned.
STRAYS = 0.01
_SWINGS = frozenset(("pulsed_trigger", "weak_coil_supply"))
_HELD_OR_FED = frozenset(("trigger_always_live", "unswitched_device"))
#: A contact that welds as it first closes, which the same seed may not draw, is like one whose coil is held since then
#: as long as nothing shows what the circuits draw beside the coil.
_ONCE_CLOSED = frozenset(("backfed_coil", "welded_contact"))
_DEAD = ("coil_open", "feed_open", "ground_open", "trigger_dead", "inverted_contact")
#: Alike for some strengths that the same seed does not draw, where the log has neither trigger nor feed: loads that
#: come and go in a rhythm; a steady current with the key off: the coil and its line, or a device fed past the relay.
ALIKE_FOR_SOME: tuple[frozenset[str], ...] = (_SWINGS, _HELD_OR_FED)
#: Without a mark, and with neither trigger nor feed in the log, nobody may have switched on a circuit that draws
#: nothing, another current may be the bike's own, what flows with the key off may flow with the key left on, and a
#: voltage that is not raised may be that of an engine at rest.
NEEDS_MARKS = frozenset(
    (
        *_DEAD,
        *("slot_dead", "slot_overload", "trigger_always_live", "backfed_coil", "welded_contact", "slow_to_sleep"),
        *("waking_device", "charging_while_off", "no_charge", "load_exceeds_charging"),
        *("pulsed_trigger", "weak_coil_supply"),
    )
)
#: The same where the log has trigger and feed, and neither a mark nor the key's line: a trigger that stays up may be
#: that of a key left on, one that stays down that of a key left off, and an engine is known to run by its charge alone.
NEEDS_KEY = frozenset(("trigger_always_live", "backfed_coil", "trigger_dead", "no_charge", "load_exceeds_charging"))
#: The same without the bus's voltage: nobody may have switched the circuits on.
NEEDS_BUS = frozenset(("ground_open",))


def clean(case: Case) -> dict[str, np.ndarray]:
    """Role -> the main log through a noise-free, error-free logger."""
    log = case.logs[0]
    return read(log.spec, log.solution, log.script.end_s, clean=True)


def limits_of(case: Case) -> dict[str, tuple[float, float]]:
    """Role -> ``(half-width that stays, V or A; half-width over the reading, 1)``."""
    out = {}
    for one in case.logs[0].spec.channels:
        unit = 1000.0 if one.unit == "mA" else 1.0
        out[one.role] = ((one.offset + one.resolution) / unit, one.gain_pct / 100)
    return out


def differ(case: Case, a: Mapping[str, np.ndarray], b: Mapping[str, np.ndarray], unknowns: bool = False) -> list[str]:
    """The channels in which two noise-free logs with the logger of ``case`` differ.

    Args:
        unknowns: what no plan knows may be different in both: the bike's own load with the key on, which a running
            alternator carries, what the trigger's line loses on its way, and how the circuits' currents change with
            the voltage. Cranks are left out then.
    """
    n = min(len(a["time_s"]), len(b["time_s"]))
    time_s, script = a["time_s"][:n], case.logs[0].script
    keep = np.ones(n, dtype=bool)
    own, parts = np.zeros(n), []
    if unknowns:
        keep &= ~_within(time_s, [(x - 0.2, y + 0.7) for x, y in script.crank])
        running = _within(time_s, script.run)
        keyed = _within(time_s, script.key)
        parts = [keyed & ~running & keep, running & keep]
    for part in parts if "battery_a" in a else []:
        own[part] = float(np.nanmedian((b["battery_a"][:n] - a["battery_a"][:n])[part])) if part.any() else 0.0
    # a current that may be another moves the battery's voltage as well
    by_kind = (
        _unknown_share(case) / LIMITS_APART * np.abs(b["battery_a"][:n])
        if unknowns and "battery_a" in b
        else np.zeros(n)
    )
    found = []
    for role, (level, share) in limits_of(case).items():
        x, y = a[role][:n], b[role][:n]
        limit = level + share * np.maximum(np.abs(x), np.abs(y))
        if role == "battery_a":
            x = x + own
            limit = limit + by_kind
        else:
            limit = limit + (np.abs(own) + by_kind) * OWN_LOAD_OHM
            if role == "trigger_v" and unknowns:
                limit = limit + LINE_V / LIMITS_APART * np.any(parts, axis=0)
        with np.errstate(invalid="ignore"):
            apart = (np.abs(x - y) > LIMITS_APART * limit) | (np.isnan(x) != np.isnan(y))
        if (apart & keep).sum() >= SAMPLES:
            found.append(role)
    return found


def _unknown_share(case: Case) -> float:
    """How far, relative, the circuits' currents are unknown: not at all where they were seen to come on, but for the
    voltage; else as far as the plan's tolerance reaches.
    """
    return BY_KIND if _seen_to_come(case) else max(c["tolerance_pct"] for c in case.plan["circuit"]) / 100


def _seen_to_come(case: Case) -> bool:
    """Whether the circuits are switched on one by one with the key on."""
    script = case.logs[0].script
    starts = [a for circuit in case.inst.circuits for a, _ in circuit.spans if 0 < a < script.end_s]
    return any(x < a < y for a in starts for x, y in script.key)


def _within(time_s: np.ndarray, spans: Sequence[tuple[float, float]]) -> np.ndarray:
    inside = np.zeros(len(time_s), dtype=bool)
    for start, stop in spans:
        inside |= (time_s >= start) & (time_s < stop)
    return inside


def truly_fails(case: Case) -> list[str]:
    """The checks that fail by more than an ideal prover's uncertainty with this logger."""
    found = []
    for check in case.truth:
        u = case.ideal_u(check)
        margin = u if u is not None and math.isfinite(u) else 0.0
        if check == "relay_chatter":
            spec = case.logs[0].spec
            slowest = spec.repeat / spec.rate_hz + spec.average_s
            if case.parts.get("shortest_opening_s", math.inf) < slowest and case.parts.get("openings", 0) < 10:
                continue  # a few openings between two samples
        if _bounce_hides(case, check):
            continue
        if case.verdict(check, margin) == "fail" and (not check.startswith("slot_") or _fails_unmarked(case, check)):
            found.append(check)
    return found


def _bounce_hides(case: Case, check: str) -> bool:
    """Whether a bounce of the key's contact that no sample meets may have made a relay's time too long.

    The time counts from the edge that changed the coil's current. A trigger that falls slowly shows every return.
    """
    key = {"relay_pull_in": "pull_in_max_ms", "relay_drop_out": "drop_out_max_ms"}.get(check)
    limit = None if key is None else case.plan["relay"].get(key)
    spec, truth = case.logs[0].spec, case.truth.get(check)
    step_s = spec.repeat / spec.rate_hz + spec.average_s
    if limit is None or truth is None or step_s <= SEES_BOUNCE_S or truth - 1000 * KEY_BOUNCE_S > limit:
        return False
    if check == "relay_pull_in":
        return True
    log = clean(case)
    if "trigger_v" not in log:
        return False
    after = _within(log["time_s"], [(off, off + 1.0) for _, off in case.logs[0].script.key])
    trigger = log["trigger_v"][after]
    return int(((trigger > 0.2 * 12.0) & (trigger < 0.85 * 12.0)).sum()) < FEWEST_IN_FALL


def _fails_unmarked(case: Case, check: str) -> bool:
    """Whether a circuit's current fails with 95 % whichever of the noise-free steps is its own.

    A mark, or a channel of its own, says whose a step is. Without them every order of the steps among the circuits
    counts by how well it fits: each circuit draws what was planned within the plan's tolerance as standard deviation,
    or, with a chance of one in a hundred, whatever it draws.
    """
    slots = [circuit["slot"] for circuit in case.plan["circuit"]]
    if case.logs[0].script.marked or any(f"slot{slot}_a" in limits_of(case) for slot in slots):
        return True
    planned = {circuit["slot"]: circuit["planned_a"] for circuit in case.plan["circuit"]}
    tolerance = {circuit["slot"]: circuit["tolerance_pct"] / 100 for circuit in case.plan["circuit"]}
    drawn = [case.truth.get(f"slot_{slot}_current") or 0.0 for slot in slots]
    mine = slots.index(int(check.split("_")[1]))
    fails = whole = 0.0
    for order in permutations(drawn):
        weight = math.prod(
            max(math.exp(-(((amps / planned[slot] - 1) / tolerance[slot]) ** 2) / 2), STRAYS)
            for slot, amps in zip(slots, order, strict=True)
        )
        whole += weight
        off = abs(order[mine] / planned[slots[mine]] - 1) > tolerance[slots[mine]]
        fails += weight * off
    return fails >= 0.95 * whole


def has_lines(case: Case) -> bool:
    """Whether the log holds the trigger's or the feed's voltage."""
    return bool({"trigger_v", "feed_v"} & limits_of(case).keys())


def asked(case: Case) -> bool:
    """Whether the fault, known to show, can be asked of this log."""
    roles = limits_of(case).keys()
    if not case.logs[0].script.marked and "key_v" not in roles:
        blind = NEEDS_KEY if has_lines(case) else NEEDS_MARKS
        blind = blind if "ground_v" in roles else blind | NEEDS_BUS
        if case.fault in blind:
            return False
    return case.fault in ASKING or _charged_while_off(case) or bool(truly_fails(case)) or _marked_dead(case)


def _charged_while_off(case: Case) -> bool:
    """Whether the drain is truly below zero by more than an ideal prover's uncertainty: that asks by itself."""
    truth, u = case.truth.get("off_state_drain"), case.ideal_u("off_state_drain")
    return truth is not None and u is not None and truth < -u


def _marked_dead(case: Case) -> bool:
    """Whether circuits that marks say are on draw nothing because the feed is dead; the world calls these unseen."""
    return case.fault in _DEAD and case.logs[0].script.marked and _seen_to_come(case)


def alike(fault: str, logs: Mapping[str, Mapping[str, np.ndarray]], case: Case) -> frozenset[str]:
    """The faults that this log cannot part from its own, itself among them.

    Args:
        logs: fault -> the noise-free log of the same install with it. case: that with the fault.
    """
    found = {fault}
    found |= {other for other, log in logs.items() if not differ(case, logs[fault], log, unknowns=True)}
    if not has_lines(case):
        found |= {one for group in ALIKE_FOR_SOME if fault in group for one in group}
        if fault in _ONCE_CLOSED and not _seen_to_come(case):
            found |= _ONCE_CLOSED
    return frozenset(found)
