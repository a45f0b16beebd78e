"""False verdicts of hand meters: sessions with a known truth, read with meters whose errors are drawn.

    python tests/meter_table.py [--sessions N] [--seed S]

A session is a bike with random parts, a meter, and one reading of everything that a hand meter can show. The meter's
error is drawn in three ways: anywhere within its limits (as benchlog assumes); always at one of the limits, which no
assumption of benchlog's likes; and as one gain and one offset for the whole session. The plan's limits lie around the
truth: tight, within two expanded uncertainties of it, and wide, up to 30 % off.

A drain whose wake-ups lie further apart than it was averaged for is in a row of its own, left out of the sum: no watch,
with whatever instrument, sees what comes less often than it lasts, and the verdict says for how long it watched.
"""

import argparse
import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import limit_sides
import numpy as np
from counts import Counts

from benchlog.meter.findings import findings_of
from benchlog.meter.model import MeterTable, Precision, ReadingsFile, ReadingTable
from benchlog.plan.model import Plan, plan_from_mapping
from benchlog.verdict.checks import judge
from benchlog.verdict.result import Verdict

#: Name -> (per cent, digits) for voltage, and for current.
METERS = {
    "0.5 % + 2": ((0.5, 2.0), (1.0, 3.0)),
    "1 % + 3": ((1.0, 3.0), (1.5, 3.0)),
}
WORLDS = ("rectangular", "at the limits", "gain and offset")
COUNTS = 6000
TIGHT_U, WIDE = 2.0, 0.30
SLOT_A = (3.5, 3.0, 1.8, 1.0)
#: What no hand meter shows, so that it may neither pass nor fail.
NEVER = ("settle_time", "relay_pull_in", "relay_drop_out", "relay_chatter", "feed_in_crank", "added_drain")
#: A drain whose wake-ups come less often than the watch lasts.
RARE = "rarer wake-ups"
#: check id -> (plan table, key, side); a meter's sessions ask for the lower side of the charging window.
SIDES = {check: side for check, side in limit_sides.SIDES.items() if check not in NEVER} | {
    "charging_voltage": ("limits", "charging_min_v", "min")
}


@dataclass
class Errors:
    """A meter in one session: what it shows of a true value.

    Attributes:
        world: how its error is drawn. gain, offset: of the session, as shares of its limits.
    """

    rng: np.random.Generator
    world: str
    voltage: tuple[float, float]
    current: tuple[float, float]
    gain: float = field(init=False)
    offset: float = field(init=False)

    def __post_init__(self) -> None:
        """Draw what stays the same in a session."""
        self.gain, self.offset = self.rng.uniform(-1, 1, 2)

    def shows(self, true: float, unit: str) -> tuple[str, float]:
        """The figure as shown in this unit, and its limit of error there."""
        pct, digits = self.voltage if unit in ("V", "mV") else self.current
        step = 10.0 ** math.ceil(math.log10(max(abs(true), 1e-9) / COUNTS))
        step = min(max(step, 0.1 if unit == "mV" else 0.01 if unit == "mA" else 0.001), 0.01 if unit == "A" else 1.0)
        rel, lasts = pct / 100, (digits - 0.5) * step  # rounding takes half a step of the digits
        if self.world == "rectangular":
            error = self.rng.uniform(-1, 1) * (rel * abs(true) + lasts)
        elif self.world == "at the limits":
            error = self.rng.choice([-1.0, 1.0]) * (rel * abs(true) + lasts)
        else:
            error = self.gain * rel * true + self.offset * lasts
        places = max(round(-math.log10(step)), 0)
        shown = round((true + error) / step) * step
        return f"{shown:.{places}f}", rel * abs(true) + digits * step


@dataclass
class Tally(Counts):
    """Counts of one check."""

    passed: int = 0
    failed: int = 0


@dataclass
class Bike:
    """The truth of one session; volts, amperes, ohms."""

    emf_v: float
    source_ohm: float
    feed_ohm: float
    ground_ohm: float
    leak_v: float
    base_a: float
    pulse_a: float
    period_s: float
    length_s: float
    slots_a: tuple[float, ...]
    bike_a: float
    crank_v: float
    charging_v: float
    into_a: float

    @property
    def drain_a(self) -> float:
        """The mean with everything that wakes."""
        return self.base_a + self.pulse_a * self.length_s / self.period_s

    @property
    def truth(self) -> dict[str, float]:
        """Check id -> the true value, in the check's unit."""
        planned = sum(SLOT_A)
        return {
            "off_state_drain": self.drain_a * 1000,
            "feed_off_voltage": self.leak_v,
            "battery_sag": self.source_ohm * planned,
            "feed_drop": self.feed_ohm * planned,
            "ground_lift": self.ground_ohm * planned,
            "resting_voltage": self.emf_v,
            "source_resistance": self.source_ohm * 1000,
            "crank_minimum": self.crank_v,
            "charging_voltage": self.charging_v,
            "charging_balance": self.into_a,
            **{f"slot_{n}_current": amps for n, amps in enumerate(self.slots_a, start=1)},
        }


#: Where the figures of a bike lie, V and Ω.
BETWEEN = {
    "emf_v": (12.2, 13.0),
    "source_ohm": (0.012, 0.08),
    "feed_ohm": (0.006, 0.06),
    "ground_ohm": (0.003, 0.03),
    "leak_v": (0.01, 0.9),
}


def draw_bike(rng: np.random.Generator, spread: float) -> Bike:
    """A bike whose circuits draw what is planned, give or take ``spread``."""
    return Bike(
        **{name: rng.uniform(*between) for name, between in BETWEEN.items()},
        base_a=10 ** rng.uniform(-4.0, -2.3),
        pulse_a=10 ** rng.uniform(-3, -1.3) if rng.random() < 0.5 else 0.0,
        period_s=rng.uniform(15, 1500),
        length_s=rng.uniform(0.5, 5),
        slots_a=tuple(amps * rng.uniform(1 - spread, 1 + spread) for amps in SLOT_A),
        bike_a=rng.uniform(0.5, 4),
        crank_v=rng.uniform(8.5, 11.5),
        charging_v=rng.uniform(13.0, 15.0),
        into_a=rng.uniform(-1, 3),
    )


def session(rng: np.random.Generator, meter: str, world: str) -> tuple[ReadingsFile, Bike, dict[str, float]]:
    """The readings, the truth, and the limit of error of each check's main reading in the check's unit."""
    voltage, current = METERS[meter]
    errors = Errors(rng, world, voltage, current)
    with_currents = bool(rng.random() < 0.6)
    bike = draw_bike(rng, 0.25 if with_currents else 0.20)
    rows: list[dict[str, Any]] = []
    error: dict[str, float] = {}

    def read(check: str, true: float, unit: str, state: str, **more: Any) -> None:
        shown, limit = errors.shows(true, unit)
        error[check] = limit / {"mV": 1000.0}.get(unit, 1.0)
        rows.append({"state": state, "value": shown, "unit": unit, **more})

    load_a = sum(bike.slots_a)
    read("feed_drop", bike.feed_ohm * load_a * 1000, "mV", "all on", start="battery +", end="block")
    read("ground_lift", bike.ground_ohm * load_a * 1000, "mV", "all on", start="bus", end="battery -")
    key_on_v = bike.emf_v - bike.source_ohm * bike.bike_a
    read("", key_on_v, "V", "key on", role="battery_v")
    read("battery_sag", key_on_v - bike.source_ohm * load_a, "V", "all on", role="battery_v")
    read("feed_off_voltage", bike.leak_v, "V", "asleep", role="feed_v", waited_s=1800.0)
    read("resting_voltage", bike.emf_v, "V", "asleep", role="battery_v", waited_s=rng.choice([1800.0, 40000.0]))
    read("charging_voltage", bike.charging_v, "V", "running", role="battery_v")
    read("charging_balance", -bike.into_a, "A", "running", role="battery_a", loads_on=True)
    slow_v = rng.uniform(0, 0.8)  # a meter's lowest misses the dip
    read("crank_minimum", bike.crank_v + slow_v, "V", "cranking", role="battery_v")
    if with_currents:
        for n, amps in enumerate(bike.slots_a, start=1):
            read(f"slot_{n}_current", amps, "A", "all on", role=f"slot{n}_a")
            error[f"slot_{n}_current"] = error.pop(f"slot_{n}_current")
    _read_drain(rng, bike, errors, rows, error)
    error["battery_sag"] *= 2
    error["source_resistance"] = 1000 * error["battery_sag"] / load_a
    pct_v, pct_a = Precision(pct=voltage[0], digits=voltage[1]), Precision(pct=current[0], digits=current[1])
    file = ReadingsFile(
        meter=MeterTable(voltage=pct_v, current=pct_a), reading=tuple(ReadingTable(**row) for row in rows)
    )
    return file, bike, error


def _read_drain(
    rng: np.random.Generator, bike: Bike, errors: Errors, rows: list[dict[str, Any]], error: dict[str, float]
) -> None:
    """One reading of the drain: a moment, an average, or an average whose lowest and highest were kept."""
    kind = rng.choice(["moment", "average", "average with lowest"])
    starts_s = rng.uniform(0, bike.period_s)
    watched_s = float(rng.choice([120.0, 600.0, 1800.0]))
    awake_s = _awake_s(bike, starts_s, watched_s)
    woke = awake_s > 0 and bike.pulse_a > 0
    more: dict[str, Any] = {"waited_s": 1800.0}
    if kind == "moment":
        true_a = bike.base_a + bike.pulse_a * float(starts_s < bike.length_s)
    else:
        true_a = bike.base_a + bike.pulse_a * awake_s / watched_s
        more["averaged_s"] = watched_s
    if kind == "average with lowest":
        more |= {"lowest": errors.shows(bike.base_a * 1000, "mA")[0], "watched_s": watched_s}
        peak_a = bike.base_a + bike.pulse_a * float(woke)
        more["highest"] = errors.shows(peak_a * 1000, "mA")[0]
    shown, error["off_state_drain"] = errors.shows(true_a * 1000, "mA")
    if "lowest" in more:  # its own error may put it above or below
        more["lowest"] = min(more["lowest"], shown, key=float)
        more["highest"] = max(more["highest"], shown, key=float)
    rows.append({"role": "drain_a", "state": "asleep", "value": shown, "unit": "mA", **more})


def _awake_s(bike: Bike, starts_s: float, watched_s: float) -> float:
    """How much of a watch lies in wake-ups; ``starts_s`` is its start within a period."""
    first = int(starts_s // bike.period_s)
    last = int((starts_s + watched_s) // bike.period_s)
    return sum(
        max(min(n * bike.period_s + bike.length_s, starts_s + watched_s) - max(n * bike.period_s, starts_s), 0.0)
        for n in range(first, last + 1)
    )


def plan_around(rng: np.random.Generator, truth: dict[str, float], error: dict[str, float], *, wide: bool) -> Plan:
    """A plan whose limits lie around the truth."""
    tables: dict[str, Any] = {
        "install": {"bike": "Larch"},
        "battery": {"chemistry": "agm", "capacity_ah": 11.2},
        "relay": {"pull_in_max_ms": 30, "drop_out_max_ms": 60},
        "limits": {"settle_max_s": 120.0, "feed_in_crank": "hold", "added_drain_ma": 0.2},
        "feed": {},
        "ground": {},
    }
    tables["circuit"] = [
        {"slot": n, "device": f"device {n}", "planned_a": amps, "tolerance_pct": 20}
        for n, amps in enumerate(SLOT_A, start=1)
    ]
    for check, (table, key, _) in SIDES.items():
        expanded = 2 / math.sqrt(3) * error[check]
        off = rng.uniform(-WIDE, WIDE) * abs(truth[check]) if wide else rng.uniform(-TIGHT_U, TIGHT_U) * expanded
        limit = truth[check] + off
        tables[table][key] = limit if key == "charging_balance_min_a" else max(limit, 1e-6)
    return plan_from_mapping(tables)


def tally_of(sessions: int, seed: int, meter: str, world: str) -> dict[str, Tally]:
    """Judge so many sessions; raises AssertionError where something was judged that no hand meter shows."""
    rng = np.random.default_rng(seed)
    found: dict[str, Tally] = {}
    for number in range(sessions):
        file, bike, error = session(rng, meter, world)
        plan = plan_around(rng, bike.truth, error, wide=number % 2 == 1)
        checks = judge(plan, findings_of(file, plan, "readings.toml").each(None))
        for check in checks:
            if check.id in NEVER:
                assert check.verdict == "not seen", check
            if check.id not in bike.truth or check.limit is None:
                continue
            name = "slot_N_current" if check.id.startswith("slot_") else check.id
            if check.id == "off_state_drain" and bike.pulse_a > 0 and bike.period_s > file.reading[-1].averaged_s:
                name = RARE
            _count(found.setdefault(name, Tally()), check.verdict, _conforms(bike.truth[check.id], check.limit))
    return found


def _conforms(true: float, limit: Any) -> bool:
    return (limit.max is None or true <= limit.max) and (limit.min is None or true >= limit.min)


def _count(tally: Tally, verdict: Verdict, conforms: bool) -> None:
    tally.judged += 1
    tally.passed += verdict == "pass"
    tally.failed += verdict == "fail"
    tally.false_pass += verdict == "pass" and not conforms
    tally.false_fail += verdict == "fail" and conforms


def shown(found: dict[str, Tally]) -> str:
    """The table of one meter in one world."""
    lines = [f"{'check':20}{'judged':>8}{'pass %':>8}{'fail %':>8}{'false pass %':>14}{'false fail %':>14}"]
    total: Counter[str] = Counter()
    for name, tally in found.items():
        if name != RARE:
            total.update(vars(tally))
        lines.append(_line(name, vars(tally)))
    return "\n".join([*lines, _line("all", total)])


def _line(name: str, of: dict[str, int] | Counter[str]) -> str:
    share: Callable[[str], float] = lambda key: 100 * of[key] / max(of["judged"], 1)  # noqa: E731 short and local
    return (
        f"{name:20}{of['judged']:8}{share('passed'):8.1f}{share('failed'):8.1f}"
        f"{share('false_pass'):14.3f}{share('false_fail'):14.3f}"
    )


def main() -> None:
    """Print the tables."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--sessions", type=int, default=4000)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    for meter in METERS:
        for world in WORLDS:
            print(f"\n± {meter} digits, error {world}")
            print(shown(tally_of(given.sessions, given.seed, meter, world)))


if __name__ == "__main__":
    main()
