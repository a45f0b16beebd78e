"""What must be put right before a step can be taken, and what the tester is asked."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from benchlog.bench.guided.spec import StepSpec
from benchlog.core.events import EngineStopped, KeyOff, KeyOn, SlotOff


@dataclass(frozen=True, slots=True)
class PutRight:
    """What comes before the step itself.

    Attributes:
        say: what the tester does. question: what shows it; "" where only Enter tells.
        marks: noted in the log once it is done, and asked of a stand-in.
    """

    say: str
    question: str
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Asked:
    """A question that is answered with yes or no.

    Attributes:
        text: the question. yes, no: what follows. moot: whether the stream has answered it by now.
    """

    text: str
    yes: Callable[[], None]
    no: Callable[[], None]
    moot: Callable[[], bool] = bool


def undone(spec: StepSpec) -> PutRight | None:
    """The step itself taken back; None where it can simply be done again."""
    undo = spec.undo
    return None if undo is None else PutRight(undo.say, undo.question, (undo.mark,))


def key_on_again(on: Sequence[StepSpec] = (), off: Sequence[StepSpec] = ()) -> PutRight:
    """The key is off and must be on; these circuits on, those off."""
    say = "Turn the key on" + (f" and switch on again: {_listed(on)}." if on else ".")
    return PutRight(f"{say} Leave off: {_listed(off)}." if off else say, "key_on", (KeyOn.text,))


def key_off_again() -> PutRight:
    """The key is on and must be off."""
    return PutRight("Turn the key off again. Touch nothing else.", "key_off", (KeyOff.text,))


def switched_off(steps: Sequence[StepSpec], *, known: bool) -> PutRight:
    """These circuits are on, or may be, and must be off.

    Args:
        steps: of the circuits. known: they are on for sure, so that all of them are noted as switched off.
    """
    where = "" if known else ", where it is on already"
    marks = tuple(SlotOff(one.slot).text for one in (steps if known else steps[:1]))
    more = len(steps) > 1 or not known
    return PutRight(f"Switch off{where}: {_listed(steps)}.", "" if more else "slot_off", marks)


def stranger_off(what: str) -> PutRight:
    """Something came on that must not; nobody knows which circuit it is."""
    return PutRight(f"Switch off again {what}. Enter, if it is off already or has no switch.", "slot_off")


def engine_off() -> PutRight:
    """The engine was started before its time."""
    return PutRight(
        "Stop the engine with the kill switch. Leave the key on, kill switch back to run.",
        "engine_off",
        (EngineStopped.text,),
    )


def _listed(steps: Sequence[StepSpec]) -> str:
    return "; ".join(one.title for one in steps)
