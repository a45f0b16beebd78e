"""What can be seen, heard or tried on the simulated install: statements that are true or false."""

from collections.abc import Callable
from dataclasses import replace

from benchlog.standin.probing.wiring import BROKEN_OHM, AsItStands, branches, volts

#: The points in the order of the current, for the stretch that is moved by hand.
_PATH = ("battery +", "fuse in", "fuse out", "30", "87", "block", "bus", "battery -")
_ENDS = {
    "battery + to fuse in": ("battery +", "fuse in"),
    "fuse out to 30": ("fuse out", "30"),
    "87 to block": ("87", "block"),
    "bus to battery -": ("bus", "battery -"),
}
#: A lamp or a device is seen to work above this, V.
WORKS_V = 8.0


def looked(statement: str, now: AsItStands) -> bool | None:
    """Whether a statement is true; None where it is none. What is out of the bike is known, and need not be repeated.

    Args:
        statement: as the test has it. now: the bike, with its key on.
    """
    of = statement.split(" without ")[0]
    whole: dict[str, Callable[[AsItStands], bool]] = {
        "click at the relay": lambda now: now.clicks,
        "voltage at 86 steady": lambda now: now.install.trigger_pulse is None,
        "trigger wire alone lets the relay go in time": lambda now: not _is(now, "coil", "slow"),
        "this relay is in time on a fused lead of its own": lambda now: not _is(now, "coil", "slow"),
        "another relay is in time": lambda now: not _is(now, "trigger source", "slow"),
        "trigger clip on 86, feed clip on 87": lambda now: not now.install.clips_swapped,
        "block's wire on 87": lambda now: not _is(now, "relay socket", "wrong terminal"),
        "charger and solar panel unplugged": lambda now: now.install.charger_a == 0.0,
        "charging fuse and alternator plug intact": lambda now: not _is(now, "charging", "open"),
        "no wake-up in the watch": lambda now: now.install.wakeups is None,
        "asleep in time": lambda now: len(now.install.awake) < 2,
    }
    if of in whole:
        return whole[of](now)
    for begins, ends, ask in _PATTERNS:
        if of.startswith(begins) and of.endswith(ends):
            return ask(of[len(begins) : len(of) - len(ends)], now)
    return None


def _is(now: AsItStands, place: str, kind: str) -> bool:
    return now.fault is not None and (now.fault.place, now.fault.kind) == (place, kind)


def _intact(fuse: str, now: AsItStands) -> bool | None:
    ends = {"feed fuse": ("fuse in", "fuse out")}
    ends |= {f"fuse {one.slot}": ("block", f"slot {one.slot}") for one in now.good.circuits}
    if fuse not in ends:
        return None
    put_in = replace(now, out=now.out - {"feed", *(f"slot {one.slot}" for one in now.good.circuits)})
    return all(ohm < BROKEN_OHM for start, end, ohm in branches(put_in) if (start, end) == ends[fuse])


def _shorted(fuse: str, now: AsItStands) -> bool:
    """Whether something behind a fuse is shorted while nothing on the way there is out."""
    fault = now.fault
    if fault is None or fault.kind != "short":
        return False
    behind = {"fuse out to 30": (), "87 to block": ("relay",)}
    if fuse == "feed fuse":
        return fault.place in behind and not {*behind[fault.place]} & now.out
    return fault.slot is not None and fuse == f"fuse {fault.slot}" and fault.place not in now.out


def _works(device: str, now: AsItStands) -> bool | None:
    slot = device.removeprefix("device ")
    if slot not in {str(one.slot) for one in now.good.circuits}:
        return None
    switched = replace(now, on=now.on | {int(slot)})
    return volts(switched, f"device {slot} +", f"device {slot} -") > WORKS_V and not _is(now, f"device {slot}", "open")


def _quiet(span: str, now: AsItStands) -> bool | None:
    """Whether moving the joints from one point to another changes nothing."""
    first, _, last = span.partition(" to ")
    if first not in _PATH or last not in _PATH:
        return None
    if now.fault is None or now.fault.kind != "intermittent":
        return True
    start, end = (_PATH.index(point) for point in _ENDS[now.fault.place])
    return not (_PATH.index(first) <= start and end <= _PATH.index(last))


_PATTERNS: tuple[tuple[str, str, Callable[[str, AsItStands], bool | None]], ...] = (
    ("lamp in place of ", " dark", lambda fuse, now: not _shorted(fuse, now)),
    ("new ", " holds", lambda fuse, now: not _shorted(fuse, now)),
    ("wiggle ", " changes nothing", _quiet),
    ("", " intact", _intact),
    ("", " works", _works),
)
