"""Does the stream still say something?"""

from collections.abc import Callable

#: A stream that says nothing for this long stands still, s of wall clock.
STILL_S = 5.0
#: Values older than this are no longer shown as those of now, s of wall clock.
SHOWN_S = 2.0
#: A stand-in that says nothing for this long is gone, s of wall clock.
GONE_S = 30.0


class StreamSilence:
    """Notices a stream that stands still.

    Args:
        clock: wall clock, s. alone: nobody sits there to stop the test.
    """

    def __init__(self, clock: Callable[[], float], alone: bool) -> None:
        self._clock, self._alone = clock, alone
        self._heard, self._told = clock(), False

    def heard(self, lines: bool, told: bool) -> str:
        """What to say now; "" for nothing."""
        if lines or told:  # the recorder's own words are enough
            self._heard, self._told = (self._clock() if lines else self._heard), told and not lines
            return ""
        if self._told or self._clock() - self._heard <= STILL_S:
            return ""
        self._told = True
        return (
            f"no line for {STILL_S:.0f} s: is the logger on, and its cable plugged in? The test waits, and continues "
            "by itself once lines arrive"
        )

    @property
    def lasts_s(self) -> float:
        """For how long nothing has come, s; 0 where that is too short to speak of."""
        lasts_s = self._clock() - self._heard
        return lasts_s if lasts_s > SHOWN_S else 0.0

    @property
    def over(self) -> bool:
        """Nobody is watching, and it has lasted too long."""
        return self._alone and self._clock() - self._heard > GONE_S
