"""One entry of the ledger: its canonical text and the hash that chains it to the entry before."""

import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

Kind = Literal["record", "signature", "change", "withdrawal", "search"]
KINDS: tuple[Kind, ...] = ("record", "signature", "change", "withdrawal", "search")

#: What stands in for the hash before the first entry.
NOTHING_BEFORE = "0" * 64


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the ledger, as stored.

    Attributes:
        number: 1, 2, … without holes.
        kind: what the body is.
        bike: as in the body, for finding.
        made_at: when it was entered, UTC, ISO 8601 with microseconds.
        body: canonical JSON text.
        previous, hash: SHA-256 of the entry before and of this one, 64 lower-case hex digits.
    """

    number: int
    kind: str
    bike: str
    made_at: str
    body: str
    previous: str
    hash: str


def canonical(plain: Any) -> str:
    """JSON text with one form only: keys sorted, no spaces, letters as they are; what UTF-8 cannot hold is escaped."""
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    try:
        text.encode()
    except UnicodeEncodeError:  # half a character, as in file names that are no UTF-8
        text = text.encode("utf-8", "backslashreplace").decode()
    return text


def hash_of(number: int, kind: str, made_at: str, previous: str, body: str) -> str:
    """SHA-256 of the entry's UTF-8 text: six lines, no newline at the end.

    The lines are ``benchlog entry 1``, the number in decimal, the kind, when it was made, the hash before, and
    the body. None of the first five can hold a newline and canonical JSON has none, so no two entries share a text.
    """
    text = "\n".join(("benchlog entry 1", str(number), kind, made_at, previous, body))
    return hashlib.sha256(text.encode()).hexdigest()


def stamp(moment: datetime) -> str:
    """A moment as it is stored: UTC, always the same length, so that text order is time order."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ").rjust(27, "0")


def moment(text: str) -> datetime:
    """The stored moment, with time zone UTC."""
    return datetime.fromisoformat(text).astimezone(UTC)
