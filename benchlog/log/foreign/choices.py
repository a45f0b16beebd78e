"""What a user says of a foreign file's columns, whole: taken into the draft, or refused with what is needed."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from benchlog.core.manual_accuracy import printed_accuracy
from benchlog.core.roles import ROLE_UNITS, UNITS
from benchlog.core.typed import Unusable, number
from benchlog.log.foreign.guess import Draft, corrected
from benchlog.logger.channels import TIME_UNITS

_TIME_OR_NONE = ("", "time")


@dataclass(frozen=True, slots=True)
class Choices:
    """What was chosen and typed; what is left as it was guessed may be missing.

    Attributes:
        columns: number of a column -> ``role``, ``unit`` and ``positive``, whichever was chosen.
        time: how the time is written: a unit of the logger file, or a format such as ``%d.%m.%Y %H:%M:%S``.
        rate: samples a second, where no column tells the time.
        volts, amps: accuracy as the manual prints it.
    """

    columns: Mapping[int, Mapping[str, str]] = field(default_factory=dict)
    time: str = ""
    rate: str = ""
    volts: str = ""
    amps: str = ""


def choose(draft: Draft, choices: Choices) -> None:
    """Take all that was chosen into the draft.

    Raises:
        Unusable: something typed cannot be used.
    """
    for column, said in choices.columns.items():
        meant = draft.meant.get(column)
        if meant is None:
            continue
        role = said.get("role", meant.role)
        new = {key: text for key, text in said.items() if key in ("role", "positive") and text != getattr(meant, key)}
        unit = said.get("unit", "")
        if unit != meant.unit and suits_role(unit, role):
            new["unit"] = unit
        if new:
            corrected(draft, column, new)
    if choices.time:
        draft.time = {"unit": choices.time} if choices.time in TIME_UNITS else {"format": choices.time}
    if not draft.times and choices.rate:
        draft.rate_hz = number(choices.rate)
    for quantity, text in (("V", choices.volts), ("A", choices.amps)):
        if (limits := accuracy_of(text.strip())) is not None:
            draft.accuracy[quantity] = limits


def suits_role(unit: str, role: str) -> bool:
    """Whether numbers of this unit can be of that role."""
    return unit in UNITS and UNITS[unit][0] == ROLE_UNITS.get(role)


def check_roles(draft: Draft) -> None:
    """Whether the roles will do.

    Raises:
        Unusable: a role stands twice, no column has one, or a unit does not suit one.
    """
    roles = [meant.role for meant in draft.meant.values() if meant.role not in _TIME_OR_NONE]
    twice = next((role for role in roles if roles.count(role) > 1), None)
    if twice is not None:
        raise Unusable(f"{twice} stands twice; correct one of them")
    if not any(role != "mark" for role in roles):
        raise Unusable("no column has a role yet, so there is nothing to check; say what one is")
    for column, meant in draft.meant.items():
        if meant.unit in UNITS and meant.role in ROLE_UNITS and not suits_role(meant.unit, meant.role):
            raise Unusable(
                f"column {column}: its numbers are in {meant.unit}, which {meant.role} cannot be; correct one of "
                "the two"
            )


def accuracy_of(said: str) -> tuple[float, float] | None:
    """Per cent of the reading and digits of the last place; None where nothing is said.

    Raises:
        Unusable: it is something else.
    """
    if not said:
        return None
    found = printed_accuracy(said)
    if found is None:
        raise Unusable("per cent of the reading and digits of the last place are needed, such as: 0.5 % + 2 digits")
    return found
