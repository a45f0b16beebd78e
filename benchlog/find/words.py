"""What a test asks for, how it is done, and the cautions that stand before it."""

from collections.abc import Callable, Mapping

from benchlog.find.questions import OL_OHM, UNFUSED, Question
from benchlog.plan.model import Plan

STATES = {
    "asleep": "Everything switched off, turn the key on and off once, and wait until the bike sleeps",
    "key on": "Key on, engine off, every circuit off",
    "all on": "Key on, engine off, every circuit on",
    "cranking": "Neutral, and crank for at most 5 s",
    "running": "Neutral, engine at a fast idle",
    "power off": "Key off, and the battery's negative lead off its post",
}
HOW = {
    "voltage": "Meter on V DC, black lead in COM, red lead in V. Red probe to the first point, black one to the "
    "second. Press both to bare metal and read when the figure stands still. A minus sign is part of the answer.",
    "current": "A DC clamp, set to zero first, around the one wire alone, its arrow in the direction of the current.",
    "drain": "First measure millivolts across the bike's fuses, which wakes nothing. For the whole drain: meter in the "
    "10 A jack between negative post and lead, joined before the lead is taken off; then wait again, 2 min at least, "
    "until the figure stands still.",
    "resistance": "Meter on Ω, touch the probes together first and take that figure off. OL means open: type OL.",
    "look": "Answer y where the statement is true, n where it is not.",
}
_LEADS = "Leads in the V jack: left in the current jack they short whatever they touch."
_SLIP = (
    "Nothing limits the current at battery +, fuse in or 30: a probe that slips from there to the frame burns. "
    "Cover all but the probe's tip, and take rings and watch off."
)
_JACK = "More than 10 A never goes through a meter's jack; use a clamp."
_IN_LINE = (
    "No key-on and no crank with an ammeter in line, nothing above 10 A through its jack, and the leads back into the "
    "V jack afterwards."
)
_OHMS = "Ohms only with power off: the battery's negative lead comes off first."
_OUT = "Take fuses and the relay out, and put them in, with the key off; never while cranking or running."
_DIODE = "A relay with a diode has a polarity: do not swap 85 and 86."
_CRANK = "Neutral, stand clear, short cranks with pauses. Open no fuse and no battery lead while cranking."
_RUN = (
    "Neutral, in the open air; keep clear of fan, exhaust and hot parts. Open no fuse and no battery lead while the "
    "engine runs. Unplug a laptop from the mains before it is joined to the bike."
)
_KEY = "Neutral, and hands clear: the fan may start by itself. Jumper leads only with a fuse in them."
_LITHIUM = "A lithium battery that has cut off is not to be forced, and never gets a desulphating charger."


def ask(question: Question, plan: Plan) -> str:
    """What to do, in one or two sentences."""
    state = STATES[question.state]
    out = f"; take out or unplug: {', '.join(map(_named(plan), question.without))}" if question.without else ""
    if question.kind == "voltage":
        what = f"Measure the voltage from {question.start} (red) to {question.end} (black)"
    elif question.kind == "current":
        what = f"Measure the current of {_named(plan)(question.of)} with a {question.how}"
    elif question.kind == "drain":
        what = "Measure what leaves the battery, in mA"
    elif question.kind == "resistance":
        what = f"Measure the resistance from {question.start} to {question.end}"
    else:
        what = _look(question)
    return f"{state}{out}. {what}."


def caution(question: Question, plan: Plan) -> str:
    """What must be heeded before the step; every test has one."""
    found = {"voltage": [_LEADS], "current": [_JACK], "drain": [_IN_LINE], "resistance": [_OHMS], "look": []}
    said = list(found[question.kind])
    if question.kind == "voltage" and {question.start, question.end} & set(UNFUSED):
        said.insert(0, _SLIP)
    by_state = {"cranking": _CRANK, "running": _RUN, "key on": _KEY, "all on": _KEY}
    said += [by_state[question.state]] if question.state in by_state else []
    if question.without or " intact" in question.of:
        said.append(_OUT)
    if "relay" in question.without or "relay" in question.of:
        said.append(_DIODE)
    if plan.battery.chemistry == "lifepo4" and question.start == "battery +":
        said.append(_LITHIUM)
    if question.kind == "look" and question.state == "asleep":
        said.append(_IN_LINE)
    return " ".join(said or [_OHMS if question.state == "power off" else _KEY])


def range_words(good: Mapping[str, float | str | None], question: Question) -> str:
    """What a good install shows, after "shows"."""
    if question.kind == "look":
        return "yes"
    if good["max"] is None:
        return f"more than {good['min']:,.0f} Ω, or OL"
    return f"{good['min']:g} to {good['max']:g} {question.unit}"


def answer_words(value: float | None, question: Question) -> str:
    """An answer as it was given."""
    if value is None:
        return "could not be done"
    if question.kind == "look":
        return "yes" if value > 0.5 else "no"
    return "OL" if question.kind == "resistance" and value >= OL_OHM else f"{value:g} {question.unit}"


def _named(plan: Plan) -> Callable[[str], str]:
    devices = {f"device {circuit.slot}": circuit.device for circuit in plan.circuit}

    def name(place: str) -> str:
        if place in devices:
            return f"{place} ({devices[place]}; with its in-line fuse, if it has one)"
        if place.startswith("slot"):
            return f"the fuse of {place}"
        return "the bike's own main fuse" if place == "bike fuse" else place

    return name


def _look(question: Question) -> str:
    statement = question.of.split(" without ")[0]
    if statement == "no wake-up in the watch":
        return "Watch the drain for an hour, or let the logger record it: is there no wake-up in that hour"
    if statement == "asleep in time":
        return "Turn the key on and off and watch the drain: does the bike fall asleep within its time"
    if statement.startswith("wiggle "):
        span = statement.removeprefix("wiggle ").removesuffix(" changes nothing")
        return f"Move each wire, joint and plug from {span} by hand and watch a lamp: does nothing change"
    if statement.startswith("new "):
        return f"Fit one new fuse of the planned rating, by itself and away from the face: is it true: {statement}"
    if statement.startswith("lamp in place of "):
        return f"Plug a 21 W test lamp in place of the fuse: is it true: {statement}"
    return f"True or not: {statement}"
