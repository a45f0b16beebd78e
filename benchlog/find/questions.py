"""Every test of one install as data: what is measured between which points, in which state, and what it costs."""

from dataclasses import dataclass
from typing import Literal

from benchlog.plan.model import Plan, slots_in_order

ProbeKind = Literal["voltage", "current", "drain", "resistance", "look"]
#: Minutes for tests in each state. Common practice, no source; an hour is how long a device may sleep between wakes.
SPAN_MIN, DEEP_MIN, DRAIN_MIN, UNPLUG_MIN, LONG_DRAIN_MIN, WAKE_MIN = 1.5, 5.0, 4.0, 4.0, 8.0, 60.0
#: Minutes that a danger counts for, so that the safer of two tests that tell alike comes first.
LIVE_DANGER, AMMETER_DANGER, NEW_FUSE_DANGER = 0.5, 2.0, 2.0
#: What a meter shows for "OL", and what good insulation gives at least, ohm.
OL_OHM = 1e6
UNFUSED = ("battery +", "fuse in", "30")
UNITS: dict[str, str] = {"voltage": "V", "current": "A", "drain": "mA", "resistance": "Ω", "look": ""}


@dataclass(frozen=True, slots=True)
class Question:
    """One test.

    Attributes:
        name: the same in every session.
        kind: what is measured; a look has a statement that is true or false.
        state: of the bike.
        minutes: that it takes.
        start, end: the points, for voltage and resistance (from relative to to).
        of: what the current flows through, or the statement of a look.
        how: the current is taken.
        without: what is out or unplugged.
        danger: in minutes.
    """

    name: str
    kind: ProbeKind
    state: str
    minutes: float
    start: str = ""
    end: str = ""
    of: str = ""
    how: str = ""
    without: tuple[str, ...] = ()
    danger: float = 0.0

    @property
    def unit(self) -> str:
        """Of the answer; "" for a look."""
        return UNITS[self.kind]

    @property
    def cost(self) -> float:
        """Minutes, with those that its danger counts for."""
        return self.minutes + self.danger


#: The drain as a log has it: the mean, what wakes included. Nobody is asked for it.
LOG_DRAIN = Question("mean drain of the log", "drain", "asleep", 0.0, of="log")


def questions_of(plan: Plan) -> list[Question]:
    """Every test of an install."""
    slots = [circuit.slot for circuit in slots_in_order(plan)]
    return [*_voltages(slots), *_currents(slots), *_drains(slots), *_resistances(slots), *_looks(slots)]


def voltage(start: str, end: str, state: str, minutes: float, without: tuple[str, ...] = ()) -> Question:
    """A voltage between two points; on an unfused point a slipping probe is dangerous."""
    danger = LIVE_DANGER if {start, end} & set(UNFUSED) else 0.0
    name = f"voltage {start} to {end}{_less(without)}, {state}"
    return Question(name, "voltage", state, minutes, start=start, end=end, without=without, danger=danger)


def _voltages(slots: list[int]) -> list[Question]:
    feed = ["battery +", "fuse in", "fuse out", "30", "87", "block"]
    # a span between any two points of the feed: the half-split of the path lies among them
    found = [voltage(start, end, "all on", SPAN_MIN) for index, start in enumerate(feed) for end in feed[index + 1 :]]
    found += [voltage(point, "battery -", "all on", SPAN_MIN) for point in [*feed, "bus"]]
    for slot in slots:
        plus, minus = f"device {slot} +", f"device {slot} -"
        found += [
            voltage("block", f"slot {slot}", "all on", SPAN_MIN),
            voltage(f"slot {slot}", "battery -", "all on", SPAN_MIN),
            voltage(f"slot {slot}", plus, "all on", DEEP_MIN),
            voltage(plus, minus, "all on", DEEP_MIN),
            voltage(plus, "bus", "all on", DEEP_MIN),
            voltage(minus, "bus", "all on", DEEP_MIN),
            voltage("block", "battery -", "asleep", SPAN_MIN + 1, (f"slot {slot}",)),
        ]
    found += [voltage(point, "battery -", "key on", 3.0) for point in ("key line", "86", "85")]
    found += [voltage("86", "85", "key on", 3.0), voltage("key line", "86", "key on", 3.0)]
    found += [voltage("85", "battery -", "all on", 3.0), voltage("battery +", "key line", "key on", 3.0)]
    found += [voltage("86", "battery -", "asleep", 2.0), voltage("block", "battery -", "asleep", SPAN_MIN)]
    found += [voltage("86", "battery -", "asleep", 3.0, ("relay",))]
    return found + [voltage("battery +", "battery -", state, 3.0) for state in ("asleep", "cranking", "running")]


def _currents(slots: list[int]) -> list[Question]:
    taken = [(f"slot {slot}", "all on", 2.0) for slot in slots]
    taken += [("feed", "all on", 2.0), ("battery", "running", 3.0), ("battery", "asleep", 2.0)]
    return [
        Question(f"current {of}, {state}", "current", state, minutes, of=of, how="clamp")
        for of, state, minutes in taken
    ]


def _drains(slots: list[int]) -> list[Question]:
    """Whole halves of the devices at once: an hour of sleep each is dear, and so the set is split."""
    sets = [(), ("feed",), ("bike fuse",), ("charging",)]
    devices = [f"device {slot}" for slot in slots]
    sets += [tuple(half) for half in _halves(devices)]
    sets += [(f"slot {slot}",) for slot in slots]
    return [
        Question(
            f"drain{_less(without)}",
            "drain",
            "asleep",
            DRAIN_MIN + UNPLUG_MIN * max(len(without) - 1, 0) + (2.0 if without == ("charging",) else 0.0),
            without=without,
            danger=AMMETER_DANGER,
        )
        for without in sets
    ]


def _halves(names: list[str]) -> list[list[str]]:
    if len(names) < 2:
        return [names] if names else []
    middle = len(names) // 2
    return [names, *_halves(names[:middle]), *_halves(names[middle:])]


def _resistances(slots: list[int]) -> list[Question]:
    sets: list[tuple[str, str, tuple[str, ...], float]] = [("86", "85", ("relay",), 4.0)]
    sets += [(f"slot {n}", "battery -", (f"slot {n}", f"device {n}"), 5.0) for n in slots]
    sets += [(f"device {n} +", f"device {n} -", (f"device {n}",), 4.0) for n in slots]
    sets += [("30", "battery -", ("feed fuse", "relay"), 4.0)]
    sets += [("block", "battery -", ("relay", *(f"slot {n}" for n in slots)), 5.0)]
    return [
        Question(
            f"resistance {start} to {end}{_less(without)}, power off",
            "resistance",
            "power off",
            minutes,
            start=start,
            end=end,
            without=without,
        )
        for start, end, without, minutes in sets
    ]


#: Statement, state, minutes.
LOOKS: tuple[tuple[str, str, float], ...] = (
    ("click at the relay", "key on", 0.5),
    ("feed fuse intact", "power off", 1.0),
    ("voltage at 86 steady", "key on", 3.0),
    ("trigger wire alone lets the relay go in time", "key on", 8.0),
    ("this relay is in time on a fused lead of its own", "power off", 8.0),
    ("another relay is in time", "key on", 6.0),
    ("trigger clip on 86, feed clip on 87", "power off", 1.0),
    ("block's wire on 87", "power off", 3.0),
    ("charger and solar panel unplugged", "asleep", 1.0),
    ("charging fuse and alternator plug intact", "power off", 3.0),
)
WIGGLED: tuple[str, ...] = ("battery + to fuse in", "fuse out to 30", "87 to block", "bus to battery -")
#: Several parts of the path moved at once, so that the path can be halved.
WIGGLED_TOGETHER: dict[str, tuple[str, ...]] = {
    **{place: (place,) for place in WIGGLED},
    "battery + to 30": WIGGLED[:2],
    "fuse out to block": WIGGLED[1:3],
    "battery + to block": WIGGLED[:3],
}


def _looks(slots: list[int]) -> list[Question]:
    looks = [*LOOKS, *((f"fuse {slot} intact", "power off", 0.7) for slot in slots)]
    looks += [(f"device {slot} works", "all on", 0.5) for slot in slots]
    looks += [(f"wiggle {span} changes nothing", "all on", 2.0) for span in WIGGLED_TOGETHER]
    found = [Question(text, "look", state, minutes, of=text) for text, state, minutes in looks]
    fuses = tuple(f"slot {slot}" for slot in slots)
    lamps: list[tuple[str, tuple[str, ...], float]] = [(f"fuse {slot}", (f"device {slot}",), 4.0) for slot in slots]
    lamps += [("feed fuse", ("relay",), 3.0), ("feed fuse", fuses, 4.0)]
    for place, behind, minutes in lamps:
        text = f"lamp in place of {place} dark{_less(behind)}"
        found.append(Question(text, "look", "key on", minutes, of=text, without=behind))
    for place in ("feed fuse", *(f"fuse {slot}" for slot in slots)):
        text = f"new {place} holds"
        found.append(Question(text, "look", "all on", 3.0, of=text, danger=NEW_FUSE_DANGER))
    devices = [f"device {slot}" for slot in slots]
    for part in [*_halves(devices), ["bike fuse"]]:
        out = tuple(part)
        minutes = UNPLUG_MIN * len(out)
        for text, extra in (("no wake-up in the watch", WAKE_MIN), ("asleep in time", LONG_DRAIN_MIN)):
            name = f"{text}{_less(out)}"
            found.append(Question(name, "look", "asleep", minutes + extra, of=name, without=out, danger=AMMETER_DANGER))
    return found


def _less(without: tuple[str, ...]) -> str:
    return f" without {', '.join(without)}" if without else ""
