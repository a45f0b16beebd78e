"""The forward model: what every test shows on every copy of the install. The effects of faults stand here alone."""

from fnmatch import fnmatch

import numpy as np

from benchlog.find.copies import COPIES, LAMP_OHM, OPEN_OHM, PULL_IN_V, Copies, Flags, Values
from benchlog.find.flaws import Flaw
from benchlog.find.network import Branch, voltages
from benchlog.find.questions import OL_OHM, WIGGLED_TOGETHER, Question

#: Statement -> the faults (place, kind) that make it false; one of a statement's several faults is enough.
FALSE_WITH: dict[str, tuple[tuple[str, str], ...]] = {
    "voltage at 86 steady": (("trigger source", "wrong circuit"),),
    "trigger wire alone lets the relay go in time": (("coil", "slow"),),
    "this relay is in time on a fused lead of its own": (("coil", "slow"),),
    "another relay is in time": (("trigger source", "slow"),),
    "trigger clip on 86, feed clip on 87": (("measurement", "wrong terminal"),),
    "block's wire on 87": (("relay socket", "wrong terminal"),),
    "charger and solar panel unplugged": (("charging", "backfeeds"),),
    "charging fuse and alternator plug intact": (("charging", "open"),),
}
#: Statement with something unplugged -> the kind that makes it false while its place is still connected.
SLOW_KINDS = {"no wake-up in the watch": "wakes", "asleep in time": "slow"}


class Forward:
    """What every test shows, copy by copy."""

    def __init__(self, copies: Copies, flaws: list[Flaw]) -> None:
        self.copies, self.flaws = copies, flaws
        self._pairs = [(flaw.place, flaw.kind) for flaw in flaws] + [("", "")]  # -1 is the good install
        devices = [part.place for part in copies.parts if part.start.startswith("device") and part.end != "bus"]
        drawn = np.random.default_rng(2).integers(0, 2, (COPIES, len(devices)))
        of_copy = np.arange(copies.count) % COPIES
        self._left_on = {place: drawn[of_copy, index] for index, place in enumerate(devices)}
        # across a broken coil stands the whole voltage, and nothing pulls
        closed = (self._coil_v() > PULL_IN_V) & (copies.ohm["coil"] < OPEN_OHM)
        # a relay that is held pulled in does not move as the key is turned on
        self.clicks = closed & ~self._is("trigger source", "stuck") & ~self._is("device *", "backfeeds")
        self._closed = closed ^ self._is("relay socket", "wrong terminal") | self._is("contact", "stuck")
        self._v = self._solved()

    def values(self, question: Question) -> Values:
        """The answer of each copy, in the test's unit; of a look the chance that the answer is yes."""
        if question.kind == "voltage":
            return self._voltage(question)
        if question.kind == "current":
            return self._current(question)
        if question.kind == "drain":
            return self._drain(question)
        if question.kind == "resistance":
            return self._resistance(question)
        return self._look(question)

    def _is(self, place: str, kind: str) -> Flags:
        """Whether a copy has this fault; the place may be a pattern."""
        has = np.array([fnmatch(at, place) and what == kind for at, what in self._pairs])
        return np.asarray(has[self.copies.flaw])

    def _coil_v(self) -> Values:
        ohm, copies = self.copies.ohm, self.copies
        branch = ohm["key line to 86"] + ohm["coil"] + ohm["85 to battery -"]
        line = 1 / (1 / branch + 1 / LAMP_OHM)
        return copies.emf * line / (line + ohm["trigger source"]) * ohm["coil"] / branch

    def _solved(self) -> dict[str, Values]:
        """The network with the key and all circuits on."""
        copies = self.copies
        branches = []
        for part in copies.parts:
            ohm = copies.ohm[part.place]
            if part.place == "contact":
                ohm = np.where(self._closed, ohm, OPEN_OHM)
            branches.append(Branch(part.start, part.end, ohm))
            if part.place in copies.short_ohm:
                end = "bus" if part.place.startswith("device") else "battery -"
                at = part.start if part.place.startswith("device") else part.end
                branches.append(Branch(at, end, copies.short_ohm[part.place]))
        branches += [
            Branch("key line", "battery -", np.full(copies.count, LAMP_OHM)),
            Branch("battery +", "battery -", copies.emf / copies.own_a),
        ]
        return voltages(branches, ("cell", copies.emf), "battery -")

    def _voltage(self, question: Question) -> Values:
        copies = self.copies
        if question.state == "asleep":
            return self._asleep(question)
        if question.state == "cranking":
            return copies.crank_v
        if question.state == "running":
            return copies.run_v
        found = self._v[question.start] - self._v[question.end]
        if question.state == "key on" and {question.start, question.end} & {"key line", "86"}:
            # a meter shows the mean of a pulsed line
            duty = 0.1 + 0.8 * (np.arange(copies.count) % 16) / 16
            found = np.where(self._is("trigger source", "wrong circuit"), found * duty, found)
        return found

    def _asleep(self, question: Question) -> Values:
        copies = self.copies
        if question.start == "battery +":
            return copies.emf
        if question.start == "86":
            backfed = self._is("device *", "backfeeds") if question.without == ("relay",) else False
            return np.where(copies.trigger_off & ~np.asarray(backfed), copies.emf - 0.1, 0.0)
        return np.where(self._held(question.without), copies.emf - 0.1, 0.0)

    def _held(self, without: tuple[str, ...]) -> Flags:
        """Whether the block is live asleep: the fuse of the circuit that holds the relay lets it go."""
        live = self.copies.live_off & ("feed" not in without)
        for out in without:
            live &= ~self._is(out.replace("slot", "device"), "backfeeds")
        return live

    def _current(self, question: Question) -> Values:
        copies = self.copies
        if question.state == "asleep":
            return self._asleep_ma(()) / 1000
        if question.state == "running":  # out of the battery is positive
            load = self._branch_a("contact", "30", "87") + copies.own_a
            taken = copies.own_a  # what a battery takes scatters about as widely, 0.5 to 6 A
            return np.where(
                copies.run_v > copies.emf + 0.3, -taken, np.where(copies.run_v > copies.emf - 0.5, 0.4 * load, load)
            )
        if question.of == "feed":
            return self._branch_a("contact", "30", "87")
        slot = question.of.split()[1]
        return self._branch_a(f"fuse {slot}", "block", f"slot {slot}")

    def _branch_a(self, place: str, start: str, end: str) -> Values:
        ohm = self.copies.ohm[place]
        if place == "contact":
            ohm = np.where(self._closed, ohm, OPEN_OHM)
        return (self._v[start] - self._v[end]) / ohm

    def _drain(self, question: Question) -> Values:
        mean = self.copies.mean_ma if question.of == "log" else 0.0
        return self._asleep_ma(question.without) + mean

    def _asleep_ma(self, without: tuple[str, ...]) -> Values:
        """The battery's current asleep, mA: of the good parts, what leaks, and what a live block draws."""
        copies = self.copies
        total = copies.drain_ma.copy()
        gone = {out.replace("bike fuse", "bike") for out in without}
        for place, leak in copies.leak_ma.items():
            if place not in gone:
                total += leak
        live = self._held(without)
        # the coil, and the circuits that were left switched on: in each copy others
        held = 1000 * copies.emf / copies.ohm["coil"] * copies.trigger_off
        left_on = np.zeros(copies.count)
        for place, switched in self._left_on.items():
            if not {place, place.replace("device", "slot")} & gone:
                left_on += 1000 * copies.emf / copies.ohm[place] * switched
        return total + np.where(live, held + left_on, 0.0)

    def _resistance(self, question: Question) -> Values:
        copies = self.copies
        high = np.full(copies.count, OL_OHM)
        if (question.start, question.end) == ("86", "85"):
            return np.minimum(copies.ohm["coil"], OL_OHM)
        if question.end.startswith("device"):
            slot = question.end.split()[1]
            good = copies.ohm[f"device {slot}"]
            short = copies.short_ohm.get(f"device {slot}", high)
            return np.minimum(np.minimum(good, short), OL_OHM)
        places = {"30": "fuse out to 30", "block": "87 to block"}
        place = places.get(question.start) or f"{question.start} to device"
        return np.minimum(copies.short_ohm.get(place, high), OL_OHM)

    def _look(self, question: Question) -> Values:
        of = question.of
        no = np.zeros(self.copies.count, bool)
        if of == "click at the relay":
            no = ~self.clicks
        elif of.endswith(" intact") and of.startswith(("feed fuse", "fuse")):
            place = of.removesuffix(" intact")
            no = self.copies.ohm[place] >= OPEN_OHM
        elif of.startswith(("new ", "lamp in place of ")):
            for place in _behind_fuse(of, question.without):
                no = no | self._is(place, "short")
        elif of.endswith(" works"):
            slot = of.split()[1]
            at = self._v[f"device {slot} +"] - self._v[f"device {slot} -"]
            no = (at < 8.0) | (self.copies.ohm[f"device {slot}"] >= OPEN_OHM)
        elif of.startswith("wiggle "):
            for place in WIGGLED_TOGETHER[of.removeprefix("wiggle ").removesuffix(" changes nothing")]:
                no = no | self._is(place, "intermittent")
            return np.where(no, 0.15, 0.98)  # some joints do not open under the hand (an estimate)
        elif of.split(" without ")[0] in SLOW_KINDS:
            gone = {out.replace("bike fuse", "bike") for out in question.without}
            kind = SLOW_KINDS[of.split(" without ")[0]]
            for place in {place for place, _ in self._pairs} - gone:
                no = no | self._is(place, kind)
        else:
            for place, kind in FALSE_WITH[of]:
                no = no | self._is(place, kind)
        return np.where(no, 0.0, 1.0)


def _behind_fuse(of: str, without: tuple[str, ...]) -> list[str]:
    """The places whose short a lamp in place of a fuse, or a new fuse, still feeds."""
    if "feed fuse" in of:
        return ["fuse out to 30"] + ["87 to block"] * ("relay" not in without)
    slot = next(word for word in of.split() if word.isdigit())
    return [place for place in (f"slot {slot} to device", f"device {slot}") if place not in without]
