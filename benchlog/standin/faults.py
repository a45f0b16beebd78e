"""The good install with one thing wrong: one change for each cause that benchlog can name."""

from collections.abc import Callable
from dataclasses import replace

from benchlog.errors import BenchlogError
from benchlog.standin.install import Install, WakeUps


class NoSuchFault(BenchlogError):
    """A fault was asked for that the stand-in cannot show."""

    def __init__(self, name: str) -> None:
        self.name = name
        super().__init__(f"fault: {name!r} is not known; needed is one of {', '.join(FAULTS)}")


def _circuits(install: Install, at: int, share: float) -> Install:
    """One circuit's true current times ``share``; ``at`` counts from 0."""
    circuits = list(install.circuits)
    circuits[at] = replace(circuits[at], actual_a=circuits[at].planned_a * share)
    return replace(install, circuits=tuple(circuits))


FAULTS: dict[str, Callable[[Install], Install]] = {
    "trigger_always_live": lambda good: replace(good, trigger_always_live=True),
    "backfed_coil": lambda good: replace(good, backfed=True),
    "welded_contact": lambda good: replace(good, contact="welded"),
    "inverted_contact": lambda good: replace(good, contact="inverted"),
    "coil_open": lambda good: replace(good, coil_open=True),
    "feed_open": lambda good: replace(good, contact="open"),
    "feed_resistance": lambda good: replace(good, feed_mohm=48.0),
    "ground_resistance": lambda good: replace(good, ground_mohm=good.ground_mohm + 25.0),
    "ground_open": lambda good: replace(good, ground_open=True),
    "slot_dead": lambda good: _circuits(good, 1, 0.0),
    "slot_overload": lambda good: _circuits(good, 2, 1.5),
    "unswitched_device": lambda good: replace(good, extra_drain_a=0.018),
    "waking_device": lambda good: replace(good, wakeups=WakeUps(height_a=0.12)),
    "slow_to_sleep": lambda good: replace(good, awake=((0.35, 41.0), (0.12, 160.0))),
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
}


def with_fault(install: Install, name: str) -> Install:
    """The install with this fault (a cause id of the result).

    Raises:
        NoSuchFault: no such fault can be shown.
    """
    if name not in FAULTS:
        raise NoSuchFault(name)
    return FAULTS[name](install)
