"""What a check is: everything that judging, the reports, the causes and the pages ask of it."""

import re
from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass

from benchlog.analysis.measurement import Finding, Measured
from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Circuit, Plan
from benchlog.verdict.proving import Rule, verdict, within_limits
from benchlog.verdict.registry.limiting import LimitRule
from benchlog.verdict.result import Verdict

#: Id, title, short name and unit, for those who make a kind.
CheckNames = tuple[str, str, str, str]
_SLOT_ID = re.compile(r"slot_(\d+)_(\w+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitWords:
    """How a limit is spoken of that its number alone would not explain.

    Attributes:
        sentence: after "within" and "which breaks". plan: in the list of limits; None to show the number there.
    """

    sentence: Callable[[PlannedLimit], str]
    plan: Callable[[PlannedLimit], str] | None = None


@dataclass(frozen=True, slots=True)
class CheckKind:
    """One check; those of the circuits are one kind, with a check for each planned slot.

    Attributes:
        id: as in results; ``slot_N_…`` stands for one a planned slot.
        title: for reports; its ``N`` stands for the slot's number. short: beside its stretch in a drawing.
        unit: of the measured value; "1" for a count.
        measures: what the value is, as the README has it.
        limit: the limit that follows from a plan. limit_from: what sets it, where the plan's keys alone do not say so.
        planned: the planned value itself, in ``unit``, where there is one.
        from_plan: the finding, where the plan alone tells it and no log has to; None for what is measured.
        rule: what one finding proves about the limit.
        found: a clause with a place for the figure. found_none, found_once: the clause for 0 and for 1, where these
            are counts or losses.
        limit_words: where the limit's number alone would not explain it.
        first_test: where to look first when it fails and no fault of the list explains it (common practice, no source).
        key_off: measured with the key off. by_samples: its uncertainty is that of the samples' spacing.
        longest_decides: what comes and goes over hours, so of several logs the one that watched longest decides.
        explained_when_open: a fault may explain that it was not seen or is not proven, not only that it failed.
    """

    id: str
    title: str
    short: str
    unit: str
    _: KW_ONLY
    measures: str
    limit: LimitRule
    found: str
    first_test: str
    limit_from: str | None = None
    planned: Callable[[Plan, Circuit | None], float | None] | None = None
    from_plan: Callable[[Plan, Circuit | None], Finding] | None = None
    rule: Rule = within_limits
    found_none: str | None = None
    found_once: str | None = None
    limit_words: LimitWords | None = None
    key_off: bool = False
    by_samples: bool = False
    longest_decides: bool = False
    explained_when_open: bool = True

    @property
    def per_slot(self) -> bool:
        """One check for each planned slot."""
        return self.id.startswith("slot_N_")

    @property
    def set_by(self) -> str:
        """What sets its limit, as the README has it."""
        return self.limit_from or ", ".join(f"`{key}`" for key in self.limit.keys)

    def id_of(self, slot: int) -> str:
        """The id of one slot's check."""
        return self.id.replace("N", str(slot))

    def verdict(self, finding: Finding, limit: PlannedLimit | None) -> Verdict:
        """What one finding proves about one limit."""
        return verdict(finding, limit, self.rule)

    def clause(self, finding: Measured, figure: str) -> str:
        """What was found, with its figure in words."""
        if finding.value == 0 and self.found_none is not None:
            return self.found_none
        if finding.value == 1 and self.found_once is not None:
            return self.found_once
        return self.found.format(figure)


@dataclass(frozen=True, slots=True)
class CheckRef:
    """A check as a result's id names it: its kind, and the slot it is about, if any."""

    kind: CheckKind
    slot: int | None = None

    @property
    def title(self) -> str:
        """As in reports, without the device."""
        return self.kind.title if self.slot is None else self.kind.title.replace("N", str(self.slot))

    @property
    def short(self) -> str:
        """As beside a stretch in a drawing."""
        return self.kind.short if self.slot is None else self.kind.short.replace("N", str(self.slot))


@dataclass(frozen=True, slots=True)
class PlannedCheck:
    """A check of one plan: its kind, and the circuit it is about, if any."""

    kind: CheckKind
    circuit: Circuit | None = None

    @property
    def id(self) -> str:
        """As in results."""
        return self.kind.id if self.circuit is None else self.kind.id_of(self.circuit.slot)

    @property
    def title(self) -> str:
        """For reports, with the device."""
        if self.circuit is None:
            return self.kind.title
        return f"{CheckRef(self.kind, self.circuit.slot).title} ({self.circuit.device})"

    def limit(self, plan: Plan) -> PlannedLimit | None:
        """What the plan allows; None where it sets no limit."""
        return self.kind.limit.of(plan, self.circuit)

    def planned_value(self, plan: Plan) -> float | None:
        """The planned value itself, where the plan has one."""
        return None if self.kind.planned is None else self.kind.planned(plan, self.circuit)

    def from_plan(self, plan: Plan) -> Finding | None:
        """The finding where the plan alone tells it; None for what is measured."""
        return None if self.kind.from_plan is None else self.kind.from_plan(plan, self.circuit)


def split_id(check_id: str) -> tuple[str, int | None]:
    """A result's check id as its kind's id and the slot: ``slot_3_fuse`` is ``slot_N_fuse`` of slot 3."""
    found = _SLOT_ID.fullmatch(check_id)
    return (check_id, None) if found is None else (f"slot_N_{found.group(2)}", int(found.group(1)))
