"""One thing in a store that differs from what was saved."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

#: What reading a body raises that benchlog did not write; the last one is of JSON nested too deep.
NOT_OURS = (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError)
_MOST_SHOWN = 60


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that differs from what was saved.

    Attributes:
        text: in words, naming the entry or the file.
        entry: number of the entry concerned; None where none is.
        file: the kept log concerned; None where none is.
        kind: "ledger", "lists" (worked out from the ledger, can be made again), "logs", or "left over"
            (harmless: a file that no record names, or a drawing that is made again).
    """

    text: str
    kind: str
    entry: int | None = None
    file: Path | None = None

    @property
    def harmless(self) -> bool:
        """Nothing that was saved is concerned."""
        return self.kind == "left over"


def shown(value: Any) -> str:
    """A value of any type and length, as a finding names it."""
    text = repr(value[: 2 * _MOST_SHOWN] if isinstance(value, (str, bytes)) else value)
    return text if len(text) <= _MOST_SHOWN else f"{text[:_MOST_SHOWN]}…"
