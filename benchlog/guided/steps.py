"""The steps of the guided test, declared once: what to say, what to wait for, what to note in the log."""

from dataclasses import dataclass

from benchlog.examine.off_state import DEFAULT_SETTLED_S
from benchlog.limits import slots_in_order
from benchlog.plan import Circuit, Plan

#: A little longer than the check needs, so that its finer search finds enough, s.
MARGIN_S = 4.0
#: The longest wait for a drain that never settles: this many times the needed stretch, and s.
SETTLE_TIMES, SETTLE_MORE_S = 4.0, 240.0

PREPARE_CAUTION = (
    "A slipped tool across a battery melts metal: take off rings and watch straps, cover what is live, never bridge "
    "the two posts. A battery gives off gas that explodes: no flame, no spark. "
    "The bike's service manual, local codes and licensed practice come before anything this test says."
)
CRANK_CAUTION = (
    "Neutral, side stand or work stand firm, nobody astride. Hands, sleeves and cables clear of chain, wheel and fan. "
    "In the open air only: exhaust gas kills. "
    "Shunt: a starter draws 50 to 150 A and more. If the shunt or the logger's current range is rated for less, "
    "bridge the shunt with a thick, short cable before you crank. Follow the service manual for starting."
)
RUN_CAUTION = (
    "Exhaust gas: open air only. Exhaust and engine get hot. A fan may start at any time. "
    "Keep hands, sleeves and cables clear of everything that turns."
)
FUSE_CAUTION = (
    "Key off, engine off. Pull and push fuses with a fuse puller, one at a time, and put the same rating back. "
    "The other side of an open fuse holder may still be live."
)


@dataclass(frozen=True, slots=True)
class Undo:
    """How a step is taken back before it is taken again.

    Attributes:
        say: what the tester does. mark: what that is in the log, and for a stand-in. question: what shows it.
    """

    say: str
    mark: str
    question: str


@dataclass(frozen=True, slots=True)
class StepSpec:
    """One step.

    Attributes:
        id, title, say: what it is; ``say`` is what the tester does, short and imperative.
        question: what shows that it is done (a key of ``watch.QUESTIONS``).
        waiting_for: the same in words.
        mark: noted in the log as it is done, and what a stand-in is asked to do; "" for none.
        end_mark: noted, and asked for, once the step has lasted.
        caution: shown, and to be read, before the step.
        doubt: what may be wrong where nothing is seen.
        hold_s: how long the step lasts once it is done, s. need_s: what ``question`` itself waits for, s.
        doubt_s, wait_s: when ``doubt`` is said, and when the test goes on by itself, s.
        by_hand: only the tester can tell; without that it was not done.
        slot, planned_a: of its circuit; 0 where there is none.
        key: the key must be on (True) or off (False) for it.
        walk: part of the fuse walk, which is taken only where a drain was found or the tester asks.
        undo: None where it can simply be done again.
    """

    id: str
    title: str
    say: str
    question: str
    waiting_for: str
    mark: str = ""
    end_mark: str = ""
    caution: str = ""
    doubt: str = ""
    hold_s: float = 0.0
    need_s: float = 0.0
    doubt_s: float = 20.0
    wait_s: float = 90.0
    by_hand: bool = False
    slot: int = 0
    planned_a: float = 0.0
    key: bool = False
    walk: bool = False
    undo: Undo | None = None


def steps_of(plan: Plan) -> tuple[StepSpec, ...]:
    """All steps for this plan in their order, those of the fuse walk included."""
    circuits = slots_in_order(plan)
    need_s = plan.limits.settle_max_s or DEFAULT_SETTLED_S
    return (
        *_at_rest(),
        _key_on(plan),
        *(_slot(circuit) for circuit in circuits),
        *([_all_on()] if circuits else []),
        *_engine(),
        _key_off(),
        _sleep(need_s),
        *(step for at, circuit in enumerate(circuits) for step in _fuse(circuit, first=at == 0)),
        *([_fuses_in(), _sleep_again(need_s)] if circuits else []),
    )


def _at_rest() -> tuple[StepSpec, ...]:
    return (
        StepSpec(
            "prepare",
            "Prepare",
            "Key off, engine off, every added device switched off. Clip the logger on. Lay its cable clear of "
            "exhaust, chain and wheels.",
            "told",
            "Enter, when the bike stands ready",
            caution=PREPARE_CAUTION,
            doubt="is everything connected? the values below show what the logger sees",
            doubt_s=60.0,
            wait_s=300.0,
            by_hand=True,
        ),
        StepSpec(
            "zero",
            "Zero of the shunt",
            "Let no current pass the shunt: leave the key off and move both sense leads of the shunt to one side of "
            "it, or open the load side of the shunt. Touch nothing for 5 s.",
            "told",
            "Enter, when no current can pass the shunt",
            mark="zero",
            end_mark="zero end",
            doubt="no Enter yet; s leaves the zero out, and small drains are then less sure",
            hold_s=5.0,
            wait_s=120.0,
            by_hand=True,
        ),
        StepSpec(
            "zero_back",
            "Shunt back",
            "Connect the shunt again as it was.",
            "told",
            "Enter, when the shunt is back",
            doubt="is the shunt connected again? without it no current is measured",
            wait_s=90.0,
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
            wait_s=150.0,
        ),
    )


def _key_on(plan: Plan) -> StepSpec:
    trigger = f" ({plan.relay.trigger})" if plan.relay and plan.relay.trigger else ""
    return StepSpec(
        "key_on",
        "Key on",
        "Turn the key on. Do not start the engine. Leave the added devices off.",
        "key_on",
        "the trigger or the feed to rise, or the bike's own current",
        mark="key on",
        doubt="nothing rose: is the kill switch in the run position, is the trigger clip on terminal 86 (DIN 72552), "
        f"is the trigger's circuit{trigger} live with the key on?",
        hold_s=4.0,
        key=False,
        undo=Undo("Turn the key off again.", "key off", "key_off"),
    )


def _slot(circuit: Circuit) -> StepSpec:
    slot = circuit.slot
    return StepSpec(
        f"slot_{slot}_on",
        f"Slot {slot}: {circuit.device}",
        f"Switch on: {circuit.device}. Full power. Nothing else.",
        "slot_on",
        f"the current to rise by about {circuit.planned_a:g} A",
        mark=f"slot {slot} on",
        doubt=f"no rise of the current: is the device switched on, is the fuse of slot {slot} in and whole, is the "
        "fuse block live? Enter, if it is switched on and nothing comes",
        hold_s=4.0,
        doubt_s=15.0,
        wait_s=60.0,
        slot=slot,
        planned_a=circuit.planned_a,
        key=True,
        undo=Undo(f"Switch off again: {circuit.device}.", f"slot {slot} off", "slot_off"),
    )


def _all_on() -> StepSpec:
    return StepSpec(
        "all_on",
        "All loads on",
        "Leave everything on. Touch nothing for 10 s.",
        "at_once",
        "10 s with all loads on",
        hold_s=10.0,
        key=True,
    )


def _engine() -> tuple[StepSpec, ...]:
    return (
        StepSpec(
            "crank",
            "Start the engine",
            "Press the starter. Hold it until the engine fires.",
            "crank",
            "the battery's voltage to dip",
            mark="crank",
            caution=CRANK_CAUTION,
            doubt="no dip seen: neutral, side stand, clutch lever, kill switch? is battery_v clipped to the posts?",
            hold_s=1.0,
            doubt_s=30.0,
            wait_s=120.0,
            key=True,
            undo=Undo(
                "Stop the engine with the kill switch. Leave the key on, kill switch back to run.",
                "engine off",
                "engine_off",
            ),
        ),
        StepSpec(
            "run",
            "Engine running",
            "Hold a fast idle for 30 s. Leave all loads on. If you bridged the shunt, take the bridge off first.",
            "engine_on",
            "the battery's voltage to rise, or Enter if the engine runs",
            mark="running",
            caution=RUN_CAUTION,
            doubt="no sign of the alternator: Enter if the engine runs all the same; if it does not, a for another "
            "start",
            hold_s=30.0,
            doubt_s=10.0,
            wait_s=90.0,
            key=True,
        ),
    )


def _key_off() -> StepSpec:
    return StepSpec(
        "key_off",
        "Key off",
        "Turn the key off. Leave the devices' own switches on.",
        "key_off",
        "the trigger or the feed to fall",
        mark="key off",
        doubt="nothing fell: if the key is off, press Enter; then something holds the feed, or the trigger is not "
        "switched by the key",
        key=True,
        undo=Undo("Turn the key on again.", "key on", "key_on"),
    )


def _sleep(need_s: float) -> StepSpec:
    return StepSpec(
        "sleep",
        "Asleep",
        "Take the key out. Touch nothing: the bike goes to sleep.",
        "asleep",
        f"the drain to stay settled for {need_s:.0f} s",
        doubt="the drain has not settled yet; something is still awake",
        need_s=need_s + MARGIN_S,
        doubt_s=need_s + 120.0,
        wait_s=SETTLE_TIMES * need_s + SETTLE_MORE_S,
    )


def _fuse(circuit: Circuit, *, first: bool) -> tuple[StepSpec, ...]:
    slot = circuit.slot
    return (
        StepSpec(
            f"fuse_{slot}_out",
            f"Fuse {slot} out",
            f"Pull the fuse of slot {slot} ({circuit.device}).",
            "fuse_out",
            "the drain to fall, or Enter",
            mark=f"fuse {slot} out",
            caution=FUSE_CAUTION if first else "",
            doubt="the drain does not fall: Enter, if the fuse is out (a circuit that draws nothing with the key off "
            "shows nothing)",
            hold_s=5.0,
            doubt_s=10.0,
            wait_s=60.0,
            slot=slot,
            walk=True,
        ),
        StepSpec(
            f"fuse_{slot}_in",
            f"Fuse {slot} back in",
            f"Put the fuse of slot {slot} back in.",
            "fuse_in",
            "the drain to come back, or Enter",
            mark=f"fuse {slot} in",
            doubt="Enter, if the fuse is in again",
            hold_s=7.0,
            doubt_s=10.0,
            wait_s=60.0,
            slot=slot,
            walk=True,
        ),
    )


def _fuses_in() -> StepSpec:
    return StepSpec(
        "fuses_in",
        "All fuses in",
        "Look: every fuse is in again, each with its own rating.",
        "told",
        "Enter, when all fuses are in",
        doubt="are all fuses in again?",
        hold_s=10.0,
        by_hand=True,
        walk=True,
    )


def _sleep_again(need_s: float) -> StepSpec:
    return StepSpec(
        "sleep_again",
        "Asleep again",
        "Touch nothing: the walk may have woken something.",
        "asleep",
        f"{need_s:.0f} s of settled drain, the time with a fuse out not counted",
        doubt="the drain does not settle; something is still awake",
        need_s=need_s + MARGIN_S,
        doubt_s=need_s + 120.0,
        wait_s=SETTLE_TIMES * need_s + SETTLE_MORE_S,
        walk=True,
    )
