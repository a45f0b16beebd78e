"""Many copies of the install, each with one fault of its own strength and with parts that scatter as good parts do."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchlog.find.circuit import PathPart, parts_of
from benchlog.find.flaws import Flaw
from benchlog.plan.batteries import charging_window, rest_voltage
from benchlog.plan.model import Plan

Values = NDArray[np.float64]
Flags = NDArray[np.bool_]
#: Copies of one fault, and of the good install.
COPIES, GOOD = 48, 96
OPEN_OHM, SHORT_OHM = 1e8, 0.05
#: Below this a coil does not pull in, V (common practice: 60 % of 12 V).
PULL_IN_V = 7.2
#: Lamps on the trigger's line: they pull an open one to zero. Common practice, no source.
LAMP_OHM = 30.0


@dataclass(slots=True)
class Copies:
    """Copies of one install, one array element each.

    Attributes:
        flaw: index of the fault; -1 for a good install.
        parts: of the path.
        ohm: place -> its resistance.
        short_ohm: place -> its resistance to the bus or to battery negative; of good ones very high.
        emf: of the battery, V, at rest.
        own_a: what the bike itself draws with the key on, A.
        drain_ma: what all good parts draw asleep, mA.
        leak_ma: place -> what flows there besides, mA.
        live_off, trigger_off: the block, and 86, are live with the key off.
        mean_ma: what pulses add to the drain's mean, mA; a meter that is read between them does not show it.
        run_v, crank_v: of the battery with the engine running, while cranking, V.
    """

    flaw: NDArray[np.int64]
    parts: list[PathPart]
    ohm: dict[str, Values]
    emf: Values
    own_a: Values
    drain_ma: Values
    live_off: Flags
    trigger_off: Flags
    run_v: Values
    crank_v: Values
    mean_ma: Values
    leak_ma: dict[str, Values] = field(default_factory=dict)
    short_ohm: dict[str, Values] = field(default_factory=dict)

    @property
    def count(self) -> int:
        """How many copies."""
        return len(self.flaw)


def copies_of(plan: Plan, flaws: list[Flaw], seed: int = 1) -> Copies:
    """Good installs first, of which two hold the ends of every range, then copies of each fault in turn.

    The parts of a fault's copies scatter as those of the first good ones: each has a twin without the fault.
    """
    draw = np.random.default_rng(seed)
    flaw = np.concatenate([np.full(GOOD, -1), np.repeat(np.arange(len(flaws)), COPIES)])
    count = len(flaws)
    parts = parts_of(plan)
    limits = plan.limits
    at_least, at_most = charging_window(plan.battery.chemistry)
    most_ma = limits.off_state_drain_ma if limits.off_state_drain_ma is not None else 1.0
    made = Copies(
        flaw=flaw,
        parts=parts,
        ohm={part.place: _between(draw, part.low_ohm, part.high_ohm, count) for part in parts},
        emf=_between(
            draw, rest_voltage(plan.battery.chemistry, 60.0), rest_voltage(plan.battery.chemistry, 100.0), count
        ),
        own_a=_between(draw, 0.5, 6.0, count),
        drain_ma=_between(draw, 0.0, most_ma, count),
        live_off=np.zeros(len(flaw), bool),
        trigger_off=np.zeros(len(flaw), bool),
        run_v=_between(draw, limits.charging_min_v or at_least, limits.charging_max_v or at_most, count),
        crank_v=_between(draw, limits.crank_min_v or 9.6, 11.8, count),
        mean_ma=np.zeros(len(flaw)),
    )
    load_a = max(plan.planned_load_a, 1.0)
    # the same strengths at every place: places differ in what a test shows there, not in luck
    strength = (np.arange(COPIES) + draw.uniform(0, 1, COPIES)) / COPIES
    for index, each in enumerate(flaws):
        here = slice(GOOD + index * COPIES, GOOD + (index + 1) * COPIES)
        _worsen(made, each, here, strength, load_a)
    return made


def _between(draw: np.random.Generator, low: float, high: float, faults: int) -> Values:
    """Spread evenly; the last good copies have the low end and the high one."""
    good = draw.uniform(low, high, GOOD)
    good[-2:] = low, high
    return np.concatenate([good, np.tile(good[:COPIES], faults)])


def _worsen(copies: Copies, flaw: Flaw, here: slice, strength: Values, load_a: float) -> None:
    """Put one fault into its copies, in ``COPIES`` strengths."""
    place, kind = ("contact", flaw.kind) if flaw.group == "contact" else (flaw.place, flaw.kind)
    if kind == "open":
        _open(copies, place, here)
    elif kind == "resistive":
        # drops that a check of the log can find: from 0.08 V to nearly all of the supply, at the current that flows
        load = _load_of(place)
        usual_a = 12.8 / float(copies.ohm[load][:GOOD].mean()) if load else load_a
        if place == "trigger source":  # the lamps on its line draw as well
            usual_a = 12.8 / LAMP_OHM
        low = 2.0 if load == "coil" else 0.1
        copies.ohm[place][here] += low / usual_a * (60.0 / low) ** strength
    elif kind == "short":
        _short(copies, place, here)
    elif kind == "overload":
        copies.ohm[place][here] /= 1.15 * 2.5**strength
    elif kind == "leak":
        copies.leak_ma.setdefault(place, np.zeros(copies.count))[here] += 3.0 * 700.0**strength
    elif kind == "wakes":
        copies.mean_ma[here] = 0.5 * 100.0**strength
    elif kind == "overvoltage":
        copies.run_v[here] = 15.0 + 3.0 * strength
    elif kind == "weak":
        _weaken(copies, place, here, strength)
    elif (place, kind) in (("contact", "stuck"), ("relay socket", "wrong terminal")):
        copies.live_off[here] = True
    elif kind in ("stuck", "backfeeds") and place != "charging":
        copies.live_off[here] = copies.trigger_off[here] = True
    elif (place, kind) == ("charging", "backfeeds"):
        copies.leak_ma.setdefault(place, np.zeros(copies.count))[here] -= 20.0 * 50.0**strength


def _load_of(place: str) -> str | None:
    """The device, or the coil, whose current alone flows through a place; None for the common path."""
    words = place.split()
    if words[0] in ("fuse", "slot", "device") and words[1].isdigit():
        return f"device {words[1]}"
    return "coil" if place in ("trigger source", "key line to 86", "85 to battery -") else None


def _open(copies: Copies, place: str, here: slice) -> None:
    if place == "charging":
        copies.run_v[here] = copies.emf[here] - 0.6
    else:
        copies.ohm[place][here] = OPEN_OHM


def _short(copies: Copies, place: str, here: slice) -> None:
    """The fuse before it is blown; what is behind it stays shorted."""
    fuse = f"fuse {place.split()[1]}" if _load_of(place) else "feed fuse"
    copies.ohm[fuse][here] = OPEN_OHM
    copies.short_ohm.setdefault(place, np.full(copies.count, OPEN_OHM))[here] = SHORT_OHM


def _weaken(copies: Copies, place: str, here: slice, strength: Values) -> None:
    if place == "charging":
        copies.run_v[here] = copies.emf[here] - 0.3 + 0.7 * strength
        return
    copies.ohm["battery"][here] = 0.045 * 6.0**strength
    copies.crank_v[here] = 9.3 - 4.0 * strength
    low = np.arange(COPIES) % 2 == 0  # every other one is flat besides
    copies.emf[here] = np.where(low, 10.5 + 1.6 * strength, copies.emf[here])
