"""Every message of the search for a place, and of the stand-in's places and meter."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
from messages import Entry, command, done
from messages import test_every_message_is_heard as test_every_message_is_heard
from messages import test_message_reads_like_this as test_message_reads_like_this

from benchlog.standin import LiveBike, SimulatedInstall, live_logger
from benchlog.standin.probing.meter import Probes
from benchlog.standin.probing.places import placed

POINTS = "its points are: battery +, fuse in, fuse out, 30, 87, block, …, bus, battery -, key line, 86, 85"
THINGS = "device N, slot N, feed, relay, bike fuse, charging, charger, battery"


def typed(*lines: str, read: bool = False, faulty: bool = True) -> Callable[[Path], object]:
    """What is typed at a stand-in with a poor joint between fuse and relay."""

    def run(_: Path) -> None:
        bike = LiveBike(SimulatedInstall(), live_logger(50), np.random.default_rng(1))
        probes = Probes(bike, fault=placed("resistive", "fuse out to 30", [1, 2, 3, 4]) if faulty else None)
        for line in lines:
            if probes.answer(line, read=read) is None:
                bike.act(line)

    return run


PROVOKED: dict[str, Entry] = {
    "no such place": command(
        lambda _: ["standin", "--fault", "slot_dead", "--place", "tank"],
        '--place "tank" is no place of this install; its places are: battery + to fuse in, …, measurement',
    ),
    "a fault that cannot sit there": command(
        lambda _: ["standin", "--fault", "weak", "--place", "coil"],
        '--fault weak cannot sit at --place "coil"; there can be: open, slow, coil_open, slow_relay',
    ),
    "a place without a fault": command(
        lambda _: ["standin", "--place", "coil"],
        '--place "coil" says where a fault sits; give --fault as well',
    ),
    "points that are none": done(typed("probe 30 31"), f'"30 31" names no points of this install; {POINTS}'),
    "ohms with power on": done(typed("ohms 86 85"), "ohms only with power off; type unplug battery first"),
    "voltage with power off": done(
        typed("unplug battery", "probe 30 87"),
        "the battery's negative lead is off, so that there is no voltage; type plug battery",
    ),
    "clamp around nothing": done(typed("clamp wire"), 'clamp feed, battery or slot N; got "wire"'),
    "clamp on no slot": done(typed("clamp slot 9"), "there is no slot 9 on this bike; its slots are: 1, 2, 3, 4"),
    "drain of something": done(
        typed("drain device 3"),
        'drain stands alone: take out with unplug what is to be out; got "device 3"',
    ),
    "drain with the key on": done(typed("key on", "drain"), "no key-on with an ammeter in line; type key off first"),
    "statement that is none": done(
        typed("look the tank is full"),
        '"the tank is full" is no statement that can be looked at; copy it from the test',
    ),
    "thing that cannot be unplugged": done(typed("unplug tank"), f'"tank" cannot be unplugged; these can: {THINGS}'),
    "waiting for words": done(typed("wait long"), 'wait needs a number of seconds up to 86400, got "long"'),
    "waiting while it is read": done(typed("wait 5", read=True), "a program reads the logger, so time runs by itself"),
    "mending nothing": done(typed("mend coil", faulty=False), "this bike has no fault"),
    "mending no place": done(typed("mend tank"), '"tank" is no place where that can be mended'),
    "clip that is none": done(
        typed("clip tank 30"), 'clip needs trigger, feed, ground and a point, or back; got "tank 30"'
    ),
    "clip on no point": done(typed("clip feed tank"), f'"tank" names no points of this install; {POINTS}'),
}


FILES = {f"benchlog/{name}.py": True for name in ("standin/probing/meter", "standin/probing/places")}


#: Names of places and kinds, which are no messages.
NOT_HEARD = ("device N to bus", "slot N to device", "wrong circuit", "wrong terminal")
