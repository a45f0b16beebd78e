"""A log's steps, counted so that the last bits of its times do not decide."""

#: A step's length is known to this share, 1: its stamps to a nanosecond, at ten thousand samples a second.
HAIR = 1e-5


def steps_in(span_s: float, step_s: float) -> int:
    """How many whole steps a span holds; one at least, and one more where rounding alone makes the last too short."""
    return max(int(span_s / step_s * (1 + HAIR)), 1)
