"""Numbers as people read them."""

from collections.abc import Callable
from decimal import ROUND_HALF_EVEN, Decimal


def number(value: float) -> str:
    """A bare number: four significant digits at most, no exponent, a true minus sign."""
    if value == 0:
        return "0"
    decimals = max(0, 3 - _exponent(value, 4))
    return _signed(f"{value:.{decimals}f}".rstrip("0").rstrip(".") if decimals else f"{value:.0f}")


def with_uncertainty(value: float, uncertainty: float | None) -> str:
    """``value ± uncertainty``: the uncertainty to two significant digits, the value to match (JCGM 100, 7.2.6)."""
    if not uncertainty:
        return number(value)
    place = _exponent(uncertainty, 2) - 1
    step = Decimal(1).scaleb(place)
    rounded = [
        (Decimal(repr(float(x))) / step).quantize(Decimal(1), ROUND_HALF_EVEN) * step for x in (value, uncertainty)
    ]
    shown, half = (f"{x:.{max(0, -place)}f}" for x in rounded)
    return f"{_signed(shown)} ± {half}"


def unit_suffix(unit: str) -> str:
    """A unit with a space before it; nothing for a plain count, whose unit is "1"."""
    return "" if unit == "1" else f" {unit}"


def sides(low: float | None, high: float | None, shown: Callable[[float], str] = number) -> str:
    """A limit by its sides: ``1 to 2``, ``at most 2``, ``at least 1``; "" where both are open."""
    if low is not None and high is not None:
        return f"{shown(low)} to {shown(high)}"
    if high is not None:
        return f"at most {shown(high)}"
    return "" if low is None else f"at least {shown(low)}"


def _exponent(value: float, digits: int) -> int:
    """The power of ten of the first digit after rounding to so many digits (0.0996 to two is 0.10: −1)."""
    return int(f"{value:.{digits - 1}e}".partition("e")[2])


def _signed(shown: str) -> str:
    return shown.lstrip("-") if not shown.strip("-0.") else shown.replace("-", "−")
