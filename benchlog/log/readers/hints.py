"""What makes a log's times look as if they were read in the wrong unit."""

from benchlog.core.numbers import number

_DAY_S = 86_400.0
#: No log of a wiring job is this long, and none this dense: common practice, no source.
LONGEST_S, WIDEST_STEP_S, CLOSEST_STEP_S = 4 * _DAY_S, 3600.0, 2e-6
_FINER = {"s": ("ms", "us"), "ms": ("us",)}
_COARSER = {"ms": ("s",), "us": ("ms", "s")}
#: No clock that counts s is this far on, since 1970 neither; one that counts ms since then is.
_EPOCH_MS = 1e11


def time_unit_hint(unit: str, span_s: float, step_s: float, start_s: float = 0.0) -> str | None:
    """A sentence where the times would make more sense in another unit.

    Args:
        unit: in which the time column was read; an absolute clock is never doubted.
        span_s: from the first sample to the last, s.
        step_s: median time between samples, s.
        start_s: time of the first sample, s.
    """
    if unit == "s" and start_s > _EPOCH_MS:
        return (
            f"read in s, this log begins at {start_s:.0f} s; if that is ms since 1970, head its time column "
            "time_s [epoch_ms], or set `unit` in [time] of the logger file"
        )
    if unit in _FINER and (span_s > LONGEST_S or step_s > WIDEST_STEP_S):
        days, step = number(min(span_s / _DAY_S, 1e6)), number(min(step_s, 1e9))
        found = f"lasts {days} days" if span_s > LONGEST_S else f"has a sample every {step} s"
        return _said(found, unit, _FINER[unit])
    if unit in _COARSER and step_s < CLOSEST_STEP_S:
        return _said("has more than half a million samples a second", unit, _COARSER[unit])
    return None


def relay_time_hint(unit: str, pull_in_s: float) -> str | None:
    """A sentence where the relay took so long to close, s, that the times look as if they were finer than ``unit``."""
    if unit not in _FINER:
        return None
    return _said(f"has a relay that takes {number(pull_in_s)} s to close", unit, _FINER[unit])


def _said(found: str, unit: str, others: tuple[str, ...]) -> str:
    heads = " or ".join(f"time_s [{other}]" for other in others)
    return (
        f"read in {unit}, this log {found}; if that is not so, head its time column {heads}, "
        "or set `unit` in [time] of the logger file"
    )
