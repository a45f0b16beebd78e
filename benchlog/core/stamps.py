"""How a time of a log is told: to the nanosecond."""

#: Decimals of a second; a logger's stamps have fewer, and what rounding adds to a time lies behind them.
STAMP_DECIMALS = 9


def stamp_s(time_s: float) -> float:
    """A time without what rounding has added to it, s."""
    return round(time_s, STAMP_DECIMALS)
