"""A bike with one fault as a netlist for ngspice, written apart from benchlog: what a meter would show on it.

Resistances, strengths of faults and the relay's doings are this file's own; of the plan it takes the figures alone.
ngspice must be installed; without it the tests that use this file fail.
"""

import atexit
import re
import subprocess
import tempfile
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

from benchlog.plan.model import Plan

BROKEN, NONE = 2e9, 1e12
KINDS = {
    "battery + to fuse in": ("open", "resistive", "intermittent"),
    "feed fuse": ("open", "resistive"),
    "fuse out to 30": ("open", "resistive", "intermittent", "short"),
    "contact": ("open", "resistive", "stuck"),
    "87 to block": ("open", "resistive", "intermittent", "short"),
    "bus to battery -": ("open", "resistive", "intermittent"),
    "battery": ("weak",),
    "charging": ("open", "weak", "overvoltage", "leak", "backfeeds"),
    "key line to 86": ("open", "resistive"),
    "trigger source": ("open", "resistive", "stuck", "slow", "wrong circuit"),
    "coil": ("open", "slow"),
    "85 to battery -": ("open", "resistive"),
    "relay socket": ("open", "resistive", "wrong terminal"),
    "bike": ("leak", "wakes", "slow"),
    "measurement": ("wrong terminal",),
}
SLOT_KINDS = {
    "fuse {}": ("open", "resistive"),
    "slot {} to device": ("open", "resistive", "short"),
    "device {}": ("open", "overload", "short", "leak", "wakes", "backfeeds", "slow"),
    "device {} to bus": ("open", "resistive"),
}


def every_fault(plan: Plan) -> list[tuple[str, str]]:
    """Every place with each of its kinds."""
    found = [(place, kind) for place, kinds in KINDS.items() for kind in kinds]
    for circuit in plan.circuit:
        found += [(place.format(circuit.slot), kind) for place, kinds in SLOT_KINDS.items() for kind in kinds]
    return found


@dataclass
class FaultyBike:
    """One bike; ``volts`` runs ngspice on it."""

    plan: Plan
    place: str
    kind: str
    seed: int
    wires: dict[str, tuple[str, str, float]] = field(default_factory=dict)
    leaks_a: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.draw = np.random.default_rng(self.seed)
        self.emf = self.draw.uniform(12.45, 12.8)
        self.own_ohm = 12.6 / self.draw.uniform(0.8, 4.0)
        self.closed, self.asleep_live, self.asleep_86 = True, False, False
        self.running_v = self.draw.uniform(13.8, 14.5)
        self.cranking_v = self.draw.uniform(9.9, 11.2)
        self.duty = 1.0
        self.base_a = self.draw.uniform(0.0002, 0.0009)
        self._good()
        self._spoil()
        self._relay()

    def _good(self) -> None:
        d = self.draw

        def wire(metres: float, area: float, joints: int) -> float:
            return 0.0178 * metres / area * d.uniform(1.0, 1.15) + joints * d.uniform(0.0003, 0.0009)

        feed_m = (self.plan.feed.run_m if self.plan.feed else None) or 1.5
        area = self.plan.feed.wire.area_mm2 if self.plan.feed and self.plan.feed.wire else 2.5
        ground_m = (self.plan.ground.run_m if self.plan.ground else None) or 1.5
        ground = self.plan.ground.wire.area_mm2 if self.plan.ground and self.plan.ground.wire else 2.5
        first = d.uniform(0.12, 0.28)
        fuse = 0.07 / ((self.plan.feed.fuse_a if self.plan.feed else None) or 15.0)
        self.wires = {
            "battery": ("cell", "battery +", d.uniform(0.01, 0.03)),
            "battery + to fuse in": ("battery +", "fuse in", wire(feed_m * first, area, 1)),
            "feed fuse": ("fuse in", "fuse out", fuse * d.uniform(0.7, 1.2) + d.uniform(0.0003, 0.0015)),
            "fuse out to 30": ("fuse out", "30", wire(feed_m * 0.45, area, 1)),
            "contact": ("30", "87", d.uniform(0.0025, 0.009)),
            "87 to block": ("87", "block", wire(feed_m * (0.55 - first), area, 1)),
            "bus to battery -": ("bus", "battery -", wire(ground_m, ground, 2)),
            "trigger source": ("battery +", "key line", d.uniform(0.08, 0.6)),
            "key line to 86": ("key line", "86", d.uniform(0.01, 0.1)),
            "coil": (
                "86",
                "85",
                12.6 / ((self.plan.relay.coil_a if self.plan.relay else None) or 0.15) * d.uniform(0.85, 1.15),
            ),
            "85 to battery -": ("85", "battery -", d.uniform(0.01, 0.1)),
            "lamp": ("key line", "battery -", d.uniform(18, 60)),
        }
        for each in self.plan.circuit:
            n, size = each.slot, (each.wire.area_mm2 if each.wire else 2.5)
            plus, minus = f"device {n} +", f"device {n} -"
            self.wires |= {
                f"fuse {n}": ("block", f"slot {n}", 0.07 / (each.fuse_a or 15.0) * d.uniform(0.7, 1.2) + 0.001),
                f"slot {n} to device": (f"slot {n}", plus, wire(each.run_m or 1.5, size, 2)),
                f"device {n}": (plus, minus, 12.7 / (each.planned_a * d.uniform(0.92, 1.08))),
                f"device {n} to bus": (minus, "bus", wire(each.run_m or 1.5, size, 2)),
            }

    def _set(self, name: str, ohm: float) -> None:
        start, end, _ = self.wires[name]
        self.wires[name] = (start, end, ohm)

    def _spoil(self) -> None:
        """Put the fault in, with a strength that a log's checks see."""
        d, kind = self.draw, self.kind
        place = "contact" if self.place == "relay socket" and kind in ("open", "resistive") else self.place
        slot = next((word for word in place.split() if word.isdigit() and int(word) < 30), None)
        if place in ("fuse out to 30", "87 to block"):
            slot = None
        amps = self.plan.planned_load_a
        if slot is not None:
            amps = next(each.planned_a for each in self.plan.circuit if each.slot == int(slot))
        if kind == "open" and place == "charging":
            self.running_v = self.emf - d.uniform(0.3, 0.9)
        elif kind == "open":
            self._set(place, BROKEN)
        elif kind == "resistive":
            low, high = (4.0, 9.0) if slot else (0.3, 5.0)
            if place == "bus to battery -":
                low = 0.15
            coil = place in ("key line to 86", "trigger source", "85 to battery -")
            volts = np.exp(d.uniform(np.log(low), np.log(high)))
            ohm = 12.6 / amps * volts / (12.6 - volts)
            if place == "trigger source":  # the lamps on its line draw as well
                self._set(place, self.wires["lamp"][2] * d.uniform(0.7, 3.0))
            else:
                self._set(place, self.wires[place][2] + (self.wires["coil"][2] * d.uniform(0.8, 3) if coil else ohm))
        elif kind == "short":
            self._set(f"fuse {slot}" if slot else "feed fuse", BROKEN)
            at = f"device {slot} +" if slot else self.wires[place][1]
            end = f"device {slot} -" if place.startswith("device") else "battery -"
            self.wires["short"] = (at, end, d.uniform(0.005, 0.3))
        elif kind == "overload":
            self._set(place, self.wires[place][2] / d.uniform(1.4, 2.5))
        elif kind == "leak":
            self.leaks_a[place] = np.exp(d.uniform(np.log(0.004), np.log(1.5)))
        elif kind == "backfeeds" and place == "charging":
            self.leaks_a[place] = -d.uniform(0.05, 0.9)
        elif kind in ("backfeeds", "stuck"):
            self.asleep_live, self.asleep_86 = True, place != "contact"
        elif kind == "wrong terminal" and place == "relay socket":
            self.asleep_live = True
        elif kind == "overvoltage":
            self.running_v = d.uniform(15.2, 17.5)
        elif kind == "wrong circuit":
            self.duty = d.uniform(0.15, 0.9)
        elif place == "battery":
            self._set(place, d.uniform(0.06, 0.2))
            self.cranking_v = d.uniform(6.0, 9.2)
            self.emf -= d.choice([0.0, d.uniform(0.5, 1.5)])
        elif place == "charging":
            self.running_v = self.emf + d.uniform(-0.3, 0.3)

    def _relay(self) -> None:
        """The contact: closed by the coil with the key on, but not on 87a."""
        self.closed = False
        volts = self.volts("86", "85", "key on")
        pulled = volts > 7.5 and self.wires["coil"][2] < 1e6  # a broken coil has all the voltage, and pulls nothing
        self.clicks = pulled and not self.asleep_86  # one that is held does not move
        self.closed = pulled != ((self.place, self.kind) == ("relay socket", "wrong terminal"))
        self.closed |= (self.place, self.kind) == ("contact", "stuck")

    def volts(self, start: str, end: str, state: str, without: tuple[str, ...] = (), meter_ohm: float = 1e7) -> float:
        """What ngspice gives between two points with the meter across them."""
        return self._op(start, end, state, without, meter_ohm)[0]

    def battery_a(self, without: tuple[str, ...] = ()) -> float:
        """Out of the battery, asleep."""
        return self._op("battery +", "battery -", "asleep", without, 1e12)[1]

    def amps(self, *names: str) -> list[float]:
        """Through wires, all on."""
        pairs = [self.wires[name][:2] for name in names]
        volts = self._op_all(pairs, "all on", (), 1e12)[0]
        return [volt / self.wires[name][2] for volt, name in zip(volts, names, strict=True)]

    def drops(self, *pairs: tuple[str, str]) -> list[float]:
        """Between pairs of points, all on, as a logger without load sees them."""
        return self._op_all(list(pairs), "all on", (), 1e12)[0]

    def ohms(self, start: str, end: str, without: tuple[str, ...]) -> float:
        """A meter's ohms: its own 0.1 mA through the dead bike, 0.3 ohm of leads included."""
        volts = self._op(start, end, "power off", without, 1e7)[0]
        return volts / 1e-4 + 0.3

    def _op(self, start: str, end: str, state: str, without: tuple[str, ...], meter_ohm: float) -> tuple[float, float]:
        volts, amps = self._op_all([(start, end)], state, without, meter_ohm)
        return volts[0], amps

    def _op_all(
        self, pairs: list[tuple[str, str]], state: str, without: tuple[str, ...], meter_ohm: float
    ) -> tuple[list[float], float]:
        """Voltages between pairs of points, a meter across each, and the battery's current."""
        nodes = {"battery -": "0"}
        for near, far, _ in self.wires.values():
            for point in (near, far):
                nodes.setdefault(point, f"n{len(nodes)}")
        off = self._taken_out(state, without)
        lines = [
            f"R{index} {nodes[near]} {nodes[far]} {BROKEN if name in off else ohm:.9g}"
            for index, (name, (near, far, ohm)) in enumerate(self.wires.items())
        ]
        lines += [f"RL{index} {node} 0 1e12" for index, node in enumerate(nodes.values()) if node != "0"]
        lines += [f"RM{n} {nodes[start]} {nodes[end]} {meter_ohm}" for n, (start, end) in enumerate(pairs)]
        if state == "power off":
            lines += ["VB nc 0 0", f"IM {nodes[pairs[0][1]]} {nodes[pairs[0][0]]} 1e-4"]
        else:
            lines.append(f"VB {nodes['cell']} 0 {self.emf}")
        if state in ("key on", "all on"):
            lines.append(f"RO {nodes['battery +']} 0 {self.own_ohm}")
        if state == "asleep":
            lines += [f"IL{n} {nodes['battery +']} 0 {amps}" for n, amps in enumerate(self._leaking(without))]
        return _run(lines, [(nodes[start], nodes[end]) for start, end in pairs])

    def _taken_out(self, state: str, without: tuple[str, ...]) -> set[str]:
        off = {out for out in without if out.startswith("device")}
        off |= {out.replace("slot", "fuse") for out in without if out.startswith("slot")}
        off |= {"feed fuse"} if {"feed", "feed fuse"} & set(without) else set()
        off |= {"coil", "contact"} if "relay" in without or state == "power off" else set()
        if (state, tuple(without)) == ("power off", ("relay",)):
            off -= {"coil"}  # the coil is measured at the relay in the hand
            off |= {"key line to 86", "85 to battery -"}
        if state == "power off" and len(without) == 1 and without[0].startswith("device"):
            slot = without[0].split()[1]  # and a device at its own plug
            off = (off - {without[0]}) | {f"slot {slot} to device", f"device {slot} to bus"}
        if state == "power off":
            return off | {"battery"}
        if state == "asleep":
            held = self.place.startswith("device") and self.kind == "backfeeds"
            let_go = held and bool({self.place, self.place.replace("device", "slot")} & set(without))
            off |= {"contact"} if not self.asleep_live or let_go else set()
            off |= {"trigger source"} if not self.asleep_86 or let_go or (held and "relay" in without) else set()
            off |= {f"device {each.slot}" for each in self.plan.circuit[::2]}  # half of them are switched off
        elif not self.closed:
            off |= {"contact"}
        if state == "key on":
            off |= {f"device {each.slot}" for each in self.plan.circuit}
        return off

    def _leaking(self, without: tuple[str, ...]) -> list[float]:
        gone = {out.replace("bike fuse", "bike") for out in without}
        return [self.base_a, *(amps for place, amps in self.leaks_a.items() if place not in gone)]


class _Spice:
    """One ngspice that takes deck after deck through a pipe: a process a deck costs ten times the solution."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory()
        self._deck = Path(self._folder.name) / "deck.cir"
        self._process = subprocess.Popen(
            ["ngspice", "-p"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            cwd=self._folder.name,
        )

    def ask(self, deck: str, commands: list[str]) -> str:
        """What the commands print about a deck."""
        self._deck.write_text(deck, encoding="utf-8")
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write("\n".join([f"source {self._deck.name}", *commands, "remcirc", "echo all-done", ""]))
        self._process.stdin.flush()
        lines = []
        while "all-done" not in (line := self._process.stdout.readline()):
            assert line, f"ngspice ended: {lines}"
            lines.append(line.replace("ngspice", "").lstrip("0123456789 ->"))
        return "".join(lines)

    def close(self) -> None:
        """End the process."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(10)
        assert self._process.stdout is not None
        self._process.stdout.close()
        self._folder.cleanup()


@cache
def _spice() -> _Spice:
    spice = _Spice()
    atexit.register(spice.close)
    return spice


def _run(lines: list[str], pairs: list[tuple[str, str]]) -> tuple[list[float], float]:
    commands = ["op"]
    for n, (start, end) in enumerate(pairs):
        reading = f"v({start})" if end == "0" else f"-v({end})" if start == "0" else f"v({start})-v({end})"
        commands += [f"let reading{n}={reading}", f"print reading{n}"]
    said = _spice().ask("\n".join(["bike", *lines, ".options gmin=1e-14", ".end", ""]), [*commands, "print i(vb)"])
    found = dict(re.findall(r"(reading\d+|i\(vb\)) = ([-+.\de]+)", said))
    assert len(found) == len(pairs) + 1, said
    return [float(found[f"reading{n}"]) for n in range(len(pairs))], -float(found["i(vb)"])
