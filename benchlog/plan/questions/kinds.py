"""How each kind of answer is typed, and how a plan's value is shown as if it had been typed."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from benchlog.core.typed import Unusable, number
from benchlog.plan.wiring import M_PER_FT, conductor

#: Size in m of a unit of length that a plan does not know, so that it is turned, and told.
_M_PER = {"cm": 0.01, "mm": 0.001, "in": 0.0254, '"': 0.0254}
_FEET = ("ft", "'")
_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Taken:
    """What an answer gives.

    Attributes:
        values: key -> value, as the plan takes them.
        told: what was made of the answer, where that is not what was typed.
    """

    values: dict[str, Any]
    told: str = ""


class AnswerKind(Protocol):
    """One way of answering. ``keys``: those of the plan that the answer may give."""

    def take(self, said: str, keys: tuple[str, ...]) -> Taken:
        """Read what was typed; raises ``Unusable``."""

    def shown(self, table: Mapping[str, Any], keys: tuple[str, ...]) -> str:
        """A table's value as it would be typed; "" where it has none."""


@dataclass(frozen=True, slots=True)
class TextAnswer:
    """Words. ``lines``: more than one line may be typed."""

    lines: bool = False

    def take(self, said: str, keys: tuple[str, ...]) -> Taken:
        """As typed."""
        if not self.lines and not said.isprintable():
            raise Unusable("one line of plain text is needed")
        if not self.lines and len(said) > _LONGEST:
            raise Unusable(f"at most {_LONGEST} letters are kept, got {len(said)}")
        return Taken({keys[0]: said})

    def shown(self, table: Mapping[str, Any], keys: tuple[str, ...]) -> str:
        """The words."""
        return str(table.get(keys[0], ""))


@dataclass(frozen=True, slots=True)
class AmountAnswer:
    """A number, its unit behind it or not. ``least``: the least that is taken; None for anything above 0."""

    unit: str
    least: float | None = None

    def take(self, said: str, keys: tuple[str, ...]) -> Taken:
        """The number."""
        return Taken({keys[0]: number(re.sub(rf"\s*{self.unit}$", "", said, flags=re.IGNORECASE), self.least)})

    def shown(self, table: Mapping[str, Any], keys: tuple[str, ...]) -> str:
        """The number alone: the question names the unit."""
        return plain_number(table.get(keys[0]))


@dataclass(frozen=True, slots=True)
class WholeAnswer:
    """A whole number from 1. ``most``: the greatest."""

    most: int

    def take(self, said: str, keys: tuple[str, ...]) -> Taken:
        """The number."""
        if not said.isdecimal() or not 1 <= int(said) <= self.most:
            raise Unusable(f'a whole number from 1 to {self.most} is needed, got "{said}"')
        return Taken({keys[0]: int(said)})

    def shown(self, table: Mapping[str, Any], keys: tuple[str, ...]) -> str:
        """The number."""
        return plain_number(table.get(keys[0]))


@dataclass(frozen=True, slots=True)
class ChoiceAnswer:
    """One of a few words."""

    words: tuple[str, ...]

    def take(self, said: str, keys: tuple[str, ...]) -> Taken:
        """The word."""
        if said.casefold() not in self.words:
            raise Unusable(f"one of {', '.join(self.words)} is needed")
        return Taken({keys[0]: said.casefold()})

    def shown(self, table: Mapping[str, Any], keys: tuple[str, ...]) -> str:
        """The word."""
        return str(table.get(keys[0], ""))


@dataclass(frozen=True, slots=True)
class LoadAnswer:
    """Amperes or watts, kept as given; the keys are for amperes and watts."""

    def take(self, said: str, keys: tuple[str, ...]) -> Taken:
        """The load under the key of its unit."""
        found = re.fullmatch(r"(\d+[.,]?\d*)\s*(A|W|amps?|watts?)", said, re.IGNORECASE)
        if found is None:
            raise Unusable("a number with A or W is needed, such as 3.5 A or 45 W")
        return Taken({keys[found[2][0] in "wW"]: number(found[1])})

    def shown(self, table: Mapping[str, Any], keys: tuple[str, ...]) -> str:
        """The load with its unit; a plan that was read has the amperes of its watts as well."""
        amperes, watts = (table.get(key) for key in keys)
        if watts is not None:
            return f"{plain_number(watts)} W"
        return "" if amperes is None else f"{plain_number(amperes)} A"


@dataclass(frozen=True, slots=True)
class LengthAnswer:
    """A length in metres or feet, kept as given; the keys are for metres and feet."""

    def take(self, said: str, keys: tuple[str, ...]) -> Taken:
        """The length under the key of its unit; another unit is turned to metres, and that is told."""
        found = re.fullmatch(r"(\d+[.,]?\d*)\s*(m|cm|mm|in|ft|\"|')", said, re.IGNORECASE)
        if found is None:
            raise Unusable("a number with its unit is needed, such as 1.2 m, 18 in or 4 ft")
        value, unit = number(found[1]), found[2].lower()
        if unit == "m" or unit in _FEET:
            return Taken({keys[unit != "m"]: value})
        turned = float(f"{value * _M_PER[unit]:.2g}")
        return Taken({keys[0]: turned}, f"{value:g} {unit} are {turned:g} m")

    def shown(self, table: Mapping[str, Any], keys: tuple[str, ...]) -> str:
        """The length with its unit."""
        metres, feet = (table.get(key) for key in keys)
        if feet is not None:
            return f"{plain_number(feet)} ft"
        return "" if metres is None else f"{plain_number(metres)} m"


def metres(table: Mapping[str, Any], keys: tuple[str, ...]) -> float | None:
    """A length of a table in m, in whichever unit it was given."""
    in_m, in_ft = (table.get(key) for key in keys)
    return in_m if in_ft is None else in_ft * M_PER_FT


@dataclass(frozen=True, slots=True)
class WireAnswer:
    """A wire's size, in mm2 or AWG, kept as given."""

    def take(self, said: str, keys: tuple[str, ...]) -> Taken:
        """The size as typed."""
        try:
            conductor(said)
        except ValueError as why:
            raise Unusable(str(why)) from None
        return Taken({keys[0]: said})

    def shown(self, table: Mapping[str, Any], keys: tuple[str, ...]) -> str:
        """The size as the plan has it."""
        return str(table.get(keys[0], ""))


def plain_number(value: object) -> str:
    """A number as a person types it; "" for none."""
    return "" if value is None else f"{value:.10g}" if isinstance(value, float) else str(value)
