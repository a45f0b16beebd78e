"""A meter on the running stand-in: what is typed, and what it shows."""

import re
from collections.abc import Callable

import numpy as np

from benchlog.core.errors import BenchlogError
from benchlog.standin.channels import true_values
from benchlog.standin.install import SimulatedInstall
from benchlog.standin.probing.installs import without
from benchlog.standin.probing.looks import looked
from benchlog.standin.probing.places import PlacedFault, placed
from benchlog.standin.probing.wiring import AsItStands, amps, ohms, points_of, volts
from benchlog.standin.streaming import CannotDo, LiveBike

#: How long a meter takes to show a figure, bike time, s.
READS_IN_S = 0.5
#: Above this it shows OL, Ω.
RANGE_OHM = 2e6
LONGEST_WAIT_S = 86_400.0
#: Role of a logger's clip that can be moved -> what it is called.
CLIPS = {"trigger": "trigger_v", "feed": "feed_v", "ground": "ground_v"}
THINGS = "device N, slot N, feed, relay, bike fuse, charging, charger, battery"
HELP = (
    "probe POINT POINT · ohms POINT POINT · clamp feed, battery or slot N · drain · look STATEMENT",
    f"unplug THING · plug THING ({THINGS})",
    "wait SECONDS · clip feed POINT · mend PLACE",
)


class Probes:
    """The tester's meter and tools on one live bike.

    Args:
        bike: is acted on, and changed where something is unplugged or mended.
        good: its install without a fault.
        fault: where its fault sits; None where it has none.
    """

    def __init__(self, bike: LiveBike, good: SimulatedInstall | None = None, fault: PlacedFault | None = None) -> None:
        self.bike, self.fault = bike, fault
        self.good = good or bike.install
        self._faulty = bike.install
        self._out: set[str] = set()

    def answer(self, text: str, *, read: bool) -> str | None:
        """What a typed line shows or did; None where it is nothing for a meter or tool.

        Args:
            text: as typed. read: a program reads the logger, and so time runs by itself.

        Raises:
            CannotDo: there is no such point, thing or place, or it cannot be measured like this.
        """
        what, _, rest = " ".join(text.split()).partition(" ")
        known: dict[str, Callable[[str], str]] = {
            "probe": self._volts,
            "ohms": self._ohms,
            "clamp": self._clamp,
            "drain": self._drain,
            "look": self._look,
            "unplug": lambda named: self._take(named, out=True),
            "plug": lambda named: self._take(named, out=False),
            "mend": self._mend,
            "clip": self._clip,
        }
        what = what.lower()
        if what == "wait":
            return self._wait(rest, read=read)
        if what not in known:
            return None
        if not read:
            self.bike.let_pass(READS_IN_S)
        return known[what](rest)

    def _wait(self, rest: str, *, read: bool) -> str:
        if read:
            raise CannotDo("a program reads the logger, so time runs by itself")
        if not re.fullmatch(r"\d{1,6}(\.\d+)?", rest) or not 0 < float(rest) <= LONGEST_WAIT_S:
            raise CannotDo(f'wait needs a number of seconds up to {LONGEST_WAIT_S:.0f}, got "{rest[:40]}"')
        self.bike.let_pass(float(rest))
        return f"{self.bike.time_s:.0f} s"

    def _volts(self, rest: str) -> str:
        start, end = self._points(rest)
        if "battery" in self._out:
            raise CannotDo("the battery's negative lead is off, so that there is no voltage; type plug battery")
        return volts_shown(self._mean(lambda now: volts(now, start, end)))

    def _ohms(self, rest: str) -> str:
        start, end = self._points(rest)
        if "battery" not in self._out:
            raise CannotDo("ohms only with power off; type unplug battery first")
        value = ohms(self._standing(trigger=False, pulled=False), start, end)
        return "OL" if value > RANGE_OHM else f"{value:.0f} ohm" if value >= 200 else f"{value:.1f} ohm"

    def _clamp(self, rest: str) -> str:
        if rest == "battery":
            return f"{self._true('battery_a'):.2f} A"
        slot = re.fullmatch(r"slot (\d{1,3})", rest)
        if slot is not None:
            self._known_slot(int(slot[1]))
        elif rest != "feed":
            raise CannotDo(f'clamp feed, battery or slot N; got "{rest[:40]}"')
        place = "contact" if slot is None else f"fuse {slot[1]}"
        return f"{self._mean(lambda now: amps(now, place)):.2f} A"

    def _drain(self, rest: str) -> str:
        if rest:
            raise CannotDo(f'drain takes no points: unplug first what is to be out; got "{rest[:40]}"')
        if self._key_on():
            raise CannotDo("no key-on with an ammeter in line; type key off first")
        shown_ma = 1000 * self._true("battery_a")
        size = abs(shown_ma)
        return f"{shown_ma:.{2 if size < 20 else 1 if size < 200 else 0}f} mA"

    def _look(self, rest: str) -> str:
        install = self._now()
        trigger = not install.trigger_dead
        seen = looked(rest, self._standing(trigger=trigger, pulled=trigger and install.coil_a >= install.pull_in_a))
        if seen is None:
            raise CannotDo(f'"{rest[:80]}" is no statement that can be looked at; copy it from the test')
        return "yes" if seen else "no"

    def _take(self, rest: str, *, out: bool) -> str:
        things = [thing.strip() for thing in rest.split(",")]
        for thing in things:
            self._known_thing(thing)
        for thing in things:
            if thing.startswith("slot"):
                self.bike.act(f"fuse {thing.split()[1]} {'out' if out else 'in'}")
            else:
                (self._out.add if out else self._out.discard)({"feed fuse": "feed"}.get(thing, thing))
        self.bike.become(self._now())
        return f"{', '.join(things)} {'out' if out else 'in'}"

    def _mend(self, rest: str) -> str:
        slots = [circuit.slot for circuit in self.good.circuits]
        if self.fault is None:
            raise CannotDo("this bike has no fault")
        if rest != self.fault.place:
            try:
                placed(self.fault.kind, rest, slots)
            except BenchlogError:
                if rest not in {self.fault.place, *points_of(self.good)}:
                    raise CannotDo(f'"{rest[:40]}" is no place where that can be mended') from None
            return "nothing was wrong there"
        self.fault, self._faulty = None, self.good
        self.bike.become(self._now())
        return "mended"

    def _clip(self, rest: str) -> str:
        name, _, point = rest.partition(" ")
        if name not in CLIPS or CLIPS[name] not in self.bike.spec.roles:
            raise CannotDo(f'clip needs {", ".join(CLIPS)} and a point, or back; got "{rest[:40]}"')
        if point == "back":
            self.bike.moved_clips.pop(CLIPS[name], None)
            return f"{name} clip back"
        if point not in points_of(self.good):
            raise CannotDo(self._no_point(point))
        self.bike.moved_clips[CLIPS[name]] = lambda: self._mean(lambda now: volts(now, point, "battery -"))
        return f"{name} clip on {point}"

    def _points(self, rest: str) -> tuple[str, str]:
        known = points_of(self.good)
        for start in known:
            if rest.startswith(f"{start} ") and (end := rest[len(start) + 1 :].removeprefix("to ")) in known:
                return start, end
        raise CannotDo(self._no_point(rest))

    def _no_point(self, text: str) -> str:
        return f'"{text[:60]}" names no points of this install; its points are: {", ".join(points_of(self.good))}'

    def _known_thing(self, thing: str) -> None:
        found = re.fullmatch(r"(device|slot) (\d{1,3})", thing)
        if found is not None:
            self._known_slot(int(found[2]))
        elif thing not in ("feed", "feed fuse", "relay", "bike fuse", "charging", "charger", "battery"):
            raise CannotDo(f'"{thing[:40]}" cannot be unplugged; these can: {THINGS}')

    def _known_slot(self, slot: int) -> None:
        slots = [circuit.slot for circuit in self.good.circuits]
        if slot not in slots:
            raise CannotDo(f"there is no slot {slot} on this bike; its slots are: {', '.join(map(str, slots))}")

    def _now(self) -> SimulatedInstall:
        return without(self._faulty, self.fault, self._out)

    def _key_on(self) -> bool:
        return bool(self.bike.line.key.at(np.array([self.bike.time_s]))[0])

    def _true(self, role: str) -> float:
        line, at = self.bike.line, np.array([self.bike.time_s])
        return float(true_values(line, at, [role])[role][0])

    def _mean(self, of: Callable[[AsItStands], float]) -> float:
        """What a meter makes of a pulsed trigger: the mean over its pulses; else the value as it stands."""
        pulse, now = self._now().trigger_pulse, self.bike.time_s
        pulled = next((move[1] for move in reversed(self.bike.line.armature) if move[0] <= now), False)
        trigger = (self._key_on() or self._now().trigger_always_live) and "bike fuse" not in self._out
        if pulse is None or not self._key_on():
            return of(self._standing(trigger=trigger, pulled=pulled))
        up, down = (of(self._standing(trigger=state, pulled=state)) for state in (True, False))
        return pulse[1] * up + (1 - pulse[1]) * down

    def _standing(self, *, trigger: bool, pulled: bool) -> AsItStands:
        mode = self._faulty.contact
        contact = {"welded": True, "latching": True, "inverted": not pulled}.get(mode, pulled)
        on = {
            circuit.slot
            for circuit in self.good.circuits
            if [act.do for act in self.bike.remembered if act.slot == circuit.slot and act.do.startswith("slot")][-1:]
            == ["slot on"]
        }
        fuses = {act.slot: act.do for act in self.bike.remembered if act.do.startswith("fuse")}
        out = {f"slot {slot}" for slot, done in fuses.items() if done == "fuse out"}
        held = self._now().trigger_always_live or self._now().backfed  # no click: it has been pulled in all along
        return AsItStands(
            install=self._now(),
            good=self.good,
            fault=self.fault,
            battery_v=self._true("battery_v"),
            trigger=trigger,
            contact=contact and "relay" not in self._out,
            clicks=pulled and not held,
            on=frozenset(on),
            out=frozenset(self._out | out),
        )


def volts_shown(value: float) -> str:
    """As a meter of 2,000 counts shows it."""
    return f"{value:.{3 if abs(value) < 2 else 2}f} V"
