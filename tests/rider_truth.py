"""What a session's verdicts are worth: the truth of what was done to its bike, beside what the test said."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from guided_bike import FAILS

from benchlog.plan.model import Plan
from benchlog.standin import Script, SimulatedInstall
from benchlog.standin.script import Action
from benchlog.standin.timeline import timeline_of
from benchlog.standin.truth import truth_of
from benchlog.verdict.result import Check, Result

#: With these the feed stays live with the key off: what is switched on then draws more than 0.25 A, so that the bike
#: never counts as asleep, whatever its own truth says.
AWAKE = ("trigger_always_live", "backfed_coil", "welded_contact", "inverted_contact")
#: With these the loads draw nothing, and rightly fail; the truth has no figure for what never flows.
DEAD = ("coil_open", "feed_open", "trigger_dead", "ground_open", "inverted_contact")


@dataclass(frozen=True, slots=True)
class Verdicts:
    """A session's verdicts beside the truth.

    Attributes:
        wrong: those that contradict it by more than two expanded uncertainties, in words.
        passed: checks that the fault breaks, and that passed; wrong as well.
        unproven: checks that the fault breaks, and that stayed not proven or not seen: honest, though of no help.
        open: all other checks that stayed so.
    """

    wrong: tuple[str, ...]
    passed: tuple[str, ...]
    unproven: tuple[str, ...]
    open: tuple[str, ...]


def judged(
    install: SimulatedInstall, actions: Sequence[Action], end_s: float, result: Result, fault: str, plan: Plan
) -> Verdicts:
    """Hold the verdicts of a log that ends at ``end_s`` against the truth of what was done until then."""
    truth = truth_of(timeline_of(install, Script(end_s, tuple(actions))), plan.limits.settle_max_s or 60.0)
    # the bike's own loads, and with an inverted contact those of the key-off, prove these where no circuit flows
    own = {
        "battery_sag": (install.source_mohm + install.slow_mohm) / 1e3 * install.planned_a,
        "feed_drop": install.feed_mohm / 1e3 * install.planned_a,
        "ground_lift": install.ground_mohm / 1e3 * install.planned_a,
    }
    wrong, passed, unproven, left = list[str](), list[str](), list[str](), list[str]()
    broken = FAILS.get(fault, frozenset())
    for check in result.checks:
        true = truth.values.get(check.id)
        if true is None and check.verdict == "pass":
            true = own.get(check.id)
        if why := _wrong(check, true, fault):
            wrong.append(f"{check.id}: {why}")
        if check.verdict == "pass" and check.id in broken and (true is None or _beyond(check, true) > 0):
            passed.append(check.id)
        if check.verdict in ("not proven", "not seen"):
            (unproven if check.id in broken else left).append(check.id)
    return Verdicts(tuple(wrong), tuple(passed), tuple(unproven), tuple(left))


def _wrong(check: Check, true: float | None, fault: str) -> str:
    """How the verdict contradicts the truth; "" where it does not."""
    if check.verdict not in ("pass", "fail") or check.limit is None:
        return ""
    if check.verdict == "fail" and (check.id in FAILS.get(fault, ()) or (check.id == "settle_time" and fault in AWAKE)):
        return ""  # the fault breaks it, also where the truth's own stretches are too short to hold it
    if true is None:
        dead = fault in DEAD and (check.id.startswith("slot_") or check.id in ("ground_lift", "relay_pull_in"))
        right = check.verdict == "fail" and dead
        return "" if right else f"{check.verdict} at {check.measured}, though the log lacks it: {check.because}"
    if fault == "inverted_contact" and check.id.startswith("slot_"):
        return ""  # on with the key off, and nothing with it on: both are true
    beyond, far = _beyond(check, float(true)), 2 * (check.uncertainty or 0.0)
    if check.verdict == "pass" and beyond > far:
        return f"pass at {check.measured}, true {true:.4g}"
    if check.verdict == "fail" and -beyond > far and not (check.measured is None and fault):
        return f"fail at {check.measured}, true {true:.4g}: {check.because}"
    return ""


def _beyond(check: Check, true: float) -> float:
    """How far the truth lies beyond the limits, in the check's unit; below 0 within them."""
    limit = check.limit
    sides = [] if limit is None else [(limit.min, -1.0), (limit.max, 1.0)]
    return max((way * (true - side) for side, way in sides if side is not None), default=-math.inf)
