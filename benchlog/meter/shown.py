"""What a meter shows, as text: its figure, its last place, and whether its range was too small."""

import re
from decimal import Decimal

#: What a meter shows beyond its range (common practice, no source).
OVER_RANGE = ("OL", "0L", "O.L", "OFL", "1.")
_SHOWN = re.compile(r"[-+−]?(\d+([.,]\d*)?|[.,]\d+)")


def is_over_range(shown: str) -> bool:
    """Whether the meter showed that its range was too small."""
    return shown.strip().upper().lstrip("-−") in OVER_RANGE


def is_figure(shown: str) -> bool:
    """Whether it is a number as a meter shows one."""
    return _SHOWN.fullmatch(shown.strip()) is not None


def figure_of(shown: str) -> float:
    """The number that a meter shows."""
    return float(_decimal(shown))


def step_of(shown: str) -> float:
    """One step of its last place."""
    return float(10.0 ** int(_decimal(shown).as_tuple().exponent))


def _decimal(shown: str) -> Decimal:
    return Decimal(shown.strip().replace(",", ".").replace("−", "-"))
