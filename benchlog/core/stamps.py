"""A log's times, rounded where what they are counted in is coarser than what rounding has added to them."""

#: Decimals of a second that are told; a logger's stamps have fewer.
TOLD_DECIMALS = 9
#: A step's length is known to this share, 1: its stamps to a nanosecond, at ten thousand samples a second.
HAIR = 1e-5


def stamp_s(time_s: float) -> float:
    """A time without what rounding has added to it, s."""
    return round(time_s, TOLD_DECIMALS)


def steps_in(span_s: float, step_s: float) -> int:
    """How many whole steps a span holds; one at least, and one more where rounding alone makes the last too short."""
    return max(int(span_s / step_s * (1 + HAIR)), 1)
