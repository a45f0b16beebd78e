"""The steps of the guided test in their order."""

from collections.abc import Collection

from benchlog.bench.guided.retest import steps_for
from benchlog.bench.guided.spec import StepSpec
from benchlog.bench.guided.steps_fuses import fuse, fuses_in
from benchlog.bench.guided.steps_on import all_on, engine, key_on, slot
from benchlog.bench.guided.steps_rest import at_rest, key_off, sleep, sleep_again
from benchlog.plan.limits import settled_s
from benchlog.plan.model import Plan, slots_in_order
from benchlog.verdict.advice import fire_risks


def steps_of(plan: Plan, only: Collection[str] = ()) -> tuple[StepSpec, ...]:
    """The steps for this plan in their order, those of the fuse walk included.

    Args:
        only: ids of the checks that are taken again; all steps where none is named.
    """
    circuits = slots_in_order(plan)
    need_s = settled_s(plan)
    steps = (
        *at_rest(fire_risks(plan)),
        key_on(plan),
        *(slot(circuit) for circuit in circuits),
        *([all_on()] if circuits else []),
        *engine(),
        key_off(),
        sleep(need_s),
        *(step for at, circuit in enumerate(circuits) for step in fuse(circuit, first=at == 0)),
        *([fuses_in(), sleep_again(need_s)] if circuits else []),
    )
    return steps_for(steps, only)
