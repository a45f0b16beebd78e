"""What a logger could prove of a plan: its stated accuracy and its rate held against each limit.

A limit counts as provable where a good install would pass it: one whose value lies halfway to the limit, in the middle
between two, or, above a least voltage or current, by the margins below. Noise is not counted: a longer log averages it.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from benchlog.analysis.measurement import Measured
from benchlog.core.uncertainty import COVERAGE_K, Accuracy, combine, rectangular
from benchlog.examine.context import accuracy_of
from benchlog.logger.model import Logger
from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Circuit, Plan
from benchlog.verdict.registry.kind import PlannedCheck
from benchlog.verdict.registry.table import checks_of

#: How far a good install lies above a least value, in the check's unit (common practice, no source).
ABOVE_LEAST = {"resting_voltage": 0.1, "crank_minimum": 0.5, "charging_voltage": 0.3, "charging_balance": 0.5}
#: Seconds apart that a drain before the install and one after it are measured: its offset has drifted.
APART_S = 600.0
#: Samples a second that show chatter, the lowest voltage of a crank and a loss of the feed in it.
FAST_HZ = 200.0


@dataclass(frozen=True, slots=True)
class Prospect:
    """One check of a plan.

    Attributes:
        check, limit: of the plan.
        can: a good install would pass.
        expanded: the uncertainty, k = 2, in the check's unit; None for a count, and where ``lacks`` says what is
            missing.
        zeroed: the same after a zero, where that helps. can_zeroed: and whether a good install would pass then.
        lacks: a clause; "" where nothing is missing.
    """

    check: PlannedCheck
    limit: PlannedLimit
    can: bool
    expanded: float | None = None
    zeroed: float | None = None
    can_zeroed: bool = False
    lacks: str = ""


class _LacksSomething(Exception):
    """A channel or its accuracy is missing, or the rate is too low."""


def prospects(plan: Plan, logger: Logger, rate_hz: float | None) -> list[Prospect]:
    """What this logger could prove, for each check that the plan sets a limit for and a log has to tell."""
    able = _Able(plan, logger, rate_hz or 0.0)
    found = []
    for check in checks_of(plan):
        limit = check.limit(plan)
        if limit is not None and check.kind.from_plan is None:
            found.append(_prospect(check, limit, able))
    return found


def _prospect(check: PlannedCheck, limit: PlannedLimit, able: "_Able") -> Prospect:
    try:
        plain, zeroed = _WAYS[check.kind.id](able, limit, check.circuit)
    except _LacksSomething as what:
        return Prospect(check, limit, False, lacks=str(what))
    if plain is None:
        return Prospect(check, limit, True)
    helps = zeroed is not None and zeroed < 0.9 * plain
    return Prospect(
        check,
        limit,
        _passes(check, limit, plain),
        COVERAGE_K * plain,
        COVERAGE_K * zeroed if zeroed is not None and helps else None,
        zeroed is not None and helps and _passes(check, limit, zeroed),
    )


def _passes(check: PlannedCheck, limit: PlannedLimit, u: float) -> bool:
    """Whether a good install's value would, known this well."""
    if limit.min is None:
        good = (limit.max or 0.0) / 2
    elif limit.max is None:
        good = limit.min + ABOVE_LEAST.get(check.kind.id, 0.05 * abs(limit.min))
    else:
        good = (limit.min + limit.max) / 2
    return check.kind.verdict(Measured(good, u, 0.0, 0.0), limit) == "pass"


class _Able:
    """A logger's channels and rate, asked for what a check needs; standard uncertainties, canonical units."""

    def __init__(self, plan: Plan, logger: Logger, rate_hz: float) -> None:
        self.plan, self.rate_hz = plan, rate_hz
        self._accuracy, _ = accuracy_of(logger)

    def has(self, role: str) -> bool:
        """It has such a channel."""
        return role in self._accuracy

    def of(self, *roles: str) -> Accuracy:
        """The accuracy of the first of these that it has."""
        there = [role for role in roles if self.has(role)]
        if not there:
            raise _LacksSomething(f"no channel measures {' or '.join(roles)}")
        accuracy = self._accuracy[there[0]]
        if accuracy is None:
            raise _LacksSomething(f"the accuracy of {there[0]} is not stated")
        return accuracy

    def needs(self, *roles: str) -> None:
        """It measures all of these."""
        for role in roles:
            if not self.has(role):
                raise _LacksSomething(f"no channel measures {role}")

    def needs_rate(self, least_hz: float) -> None:
        """It is this fast."""
        if self.rate_hz < least_hz * 0.99:
            raise _LacksSomething(f"it needs {least_hz:g} samples a second")

    @property
    def load_a(self) -> float:
        """The load that steps are measured with, A."""
        return max(self.plan.planned_load_a, 1.0)


_Found = tuple[float | None, float | None]
_Way = Callable[[_Able, PlannedLimit, Circuit | None], _Found]


def _most(limit: PlannedLimit) -> float:
    return limit.max if limit.max is not None else limit.min or 0.0


def _zeroed(accuracy: Accuracy, value: float) -> float:
    """After a zero: gain, and rounding twice."""
    return combine(rectangular(accuracy.gain_rel * abs(value)), math.sqrt(2) * accuracy.resolution_u)


def _drain(able: _Able, limit: PlannedLimit, _: Circuit | None) -> _Found:
    accuracy, value = able.of("drain_a", "battery_a"), _most(limit) / 1000
    return accuracy.level_u(value) * 1000, _zeroed(accuracy, value) * 1000


def _added(able: _Able, limit: PlannedLimit, _: Circuit | None) -> _Found:
    accuracy, value = able.of("drain_a", "battery_a"), _most(limit) / 1000
    return accuracy.change_u(value, APART_S) * 1000, _zeroed(accuracy, value) * math.sqrt(2) * 1000


def _settling(able: _Able, limit: PlannedLimit, __: Circuit | None) -> _Found:
    able.of("drain_a", "battery_a")
    able.needs_rate(2 / _most(limit) if _most(limit) else 1.0)
    return math.sqrt(2 / 3) / able.rate_hz, None


def _relay(able: _Able, _: PlannedLimit, __: Circuit | None) -> _Found:
    able.needs("trigger_v", "feed_v")
    able.needs_rate(1e-3)
    return math.sqrt(2 / 3) / able.rate_hz * 1000, None


def _counted(able: _Able, _: PlannedLimit, __: Circuit | None) -> _Found:
    able.needs("feed_v")
    able.needs_rate(FAST_HZ)
    return None, None


def _level(role: str, least_hz: float = 0.0) -> _Way:
    def way(able: _Able, limit: PlannedLimit, _: Circuit | None) -> _Found:
        accuracy = able.of(role)
        able.needs_rate(least_hz)
        return accuracy.level_u(_most(limit)), None

    return way


def _balance(able: _Able, limit: PlannedLimit, _: Circuit | None) -> _Found:
    accuracy = able.of("battery_a")
    return accuracy.level_u(_most(limit)), _zeroed(accuracy, _most(limit))


def _at_load(*roles: str) -> _Way:
    """A voltage that changes with the load, scaled to the planned one by the current's step."""

    def way(able: _Able, limit: PlannedLimit, _: Circuit | None) -> _Found:
        able.needs(*roles)
        most, load = _most(limit), able.of("feed_a", "battery_a")
        volts = [able.of(role).change_u(most) for role in roles]
        return combine(*volts, load.change_u(able.load_a) / able.load_a * most), None

    return way


def _resistance(able: _Able, limit: PlannedLimit, _: Circuit | None) -> _Found:
    ohms, current = _most(limit) / 1000, able.of("battery_a")
    volts = able.of("battery_v").change_u(ohms * able.load_a) / able.load_a
    return combine(volts, ohms * current.change_u(able.load_a) / able.load_a) * 1000, None


def _slot(able: _Able, _: PlannedLimit, circuit: Circuit | None) -> _Found:
    assert circuit is not None
    own = f"slot{circuit.slot}_a"
    if able.has(own):
        return able.of(own).level_u(circuit.planned_a), _zeroed(able.of(own), circuit.planned_a)
    return able.of("feed_a", "battery_a").change_u(circuit.planned_a), None


_WAYS: dict[str, _Way] = {
    "off_state_drain": _drain,
    "added_drain": _added,
    "settle_time": _settling,
    "feed_off_voltage": _level("feed_v"),
    "relay_pull_in": _relay,
    "relay_drop_out": _relay,
    "relay_chatter": _counted,
    "battery_sag": _at_load("battery_v"),
    "feed_drop": _at_load("battery_v", "feed_v"),
    "ground_lift": _at_load("ground_v"),
    "slot_N_current": _slot,
    "resting_voltage": _level("battery_v"),
    "source_resistance": _resistance,
    "crank_minimum": _level("battery_v", FAST_HZ / 4),
    "feed_in_crank": _counted,
    "charging_voltage": _level("battery_v"),
    "charging_balance": _balance,
}
