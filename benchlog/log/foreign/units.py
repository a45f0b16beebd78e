"""Units as headers and cells write them."""

import re

from benchlog.core.roles import UNITS
from benchlog.logger.channels import tidy_unit

_ALIKE = {
    **{unit.casefold(): unit for unit in UNITS},
    **dict.fromkeys(("volt", "volts", "vdc", "v dc"), "V"),
    **dict.fromkeys(("millivolt", "millivolts"), "mV"),
    **dict.fromkeys(("amp", "amps", "ampere", "amperes", "adc", "a dc"), "A"),
    **dict.fromkeys(("milliamp", "milliamps", "milliampere"), "mA"),
    **dict.fromkeys(("sec", "secs", "second", "seconds", "sek", "sekunden"), "s"),
    **dict.fromkeys(("msec", "millis", "milliseconds"), "ms"),
    **dict.fromkeys(("usec", "micros", "microseconds"), "us"),
    **dict.fromkeys(("c", "celsius", "deg c"), "degC"),
}
_AT_END = re.compile(r"^(.*?)\s*(?:\[([^\]]*)\]|\(([^)]*)\)|(?:\s/\s?|\sin\s|[\s_])([^\s_\[\]()]+))$")


def unit_in(text: str) -> str | None:
    """The unit that a text is, in our spelling; None where it is none."""
    return _ALIKE.get(tidy_unit(text.strip("[]() ")).casefold())


def parted_header(header: str) -> tuple[str, str | None]:
    """A header's name, and the unit behind it: ``I_bat (mA)``, ``U [V]``, ``Battery Volts``."""
    found = _AT_END.match(header.strip())
    if found is None:
        return header, None
    unit = unit_in(next(part for part in found.groups()[1:] if part is not None))
    return (found[1], unit) if unit is not None else (header, None)
