"""The steps of the fuse walk."""

from benchlog.bench.guided.spec import StepSpec
from benchlog.core.events import FuseIn, FuseOut
from benchlog.plan.model import Circuit

FUSE_CAUTION = (
    "Key off, engine off. Pull and push fuses with a fuse puller, one at a time, and put the same rating back. "
    "The other side of an open fuse holder may still be live."
)


def fuse(circuit: Circuit, *, first: bool) -> tuple[StepSpec, ...]:
    """One fuse out and in; the first with the caution."""
    slot = circuit.slot
    return (
        StepSpec(
            f"fuse_{slot}_out",
            f"Fuse {slot} out",
            f"Pull the fuse of slot {slot} ({circuit.device}).",
            "fuse_out",
            "the drain to fall, or Enter",
            mark=FuseOut(slot).text,
            caution=FUSE_CAUTION if first else "",
            doubt="the drain does not fall: press Enter if the fuse is out (a circuit that draws nothing "
            "with the key off shows nothing)",
            hold_say=f"Leave the fuse of slot {slot} out. Touch nothing.",
            unseen="no fall of the drain was seen",
            hold_s=5.0,
            doubt_s=10.0,
            slot=slot,
            walk=True,
        ),
        StepSpec(
            f"fuse_{slot}_in",
            f"Fuse {slot} back in",
            f"Put the fuse of slot {slot} back in.",
            "fuse_in",
            "the drain to come back, or Enter",
            mark=FuseIn(slot).text,
            doubt="press Enter if the fuse is back in",
            hold_say="Touch nothing: whatever is on this fuse is starting up.",
            hold_s=7.0,
            doubt_s=10.0,
            slot=slot,
            walk=True,
        ),
    )


def fuses_in() -> StepSpec:
    """A look at all fuses."""
    return StepSpec(
        "fuses_in",
        "All fuses in",
        "Check that every fuse is back in, each with its own rating.",
        "told",
        "Enter when all fuses are in",
        doubt="are all fuses back in?",
        hold_say="Touch nothing.",
        hold_s=10.0,
        by_hand=True,
        walk=True,
    )
