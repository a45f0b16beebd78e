"""Which faults explain what failed: how well the measured quantities agree with each fault's prediction."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchlog.causes.faults import FAULTS, PARTED_BY, Fault, Interval
from benchlog.causes.seen import Seen, misfit, wrongness
from benchlog.check_table import id_in_table, slot_of_check
from benchlog.result import Cause, Check

#: A fault must agree with what is wrong better than a good install by this much (half squared uncertainties).
LEAST_GAIN = 1.2
#: A quantity that disagrees by this much rules a fault out.
RULED_OUT = 8.0
#: Faults whose scores differ by less than this the log cannot part.
ALIKE = 1.0
#: Scores are turned into shares of belief on this scale.
SCALE = 2.0
#: The fit of a fault that the log leaves possible and no more.
POSSIBLE = 0.25
OPEN_VERDICTS = ("fail", "not seen", "not proven")


@dataclass(frozen=True, slots=True)
class _Candidate:
    fault: Fault
    slots: tuple[int, ...]
    score: float
    disagrees: float
    known: float
    wrong: frozenset[str]
    explains: tuple[str, ...]


def find_causes(seen: Mapping[str, Seen], checks: Sequence[Check], devices: Mapping[int, str]) -> list[Cause]:
    """The faults that explain what failed or was not seen, best fit first; empty where all is well.

    Each fault is scored by how much better its prediction agrees with the measured quantities than a good
    install's would. Of the faults that account for the same wrong quantities the best is named, with those that
    the log cannot part from it; what is left over is looked at again, so two faults whose traces do not overlap
    are both named.

    Args:
        seen: quantity -> as measured; absent where the log does not show it.
        checks: the judged checks. devices: slot -> what is connected, for the words.
    """
    failed = {check.id: check for check in checks if check.verdict in OPEN_VERDICTS}
    left = [found for fault in FAULTS for found in _candidates(fault, seen, failed)]
    causes: list[Cause] = []
    claimed: set[str] = set()
    while left:
        best = max(left, key=lambda candidate: (candidate.score, candidate.known))
        rivals = [candidate for candidate in left if candidate.wrong & best.wrong]
        alike = [candidate for candidate in rivals if best.score - candidate.score < ALIKE]
        total = math.fsum(math.exp((candidate.score - best.score) / SCALE) for candidate in rivals)
        together = math.fsum(math.exp((candidate.score - best.score) / SCALE) for candidate in alike)
        for candidate in alike:
            share = together / total / len(alike)  # what cannot be parted shares alike
            causes.append(_cause(candidate, share, alike, seen, devices))
        claimed |= best.wrong
        left = [
            candidate
            for candidate in left
            if candidate not in alike
            and math.fsum(wrongness(name, seen[name]) for name in candidate.wrong - claimed) >= LEAST_GAIN
        ]
    return sorted(causes, key=lambda cause: -cause.fit)


def _candidates(fault: Fault, seen: Mapping[str, Seen], failed: Mapping[str, Check]) -> list[_Candidate]:
    """The fault as a candidate; none if it explains nothing that failed or the log rules it out."""
    slots: tuple[int, ...] = ()
    if "slot" in fault.predicts:
        slots = tuple(
            sorted(
                int(name.removeprefix("slot_"))
                for name, found in seen.items()
                if name.startswith("slot_") and _slot_fits(fault, name, found)
            )
        )
        if not slots:
            return []
    predicts = _expanded(fault, seen, slots)
    own = {name: misfit(name, seen[name], *interval) for name, interval in predicts.items() if name in seen}
    if any(value >= RULED_OUT for value in own.values()):
        return []
    healthy = {name: wrongness(name, seen[name]) for name in own}
    wrong = frozenset(name for name in own if healthy[name] - own[name] >= LEAST_GAIN)
    gain = math.fsum(healthy[name] - own[name] for name in own)
    if gain < LEAST_GAIN or not wrong:
        return []
    explains = tuple(
        check_id
        for check_id in failed
        if _explains(fault, check_id, slots)
        and (failed[check_id].verdict == "fail" or check_id not in ("added_drain", "feed_in_crank"))
    )
    proven = any(failed[check_id].verdict == "fail" for check_id in explains)
    if not proven and not (explains and _shows_by_state(fault, wrong)):
        return []
    # however many circuits show it, they are one quantity
    extra = max(len(slots) - 1, 0)
    known = (len(own) - extra) / max(len(predicts) - extra, 1)
    if "trigger_stays_up" in wrong:
        known = min(known, POSSIBLE)  # it may be no more than a log that ends with the key on
    elif not proven:
        known *= 0.5
    disagrees = math.fsum(own.values())
    # several circuits failing at once is less likely than one fault that takes them all
    score = gain - disagrees - 2.0 * extra
    return [_Candidate(fault, slots, score, disagrees, known, wrong, explains)]


def _expanded(fault: Fault, seen: Mapping[str, Seen], slots: Sequence[int]) -> dict[str, Interval]:
    predicts = {name: interval for name, interval in fault.predicts.items() if name != "slot"}
    for slot in slots:
        predicts[f"slot_{slot}"] = _slot_interval(fault, seen[f"slot_{slot}"])
    # of alternatives those that hold count, or the one that holds best
    shown = {
        name: interval
        for name, interval in fault.either.items()
        if name in seen
        and misfit(name, seen[name], *interval) < LEAST_GAIN
        and wrongness(name, seen[name]) >= LEAST_GAIN
    }
    if fault.either:
        predicts.update(shown or dict(list(fault.either.items())[:1]))
    # what only shows where nothing else does is no gap in the rest
    for name in ("trigger_stays_up", "coil"):
        if name not in seen:
            predicts.pop(name, None)
    if "trigger_stays_up" in seen:
        predicts = {name: interval for name, interval in predicts.items() if name in seen or name == "trigger_off"}
    return predicts


def _slot_interval(fault: Fault, seen: Seen) -> Interval:
    low, high = fault.predicts["slot"]
    # overload begins where the plan's own limit ends
    return (seen.high, high) if low >= 1.0 and seen.high is not None else (low, high)


def _slot_fits(fault: Fault, name: str, seen: Seen) -> bool:
    own = misfit(name, seen, *_slot_interval(fault, seen))
    return own < LEAST_GAIN and wrongness(name, seen) - own >= LEAST_GAIN


def _explains(fault: Fault, check_id: str, slots: Sequence[int]) -> bool:
    return id_in_table(check_id) in fault.explains and (not slots or slot_of_check(check_id) in (None, *slots))


def _shows_by_state(fault: Fault, wrong: frozenset[str]) -> bool:
    """Whether a fault that leaves its checks unseen, rather than failed, shows all the same."""
    return fault.id == "slot_dead" or any(name.startswith(("trigger_", "feed_o", "feed_b", "bus_")) for name in wrong)


def _cause(
    candidate: _Candidate,
    share: float,
    alike: Sequence[_Candidate],
    seen: Mapping[str, Seen],
    devices: Mapping[int, str],
) -> Cause:
    fault = candidate.fault
    text = fault.text
    if candidate.slots:
        named = " and ".join(
            f"slot {slot}" + (f" ({devices[slot]})" if slot in devices else "") for slot in candidate.slots
        )
        text = f"{text}: {named}"
    shown = [name for name in _expanded(fault, seen, candidate.slots) if name in seen]
    # what is wrong comes first, then what agrees beside it
    evidence = [seen[name].text for name in sorted(shown, key=lambda name: name not in candidate.wrong)]
    steps = list(fault.tests)
    parted = PARTED_BY.get(frozenset(other.fault.id for other in alike))
    if parted:
        steps = [parted, *steps]
    next_test = "; then ".join(steps)
    if fault.caution:
        next_test = f"{next_test}. Caution: {fault.caution}"
    agreement = math.exp(-candidate.disagrees / 8.0)
    return Cause(
        id=fault.id,
        text=text,
        explains=list(candidate.explains),
        evidence=evidence,
        next_test=next_test,
        fit=round(min(share * candidate.known * agreement, 1.0), 3),
    )
