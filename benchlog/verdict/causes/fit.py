"""Which faults explain what failed: how well the measured quantities agree with each fault's prediction."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchlog.verdict.causes.fault import Fault, Interval
from benchlog.verdict.causes.faults import FAULTS
from benchlog.verdict.causes.parting import parting
from benchlog.verdict.causes.seen import QUANTITIES, Seen, misfit, slot_of_quantity, slot_quantity, wrongness
from benchlog.verdict.registry.table import check_of
from benchlog.verdict.result import Cause, Check

#: A fault must agree with what is wrong better than a good install by this much (half squared uncertainties).
LEAST_GAIN = 1.2
#: What asks for a cause though no check failed must be this wrong: two standard uncertainties.
ASKS = 2.0
#: A quantity that disagrees by this much, or all of them by so much together, rule a fault out: 3.5 uncertainties.
RULED_OUT, RULED_OUT_TOGETHER = 6.0, 9.0
#: Faults whose scores differ by less than the first the log cannot part: odds of less than e to 1.5. Scores are turned
#: into shares of belief on the scale of the second.
ALIKE, SCALE = 1.5, 2.0
#: Several circuits failing at once is less likely than one fault that takes them all, and so is a fault that moved a
#: quantity there by chance than one that had to.
EACH_FURTHER_SLOT, ANYWHERE = 4.0, 2.0
#: Of a fault that only hints show, no more than this is known, 1.
HINTS_ALONE = 0.5
OPEN_VERDICTS = ("fail", "not seen", "not proven")


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A fault as the log shows it.

    Attributes:
        slots: the circuits that show it, where it is one of some. score: how much better it agrees than a good install.
        disagrees: how badly it disagrees all the same. known: the part of what it predicts that the log shows.
        wrong: quantities out of their range that it accounts for. mainly: those of them that it had to move.
        explains: open checks.
    """

    fault: Fault
    slots: tuple[int, ...]
    score: float
    disagrees: float
    known: float
    wrong: frozenset[str]
    mainly: frozenset[str]
    explains: tuple[str, ...]


def find_causes(seen: Mapping[str, Seen], checks: Sequence[Check], devices: Mapping[int, str]) -> list[Cause]:
    """The faults that explain what failed, best fit first; empty where nothing did.

    Each fault is scored by how much better its prediction agrees with the measured quantities than a good
    install's would: the logarithm of their likelihood ratio, the quantities taken as independent. Of the faults that
    account for the same wrong quantities the best is named, with those that the log cannot part from it, all with one
    fit; what is left over is looked at again, so two faults whose traces do not overlap are both named.

    Args:
        seen: quantity -> as measured; absent where the log does not show it.
        checks: the judged checks. devices: slot -> what is connected, for the words.
    """
    still_open = {check.id: check for check in checks if check.verdict in OPEN_VERDICTS}
    left = [found for fault in FAULTS for found in _candidates(fault, seen, still_open)]
    causes: list[Cause] = []
    claimed: set[str] = set()
    while left:
        best = max(left, key=lambda candidate: (candidate.score, candidate.known))
        rivals = [candidate for candidate in left if candidate.wrong & best.wrong]
        alike = [candidate for candidate in rivals if best.score - candidate.score < ALIKE]
        fit = _fit(alike, rivals)
        apart = parting([candidate.fault.id for candidate in alike])
        causes += [_cause(candidate, fit, apart, seen, devices) for candidate in alike]
        claimed |= {name for candidate in alike for name in candidate.wrong}
        left = [
            candidate
            for candidate in left
            if candidate not in alike
            and math.fsum(wrongness(name, seen[name]) for name in candidate.mainly - claimed) >= LEAST_GAIN
        ]
    return sorted(causes, key=lambda cause: -cause.fit)


def _fit(alike: Sequence[_Candidate], rivals: Sequence[_Candidate]) -> float:
    """The one fit of the faults that the log cannot part: their share of the belief, and how much of them it shows."""
    shared, all_of_it = (math.fsum(math.exp(one.score / SCALE) for one in some) for some in (alike, rivals))
    known = math.fsum(candidate.known for candidate in alike) / len(alike)
    agreement = math.exp(-min(candidate.disagrees for candidate in alike) / 8.0)
    return round(shared / all_of_it / len(alike) * known * agreement, 3)


def _candidates(fault: Fault, seen: Mapping[str, Seen], still_open: Mapping[str, Check]) -> list[_Candidate]:
    """The fault as a candidate; none if it explains nothing that asks for a cause, or the log rules it out."""
    slots: tuple[int, ...] = ()
    if "slot" in fault.predicts:
        slots = tuple(sorted(slot for name, slot in _slots_of(seen).items() if _slot_fits(fault, name, seen[name])))
        if not slots:
            return []
    needed, predicts = _predicted(fault, seen, slots)
    own = {name: misfit(name, seen[name], *interval) for name, interval in predicts.items() if name in seen}
    disagrees = math.fsum(own.values())
    if any(value >= RULED_OUT for value in own.values()) or disagrees >= RULED_OUT_TOGETHER:
        return []
    gains = {name: wrongness(name, seen[name]) - value for name, value in own.items()}
    gain = math.fsum(gains.values())
    mainly = frozenset(name for name, value in gains.items() if value >= LEAST_GAIN)
    if gain < LEAST_GAIN or not mainly:
        return []
    free = {**dict.fromkeys(fault.perhaps, ANYWHERE), **dict.fromkeys(fault.also, 0.0)}
    moves = {
        one: value
        for name, cost in free.items()
        for one in _expanded([name], seen)
        if one in seen and one not in own and (value := wrongness(one, seen[one]) - cost) >= LEAST_GAIN
    }
    wrong = frozenset(mainly | moves.keys())
    explains = tuple(
        check_id
        for check_id in still_open
        if _explains(fault, check_id, slots)
        and (still_open[check_id].verdict == "fail" or check_of(check_id).kind.explained_when_open)
    )
    failed = any(still_open[check_id].verdict == "fail" for check_id in explains)
    if not failed and (gain < ASKS or not any(_asking(name) for name in mainly)):
        return []
    # however many circuits show it, they are one quantity
    extra = max(len(slots) - 1, 0)
    score = gain + math.fsum(moves.values()) - EACH_FURTHER_SLOT * extra
    known = min((len(own) - extra) / max(len(needed) - extra, 1), 1.0 if own.keys() & needed.keys() else HINTS_ALONE)
    return [_Candidate(fault, slots, score, disagrees, known, wrong, mainly, explains)]


def _asking(name: str) -> bool:
    return name in QUANTITIES and QUANTITIES[name].asks


def _slots_of(seen: Mapping[str, Seen]) -> dict[str, int]:
    return {name: slot for name in seen if (slot := slot_of_quantity(name)) is not None}


def _expanded(names: Sequence[str], seen: Mapping[str, Seen]) -> list[str]:
    """``slots`` stands for every circuit that the log shows."""
    return [one for name in names for one in (_slots_of(seen) if name == "slots" else [name])]


def _predicted(
    fault: Fault, seen: Mapping[str, Seen], slots: Sequence[int]
) -> tuple[dict[str, Interval], dict[str, Interval]]:
    """What a log must show for the fault to be sure, and all that the fault predicts."""
    needed = {name: interval for name, interval in fault.predicts.items() if name != "slot"}
    for slot in slots:
        name = slot_quantity(slot)
        needed[name] = _slot_interval(fault, seen[name])
    # of alternatives those that hold count, or the one that holds best
    shown = {
        name: interval
        for name, interval in fault.either.items()
        if name in seen
        and misfit(name, seen[name], *interval) < LEAST_GAIN
        and wrongness(name, seen[name]) >= LEAST_GAIN
    }
    if fault.either:
        needed.update(shown or dict(list(fault.either.items())[:1]))
    hints = {one: interval for name, interval in fault.hints.items() for one in _expanded([name], seen)}
    return needed, {**hints, **needed}


def _slot_interval(fault: Fault, seen: Seen) -> Interval:
    low, high = fault.predicts["slot"]
    # overload begins where the plan's own limit ends
    return (seen.high, high) if low >= 1.0 and seen.high is not None else (low, high)


def _slot_fits(fault: Fault, name: str, seen: Seen) -> bool:
    own = misfit(name, seen, *_slot_interval(fault, seen))
    return own < LEAST_GAIN and wrongness(name, seen) - own >= LEAST_GAIN


def _explains(fault: Fault, check_id: str, slots: Sequence[int]) -> bool:
    check = check_of(check_id)
    return check.kind.id in fault.explains and (not slots or check.slot in (None, *slots))


def _cause(
    candidate: _Candidate, fit: float, apart: str, seen: Mapping[str, Seen], devices: Mapping[int, str]
) -> Cause:
    fault = candidate.fault
    text = fault.text
    if candidate.slots:
        named = " and ".join(
            f"slot {slot}" + (f" ({devices[slot]})" if slot in devices else "") for slot in candidate.slots
        )
        text = f"{text}: {named}"
    _, predicts = _predicted(fault, seen, candidate.slots)
    shown = [name for name in (*predicts, *_expanded((*fault.also, *fault.perhaps), seen)) if name in seen]
    # what is wrong comes first, then what agrees beside it; what it may move only where it did
    shown = sorted(shown, key=lambda name: name not in candidate.wrong)
    shown = [name for name in dict.fromkeys(shown) if name in candidate.wrong or name in predicts]
    next_test = "; then ".join(filter(None, [apart, *fault.tests]))
    if fault.caution:
        next_test = f"{next_test}. Caution: {fault.caution}"
    return Cause(
        id=fault.id,
        text=text,
        explains=list(candidate.explains),
        evidence=list(dict.fromkeys(seen[name].text for name in shown)),
        next_test=next_test,
        fit=fit,
    )
