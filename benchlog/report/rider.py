"""The first page, for the rider: what was done to the bike, in words that need no trade."""

import datetime
from dataclasses import dataclass

from benchlog.plan.batteries import CHEMISTRY, self_discharge
from benchlog.plan.model import Plan, slots_in_order
from benchlog.verdict.result import Check, Result

#: Share of the charge after which a battery may no longer start the engine in the cold (common practice, no source).
_USABLE = 0.5
_LONGEST_DAYS = 180
_DAYS_A_MONTH = 30.0
#: What wakes now and then shows only after a while: days are given after an hour's watch, s.
_WATCHED_S = 3600.0
_TILL_KNOWN = "Until that is known, charge the battery every four weeks."

#: Check -> what it is about, as an answer to "what".
_PLAIN = {
    "off_state_drain": "how much the bike draws while it is parked",
    "added_drain": "whether the new wiring draws anything while the bike is parked",
    "settle_time": "how soon the bike falls asleep after you switch it off",
    "feed_off_voltage": "whether the accessories are really off when the key is off",
    "relay_pull_in": "whether the accessories come on with the key at once",
    "relay_drop_out": "whether the accessories go off with the key at once",
    "relay_chatter": "whether the switch for the accessories works without flutter",
    "battery_sag": "how well the battery carries the accessories",
    "feed_drop": "whether the supply cable is good enough",
    "ground_lift": "whether the return cable is good enough",
    "resting_voltage": "how full the battery was",
    "source_resistance": "how strong the battery still is",
    "crank_minimum": "how well the battery starts the engine",
    "feed_in_crank": "what the accessories do while the engine starts",
    "charging_voltage": "whether the battery is charged properly while you ride",
    "charging_balance": "whether the battery still gains charge with everything on",
    "feed_fuse": "whether the main fuse protects its cable",
}
_HEADLINES = {
    "pass": "It does what was planned.",
    "fail": "Something is not as planned. Please have it looked at before you rely on it.",
    "not proven": "Nothing was found wrong, but not everything could be shown. The list below says what is open.",
}
#: What is open -> why, in words that need no trade.
_REASONS = {
    "not seen": "the test did not include it",
    "not proven": "it was measured, but not surely enough to promise it",
}
#: What to do when it goes wrong, and when to look again (common practice, no source).
ADVICE = (
    "A fuse blows: put in one of the same size, once. If it blows again, leave it out and call: there is a fault.",
    "Never put in a larger fuse: the cable would burn before the fuse does.",
    "It smells or feels hot, or smokes: key off, engine off, and keep away from the battery until it is cool.",
    "Nothing works any more: look at the main fuse near the battery first.",
    "After the first 500 km have the screws and plugs of the new wiring looked at once; then with each service.",
)


@dataclass(frozen=True, slots=True)
class RiderPage:
    """What the first page says.

    Attributes:
        headline: one sentence.
        parked: how long it may stand, or that this is not known.
        wrong: what failed. opened: what was not shown, and why.
        fuses: (place, size, what it feeds).
        switch: what switches the accessories; empty where the plan does not say.
        battery: what sort it is. contact: whom to call; empty where nobody entered it.
    """

    headline: str
    parked: str
    wrong: tuple[str, ...]
    opened: tuple[tuple[str, str], ...]
    fuses: tuple[tuple[str, str, str], ...]
    switch: str
    battery: str
    contact: str = ""


def rider_page(result: Result, plan: Plan, today: datetime.date, contact: str = "") -> RiderPage:
    """The page of a result, for a bike that is parked from ``today`` on, where the reader is."""
    feed_a = plan.feed.fuse_a if plan.feed is not None else None
    main = [("near the battery", f"{feed_a:g} A", "everything below")] if feed_a is not None else []
    slots = [
        (f"fuse block, place {each.slot}", f"{each.fuse_a:g} A" if each.fuse_a else "no fuse of its own", each.device)
        for each in slots_in_order(plan)
    ]
    trigger = plan.relay.trigger if plan.relay is not None else None
    return RiderPage(
        headline=_HEADLINES[result.verdict],
        parked=_parked(result, plan, today),
        wrong=tuple(_begun(_plainly(check, plan)) for check in result.checks if check.verdict == "fail"),
        opened=tuple(
            (_begun(_plainly(check, plan)), _REASONS[check.verdict])
            for check in result.checks
            if check.verdict in _REASONS
        ),
        fuses=(*main, *slots),
        switch=f"The accessories come on together with the {trigger}, and go off with it." if trigger else "",
        battery=f"{CHEMISTRY[plan.battery.chemistry].name}, {plan.battery.capacity_ah:g} Ah",
        contact=contact,
    )


def _begun(text: str) -> str:
    return text[:1].upper() + text[1:]


def _plainly(check: Check, plan: Plan) -> str:
    """What a check is about."""
    if check.id in _PLAIN:
        return _PLAIN[check.id]
    devices = {f"slot_{each.slot}": each.device for each in plan.circuit}
    slot = next((device for start, device in devices.items() if check.id.startswith(f"{start}_")), None)
    if slot is None:
        return check.title[:1].lower() + check.title[1:]
    about = "whether its fuse protects its cable" if check.id.endswith("_fuse") else "whether it draws what it should"
    return f"{slot}: {about}"


def _parked(result: Result, plan: Plan, today: datetime.date) -> str:
    """How long half the charge lasts on the drain at its largest and on the battery's own loss, and until when."""
    drain = next((check for check in result.checks if check.id == "off_state_drain"), None)
    if drain is None or drain.measured is None:
        return f"How long it may stand was not measured. {_TILL_KNOWN}"
    if drain.from_s is None or drain.to_s is None or drain.to_s - drain.from_s < _WATCHED_S:
        return f"How long it may stand is not known: the bike was not watched for an hour while parked. {_TILL_KNOWN}"
    capacity_ah = plan.battery.capacity_ah
    most_ma = max(drain.measured + (drain.uncertainty or 0.0), 0.0)
    daily_ah = most_ma * 24 / 1000 + capacity_ah * self_discharge(plan.battery.chemistry)[1] / 100 / _DAYS_A_MONTH
    days = min(int(capacity_ah * _USABLE / daily_ah), _LONGEST_DAYS)
    until = today + datetime.timedelta(days=days)
    return (
        f"Parked with a full battery and the key off, it should still start after {days} days: parked on "
        f"{_spoken(today)}, until {_spoken(until)}. In the cold, or with an old battery, charge it earlier."
    )


def _spoken(day: datetime.date) -> str:
    return f"{day.day} {day:%B %Y}"
