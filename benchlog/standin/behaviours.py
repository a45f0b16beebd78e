"""What a real bike, or its rider, does beside the test: one change to an install for each.

Most leave every check of a good install within its plan; where one truly breaks a limit, or is a cause that benchlog
names, it says so (``fails``, ``causes``). Amounts and times are of the size that common practice calls usual; no source
is claimed for them.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from benchlog.standin.install import BikeLoad, SimulatedInstall, WakeUps

GRIPS_HZ, GRIPS_SHARE = 1.5, 0.6


@dataclass(frozen=True, slots=True)
class Behaviour:
    """One behaviour.

    Attributes:
        name: as ``benchlog standin --behaviour`` takes it.
        words: what the bike or its rider does, for people.
        change: the same install with it.
        fails: the checks whose true value it brings beyond the usual plan's limits on a good install.
        causes: the cause ids that are rightly named for it.
    """

    name: str
    words: str
    change: Callable[[SimulatedInstall], SimulatedInstall]
    fails: frozenset[str] = frozenset()
    causes: frozenset[str] = frozenset()


def _beside(*loads: BikeLoad) -> Callable[[SimulatedInstall], SimulatedInstall]:
    return lambda install: replace(install, bike_loads=(*install.bike_loads, *loads))


def _set(**changes: object) -> Callable[[SimulatedInstall], SimulatedInstall]:
    return lambda install: replace(install, **changes)  # type: ignore[arg-type]  # fields of Install


def _pulsed_grips(install: SimulatedInstall) -> SimulatedInstall:
    """The grips' circuit, else the second or the last; a little less on average, so that its fuse bears the pulses."""
    circuits = list(install.circuits)
    if not circuits:
        return install
    named = [number for number, circuit in enumerate(circuits) if "grip" in circuit.device.lower()]
    at = named[0] if named else min(1, len(circuits) - 1)
    pulse = (GRIPS_HZ, GRIPS_SHARE)
    circuits[at] = replace(circuits[at], actual_a=0.93 * circuits[at].actual_a, inrush=0.0, pulse=pulse)
    return replace(install, circuits=tuple(circuits))


def _seldom_wakes(install: SimulatedInstall) -> SimulatedInstall:
    """Every four minutes; a device that wakes already, wakes as it did."""
    wakes = WakeUps(period_s=240.0, length_s=2.0, height_a=0.012, first_s=170.0)
    return install if install.wakeups is not None else replace(install, wakeups=wakes)


def _opening_feed(install: SimulatedInstall) -> SimulatedInstall:
    shaken = (*install.shaken_running, (5.3, 0.05), (9.1, 0.03), (13.6, 0.08))
    return replace(install, shaken_running=shaken)


_ALL = (
    Behaviour(
        "kill_switch",
        "the rider stops the engine with its switch, the key follows 4 s later",
        _set(kill_before_off_s=4.0),
    ),
    Behaviour("stall", "the engine stops by itself 9 s after the first start", _set(stalls_after_s=9.0)),
    Behaviour("pulsed_grips", "the heated grips draw in pulses, 1.5 Hz, 60 % of the time", _pulsed_grips),
    Behaviour(
        "key_bounce",
        "the key's contact bounces for 43 ms as it is turned on",
        _set(key_bounce_ms=(3.0, 9.0, 2.0, 14.0, 4.0, 11.0)),
    ),
    Behaviour(
        "flashers",
        "the flashers blink for 9 s at a time with the key on",
        _beside(BikeLoad(3.6, "key on", ((6.2, 9.0),), every_s=31.0, flash=(1.4, 0.5), inrush=1.5)),
    ),
    Behaviour(
        "brake_light",
        "the rider touches the brake now and then with the key on",
        _beside(BikeLoad(1.8, "key on", ((2.7, 0.6), (7.1, 1.9), (13.4, 0.9)), every_s=17.3, inrush=3.0)),
    ),
    Behaviour(
        "fan",
        "the radiator fan runs from 6 s after the start, and 25 s after the key is off",
        _beside(
            BikeLoad(3.5, "running", ((6.0, 1e6),), inrush=2.0, inrush_tau_s=0.15),
            BikeLoad(3.5, "key off", ((0.0, 25.0),)),
        ),
    ),
    Behaviour(
        "fuel_pump",
        "the fuel pump primes for 3 s after key-on, and works while the engine runs",
        _beside(
            BikeLoad(3.2, "key on", ((0.05, 3.0),), inrush=2.0, inrush_tau_s=0.08),
            BikeLoad(3.2, "running", inrush=2.0, inrush_tau_s=0.08),
        ),
    ),
    Behaviour(
        "park_light",
        "the key is turned on to park: a lamp stays on with the key off",
        _beside(BikeLoad(0.42, "key off")),
        frozenset({"settle_time", "off_state_drain"}),
    ),
    Behaviour(
        "charger_left_on",
        "a small charger was left connected",
        _set(charger_a=0.4, charger_holds_v=0.45),
        causes=frozenset({"charging_while_off"}),
    ),
    Behaviour(
        "failed_crank",
        "the lamps go out for the starter and stay out; the engine fires only at the second try",
        _set(crank_tries=2, trigger_drops_in_crank=True, lamps_stay_out=True),
    ),
    Behaviour(
        "several_cranks",
        "the engine fires only at the third press of the starter",
        _set(crank_tries=3, crank_again_s=4.0),
    ),
    Behaviour(
        "lamp_test",
        "with the key off the bike tests its lamps: 1.5 ms on the trigger every 4 s",
        _set(lamp_test=(4.0, 0.0015)),
    ),
    Behaviour(
        "sticking_relay",
        "the relay's contact sticks and lets go 0.4 s late, the first time only",
        _set(sticks_s=0.4),
        frozenset({"relay_drop_out"}),
        frozenset({"slow_relay"}),
    ),
    Behaviour(
        "opening_feed",
        "a joint of the feed opens under vibration, three times in a run",
        _opening_feed,
        frozenset({"relay_chatter"}),
        frozenset({"intermittent_feed"}),
    ),
    Behaviour(
        "idle_no_charge",
        "the alternator charges only above idle: revved 10 s after the start",
        _set(idle_s=10.0, idle_share=0.35),
        frozenset({"charging_voltage", "charging_balance"}),
    ),
    Behaviour("seldom_wakes", "a device wakes for 2 s every four minutes", _seldom_wakes),
    Behaviour(
        "no_suppression",
        "the coil has no suppression: -24 V for 1 ms on the trigger at key-off",
        _set(suppression="none", kick=(24.0, 0.001)),
    ),
)
BEHAVIOURS: dict[str, Behaviour] = {one.name: one for one in _ALL}
