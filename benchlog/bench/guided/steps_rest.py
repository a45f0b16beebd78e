"""The steps with the key off: ready, zero and rest before the test, sleep at its end."""

from collections.abc import Sequence
from dataclasses import replace

from benchlog.bench.guided.spec import StepSpec, Undo
from benchlog.core.events import KeyOff, KeyOn, ShuntBack, ZeroFrom, ZeroTo

#: A little longer than the check needs, so that its finer search finds enough, s.
MARGIN_S = 4.0
#: The longest wait for a drain that never settles: this many times the needed stretch, and s.
SETTLE_TIMES, SETTLE_MORE_S = 4.0, 240.0

PREPARE_CAUTION = (
    "A slipped tool across a battery melts metal: take off rings and watch straps, cover what is live, never bridge "
    "the two posts. A battery gives off gas that explodes: no flame, no spark. "
    "The bike's service manual, local codes and licensed practice come before anything this test says."
)


#: What to do about a fuse that does not protect its wire, before anything is switched on.
FIRE_CAUTION = "Stop here (q) until the right fuse is fitted, or the plan is corrected: this test puts full load on it."


def at_rest(fire_risks: Sequence[str] = ()) -> tuple[StepSpec, ...]:
    """Before the key is turned: bike ready, zero of the shunt, rest.

    Args:
        fire_risks: fuses of the plan that do not protect their wires, as sentences; they are read before all else.
    """
    return (
        _prepare(fire_risks),
        StepSpec(
            "zero",
            "Zero of the shunt",
            "Make sure that no current passes the shunt: leave the key off and move both sense leads of the shunt to "
            "one side of it, or open the load side of the shunt. Touch nothing for 5 s.",
            "told",
            "Enter when no current can pass the shunt",
            mark=ZeroFrom.text,
            end_mark=ZeroTo.text,
            doubt="no Enter yet; s skips the zero, which makes small drains less certain",
            hold_say="Touch nothing until the zero is taken.",
            hold_s=5.0,
            by_hand=True,
        ),
        StepSpec(
            "zero_back",
            "Shunt back",
            "Connect the shunt again as it was.",
            "told",
            "Enter when the shunt is back",
            mark=ShuntBack.text,
            doubt="is the shunt connected again? without it no current is measured",
            by_hand=True,
        ),
        StepSpec(
            "rest",
            "Rest",
            "Key off. Touch nothing: the bike must be asleep.",
            "rested",
            "30 s at rest",
            doubt="the current still changes: is a device, a charger or the bike itself still awake?",
            need_s=30.0,
            doubt_s=60.0,
            bike_s=150.0,
        ),
    )


def _prepare(fire_risks: Sequence[str]) -> StepSpec:
    burns = [f"FIRE RISK. {' '.join(fire_risks)} {FIRE_CAUTION}"] if fire_risks else []
    return StepSpec(
        "prepare",
        "Prepare",
        "Key off, engine off, every added device switched off. Clip the logger on. Lay its cable clear of "
        "exhaust, chain and wheels.",
        "told",
        "Enter when the bike is ready",
        caution=" ".join([*burns, PREPARE_CAUTION]),
        doubt="is everything connected? the values below show what the logger sees",
        doubt_s=60.0,
        by_hand=True,
    )


def key_off() -> StepSpec:
    """Key off."""
    return StepSpec(
        "key_off",
        "Key off",
        "Turn the key off. Leave the devices' own switches on.",
        "key_off",
        "the trigger or the feed to fall",
        mark=KeyOff.text,
        doubt="nothing fell: if the key is off, press Enter; then something holds the feed, or the trigger is not "
        "switched by the key",
        key=True,
        undo=Undo("Turn the key on again.", KeyOn.text, "key_on"),
    )


def sleep(need_s: float) -> StepSpec:
    """Until the drain has stayed settled for ``need_s``."""
    return StepSpec(
        "sleep",
        "Asleep",
        "Take the key out. Touch nothing: the bike goes to sleep.",
        "asleep",
        f"the drain to stay settled for {need_s:.0f} s",
        doubt="the drain has not settled yet; something is still awake",
        need_s=need_s + MARGIN_S,
        doubt_s=need_s + 120.0,
        bike_s=SETTLE_TIMES * need_s + SETTLE_MORE_S,
    )


def sleep_again(need_s: float) -> StepSpec:
    """The same after the fuse walk."""
    return replace(
        sleep(need_s),
        id="sleep_again",
        title="Asleep again",
        say="Touch nothing: the walk may have woken something.",
        waiting_for=f"{need_s:.0f} s of settled drain, not counting the time with a fuse out",
        doubt="the drain does not settle; something is still awake",
        walk=True,
    )
