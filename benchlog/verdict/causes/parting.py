"""Which test parts best what a log cannot part: each test declared once, with what each fault shows in it."""

import math
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass

_LIVE_OFF = ("trigger_always_live", "backfed_coil", "welded_contact", "inverted_contact")
_DEAD_ON = ("coil_open", "feed_open", "trigger_dead", "ground_open", "inverted_contact")


@dataclass(frozen=True, slots=True)
class Parting:
    """One test and how it ends with each fault.

    Attributes:
        text: what to do, and what each outcome means.
        ends: fault id -> outcome; a fault that is not named may end either way.
    """

    text: str
    ends: Mapping[str, str]


#: In order of effort: of two that part alike the first is taken.
PARTINGS: tuple[Parting, ...] = (
    Parting(
        "turn the key on and listen or feel at the relay: no click means the coil's side, a click the feed's",
        {
            **dict.fromkeys(("coil_open", "trigger_dead"), "silent"),
            **dict.fromkeys(("feed_open", "ground_open", "slot_dead", "inverted_contact"), "clicks"),
        },
    ),
    Parting(
        "with the key on and the circuits on measure from battery negative to the fuse block's stud, to the ground bus "
        "and to 86: 12 V at stud and bus is the ground bus's own return, 12 V at the stud alone is the circuits, 0 V "
        "at the stud and at 86 is the trigger's circuit, 0 V at the stud and 12 V at 86 is the coil where the relay "
        "does not click and the feed where it does",
        {
            "ground_open": "bus",
            "slot_dead": "stud",
            "trigger_dead": "no 86",
            "coil_open": "silent",
            "feed_open": "clicks",
            "inverted_contact": "clicks",
        },
    ),
    Parting(
        "with the key off measure at 86, then pull the relay and measure at its socket again: 0 V at once is a contact "
        "that does not open, 12 V that stays is the trigger's circuit, 12 V that goes was fed back from the load side",
        {
            "trigger_always_live": "stays",
            "backfed_coil": "goes",
            "welded_contact": "none",
            "inverted_contact": "none",
            "unswitched_device": "none",
        },
    ),
    Parting(
        "with the key off pull the relay and watch the drain: what goes with it came through the contact, what stays "
        "is fed around it; then measure at 86 of the socket: 12 V that stays is the trigger's circuit",
        {
            **dict.fromkeys(_LIVE_OFF, "goes"),
            **dict.fromkeys(("unswitched_device", "waking_device", "slow_to_sleep"), "stays"),
        },
    ),
    Parting(
        "turn the key on and off and look at what runs: devices that run with the key off and stop with it on are on "
        "87a, devices that run throughout hang on a contact that does not open",
        {
            "inverted_contact": "87a",
            **dict.fromkeys(("trigger_always_live", "backfed_coil", "welded_contact"), "runs"),
            **dict.fromkeys(("coil_open", "feed_open", "trigger_dead", "ground_open", "slot_dead"), "nothing"),
        },
    ),
    Parting(
        "measure at the circuit's own plug with it switched on: 12 V there is the device, 0 V its fuse or wire, and "
        "with every plug dead the feed",
        {"slot_dead": "one", **dict.fromkeys(_DEAD_ON, "all")},
    ),
    Parting(
        "log again with trigger_v and feed_v at 500 samples a second or more: a trigger that falls slowly or in pulses "
        "is its circuit, one that is steady and low its supply, one that is steady and right the relay or the feed",
        {
            "slow_trigger_decay": "slow",
            "pulsed_trigger": "pulses",
            "weak_coil_supply": "low",
            "slow_relay": "late",
            "intermittent_feed": "lost",
        },
    ),
    Parting(
        "let the engine run at a fast idle with all loads off and measure at the battery's posts: no rise above the "
        "rested voltage is the alternator or regulator, a rise that the loads take away is too much load",
        {"no_charge": "none", "load_exceeds_charging": "rises", "weak_battery": "rises"},
    ),
    Parting(
        "unplug trackers, alarms and chargers one by one with the key off, and watch for an hour after each: a drain "
        "that falls at once is fed around the relay, one that comes in pulses wakes, one that goes by itself sleeps "
        "late",
        {"unswitched_device": "steady", "waking_device": "pulses", "slow_to_sleep": "late"},
    ),
)


def parting(faults: Collection[str]) -> str:
    """The test that parts these faults best, in words; "" for one fault, or where no test parts them.

    The best is the one whose outcomes leave the fewest pairs of faults together.
    """
    if len(set(faults)) < 2:
        return ""
    best, most = "", 0.0
    for test in PARTINGS:
        if (apart := _parted(test, set(faults))) > most:
            best, most = test.text, apart
    return f"this log cannot tell these apart: {best}" if best else ""


def _parted(test: Parting, faults: set[str]) -> float:
    """How many pairs of faults the test parts."""
    named = Counter(test.ends[fault] for fault in faults if fault in test.ends)
    total = sum(named.values())
    return math.comb(total, 2) - math.fsum(math.comb(count, 2) for count in named.values())
