"""How fast a stand-in's clock runs: simulated seconds in a second, from its start on or by a word while it runs."""

import math
from contextlib import suppress

from benchlog.standin.streaming import CannotDo

SLOWEST, FASTEST = 0.01, 10_000.0


def is_speed(speed: float) -> bool:
    """Whether a clock can run so fast."""
    return SLOWEST <= speed <= FASTEST


def speed_of(text: str) -> float | None:
    """The speed that ``speed N`` asks for; None where the text speaks of something else.

    Raises:
        CannotDo: no number, or one out of reach.
    """
    word, _, number = " ".join(text.split()).partition(" ")
    if word.lower() != "speed":
        return None
    speed = math.nan
    with suppress(ValueError):
        speed = float(number)
    if not is_speed(speed):
        raise CannotDo(
            f'the speed must be a number from {SLOWEST:g} to {FASTEST:.0f}, got "{number[:20]}"; speed 20 runs 20 '
            "simulated seconds in a second"
        )
    return speed
