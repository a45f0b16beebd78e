"""Numbers as people read them."""

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


def _exponent(value: float, digits: int) -> int:
    """The power of ten of the first digit after rounding to so many digits (0.0996 to two is 0.10: −1)."""
    return int(f"{value:.{digits - 1}e}".partition("e")[2])


def _signed(shown: str) -> str:
    return shown.lstrip("-") if not shown.strip("-0.") else shown.replace("-", "−")
