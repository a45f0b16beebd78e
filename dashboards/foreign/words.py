"""The words of the form for foreign files: what a column can be, and how dates are written."""

from benchlog.core.roles import ROLE_UNITS, SLOTS, UNITS

#: Value of a column's choice: a role, ``time``, "" for not used, with ``charge`` behind a current that is positive
#: into the battery.
INTO = " charge"
_ROLES = {
    "battery_v": "battery voltage",
    "battery_a": "battery current, + flows out",
    f"battery_a{INTO}": "battery current, + flows in",
    "drain_a": "drain on its own shunt, + flows out",
    f"drain_a{INTO}": "drain on its own shunt, + flows in",
    "trigger_v": "trigger, relay 86",
    "feed_v": "feed, relay 87 or fuse block",
    "feed_a": "current into the fuse block",
    "ground_v": "ground bus",
    "key_v": "ignition-switched line",
    **{f"slot{n}_a": f"current of slot {n}" for n in range(1, SLOTS + 1)},
    **{f"slot{n}_v": f"voltage at the device of slot {n}" for n in range(1, SLOTS + 1)},
    "battery_c": "temperature",
    "mark": "notes of the tester",
}
MEANINGS: tuple[tuple[str, str], ...] = (("", "not used"), ("time", "time, or date"), *_ROLES.items())
UNITS_OF_NUMBERS: tuple[tuple[str, str], ...] = (
    ("", "as the role"),
    *((unit, {"degC": "°C", "uV": "µV", "uA": "µA"}.get(unit, unit)) for unit, (own, _) in UNITS.items() if own != "s"),
)
_TIMES = {
    **{"": "as its column shows", "s": "seconds", "ms": "milliseconds", "us": "microseconds"},
    **{"epoch_s": "seconds since 1970", "epoch_ms": "milliseconds since 1970", "iso8601": "year-month-day and time"},
}
_LETTERS = {
    **{"%d": "day", "%m": "month", "%Y": "year", "%y": "year", "%H": "hour", "%I": "hour", "%M": "minute"},
    **{"%S": "second", "%p": "AM/PM"},
}


def time_words(form: str) -> str:
    """How a time is written: a unit of numbers, or a format."""
    if form in _TIMES:
        return _TIMES[form]
    for letter, word in _LETTERS.items():
        form = form.replace(letter, word)
    return form


def meaning_of(role: str, positive: str) -> str:
    """The choice that stands for a role and its sign."""
    return f"{role}{INTO}" if positive == "charge" and ROLE_UNITS.get(role) == "A" else role


def role_and_sign(meaning: str) -> dict[str, str]:
    """What a choice says."""
    role = meaning.removesuffix(INTO)
    return {"role": role, "positive": "charge" if meaning.endswith(INTO) else "discharge"}
