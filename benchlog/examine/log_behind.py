"""What a log that shows another one differently has from it unchanged."""

from collections.abc import Sequence

from benchlog.core.trace import Mark
from benchlog.examine.context import Samples


class LogBehind:
    """Name, marks and ends of the log behind; whoever is built on this gives ``overview`` and ``trace``."""

    def __init__(self, log: Samples) -> None:
        self._log = log

    @property
    def name(self) -> str:
        """As in the result."""
        return self._log.name

    @property
    def marks(self) -> Sequence[Mark]:
        """What the tester noted."""
        return self._log.marks

    @property
    def start_s(self) -> float:
        """Time of the first sample."""
        return self._log.start_s

    @property
    def end_s(self) -> float:
        """Time of the last sample."""
        return self._log.end_s
