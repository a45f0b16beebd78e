"""What a simulated install is made of: every number of the battery, relay, wiring, loads and engine in one place."""

import math
from dataclasses import dataclass
from typing import Literal

ContactMode = Literal["normal", "welded", "latching", "inverted", "open"]
Suppression = Literal["none", "resistor", "diode"]


@dataclass(frozen=True, slots=True)
class SimulatedCircuit:
    """One slot of the fuse block with its device.

    Attributes:
        slot: from 1.
        planned_a: A, what the plan says.
        actual_a: A, what really flows, sustained; constant whatever the voltage.
        inrush: extra current at switch-on, as a multiple of ``actual_a``, falling with ``inrush_tau_s``.
        wire_mohm: mΩ of the positive wire from the fuse block to the device.
        pulse: (Hz, share of each period that it draws), from the moment it is fed; ``actual_a`` is then the mean.
    """

    slot: int
    device: str
    planned_a: float
    fuse_a: float
    actual_a: float
    inrush: float = 0.5
    inrush_tau_s: float = 0.02
    wire_mohm: float = 20.0
    pulse: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class BikeLoad:
    """A load of the bike's own, beside the fuse block, that switches by itself.

    Attributes:
        amps: A, while it draws.
        while_: the state it belongs to: the key on, the engine running, or the key off after it was on.
        spans: (s from the start of that state, length s), ascending and apart.
        every_s: after this long the spans come again, for as long as the state lasts; not shorter than they are.
        flash: (Hz, share of each period that it draws) within each span.
        inrush: extra current at the start of each span, as a multiple of ``amps``, falling with ``inrush_tau_s``.
    """

    amps: float
    while_: Literal["key on", "running", "key off"]
    spans: tuple[tuple[float, float], ...] = ((0.0, math.inf),)
    every_s: float = math.inf
    flash: tuple[float, float] | None = None
    inrush: float = 0.0
    inrush_tau_s: float = 0.05


@dataclass(frozen=True, slots=True)
class WakeUps:
    """A device that wakes every ``period_s`` s, first at ``first_s``, and draws ``height_a`` A for ``length_s`` s."""

    period_s: float = 60.0
    length_s: float = 2.0
    height_a: float = 0.010
    first_s: float = 11.3


LARCH = (
    SimulatedCircuit(1, "vaccine cool box", 3.5, 5, 3.42, inrush=1.2, inrush_tau_s=0.08),
    SimulatedCircuit(2, "heated grips", 3.0, 5, 3.05, inrush=0.15, inrush_tau_s=0.3),
    SimulatedCircuit(3, "auxiliary lamp", 1.8, 3, 1.84, inrush=0.4, inrush_tau_s=0.01),
    SimulatedCircuit(4, "tracker and charger", 1.0, 2, 0.96, inrush=0.8, inrush_tau_s=0.005),
)


@dataclass(frozen=True, slots=True)
class SimulatedInstall:
    """The true parameters of one bike and its added wiring. Currents A, voltages V, resistances mΩ, times s or ms.

    The defaults are a small motorcycle that meets its plan. Values are invented, of the size
    that common practice calls usual; no source is claimed for them.
    """

    bike: str = "Larch"
    chemistry: str = "agm"
    capacity_ah: float = 11.2

    # battery, to its posts
    emf_v: float = 12.85
    source_mohm: float = 24.0  # at once
    slow_mohm: float = 1.5  # comes on top with slow_tau_s
    slow_tau_s: float = 0.8
    start_surface_v: float = 0.0  # surface charge when the log starts
    charged_surface_v: float = 0.20  # surface charge left by a run of the engine
    surface_tau_s: float = 90.0
    ambient_c: float = 17.5

    # the bike's own current
    drain_a: float = 0.0006  # asleep
    extra_drain_a: float = 0.0  # a device fed around the relay
    extra_drain_slot: int | None = None  # whose fuse feeds that device; None: none of the block's
    charger_a: float = 0.0  # into the battery all the time, from a charger left connected
    charger_holds_v: float = 0.0  # what that charger holds the battery above its rest with the key off
    awake: tuple[tuple[float, float], ...] = ((0.35, 41.0),)  # (A, until s after key-off), in order
    awake_slot: int | None = None  # whose fuse feeds what stays awake after the first of these
    wakeups: WakeUps | None = None
    wakeups_slot: int | None = None  # whose fuse feeds the device that wakes
    bike_a: float = 4.2  # key on
    bike_inrush: float = 1.0
    bike_inrush_tau_s: float = 0.06
    bike_loads: tuple[BikeLoad, ...] = ()  # what switches by itself, above all these
    key_bounce_ms: tuple[float, ...] = ()  # the key's contact as it is turned on: closed, open, closed, …, then closed

    # trigger line and relay
    trigger_drop_v: float = 0.25  # battery + to terminal 86
    coil_ground_v: float = 0.0  # terminal 85 to battery -, with the coil's current
    trigger_fall_tau_s: float = 0.0002
    key_fall_tau_s: float = 0.0002
    trigger_always_live: bool = False
    trigger_dead: bool = False
    trigger_pulse: tuple[float, float] | None = None  # (Hz, share of each period that it is up), key on
    lamp_test: tuple[float, float] | None = None  # (every s, pulse s) on the dead line, too short to move the armature
    backfed: bool = False
    backfed_slot: int | None = None  # whose circuit feeds the coil; its fuse out, the relay lets go
    trigger_drops_in_crank: bool = False
    lamps_stay_out: bool = False  # cut for a crank, they and the trigger come back only as the engine runs
    coil_ohm: float = 90.0
    coil_h: float = 0.3
    coil_open: bool = False
    suppression: Suppression = "diode"
    resistor_ohm: float = 680.0
    kick: tuple[float, float] | None = None  # (V below ground, s) of the coil's own voltage as the trigger is let go
    pull_in_a: float = 0.075  # coil current that moves the armature
    release_a: float = 0.030
    pull_travel_ms: float = 3.0
    release_travel_ms: float = 2.0
    close_bounce_ms: tuple[float, ...] = (0.4, 0.5, 0.5, 0.3)  # closed, open, closed, open, then closed
    open_bounce_ms: tuple[float, ...] = (0.2, 0.3)  # open, closed, then open
    chatter: tuple[tuple[float, float], ...] = ()  # (s after closing, length s) of openings with the key on
    contact: ContactMode = "normal"
    sticks_s: float = 0.0  # how much later it opens the first time that the key lets it go

    # wiring and circuits
    feed_fuse_a: float = 20.0
    feed_mohm: float = 16.0  # battery + post to the fuse block, with fuse and contact
    feed_fall_tau_s: float = 0.003  # capacitance on the load side
    feed_leak_v: float = 0.02  # what the open feed floats at
    shaken: tuple[tuple[float, float], ...] = ()  # (s after key-on, length s) of a joint of the feed opening
    shaken_running: tuple[tuple[float, float], ...] = ()  # the same after each start of the engine
    ground_mohm: float = 5.0
    ground_open: bool = False
    clips_swapped: bool = False  # the logger's clips of trigger and feed are changed over
    low_side_shunt_mohm: float = 0.0  # a shunt in the negative lead lifts all grounds
    circuits: tuple[SimulatedCircuit, ...] = LARCH

    # starter
    crank_s: float = 1.2
    starter_peak_a: float = 85.0
    starter_run_a: float = 55.0
    starter_tau_s: float = 0.12
    starter_ripple_a: float = 6.0
    starter_ripple_hz: float = 8.0
    crank_tries: int = 1  # presses of the starter until the engine fires, the first time after each key-on
    crank_again_s: float = 6.0  # from one press to the next

    # alternator
    starts: bool = True
    regulated_v: float = 14.3
    alternator_a: float = 22.0
    alternator_tau_s: float = 0.3
    coast_s: float = 1.2  # the engine still turns the alternator after it is stopped
    charge_a: float = 1.5  # into the battery just after the start, above charge_floor_a
    charge_tau_s: float = 6.0
    charge_floor_a: float = 0.7
    ripple_v: float = 0.02
    ripple_hz: float = 173.0
    idle_s: float = 0.0  # how long it idles after the start, before it is revved
    idle_share: float = 1.0  # of alternator_a that idling gives
    stalls_after_s: float | None = None  # running, after the first start since key-on
    kill_before_off_s: float = 0.0  # how long before the key a running engine is stopped by its switch

    @property
    def planned_a(self) -> float:
        """A, sum of the circuits' planned currents."""
        return sum(circuit.planned_a for circuit in self.circuits)

    @property
    def coil_supply_v(self) -> float:
        """V across the coil with the engine off. The coil's current is kept at it, whatever sags."""
        return self.emf_v - self.trigger_drop_v - self.coil_ground_v

    @property
    def coil_a(self) -> float:
        """A through the coil, sustained, with the trigger up."""
        return 0.0 if self.coil_open else self.coil_supply_v / self.coil_ohm
