"""The good install with one thing wrong: one change for each cause that benchlog can name.

``with_fault`` always makes the same fault; ``random_fault`` draws how bad it is, and where.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from benchlog.core.errors import BenchlogError
from benchlog.standin.install import SimulatedInstall, WakeUps
from benchlog.standin.planning import LIMITS
from benchlog.standin.relay import rise_s


class NoSuchFault(BenchlogError):
    """A fault was asked for that the stand-in cannot show."""

    def __init__(self, name: str) -> None:
        self.name = name
        super().__init__(f"fault: {name!r} is not known; use one of {', '.join(FAULTS)}")


def _circuits(install: SimulatedInstall, at: int, share: float) -> SimulatedInstall:
    """One circuit's true current times ``share``; ``at`` counts from 0. Without circuits nothing changes."""
    circuits = list(install.circuits)
    at = min(at, len(circuits) - 1)  # the last, where there are not so many
    if at < 0:
        return install
    circuits[at] = replace(circuits[at], actual_a=circuits[at].planned_a * share)
    return replace(install, circuits=tuple(circuits))


def _last_slot(install: SimulatedInstall) -> int | None:
    """Where a tracker or charger usually sits."""
    return install.circuits[-1].slot if install.circuits else None


def _shaken(
    count: int, every_s: float, first_s: float = 1.3, length_s: float = 0.03
) -> tuple[tuple[float, float], ...]:
    """So many openings, the longest three times as long as the shortest."""
    return tuple((first_s + every_s * k, length_s * (1.0 + k % 3)) for k in range(count))


def _awake_longer(good: SimulatedInstall) -> SimulatedInstall:
    return replace(good, awake=((0.35, 41.0), (0.12, 160.0)), awake_slot=_last_slot(good))


FAULTS: dict[str, Callable[[SimulatedInstall], SimulatedInstall]] = {
    "trigger_always_live": lambda good: replace(good, trigger_always_live=True),
    "backfed_coil": lambda good: replace(good, backfed=True, backfed_slot=_last_slot(good)),
    "welded_contact": lambda good: replace(good, contact="welded"),
    "inverted_contact": lambda good: replace(good, contact="inverted"),
    "coil_open": lambda good: replace(good, coil_open=True),
    "feed_open": lambda good: replace(good, contact="open"),
    "feed_resistance": lambda good: replace(good, feed_mohm=48.0),
    "ground_resistance": lambda good: replace(good, ground_mohm=good.ground_mohm + 25.0),
    "ground_open": lambda good: replace(good, ground_open=True),
    "slot_dead": lambda good: _circuits(good, 1, 0.0),
    "slot_overload": lambda good: _circuits(good, 2, 1.5),
    "unswitched_device": lambda good: replace(good, extra_drain_a=0.018, extra_drain_slot=_last_slot(good)),
    "waking_device": lambda good: replace(good, wakeups=WakeUps(height_a=0.12), wakeups_slot=_last_slot(good)),
    "slow_to_sleep": _awake_longer,
    "slow_trigger_decay": lambda good: replace(good, trigger_fall_tau_s=0.25),
    # too little pull: the armature is slow, and lets go when the bike's own load dips the line
    "weak_coil_supply": lambda good: replace(
        good, trigger_drop_v=good.emf_v - 7.4, pull_travel_ms=28.0, chatter=((1.2, 0.03), (2.7, 0.02))
    ),
    "weak_battery": lambda good: replace(
        good, source_mohm=72.0, slow_mohm=6.0, emf_v=12.45, starter_peak_a=60.0, starter_run_a=40.0
    ),
    "no_charge": lambda good: replace(good, alternator_a=0.0),
    "overcharge": lambda good: replace(good, regulated_v=15.4),
    "load_exceeds_charging": lambda good: replace(good, alternator_a=9.5),
    "trigger_dead": lambda good: replace(good, trigger_dead=True),
    "slow_relay": lambda good: replace(good, release_travel_ms=150.0),
    # a lamp line that the bike dims, or watches, in pulses that the relay follows
    "pulsed_trigger": lambda good: replace(good, trigger_pulse=(2.0, 0.6)),
    "intermittent_feed": lambda good: replace(good, shaken=((6.1, 0.04),), shaken_running=_shaken(25, 0.7)),
    "charging_while_off": lambda good: replace(good, charger_a=0.35),
    "clips_swapped": lambda good: replace(good, clips_swapped=True),
}


def with_fault(install: SimulatedInstall, name: str) -> SimulatedInstall:
    """The install with this fault (a cause id of the result).

    Raises:
        NoSuchFault: no such fault can be shown.
    """
    if name not in FAULTS:
        raise NoSuchFault(name)
    return FAULTS[name](install)


def random_fault(install: SimulatedInstall, name: str, rng: np.random.Generator) -> SimulatedInstall:
    """The install with this fault, as bad as chance has it, but always clearly outside the usual plan's limits.

    Args:
        install: one that keeps that plan (``planning.LIMITS``), or does so but for another fault.
        name: a cause id of the result.
        rng: the only source of chance.

    Raises:
        NoSuchFault: no such fault can be shown.
    """
    if name not in FAULTS:
        raise NoSuchFault(name)
    return RANDOM[name](install, rng) if name in RANDOM else FAULTS[name](install)


def _allowed(key: str) -> float:
    return float(LIMITS[key])


def _allowed_mohm(install: SimulatedInstall, key: str) -> float:
    """The resistance at which the planned load makes just the voltage that is allowed, mΩ."""
    return _allowed(key) / install.planned_a * 1e3


def _welded(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    """Welded for long, or from its first closing on."""
    return replace(install, contact="welded" if rng.random() < 0.5 else "latching")


def _feed_resistance(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    return replace(install, feed_mohm=_allowed_mohm(install, "drop_max_v") * rng.uniform(1.3, 4.0))


def _ground_resistance(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    return replace(install, ground_mohm=_allowed_mohm(install, "lift_max_v") * rng.uniform(1.3, 4.0))


def _slot_dead(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    return _circuits(install, int(rng.integers(len(install.circuits))), 0.0)


def _slot_overload(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    return _circuits(install, int(rng.integers(len(install.circuits))), rng.uniform(1.35, 2.0))


def _unswitched_device(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    drain_a = _allowed("off_state_drain_ma") / 1e3 * 10 ** rng.uniform(0.2, 2.0)
    return replace(install, extra_drain_a=drain_a, extra_drain_slot=_last_slot(install))


def _waking_device(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    """The wake-ups alone, averaged, are above the allowed drain; each stays below half an ampere."""
    period_s, length_s = rng.uniform(12, 45), rng.uniform(0.5, 4.0)
    mean_a = _allowed("off_state_drain_ma") / 1e3 * 10 ** rng.uniform(0.2, 1.0)
    wakes = WakeUps(period_s, length_s, min(mean_a * period_s / length_s, 0.45), first_s=rng.uniform(0, period_s))
    return replace(install, wakeups=wakes)


def _slow_to_sleep(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    """Awake as long as before, and then something goes on."""
    awake_s = _allowed("settle_max_s") * rng.uniform(1.17, 1.83)
    return replace(install, awake=(*install.awake, (10 ** rng.uniform(-2.0, -0.6), awake_s)))


def _slow_trigger_decay(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    return replace(install, trigger_fall_tau_s=rng.uniform(0.15, 0.6))


def _weak_coil_supply(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    """Barely enough voltage to pull in: late, chattering or both."""
    supply_v = install.pull_in_a * install.coil_ohm * rng.uniform(1.03, 1.25)
    weak = replace(install, trigger_drop_v=install.emf_v - supply_v)
    late, chatters = ((True, True), (True, False), (False, True))[int(rng.integers(3))]
    if late:
        coil_ms = rise_s(weak.pull_in_a, weak.coil_a, weak.coil_h / weak.coil_ohm) * 1e3
        pull_in_ms = _allowed("pull_in_max_ms") * rng.uniform(1.2, 2.0)
        weak = replace(weak, pull_travel_ms=max(pull_in_ms - coil_ms, 0.5))
    if chatters:
        # one in each stretch of 3 s, so that none runs into the next
        starts = [3.0 * number + rng.uniform(0.5, 2.5) for number in range(int(rng.integers(1, 4)))]
        weak = replace(weak, chatter=tuple((start, rng.uniform(0.015, 0.04)) for start in starts))
    return weak


def _slow_relay(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    """Late in letting go, in pulling in, or both; the trigger's own fall stays as steep as it was."""
    out, in_ = ((True, True), (True, False), (False, True))[int(rng.integers(3))]
    slow = install
    if out:
        slow = replace(slow, release_travel_ms=_allowed("drop_out_max_ms") * rng.uniform(1.3, 3.0))
    if in_:
        slow = replace(slow, pull_travel_ms=_allowed("pull_in_max_ms") * rng.uniform(1.3, 3.0))
    return slow


def _pulsed_trigger(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    """Slow enough for the relay to follow, up and down for 100 ms or more each time."""
    return replace(install, trigger_pulse=(rng.uniform(0.8, 3.0), rng.uniform(0.35, 0.65)))


def _intermittent_feed(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    count = int(rng.integers(4, 20))
    return replace(install, shaken_running=_shaken(count, rng.uniform(0.4, 1.1), 1.3, 10 ** rng.uniform(-1.8, -1.0)))


def _charging_while_off(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    """From a trickle to a small charger; more than the bike draws asleep."""
    return replace(install, charger_a=10 ** rng.uniform(-1.6, 0.0))


def _weak_battery(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    """Source resistance high, rest voltage low or both; the starter draws what such a battery can give."""
    high, low = ((True, True), (True, False), (False, True))[int(rng.integers(3))]
    emf_v = _allowed("resting_min_v") - rng.uniform(0.1, 0.6) if low else install.emf_v
    source = install.source_mohm
    if high:
        source = _allowed("source_resistance_max_mohm") * rng.uniform(1.2, 3.0)
    weak = replace(install, emf_v=emf_v, source_mohm=source, slow_mohm=install.slow_mohm * (3.0 if high else 1.0))
    others_a = install.bike_a + sum(circuit.actual_a for circuit in install.circuits)
    peak_a = min(install.starter_peak_a, (emf_v - 6.5) / weak.source_mohm * 1e3 - others_a)
    return replace(weak, starter_peak_a=peak_a, starter_run_a=install.starter_run_a / install.starter_peak_a * peak_a)


def _overcharge(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    return replace(install, regulated_v=_allowed("charging_max_v") + rng.uniform(0.2, 1.2))


def running_a(install: SimulatedInstall) -> float:
    """A that the bike and its circuits draw with the key on, all circuits switched on, sustained."""
    dead = install.ground_open or install.coil_open or install.contact in ("open", "inverted")
    circuits_a = 0.0 if dead else sum(circuit.actual_a for circuit in install.circuits)
    return install.bike_a + circuits_a + install.coil_a + install.drain_a + install.extra_drain_a


def _load_exceeds_charging(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    """The alternator carries a fifth of the load or more, and leaves 1 A to 8 A of it to the battery."""
    load_a = running_a(install)
    return replace(install, alternator_a=load_a - rng.uniform(1.0, max(min(8.0, 0.8 * load_a), 1.2)))


#: The faults that can be worse or less so; the others either are or are not.
RANDOM: dict[str, Callable[[SimulatedInstall, np.random.Generator], SimulatedInstall]] = {
    "welded_contact": _welded,
    "feed_resistance": _feed_resistance,
    "ground_resistance": _ground_resistance,
    "slot_dead": _slot_dead,
    "slot_overload": _slot_overload,
    "unswitched_device": _unswitched_device,
    "waking_device": _waking_device,
    "slow_to_sleep": _slow_to_sleep,
    "slow_trigger_decay": _slow_trigger_decay,
    "weak_coil_supply": _weak_coil_supply,
    "weak_battery": _weak_battery,
    "overcharge": _overcharge,
    "load_exceeds_charging": _load_exceeds_charging,
    "slow_relay": _slow_relay,
    "pulsed_trigger": _pulsed_trigger,
    "intermittent_feed": _intermittent_feed,
    "charging_while_off": _charging_while_off,
}
