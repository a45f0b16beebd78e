"""What one or several readings make of a check: a value with its limits, or why it proves nothing."""

import math
from collections.abc import Sequence

from benchlog.analysis.measurement import Measured
from benchlog.core.uncertainty import rectangular
from benchlog.meter.reading import Bounds, MeterReading

UNSTATED = (
    "the meter's accuracy is not stated; give it under [meter] as its manual has it, such as voltage = { pct = 0.5, "
    "digits = 2 }"
)
_FINER = "a finer range, or a meter with smaller limits of error, would prove it"


def measured(
    found: Bounds,
    read: Sequence[MeterReading],
    story: str,
    *,
    disqualified: str | None = None,
    one_sided: str | None = None,
    remedy: str | None = None,
) -> Measured:
    """A finding whose true value lies anywhere between its limits (rectangular, JCGM 100:2008, 4.3.7).

    Args:
        found: in the check's unit. read: the readings behind it, for what they lack.
    """
    open_by = disqualified or one_sided
    stated = all(one.stated for one in read)
    return Measured(
        value=found.value,
        u=rectangular(found.half_width) if stated else None,
        from_s=math.nan,
        to_s=math.nan,
        story=story,
        disqualified=disqualified if stated else UNSTATED,
        one_sided=one_sided,
        remedy=remedy or (None if open_by else _FINER),
        interval=(found.low, found.high),
    )


def lasting(seconds: float) -> str:
    """A time as a sentence has it."""
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} minutes" if seconds < 7200 else f"{seconds / 3600:.3g} hours"
