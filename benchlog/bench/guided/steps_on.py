"""The steps with the key on: each device, all of them, the starter and the running engine."""

from benchlog.bench.guided.spec import StepSpec, Undo
from benchlog.core.events import Cranked, EngineRuns, KeyOff, KeyOn, SlotOff, SlotOn
from benchlog.plan.model import Circuit, Plan

CRANK_CAUTION = (
    "Neutral, side stand or work stand firm, nobody astride. Hands, sleeves and cables clear of chain, wheel and fan. "
    "In the open air only: exhaust gas kills. "
    "Shunt: a starter draws 50 to 150 A and more. If the shunt or the logger's current range is rated for less, "
    "bridge the shunt with a thick, short cable before you crank: press b, then put it on. "
    "Follow the service manual for starting."
)
RUN_CAUTION = (
    "Exhaust gas: open air only. Exhaust and engine get hot. A fan may start at any time. "
    "Keep hands, sleeves and cables clear of everything that turns."
)


def key_on(plan: Plan) -> StepSpec:
    """Key on."""
    trigger = f" ({plan.relay.trigger})" if plan.relay and plan.relay.trigger else ""
    return StepSpec(
        "key_on",
        "Key on",
        "Turn the key on. Do not start the engine. Leave the added devices off.",
        "key_on",
        "the trigger or the feed to rise, or the bike's own current",
        mark=KeyOn.text,
        doubt="nothing rose: is the kill switch in the run position, is the trigger clip on terminal 86 (DIN 72552), "
        f"is the trigger's circuit{trigger} live with the key on?",
        hold_say="The key is on. Touch nothing.",
        hold_s=4.0,
        key=False,
        undo=Undo("Turn the key off again.", KeyOff.text, "key_off"),
    )


def slot(circuit: Circuit) -> StepSpec:
    """One device on."""
    slot = circuit.slot
    return StepSpec(
        f"slot_{slot}_on",
        f"Slot {slot}: {circuit.device}",
        f"Switch on: {circuit.device}. Full power. Nothing else.",
        "slot_on",
        f"the current to rise by about {circuit.planned_a:g} A",
        mark=SlotOn(slot).text,
        doubt=f"no rise of the current: is the device switched on, is the fuse of slot {slot} in and intact, is the "
        "fuse block live? press Enter if it is switched on and no current flows",
        hold_say=f"{circuit.device[:1].upper()}{circuit.device[1:]} is on: leave it on. Touch nothing.",
        hold_s=4.0,
        doubt_s=15.0,
        slot=slot,
        planned_a=circuit.planned_a,
        tolerance=circuit.tolerance_pct / 100,
        key=True,
        undo=Undo(f"Switch off again: {circuit.device}.", SlotOff(slot).text, "slot_off"),
    )


def all_on() -> StepSpec:
    """All devices on."""
    return StepSpec(
        "all_on",
        "All loads on",
        "Leave everything on. Touch nothing for 10 s.",
        "at_once",
        "10 s with all loads on",
        hold_s=10.0,
        key=True,
    )


def engine() -> tuple[StepSpec, ...]:
    """Starter, and engine running."""
    return (
        StepSpec(
            "crank",
            "Start the engine",
            "Press the starter. Hold it until the engine fires.",
            "crank",
            "the battery's voltage to dip",
            mark=Cranked.text,
            caution=CRANK_CAUTION,
            doubt="no dip seen: neutral, side stand, clutch lever, kill switch? is battery_v clipped to the posts?",
            hold_say="Let go of the starter.",
            hold_s=1.0,
            doubt_s=30.0,
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
            "If you bridged the shunt, take the bridge off now. Hold a fast idle, with all loads on.",
            "engine_on",
            "the battery's voltage to rise, or Enter if the engine runs",
            mark=EngineRuns.text,
            bridged_say="Take the bridge off the shunt, then press b. Hold a fast idle, with all loads on.",
            caution=RUN_CAUTION,
            doubt="no sign of the alternator: press Enter if the engine runs anyway; if not, press a for another start",
            hold_s=30.0,
            doubt_s=10.0,
            key=True,
        ),
    )
