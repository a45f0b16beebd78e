"""How a recording goes: lines kept, lines refused by reason, gaps."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from benchlog.log.readers.lines import REASONS


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch without a connection.

    Attributes:
        from_s, to_s: by the computer's clock, s since 1970-01-01 UTC.
        last_time_s: the file's last time before it, s; None where there is none.
    """

    from_s: float
    to_s: float
    last_time_s: float | None

    @property
    def length_s(self) -> float:
        """How long it was, s."""
        return self.to_s - self.from_s


@dataclass(slots=True)
class Counts:
    """The tally so far.

    Attributes:
        kept: lines written.
        refused: reason -> lines.
        gaps: stretches without a connection, in order.
    """

    kept: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    gaps: list[Gap] = field(default_factory=list)

    @property
    def refused_in_all(self) -> int:
        """Lines refused for any reason."""
        return sum(self.refused.values())


def refused_words(refused: Mapping[str, int]) -> str:
    """``3 lines refused: 2 with a wrong checksum, 1 cut short or joined``; "" where none was."""
    parts = [f"{count} {REASONS[reason]}" for reason, count in refused.items() if count > 0]
    whole = sum(count for count in refused.values() if count > 0)
    return f"{whole} {'line' if whole == 1 else 'lines'} refused: {', '.join(parts)}" if parts else ""
