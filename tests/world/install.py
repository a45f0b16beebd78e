"""The install and the bike it sits on: resistances, circuits, the bike's own loads, starter, charging."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from .battery import Battery, draw_battery
from .coil import OPEN_OHM, Relay
from .loads import Load

# mΩ/m at 20 °C: IEC 60228 class 5 maximum, plain copper.
CONDUCTORS = {"0.75 mm2": 26.0, "1 mm2": 19.5, "1.5 mm2": 13.3, "2.5 mm2": 7.98, "4 mm2": 4.95, "6 mm2": 3.30}
# What each size bears with a blade fuse in front of it, A (common practice, no source); used to draw sane plans.
FUSES = (2, 3, 5, 7.5, 10, 15, 20, 25, 30)
WIRE_FOR_FUSE = {2: "1 mm2", 3: "1 mm2", 5: "1 mm2", 7.5: "1.5 mm2", 10: "1.5 mm2", 15: "2.5 mm2", 20: "4 mm2"}
DEVICES = (
    ("auxiliary lamp", (1.0, 5.0)),
    ("heated grips", (2.0, 4.5)),
    ("heated vest", (3.0, 7.0)),
    ("phone charger", (0.8, 2.4)),
    ("tracker and charger", (0.8, 1.8)),
    ("horn relay and compressor", (3.0, 8.0)),
    ("radio", (0.8, 2.5)),
    ("cool box", (2.5, 4.5)),
    ("seat heater", (1.5, 4.0)),
    ("fog lamp", (1.5, 4.5)),
)


@dataclass
class Charging:
    """Alternator and regulator; `cut_in_rpm` is where the alternator begins to give."""

    regulated_v: float
    full_a: float
    cut_in_rpm: float
    full_rpm: float
    idle_rpm: float
    rev_rpm: float
    ripple: float = 0.0  # share of the alternator's current
    spike_v: float = 0.0  # ignition spikes on battery voltage
    rundown_s: float = 0.6
    hunt_v: float = 0.0
    hunt_hz: float = 1.0


@dataclass
class Starter:
    """Starter motor: resistance, back-EMF share of the resting voltage, build-up, compression ripple."""

    ohm: float
    back: float
    spin_s: float
    ripple_hz: float
    ripple: float


@dataclass
class Install:
    """Everything with a value, drawn once; behaviours and faults change it afterwards."""

    battery: Battery
    relay: Relay
    feed_ohm: float  # battery + to fuse block: wire, fuse, joints, contact
    ground_ohm: float
    wiring: dict  # the plan's side: conductors, lengths, fuse
    circuits: list[Load]  # place "block", in slot order
    fuses: list[float]
    bike: list[Load]
    charging: Charging
    starter: Starter
    key_drop_v: float
    block_f: float  # capacitors across the fuse block
    bleed_s: float  # how fast these empty when nothing else is on
    leak_v: float  # what the open feed floats at
    drain_a: float  # the bike's own off-state drain
    added_a: float  # what the install adds to it
    lamps_cut: bool  # the trigger's line is cut while cranking
    # faults and behaviours set these
    feed_open: bool = False
    ground_open: bool = False
    inverted: bool = False
    ground_shunt_ohm: float = 0.0
    forced_closed: list[tuple[float, float]] = field(default_factory=list)
    forced_open: list[tuple[float, float]] = field(default_factory=list)
    trigger_dead: bool = False
    trigger_live: bool = False
    trigger_pulse: tuple[float, float] | None = None  # Hz, duty
    trigger_flashes: list[tuple[float, float]] = field(default_factory=list)  # lamp-test pulses
    key_cut_in_crank: bool = False
    chargers: list[tuple[float, float, float, float]] = field(default_factory=list)  # from, to, amperes, volts

    @property
    def planned_a(self) -> float:
        """Sum of the circuits' planned currents."""
        return sum(self.wiring["planned"])


def _draw_relay(rng: np.random.Generator) -> Relay:
    """Coil 70 to 110 Ω (data sheets: 85 to 100 Ω), L/R 2 to 5 ms (0.3 H and 90 Ω worked example), pull-in at 45 to
    60 % and drop-out at 10 to 30 % of the current at 12 V (data sheets: 7 V and 1.2 V of 12 V), travel 2 to 6 ms
    closing and 1.5 to 4 ms opening (data sheets' operate and release times, 3 to 10 ms).
    """
    ohm = rng.uniform(70.0, 110.0)
    suppression = str(rng.choice(["diode", "resistor", "none"], p=[0.5, 0.3, 0.2]))
    nominal = 12.0 / ohm
    n = int(rng.integers(0, 4))
    starts = np.sort(rng.uniform(0.2e-3, 2.5e-3, n)) if n else np.array([])
    bounce = []
    for k, s in enumerate(starts):
        stop = min(s + rng.uniform(0.1e-3, 0.5e-3), starts[k + 1] - 5e-5 if k + 1 < n else 3e-3)
        if stop > s:
            bounce.append((float(s), float(stop)))
    return Relay(
        coil_ohm=ohm,
        coil_h=ohm * rng.uniform(2e-3, 5e-3),
        suppression=suppression,
        clamp_v=0.75 if suppression == "diode" else rng.uniform(24.0, 120.0),
        resistor_ohm=rng.uniform(330.0, 680.0),
        pull_a=nominal * rng.uniform(0.45, 0.6),
        hold_a=nominal * rng.uniform(0.10, 0.30),
        rise_s=rng.uniform(2e-3, 6e-3),
        fall_s=rng.uniform(1.5e-3, 4e-3),
        rs=float(np.exp(rng.uniform(np.log(0.05), np.log(1.5)))),
        lamp_ohm=float(rng.choice([OPEN_OHM, 12.0**2 / 5, 12.0**2 / 8, 12.0**2 / 21], p=[0.5, 0.2, 0.15, 0.15])),
        c=float(np.exp(rng.uniform(np.log(1e-9), np.log(2e-7)))),
        bounce=bounce,
    )


def _draw_circuits(rng: np.random.Generator) -> tuple[list[Load], list[float], list[float], list[tuple[str, float]]]:
    n = int(rng.integers(2, 6))
    picks = rng.choice(len(DEVICES), n, replace=False)
    circuits, planned, fuses, wires = [], [], [], []
    for p in picks:
        name, (lo, hi) = DEVICES[p]
        amps = round(float(rng.uniform(lo, hi)), 1)
        while any(abs(amps - x) < 0.25 for x in planned):  # a plan that steps can be told apart by
            amps = round(amps + 0.3, 1)
        fuse = next(f for f in FUSES if f * 0.8 >= amps * 1.25)
        wire, length = WIRE_FOR_FUSE.get(fuse, "4 mm2"), round(float(rng.uniform(0.6, 2.0)), 1)
        kind = "power" if ("charger" in name or name in ("radio", "cool box")) else "resistor"
        lamp = "lamp" in name or "cool box" in name or "compressor" in name
        circuits.append(
            Load(
                name=name,
                amps=amps * float(rng.uniform(0.92, 1.0)),
                place="block",
                kind=kind,
                # filament lamps and motors start at 3 to 8 times their current (common practice, no source)
                inrush=float(rng.uniform(2.0, 7.0)) if lamp else 1.0,
                inrush_s=float(rng.uniform(0.01, 0.08)),
                wire_ohm=2 * length * CONDUCTORS[wire] / 1000,
            )
        )
        planned.append(amps)
        fuses.append(fuse)
        wires.append((wire, length))
    return circuits, planned, fuses, wires


def _draw_bike(rng: np.random.Generator) -> list[Load]:
    """Ignition and ECU 1 to 4 A, lamps 1 to 5 A, instruments (common practice, no source); switched with the key."""
    return [
        Load("engine control and ignition", float(rng.uniform(0.8, 3.0)), "key", "power"),
        Load(
            "headlamp", float(rng.uniform(1.5, 4.6)), "key", "resistor", inrush=float(rng.uniform(1, 6)), inrush_s=0.05
        ),
        Load("tail lamp and instruments", float(rng.uniform(0.3, 1.2)), "key", "resistor"),
    ]


def draw_install(rng: np.random.Generator) -> Install:
    """One healthy install; each range's source stands beside it, else it is from memory."""
    circuits, planned, fuses, wires = _draw_circuits(rng)
    total = sum(planned)
    battery = draw_battery(rng, total / 1.4)  # nobody hangs 20 A on a 4 Ah battery
    feed_fuse = next((f for f in FUSES if f * 0.8 >= total * 1.1), 30)
    conductor = "4 mm2" if feed_fuse <= 20 else "6 mm2"
    feed_m, ground_m = round(float(rng.uniform(0.6, 2.0)), 1), round(float(rng.uniform(0.5, 2.0)), 1)
    # joints and contact: contact 2 to 8 mΩ, fuse and holder 2 to 6 mΩ, two joints of 0.2 to 1 mΩ (from memory)
    feed = feed_m * CONDUCTORS[conductor] / 1000 + rng.uniform(2e-3, 8e-3) + rng.uniform(2e-3, 6e-3) + 1e-3
    ground = ground_m * CONDUCTORS[conductor] / 1000 + rng.uniform(0.2e-3, 1.5e-3)
    regulated = rng.uniform(13.9, 14.6)
    bike = _draw_bike(rng)
    rest_v = battery.open_circuit_v(battery.charge)
    # an alternator that carries bike, install and a nearly full battery's charging
    takes = (regulated - rest_v) / (battery.r0 + battery.accept_ohm + battery.r1)
    full = 1.2 * (total + sum(x.amps for x in bike)) + takes + rng.uniform(3.0, 10.0)
    # cranking 60 to 140 A for small engines (common practice, no source), ripple at compressions 2 to 10 Hz
    drop = rng.uniform(0.08, 0.18) * rest_v
    steady_a = min(drop / battery.r0, rng.uniform(60.0, 140.0))
    starter_ohm = rng.uniform(0.45, 0.7) * rest_v / steady_a
    back = (rest_v - steady_a * (battery.r0 + starter_ohm)) / rest_v
    return Install(
        battery=battery,
        relay=_draw_relay(rng),
        feed_ohm=float(feed),
        ground_ohm=float(ground),
        wiring={
            "planned": planned,
            "wires": wires,
            "feed_fuse": feed_fuse,
            "conductor": conductor,
            "feed_m": feed_m,
            "ground_m": ground_m,
        },
        circuits=circuits,
        fuses=fuses,
        bike=bike,
        charging=Charging(
            regulated_v=float(regulated),
            full_a=float(full),
            cut_in_rpm=float(rng.uniform(500, 900)),
            full_rpm=float(rng.uniform(1100, 1300)),
            idle_rpm=float(rng.uniform(1300, 1600)),
            rev_rpm=float(rng.uniform(2500, 5000)),
            rundown_s=float(rng.uniform(0.2, 1.2)),
        ),
        starter=Starter(
            float(starter_ohm), float(back), float(rng.uniform(0.05, 0.15)), float(rng.uniform(2, 10)), 0.12
        ),
        key_drop_v=float(rng.uniform(0.02, 0.3)),
        block_f=float(rng.choice([0.0, 1.0], p=[0.6, 0.4]) * math.exp(rng.uniform(math.log(5e-5), math.log(3e-3)))),
        bleed_s=float(rng.uniform(0.1, 1.5)),
        leak_v=float(rng.uniform(0.0, 0.05)),
        # clocks, alarms: makers print 0.5 to 1.5 mA as leakage limits for motorcycles (service manuals)
        drain_a=float(rng.uniform(0.1e-3, 0.9e-3)),
        added_a=float(rng.uniform(0.0, 0.15e-3)),
        lamps_cut=bool(rng.random() < 0.5),
    )
