"""Which steps a retest of single checks needs."""

from collections.abc import Collection, Iterable, Sequence

from benchlog.bench.guided.spec import StepSpec
from benchlog.core.errors import BenchlogError
from benchlog.plan.model import Plan
from benchlog.verdict.registry import engine, key_off, loads, relay
from benchlog.verdict.registry.kind import split_id
from benchlog.verdict.registry.table import checks_of, is_fuse_check

_ALL_SLOTS = "slots"
_ZERO = ("zero", "zero_back")
_KEY = ("key_on", "key_off")
_ASLEEP = (*_ZERO, *_KEY, "sleep")
_LOADED = (*_KEY, _ALL_SLOTS, "all_on")
_RUNNING = (*_LOADED, "crank", "run")

#: Kind of check -> the steps that show it. Before all of them the bike is made ready; what is switched on goes off.
NEEDS: dict[str, tuple[str, ...]] = {
    key_off.OFF_STATE_DRAIN.id: _ASLEEP,
    key_off.ADDED_DRAIN.id: _ASLEEP,
    key_off.SETTLE_TIME.id: (*_KEY, "sleep"),
    key_off.FEED_OFF_VOLTAGE.id: (*_KEY, "sleep"),
    key_off.RESTING_VOLTAGE.id: ("rest",),
    relay.RELAY_PULL_IN.id: _KEY,
    relay.RELAY_DROP_OUT.id: _KEY,
    relay.RELAY_CHATTER.id: _LOADED,
    loads.BATTERY_SAG.id: _LOADED,
    loads.FEED_DROP.id: _LOADED,
    loads.GROUND_LIFT.id: _LOADED,
    loads.SOURCE_RESISTANCE.id: _LOADED,
    loads.SLOT_CURRENT.id: _KEY,
    engine.CRANK_MINIMUM.id: (*_KEY, "crank"),
    engine.FEED_IN_CRANK.id: (*_KEY, "crank"),
    engine.CHARGING_VOLTAGE.id: _RUNNING,
    engine.CHARGING_BALANCE.id: _RUNNING,
}


def checks_named(plan: Plan, named: Iterable[str]) -> tuple[str, ...]:
    """The checks to take again, in the order of a result; each text may name several, with commas.

    Raises:
        BenchlogError: one of them is no check of this plan, or none that a step shows.
    """
    wanted = [one.strip() for text in named for one in text.split(",") if one.strip()]
    known = [check.id for check in checks_of(plan) if not is_fuse_check(check.id)]
    for one in wanted:
        if is_fuse_check(one):
            raise BenchlogError(
                f"--only {one}: this check compares the plan with itself, so no step shows it; "
                "correct the plan, or the fuse, and see benchlog plan"
            )
        if one not in known:
            raise BenchlogError(f"--only {one}: this plan has no such check; it has {', '.join(known)}")
    return tuple(check for check in known if check in wanted)


def steps_for(steps: Sequence[StepSpec], only: Collection[str]) -> tuple[StepSpec, ...]:
    """The steps that these checks need, in their order; all of them where no check is named."""
    if not only:
        return tuple(steps)
    wanted = {"prepare"}
    slots: set[int] = set()
    for check in only:
        kind, slot = split_id(check)
        wanted.update(NEEDS[kind])
        slots |= set() if slot is None else {slot}
    return tuple(spec for spec in steps if _needed(spec, wanted, slots))


def _needed(spec: StepSpec, wanted: Collection[str], slots: Collection[int]) -> bool:
    if spec.walk:
        return "sleep" in wanted and "zero" in wanted
    if spec.slot:
        return _ALL_SLOTS in wanted or spec.slot in slots
    return spec.id in wanted
