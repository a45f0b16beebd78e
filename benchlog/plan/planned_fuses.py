"""Does each planned fuse protect its wire? The plan held against itself, before anything is measured."""

from dataclasses import dataclass
from typing import Literal

from benchlog.plan.model import Circuit, Plan, Run
from benchlog.plan.wiring import (
    CAREFUL_SOURCE,
    LENIENT_SOURCE,
    LENIENT_TERMS,
    Conductor,
    largest_fuse_a,
    most_lenient_fuse_a,
)


@dataclass(frozen=True, slots=True)
class Protection:
    """A fuse in front of a wire: it must blow before the wire burns.

    Attributes:
        fuse_a: the fuse's rating, A. wire: what it protects.
        careful_a: the largest fuse of the careful table, A. lenient_a: of the most lenient one, A.
    """

    fuse_a: float
    wire: Conductor
    careful_a: float
    lenient_a: float

    @property
    def verdict(self) -> Literal["pass", "fail", "not proven"]:
        """Pass where every table allows it, fail where none does, not proven where they differ."""
        if self.fuse_a <= self.careful_a:
            return "pass"
        return "fail" if self.fuse_a > self.lenient_a else "not proven"

    @property
    def bears(self) -> str:
        """What the wire bears, with the tables that say so."""
        return f"{self.careful_a:.3g} A by {CAREFUL_SOURCE}, {self.lenient_a:.3g} A by {LENIENT_SOURCE}"

    @property
    def danger(self) -> str:
        """What is wrong, why, and what to do, as a clause; "" where every table allows the fuse."""
        if self.verdict == "pass":
            return ""
        too_large = f"a {self.fuse_a:g} A fuse is too large for {self.wire}, which bears"
        mend = f"fit a fuse of at most {self.careful_a:.3g} A, or a thicker wire"
        if self.verdict == "fail":
            return f"{too_large} {self.bears} {LENIENT_TERMS}: the wire can burn before the fuse blows; {mend}"
        allows = f"only {LENIENT_SOURCE} {LENIENT_TERMS} allows it (up to {self.lenient_a:.3g} A)"
        return f"{too_large} {self.careful_a:.3g} A by {CAREFUL_SOURCE}, and {allows}; {mend}"


@dataclass(frozen=True, slots=True)
class PlannedFuse:
    """One fuse of the plan, also one that the plan does not give.

    Attributes:
        name: what it is in front of, in words.
        protection: None where the fuse or its wire is not planned. lacks: what is missing then, as a clause.
    """

    name: str
    protection: Protection | None
    lacks: str = ""


def protection(run: Run, fuse_a: float | None) -> Protection | None:
    """How a fuse, A, protects a run's wire; None where either is not given."""
    wire = run.wire
    if wire is None or fuse_a is None:
        return None
    return Protection(fuse_a, wire, largest_fuse_a(wire), most_lenient_fuse_a(wire))


def feed_fuse(plan: Plan) -> PlannedFuse:
    """The fuse in front of the feed."""
    feed_a = plan.feed.fuse_a if plan.feed else None
    found = None if plan.feed is None else protection(plan.feed, feed_a)
    return PlannedFuse("the feed", found, _lacks(plan.feed, feed_a, "feed"))


def slot_fuse(plan: Plan, circuit: Circuit) -> PlannedFuse:
    """The fuse in front of one circuit."""
    feed_a = plan.feed.fuse_a if plan.feed else None
    lacks = _lacks(circuit, circuit.fuse_a, "circuit") + _behind_the_feed(circuit, feed_a)
    return PlannedFuse(f"slot {circuit.slot} ({circuit.device})", protection(circuit, circuit.fuse_a), lacks)


def _lacks(run: Run | None, fuse_a: float | None, table: str) -> str:
    missing = [
        key
        for key, given in (("fuse_a", fuse_a), ("conductor", None if run is None else run.conductor))
        if given is None
    ]
    if not missing:
        return ""
    return f"the plan does not give {' and '.join(missing)}; add {'them' if len(missing) > 1 else 'it'} to [{table}]"


def _behind_the_feed(circuit: Circuit, feed_a: float | None) -> str:
    """A slot without a fuse of its own is protected by the feed's alone."""
    alone = None if circuit.fuse_a is not None else protection(circuit, feed_a)
    return (
        "" if alone is None or not alone.danger else f"; until then only the feed fuse protects it, and {alone.danger}"
    )
