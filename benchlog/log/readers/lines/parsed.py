"""What came of a stretch of a stream: its good lines, and why others were refused."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from benchlog.log.readers.raw import Raw

#: Why a line is refused -> what to call it.
REASONS: dict[str, str] = {
    "checksum": "with a wrong checksum",
    "cut": "cut short or joined",
    "rubbish": "of rubbish",
    "unreadable": "with an unreadable number",
    "backward": "whose time does not increase",
}


@dataclass(frozen=True, slots=True)
class Parsed:
    """The good lines of a stretch of the stream.

    Attributes:
        rows: as they go into a CSV file: cells, an empty one for the mark at the end where the stream has none.
        raw: the same rows' values; canonical units and signs, the time as the logger counted it.
        refused: reason (a key of ``REASONS``) -> lines.
        notes: texts of the logger's own ``# note:`` lines.
    """

    rows: bytes
    raw: Raw
    refused: Mapping[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
