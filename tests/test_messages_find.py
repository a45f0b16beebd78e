"""Every message of the search for a place, and of the stand-in's places and meter."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from messages import Entry, command, done
from messages import test_every_message_is_heard as test_every_message_is_heard
from messages import test_message_reads_like_this as test_message_reads_like_this
from store_cases import save_small

from benchlog.bench.clip import Clips
from benchlog.find.beliefs import Knowledge
from benchlog.logger.model import logger_from_mapping
from benchlog.plan.model import load_plan
from benchlog.standin import LiveBike, SimulatedInstall, live_logger
from benchlog.standin.probing.meter import Probes
from benchlog.standin.probing.places import placed
from benchlog.store import open_store
from dashboards.find_page import keep
from dashboards.looked import Behind

SAMPLES = Path(__file__).parent.parent / "sample_data"
LOG, PLAN = SAMPLES / "fault_slow_drop_out.csv", SAMPLES / "larch.plan.toml"
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


def searched(*options: str) -> Callable[[Path], list[str | Path]]:
    """``benchlog find`` with these options, on a log of which there is a record, and one of another log."""

    def words(folder: Path) -> list[str | Path]:
        with open_store(str(folder / "data" / "records.sqlite")) as store:
            save_small(store, folder, keep_logs=False)
        return ["find", LOG, "--plan", PLAN, "--answers", folder / "answers.toml", *options]

    return words


def nothing_read(_: Path) -> None:
    """A clip on a port whose logger sends no value of it."""
    logger = logger_from_mapping({"channel": [{"column": "v", "role": "feed_v", "unit": "V"}]})
    clips = Clips("loop://", logger)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(clips, "_watched", lambda _: {})
        clips.take(Knowledge(load_plan(PLAN)).questions["voltage 30 to battery -, all on"])


def kept(*, store_has: bool) -> Callable[[Path], object]:
    """An open search that is to be kept with a record."""

    def run(folder: Path) -> None:
        with open_store(str(folder / "records.sqlite")) as store:
            if store_has:
                save_small(store, folder, keep_logs=False)
            store.keep_search(1, {"found": None, "answers": []}, "well\nwell" if not store_has else "")

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
        'drain takes no points: unplug first what is to be out; got "device 3"',
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
    "what was mended of no record": command(
        searched("--mended", "the fuse"), "--mended says what was mended for a record; give --keep NUMBER as well"
    ),
    "asking and not asking": command(
        searched("--json", "-", "--port", "loop://"),
        "--port measures while you answer, and --json asks nothing; give one of them",
    ),
    "record of another log": command(
        searched("--json", "-", "--keep", "1", "--store", "data/records.sqlite"),
        "record 1 is of other logs (…); benchlog records list shows all records",
    ),
    "a search that is still open": done(
        kept(store_has=True), "the search has not found the place yet; finish it before it is kept"
    ),
    "what was mended on two lines": done(
        kept(store_has=False), "what was mended must be one line of text, got several lines, or unprintable characters"
    ),
    "a clip that reads nothing": done(
        nothing_read,
        "loop://: no reading of feed_v came within 2 s; look at the clip and the range, or type the value from a meter",
    ),
    "a sheet that is not filed": done(
        lambda _: keep(None, Behind("", None, ()), None, ""),  # type: ignore[arg-type]  # refused before use
        "this sheet is not on file; file it, and the search is kept with it",
    ),
    "clip on no point": done(typed("clip feed tank"), f'"tank" names no points of this install; {POINTS}'),
}


FILES = {
    f"{name}.py": True
    for name in (
        *("benchlog/standin/probing/meter", "benchlog/standin/probing/places", "benchlog/bench/clip"),
        *("benchlog/commands/find", "benchlog/store/searches", "dashboards/find_page"),
    )
}


#: Names of places and kinds, and what is said where all is well.
NOT_HEARD = (
    *("device N to bus", "slot N to device", "wrong circuit", "wrong terminal", "Kept with record "),
    *("The logger's ", "The logger has it on ", "Put the logger's ", " clip sits on "),
    *(": press Enter to measure", " and press Enter to measure"),
)
