"""How each kind of fault is mended at its place, and which check is to be taken again."""

_OPEN = {
    "fuse": "Find out why it blew before a new one of that rating goes in; look at the holder's blades.",
    "contact": "Replace the relay; look at the blades of its socket.",
    "coil": "Replace the relay.",
    "device": "Look at the device's switch and in-line fuse; then repair or replace the device.",
    "trigger": "Look at that circuit's own fuse and switch, then at the tap.",
    "charging": "Look at the charging fuse and the plug between alternator and regulator, then measure the phases.",
}
MENDS: dict[str, str] = {
    "open": "Follow the wire between these two points, and mend the broken wire or the joint that came loose.",
    "resistive": "Take the joint apart, clean it to bare metal, crimp it anew if it moves, tighten it; replace a wire "
    "that is thinner than planned.",
    "stuck": "Replace the relay, and look for the short or the inrush that welded it.",
    "leak": "Move its supply to the fuse block so that the key switches it; on the bike's own side pull its fuses one "
    "by one to find the circuit.",
    "wakes": "Set it to wake less often, or move it to switched power.",
    "backfeeds": "Find its second supply, and take it off or fit a diode.",
    "overload": "Compare its rating with the plan, look for a second device on its wire; never fit a larger fuse.",
    "weak": "Clean and tighten the posts, charge the battery, let it rest overnight, measure; have it load-tested.",
    "wrong circuit": "Take the trigger from a line that is neither dimmed nor pulsed.",
    "wrong terminal": "Move the wire to its right terminal.",
    "slow": "Replace the relay, or take off what holds its coil up.",
    "short": "Find where the wire touches, mend its insulation, then fit a new fuse of the same rating.",
    "intermittent": "Move each joint between these points by hand until it opens, and mend that one.",
    "overvoltage": "Look at the regulator's sense wire and ground before the regulator is replaced.",
}
_SPECIAL = {
    ("trigger source", "stuck"): "Move the trigger to a circuit that is dead with the key off, such as the tail lamp.",
    ("trigger source", "slow"): "Take the trigger from a circuit without electronics, or unplug what holds it up.",
    ("measurement", "wrong terminal"): "Change the trigger's and the feed's clips over, and record again.",
    ("relay socket", "wrong terminal"): "The fuse block's wire belongs on 87, not on 87a.",
    ("charging", "leak"): "Unplug the regulator: if the drain goes, replace it.",
    ("charging", "weak"): "Plan less load, or use the heavy ones only above idle.",
    ("charging", "backfeeds"): "Take the charger or the solar panel off, and record again.",
    ("bike", "slow"): "Ask the bike's service manual how long its control unit stays awake, and set the limit to that.",
    ("device", "short"): "Replace the device; a fuse of the same rating goes in after that.",
    ("device", "slow"): "Set it to sleep sooner, or move it to switched power.",
}
_CHECKS = {
    "stuck": "feed_off_voltage",
    "leak": "off_state_drain",
    "wakes": "off_state_drain",
    "backfeeds": "off_state_drain",
    "slow": "settle_time",
    "intermittent": "relay_chatter",
    "overvoltage": "charging_voltage",
    "wrong circuit": "relay_chatter",
    "wrong terminal": "feed_off_voltage",
}
_BY_PLACE = {"bus to battery -": "ground_lift", "charging": "charging_voltage", "battery": "source_resistance"}
_TRIGGER = ("key line to 86", "trigger source", "coil", "85 to battery -")


def mend(place: str, kind: str) -> str:
    """How to mend it, with the caution that comes first."""
    first = place.split()[0]
    text = _SPECIAL.get((place, kind)) or _SPECIAL.get((first, kind))
    if text is None and kind == "open":
        text = _OPEN.get("fuse" if place == "feed fuse" else first) if "to" not in place.split() else None
    return f"Battery's negative lead off first. {text or MENDS[kind]}"


def check_again(place: str, kind: str) -> str:
    """The one check that shows whether it is mended."""
    words = place.split()
    if (place, kind) in (("coil", "slow"), ("trigger source", "slow")):
        return "relay_drop_out"
    if kind in _CHECKS:
        return _CHECKS[kind]
    if words[0] in ("fuse", "slot", "device") and words[1].isdigit():
        return f"slot_{words[1]}_current"
    if place in _TRIGGER:
        return "relay_pull_in"
    return _BY_PLACE.get(place, "feed_drop")
