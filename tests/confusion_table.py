"""How often the right fault is named first, over simulated installs with a known fault.

    python tests/confusion_table.py [--installs N] [--seed S] [--settle SECONDS] [--verbose FAULT]

Healthy installs and loggers are drawn at random, each well within its plan, and then given one fault of random
strength, two that have nothing to do with each other, or none. Faults whose fits differ by less than 0.01 cannot be
told apart by the log and share their place.
"""

import argparse
import tomllib
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from itertools import combinations
from multiprocessing import get_context

import numpy as np
from truth_table import canonical_logger, draw_logger

import benchlog
from benchlog.core.errors import BenchlogError
from benchlog.standin import (
    FAULTS,
    LIMITS,
    LoggerSpec,
    SimulatedCircuit,
    SimulatedInstall,
    Simulation,
    WakeUps,
    acceptance_script,
    simulate,
)
from benchlog.standin.faults import random_fault, running_a
from benchlog.standin.relay import fall_s, rise_s
from benchlog.verdict.result import Cause

#: Fits closer than this share a place.
SAME_FIT = 0.01
SETTLE_S = 260.0
SLOWEST_HZ = 200.0
HEALTHY_FOR_EACH, PAIRS_FOR_EACH = 10, 5
SIMPLE = ("battery_v", "battery_a")
#: A fault of wiring that a logger of the battery alone cannot show is not named with more than this fit.
LIKELY = 0.5

#: Faults by what they touch; put in from the first group to the last, since later ones depend on the loads before.
GROUPS: dict[str, tuple[str, ...]] = {
    "battery": ("weak_battery",),
    "relay": (
        "trigger_always_live",
        "backfed_coil",
        "welded_contact",
        "inverted_contact",
        "coil_open",
        "feed_open",
        "slow_trigger_decay",
        "weak_coil_supply",
        "trigger_dead",
        "slow_relay",
        "pulsed_trigger",
    ),
    "wiring": ("feed_resistance", "ground_resistance", "ground_open", "intermittent_feed"),
    "slots": ("slot_dead", "slot_overload"),
    "drain": ("unswitched_device", "waking_device", "slow_to_sleep", "charging_while_off"),
    "charging": ("no_charge", "overcharge", "load_exceeds_charging"),
    "measurement": ("clips_swapped",),
}
FEED_STAYS_LIVE = ("trigger_always_live", "backfed_coil", "welded_contact", "inverted_contact")
FEED_STAYS_DEAD = ("coil_open", "feed_open", "inverted_contact", "ground_open", "trigger_dead", "pulsed_trigger")
#: What only trigger_v, feed_v or ground_v can show.
NEEDS_WIRING_CHANNELS = (*GROUPS["relay"], *GROUPS["wiring"])
#: Planned A and fuse A of the circuits that installs are drawn from.
CIRCUITS = ((0.6, 1.0), (1.0, 2.0), (1.8, 3.0), (2.4, 5.0), (3.0, 5.0), (3.5, 5.0))


@dataclass
class Row:
    """Counts over the runs with one fault (or with none, or two).

    Attributes:
        runs, failed, refused: how many; with a check that failed; that could not be checked at all.
        first, three: the true fault first, or among the first three places.
        instead: what stood first where it was another, "none" where nothing was named.
        named: how many causes were named, all runs together. tied: how many shared the first place.
        unseen_named: runs that name a fault of the wiring with a fit above ``LIKELY``.
        both, one: pairs of which both, or only one, were named. none: runs that named no cause.
    """

    runs: int = 0
    failed: int = 0
    refused: int = 0
    first: int = 0
    three: int = 0
    named: int = 0
    tied: int = 0
    unseen_named: int = 0
    both: int = 0
    one: int = 0
    none: int = 0
    instead: Counter[str] = field(default_factory=Counter)

    def add(self, other: "Row") -> None:
        """Add another row's counts."""
        for name in vars(self):
            if name == "instead":
                self.instead.update(other.instead)
            else:
                setattr(self, name, getattr(self, name) + getattr(other, name))

    def share(self, name: str) -> float:
        """Such a count as a share of the runs, 0 to 1; of no runs 0."""
        return float(getattr(self, name)) / self.runs if self.runs else 0.0


@dataclass
class Figures:
    """What all runs found.

    Attributes:
        single, simple: by the true fault, on a full logger and on one of the battery alone.
        healthy, pairs: all runs together. by_pair: "one + other" -> row.
    """

    single: dict[str, Row] = field(default_factory=dict)
    simple: dict[str, Row] = field(default_factory=dict)
    healthy: Row = field(default_factory=Row)
    pairs: Row = field(default_factory=Row)
    by_pair: dict[str, Row] = field(default_factory=dict)

    def single_total(self) -> Row:
        """All single faults together."""
        return _sum(self.single)

    def simple_total(self) -> Row:
        """The same on the logger of the battery alone."""
        return _sum(self.simple)


def _sum(rows: dict[str, Row]) -> Row:
    total = Row()
    for row in rows.values():
        total.add(row)
    return total


@dataclass(frozen=True)
class Case:
    """One run: its faults (none, one or two), its own seed, and how long the log goes on after the key-off."""

    faults: tuple[str, ...]
    seed: tuple[int, ...]
    settle_s: float = SETTLE_S


@dataclass(frozen=True)
class Seen:
    """What one run found on one logger; ``refused`` is the reason where it could not be checked."""

    causes: tuple[Cause, ...] = ()
    verdicts: tuple[tuple[str, str], ...] = ()
    refused: str = ""

    @property
    def failed(self) -> tuple[str, ...]:
        """The checks that failed."""
        return tuple(check for check, verdict in self.verdicts if verdict == "fail")

    def place(self, fault: str) -> int | None:
        """Where a fault stands, from 1, ties sharing the best place; None where it is not named."""
        fit = next((cause.fit for cause in self.causes if cause.id == fault), None)
        return None if fit is None else 1 + sum(cause.fit - fit >= SAME_FIT for cause in self.causes)

    def first(self) -> list[str]:
        """The faults that share the first place."""
        return [cause.id for cause in self.causes if self.place(cause.id) == 1]


def draw_circuits(rng: np.random.Generator) -> tuple[SimulatedCircuit, ...]:
    """Two to four circuits within ±10 % of their plan."""
    drawn = rng.choice(len(CIRCUITS), size=int(rng.integers(2, 5)), replace=False)
    return tuple(
        SimulatedCircuit(
            slot=slot,
            device=f"device {slot}",
            planned_a=CIRCUITS[at][0],
            fuse_a=CIRCUITS[at][1],
            actual_a=CIRCUITS[at][0] * rng.uniform(0.9, 1.1),
            inrush=rng.uniform(0.0, 2.0),
            inrush_tau_s=10 ** rng.uniform(-2.3, -0.7),
        )
        for slot, at in enumerate(drawn, start=1)
    )


def draw_healthy(rng: np.random.Generator) -> SimulatedInstall:
    """A random install well within every limit of the usual plan."""
    circuits = draw_circuits(rng)
    planned_a = sum(circuit.planned_a for circuit in circuits)
    wakes = WakeUps(rng.uniform(15, 60), rng.uniform(0.5, 2.5), 10 ** rng.uniform(-3.0, -2.4), rng.uniform(0, 15))
    slow_mohm = rng.uniform(0.2, 2.0)
    install = SimulatedInstall(
        circuits=circuits,
        emf_v=rng.uniform(12.7, 12.95),
        source_mohm=rng.uniform(12, 30) - slow_mohm,
        slow_mohm=slow_mohm,
        drain_a=10 ** rng.uniform(-4.3, -3.5),  # and at most 0.17 mA of wake-ups: below 0.6 mA
        wakeups=replace(wakes, height_a=min(wakes.height_a, 2.5e-4 * wakes.period_s / wakes.length_s))
        if rng.random() < 0.3
        else None,
        awake=((rng.uniform(0.1, 0.4), rng.uniform(10, 90)),),
        bike_a=rng.uniform(2, 7),
        bike_inrush=rng.uniform(0.2, 1.5),
        trigger_drop_v=rng.uniform(0.05, 0.6),
        trigger_fall_tau_s=10 ** rng.uniform(-4, -2.5),
        trigger_drops_in_crank=bool(rng.random() < 0.25),
        suppression=("diode", "resistor", "none")[int(rng.integers(3))],
        feed_mohm=float(LIMITS["drop_max_v"]) / planned_a * 1e3 * rng.uniform(0.5, 0.8),
        ground_mohm=float(LIMITS["lift_max_v"]) / planned_a * 1e3 * rng.uniform(0.5, 0.8),
        feed_leak_v=rng.uniform(0.01, 0.3),
        regulated_v=rng.uniform(13.8, 14.6),
        charge_a=rng.uniform(0.5, 4),
        charge_tau_s=rng.uniform(2, 6),
        charge_floor_a=rng.uniform(0.5, 2),
    )
    return _with_starter(_with_relay_times(install, rng), rng)


def _with_relay_times(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    """Pull-in of 5 ms to 20 ms and drop-out of up to 40 ms; the coil alone takes a part of each."""
    coil_s = rise_s(install.pull_in_a, install.coil_a, install.coil_h / install.coil_ohm)
    fallen_s = fall_s(install.release_a, install.coil_a, install.coil_a, install)
    return replace(
        install,
        pull_travel_ms=max(rng.uniform(5, 20) - coil_s * 1e3, 0.5),
        release_travel_ms=max(rng.uniform(5, 40) - fallen_s * 1e3, 0.5),
    )


def _with_starter(install: SimulatedInstall, rng: np.random.Generator) -> SimulatedInstall:
    """A starter that leaves the battery above 9.9 V, and an alternator with some amperes to spare."""
    load_a = running_a(install)
    most_a = (install.emf_v - 9.95) / (install.source_mohm + install.slow_mohm) * 1e3 - load_a
    peak_a = min(rng.uniform(60, 110), most_a)
    return replace(
        install,
        starter_peak_a=peak_a,
        starter_run_a=peak_a * rng.uniform(0.55, 0.75),
        alternator_a=load_a + install.charge_floor_a + rng.uniform(6, 14),
    )


def draw_fast_logger(rng: np.random.Generator) -> LoggerSpec:
    """A random logger of 200 Hz or more."""
    spec = draw_logger(rng)
    while spec.rate_hz < SLOWEST_HZ:
        spec = draw_logger(rng)
    return spec


def with_random_faults(install: SimulatedInstall, faults: Sequence[str], rng: np.random.Generator) -> SimulatedInstall:
    """The install with these faults of random strength."""
    order = [fault for group in GROUPS.values() for fault in group]
    for fault in sorted(faults, key=order.index):
        install = random_fault(install, fault, rng)
    return install


def simulated(case: Case) -> Simulation:
    """The log of one run."""
    rng = np.random.default_rng(case.seed)
    install = with_random_faults(draw_healthy(rng), case.faults, rng)
    slots = tuple(circuit.slot for circuit in install.circuits)
    script = acceptance_script(slots, rest_s=20, slot_every_s=4, all_on_s=8, running_s=25, settle_s=case.settle_s)
    return simulate(install, script, draw_fast_logger(rng), rng)


def checked(sim: Simulation, roles: Sequence[str] | None = None) -> Seen:
    """Check a simulated log against its plan; of all its channels, or of these roles alone."""
    spec = sim.spec if roles is None else sim.spec.only(*roles)
    frame = sim.frame[["time_s", *spec.roles, "mark"]]
    try:
        result = benchlog.check(frame, plan=tomllib.loads(sim.plan_toml), logger=canonical_logger(spec))
    except BenchlogError as refused:
        return Seen(refused=str(refused))
    return Seen(tuple(result.causes), tuple((check.id, check.verdict) for check in result.checks))


def one_case(case: Case) -> tuple[Case, Row, Row | None]:
    """The counts of one run, on the full logger and, for a single fault, on the logger of the battery alone."""
    sim = simulated(case)
    simple = row_of(case, checked(sim, SIMPLE)) if len(case.faults) == 1 else None
    return case, row_of(case, checked(sim)), simple


def row_of(case: Case, seen: Seen) -> Row:
    """One run's counts."""
    places = [seen.place(fault) for fault in case.faults]
    first = seen.first()
    row = Row(
        runs=1,
        failed=bool(seen.failed),
        refused=bool(seen.refused),
        named=len(seen.causes),
        tied=len(first),
        none=not seen.causes and not seen.refused,
        unseen_named=any(cause.id in NEEDS_WIRING_CHANNELS and cause.fit > LIKELY for cause in seen.causes),
    )
    if len(places) == 1:
        row.first = places[0] == 1
        row.three = places[0] is not None and places[0] <= 3
        if not row.first:
            row.instead["refused" if seen.refused else first[0] if first else "none"] += 1
    elif len(places) == 2:
        found = sum(place is not None for place in places)
        row.both, row.one = found == 2, found == 1
        row.instead.update(fault for fault, place in zip(case.faults, places, strict=True) if place is None)
    elif first:
        row.instead[first[0]] += 1
    return row


def apart(one: str, other: str) -> bool:
    """Whether two faults touch different things, and neither hides the other."""
    group = {fault: name for name, faults in GROUPS.items() for fault in faults}
    if group[one] == group[other]:
        return False
    for fault, beside in ((one, other), (other, one)):
        if group[fault] == "drain" and beside in FEED_STAYS_LIVE:
            return False
        if group[fault] in ("slots", "wiring") and beside in FEED_STAYS_DEAD:
            return False
        if fault == "clips_swapped" and group[beside] in ("relay", "wiring"):
            return False
    return True


def pairs() -> list[tuple[str, str]]:
    """All pairs of faults that can be seen side by side."""
    return [pair for pair in combinations(FAULTS, 2) if apart(*pair)]


def cases(installs: int, seed: int, settle_s: float = SETTLE_S) -> Iterator[Case]:
    """Every run: ``installs`` for each fault, ten times that healthy, five times that with two faults."""
    for number, fault in enumerate(FAULTS):
        for run in range(installs):
            yield Case((fault,), (seed, 1, number, run), settle_s)
    for run in range(installs * HEALTHY_FOR_EACH):
        yield Case((), (seed, 2, run), settle_s)
    possible = pairs()
    chosen = np.random.default_rng((seed, 3)).integers(len(possible), size=installs * PAIRS_FOR_EACH)
    for run, at in enumerate(chosen):
        yield Case(possible[int(at)], (seed, 3, run), settle_s)


def figures(installs: int, seed: int, workers: int = 2, settle_s: float = SETTLE_S) -> Figures:
    """Counts over many runs; the same numbers give the same counts."""
    found = Figures()
    # forked workers could inherit a lock that one of polars' threads holds
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        for case, row, simple in pool.map(one_case, cases(installs, seed, settle_s), chunksize=4):
            if not case.faults:
                found.healthy.add(row)
                continue
            name = " + ".join(case.faults)
            if simple is None:
                found.pairs.add(row)
                found.by_pair.setdefault(name, Row()).add(row)
            else:
                found.single.setdefault(name, Row()).add(row)
                found.simple.setdefault(name, Row()).add(simple)
    return found


def render(found: Figures) -> str:
    """All counts as text."""
    head = f"{'true fault':<22}{'runs':>5}{'fails':>7}{'first':>7}{'in 3':>7}{'tied':>6}{'named':>7}"
    lines = [f"{head}{'simple: named':>15}{'wiring':>8}  first instead"]
    rows = [(name, row, found.simple[name]) for name, row in found.single.items()]
    for name, row, simple in [*rows, ("all", found.single_total(), found.simple_total())]:
        lines.append(
            f"{name:<22}{row.runs:>5}{row.share('failed'):>7.0%}{row.share('first'):>7.0%}{row.share('three'):>7.0%}"
            f"{row.share('tied'):>6.1f}{row.share('named'):>7.1f}"
            f"{simple.share('named'):>15.1f}{simple.share('unseen_named'):>8.0%}  {_top(row.instead)}"
        )
    healthy, both = found.healthy, found.pairs
    lines += [
        "",
        f"healthy: {healthy.runs} runs, {healthy.share('none'):.1%} name no cause, {healthy.share('failed'):.1%} fail"
        f" a check, {healthy.refused} refused; first named: {_top(healthy.instead)}",
        f"two faults: {both.runs} runs, {both.share('both'):.1%} name both, {both.share('one'):.1%} only one,"
        f" {both.refused} refused; left out: {_top(both.instead, 8)}",
    ]
    missed = [f"  {name} {row.both}/{row.runs}" for name, row in sorted(found.by_pair.items()) if row.both < row.runs]
    if missed and both.both:
        lines += ["pairs that were not always both named:", *missed]
    lines.append(
        "tied: faults sharing the first place, named: causes a run; simple: logger of battery_v and battery_a alone,"
        f"\nwiring: its runs that name a fault of relay, trigger, feed or ground with a fit above {LIKELY:g}"
    )
    return "\n".join(lines)


def _top(counted: Counter[str], most: int = 4) -> str:
    return ", ".join(f"{name} {count}" for name, count in counted.most_common(most)) or "-"


def report_of(case: Case) -> str:
    """One run of one fault in detail: its place, the causes with their fits, and the checks that did not pass."""
    sim = simulated(case)
    lines = [f"seed {case.seed}, {sim.spec.rate_hz:g} Hz"]
    good = replace(SimulatedInstall(), circuits=())
    changed = {
        name: value
        for name in SimulatedInstall.__dataclass_fields__
        if (value := getattr(sim.install, name)) != getattr(good, name) and name != "circuits"
    }
    lines.append("  " + ", ".join(f"{k} {v:.4g}" if isinstance(v, float) else f"{k} {v}" for k, v in changed.items()))
    lines.append("  slots " + ", ".join(f"{c.actual_a:.2f} of {c.planned_a:g} A" for c in sim.install.circuits))
    for title, seen in (("full", checked(sim)), ("simple", checked(sim, SIMPLE))):
        places = ", ".join(f"{fault} {seen.place(fault) or '-'}" for fault in case.faults)
        causes = ", ".join(f"{cause.id} {cause.fit:.2f}" for cause in seen.causes) or "none"
        open_checks = ", ".join(
            f"{check} {verdict}" for check, verdict in seen.verdicts if verdict in ("fail", "not seen", "not proven")
        )
        lines += [f"  {title}: place {places}; causes {causes}", f"    {seen.refused or open_checks}"]
    return "\n".join(lines)


def main() -> None:
    """Print the table, or every run of one fault in detail."""
    parser = argparse.ArgumentParser(description="how often the right fault is named first, on simulated installs")
    parser.add_argument("--installs", type=int, default=20, help="runs for each fault")
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--settle", type=float, default=SETTLE_S, help="how long the log goes on after the key-off, s")
    parser.add_argument("--verbose", choices=[*FAULTS, "healthy", "pairs"], metavar="FAULT", help="show its runs")
    given = parser.parse_args()
    if given.verbose is None:
        print(render(figures(given.installs, given.seed, settle_s=given.settle)))
        return
    wanted = {"healthy": 0, "pairs": 2}.get(given.verbose)
    for case in cases(given.installs, given.seed, given.settle):
        if len(case.faults) == wanted or case.faults == (given.verbose,):
            print(report_of(case))


if __name__ == "__main__":
    main()
