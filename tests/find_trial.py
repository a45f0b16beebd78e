"""The search for a place on bikes of ngspice: a tester with a hand meter who errs and skips, and what came of it."""

import time
from dataclasses import dataclass

import numpy as np
from find_bike import FaultyBike

from benchlog.find.beliefs import Knowledge
from benchlog.find.hunt import Hunt, Reply
from benchlog.find.questions import Question
from benchlog.verdict.registry.table import limits_of
from benchlog.verdict.result import Cause, Check, Result, Score

WRONG, SKIPPED, MOST_TESTS = 0.03, 0.10, 40
#: Of a joint that opens under vibration, how often a hand finds it.
FEELS = 0.9
#: Which fault a log of each kind of fault names; of some it cannot tell more (share of the logs in which it cannot).
DEAD = ("coil_open", "feed_open", "trigger_dead")
CANNOT_PART, NAMES_NOTHING = 0.3, 0.03
_FEED = ("battery + to fuse in", "feed fuse", "fuse out to 30", "contact", "87 to block", "relay socket")


@dataclass
class Trial:
    """How one search ended."""

    place: str
    kind: str
    ended: str  # right, wrong or open
    tests: int
    minutes: float
    slowest_s: float
    seed: int


def causes_of(place: str, kind: str) -> tuple[str, ...]:
    """The faults that a log of this fault names."""
    slot = place.split()[0] in ("fuse", "slot", "device") and place.split()[1].isdigit()
    by_kind = {
        "wakes": "waking_device",
        "slow": "slow_to_sleep",
        "leak": "unswitched_device",
        "overload": "slot_overload",
    }
    special = {
        ("charging", "open"): "no_charge",
        ("charging", "weak"): "load_exceeds_charging",
        ("charging", "overvoltage"): "overcharge",
        ("charging", "backfeeds"): "charging_while_off",
        ("battery", "weak"): "weak_battery",
        ("contact", "stuck"): "welded_contact",
        ("relay socket", "wrong terminal"): "inverted_contact",
        ("measurement", "wrong terminal"): "clips_swapped",
        ("trigger source", "stuck"): "trigger_always_live",
        ("trigger source", "slow"): "slow_trigger_decay",
        ("trigger source", "wrong circuit"): "pulsed_trigger",
        ("trigger source", "open"): "trigger_dead",
        ("key line to 86", "open"): "trigger_dead",
        ("coil", "open"): "coil_open",
        ("85 to battery -", "open"): "coil_open",
        ("coil", "slow"): "slow_relay",
        ("bus to battery -", "open"): "ground_open",
        ("bus to battery -", "resistive"): "ground_resistance",
    }
    if (place, kind) in special:
        return (special[place, kind],)
    if kind in by_kind:
        return (by_kind[kind],)
    if kind == "intermittent":
        return ("intermittent_feed",)
    if kind == "backfeeds":
        return ("backfed_coil",)
    if slot:
        return ("slot_dead",) if kind != "resistive" else ()
    if kind == "resistive":
        return ("feed_resistance",) if place in _FEED else ("weak_coil_supply",)
    return ("feed_open",)


def logged(bike: FaultyBike, draw: np.random.Generator) -> Result:
    """What a check of the bike's logs found: measured in ngspice, with 1 % of error, and the faults it names."""
    figures: dict[str, float] = {"off_state_drain": 1000 * bike.battery_a(), "charging_voltage": bike.running_v}
    if bike.kind == "wakes":  # its pulses, in the mean
        figures["off_state_drain"] += draw.uniform(2, 20)
    block, drop, lift = bike.drops(("block", "battery -"), ("battery +", "block"), ("bus", "battery -"))
    if block > 3.0:
        figures |= {"feed_drop": drop, "ground_lift": lift}
        slots = [each.slot for each in bike.plan.circuit]
        amps = bike.amps(*(f"fuse {slot}" for slot in slots))
        figures |= {f"slot_{slot}_current": amp for slot, amp in zip(slots, amps, strict=True)}
    if bike.kind == "wrong circuit" or (bike.place, bike.kind) == ("measurement", "wrong terminal"):
        figures = {"off_state_drain": figures["off_state_drain"]}
    checks, limits = [], limits_of(bike.plan)
    for check_id, value in figures.items():
        value *= 1 + draw.normal(0, 0.005)
        limit = limits[check_id]
        good = (limit.min is None or value >= limit.min) and (limit.max is None or value <= limit.max)
        checks.append(
            Check(id=check_id, title="", verdict="pass" if good else "fail", measured=value, unit="", because="")
        )
    names = causes_of(bike.place, bike.kind)
    if set(names) & set(DEAD) and draw.uniform() < CANNOT_PART:
        names = DEAD
    if draw.uniform() < NAMES_NOTHING:
        names = ()
    failed = [check.id for check in checks if check.verdict == "fail"]
    causes = [
        Cause(id=name, text="", explains=failed if name.startswith("slot") else [], evidence=[], next_test="", fit=0.8)
        for name in names
    ]
    score = Score(**{"pass": 0}, fail=1, not_proven=0, not_seen=0, not_planned=0, percent=None, closest=None)
    return Result(
        benchlog_version="0",
        bike="trial",
        verdict="fail",
        score=score,
        key_events=[],
        checks=checks,
        causes=causes,
        notes=[],
    )


def answer_of(bike: FaultyBike, question: Question, draw: np.random.Generator, others: list[Question]) -> float | None:
    """What the tester enters: +- 0.5 % and 2 digits, now and then another point's value or yes for no, or nothing."""
    if draw.uniform() < SKIPPED:
        return None
    slip = draw.uniform() < WRONG
    if question.kind == "look":
        truth = looked(bike, question)
        return float(truth != slip)
    alike = [each for each in others if (each.kind, each.state) == (question.kind, question.state)]
    return shown(bike, alike[draw.integers(len(alike))] if slip else question, draw)


def shown(bike: FaultyBike, question: Question, draw: np.random.Generator) -> float:
    """The meter's figure."""
    true = measured(bike, question)
    if question.kind == "resistance" and true > 1e6:
        return 1e6
    last = {"voltage": 0.001 if abs(true) < 2 else 0.01, "current": 0.01, "drain": 0.01 if abs(true) < 20 else 0.1}.get(
        question.kind, 0.1 if true < 200 else 1.0
    )
    read = true * (1 + draw.uniform(-0.005, 0.005)) + draw.uniform(-2, 2) * last
    return round(read / last) * last


def measured(bike: FaultyBike, question: Question) -> float:
    """The true value of a test."""
    if question.kind == "resistance":
        return bike.ohms(question.start, question.end, question.without)
    if question.kind == "drain":
        return 1000 * bike.battery_a(question.without)
    if question.kind == "current":
        if question.state == "all on":
            return bike.amps("contact" if question.of == "feed" else f"fuse {question.of.split()[1]}")[0]
        return bike.battery_a() if question.state == "asleep" else _running_a(bike)
    if question.state in ("running", "cranking"):
        return bike.running_v if question.state == "running" else bike.cranking_v
    volts = bike.volts(question.start, question.end, question.state, question.without)
    return volts * (bike.duty if "85" not in (question.start, question.end) or question.start == "86" else 1.0)


def _running_a(bike: FaultyBike) -> float:
    load = bike.plan.planned_load_a + 12.6 / bike.own_ohm
    over = bike.running_v - bike.emf
    return load if over < -0.3 else 0.3 * load if over < 0.4 else -0.8


def looked(bike: FaultyBike, question: Question) -> bool:
    """Whether the statement is true."""
    of, fault = question.of.split(" without ")[0], (bike.place, bike.kind)
    if of == "click at the relay":
        return bool(bike.clicks)
    if of.endswith(" intact") and of.removesuffix(" intact") in bike.wires:
        return bike.wires[of.removesuffix(" intact")][2] < 1e6
    if of.startswith("new "):
        fuse = of.removeprefix("new ").removesuffix(" holds")
        slot = fuse.split()[1]
        behind = (
            ("fuse out to 30", "87 to block") if fuse == "feed fuse" else (f"slot {slot} to device", f"device {slot}")
        )
        return not (bike.kind == "short" and bike.place in behind)
    if of.startswith("lamp in place of "):
        fuse = of.removeprefix("lamp in place of ").removesuffix(" dark")
        shorted = f"slot {fuse.split()[1]} to device" if fuse != "feed fuse" else "fuse out to 30"
        also = "87 to block" if fuse == "feed fuse" and "relay" not in question.without else ""
        return not (bike.kind == "short" and bike.place in (shorted, also))
    if of.endswith(" works"):
        slot = of.split()[1]
        return bike.volts(f"device {slot} +", f"device {slot} -", "all on") > 8 and fault != (f"device {slot}", "open")
    if of.startswith("wiggle ") and bike.kind != "intermittent":
        return True
    if of.startswith("wiggle "):
        first, last = of.removeprefix("wiggle ").removesuffix(" changes nothing").split(" to ")
        path = ["battery +", "fuse in", "fuse out", "30", "87", "block", "bus", "battery -"]
        start, end = (path.index(point) for point in bike.wires[bike.place][:2])
        moved = path.index(first) <= start and end <= path.index(last)
        return not (moved and bike.draw.uniform() < FEELS)
    gone = {out.replace("bike fuse", "bike") for out in question.without}
    if of in ("no wake-up in the watch", "asleep in time"):
        kind = "wakes" if of.startswith("no wake") else "slow"
        return not (bike.kind == kind and bike.place not in gone and bike.place not in ("coil", "trigger source"))
    false_with = {
        "voltage at 86 steady": ("trigger source", "wrong circuit"),
        "trigger wire alone lets the relay go in time": ("coil", "slow"),
        "this relay is in time on a fused lead of its own": ("coil", "slow"),
        "another relay is in time": ("trigger source", "slow"),
        "trigger clip on 86, feed clip on 87": ("measurement", "wrong terminal"),
        "block's wire on 87": ("relay socket", "wrong terminal"),
        "charger and solar panel unplugged": ("charging", "backfeeds"),
        "charging fuse and alternator plug intact": ("charging", "open"),
    }
    return false_with[of] != fault


#: Found together: no test at hand tells the one from the other.
TOGETHER = ({("contact", "open"), ("relay socket", "open")}, {("contact", "resistive"), ("relay socket", "resistive")})


def search(knowledge: Knowledge, place: str, kind: str, seed: int) -> Trial:
    """One search from the log to its end."""
    draw = np.random.default_rng([seed, 7])
    bike = FaultyBike(knowledge.plan, place, kind, seed)
    hunt = Hunt(knowledge, logged(bike, draw))
    others = list(knowledge.questions.values())
    minutes = slowest = 0.0
    for _ in range(MOST_TESTS):
        began = time.process_time()
        found, question = hunt.found(), hunt.next_question()
        slowest = max(slowest, time.process_time() - began)
        if found is not None or question is None:
            break
        value = answer_of(bike, question, draw, others)
        minutes += question.minutes if value is not None else 0.5
        hunt.replies.append(Reply(question.name, value))
    done = [reply for reply in hunt.replies if reply.value is not None]
    group = next((each for each in TOGETHER if (place, kind) in each), {(place, kind)})
    if found is None:
        ended = "open"
    else:
        right = {found.place, *found.also} == {at for at, _ in group}
        ended = "right" if right else "wrong"
    return Trial(place, kind, ended, len(done), minutes, slowest, seed)
