"""What the store gives back: records, their logs and signatures, and the light rows of its lists."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from benchlog.logger.model import Logger
from benchlog.plan.model import Plan
from benchlog.report.words import Walk, draw_rows
from benchlog.store.logs_kept import Kept
from benchlog.verdict.evidence import KeyOffDraw
from benchlog.verdict.result import Result


@dataclass(frozen=True, slots=True)
class RecordLog:
    """One log behind a record.

    Attributes:
        name: the file's name. before: it is the log from before the install.
        sha256, bytes: of the file as it was checked.
        recorded_at: UTC. recorded_from: "log's clock", "file's time" or "given".
        temperature_c: mean of its temperature channel, or as given; None without either.
        logger: as used.
        kept: the copy beside the store; None where only hashes were kept.
        key_off_draws, key_off_drain_ma: what the fuse-pull walk found in it, as in its evidence.
        readings: the text of a file of meter readings, which needs no copy; None for a log.
    """

    name: str
    before: bool
    sha256: str
    bytes: int
    recorded_at: datetime
    recorded_from: str
    temperature_c: float | None
    logger: Logger
    kept: Kept | None
    key_off_draws: tuple[KeyOffDraw, ...] = ()
    key_off_drain_ma: float | None = None
    readings: str | None = None


@dataclass(frozen=True, slots=True)
class Signature:
    """Someone stands for a record. ``number``: of the entry; ``at``: UTC."""

    number: int
    record: int
    by: str
    at: datetime
    notes: str


@dataclass(frozen=True, slots=True)
class FoundFault:
    """A search for a fault's place, kept with the record of the check that failed.

    Attributes:
        number: of the entry. record: whose check failed. at: when it was kept, UTC.
        place, kind, belief, also: what was found; ``also`` are places that no test could tell from it.
        mend, check_again: how it is mended, and the check to take again, as the search said.
        mended: what was done, as told; "" for nothing said.
        answers: as in the file of answers, in order.
    """

    number: int
    record: int
    at: datetime
    place: str
    kind: str
    belief: float
    also: tuple[str, ...]
    mend: str
    check_again: str
    mended: str
    answers: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True)
class Change:
    """A new battery or accessory: ``on`` a day, in the words of ``what``.

    ``number``: its entry in the store; None for one that is in no store.
    """

    on: date
    what: str
    number: int | None = None


@dataclass(frozen=True, slots=True)
class Record:
    """One checked install, as saved.

    Attributes:
        number: of its entry. hash: of its entry.
        made_at: when it was saved, UTC.
        recorded_at: when its first log was recorded, UTC; recorded_from says how that is known.
        corrects: number of the record that it corrects; corrected_by: of the one that corrects it.
        searches: for the place of a fault that it showed. corrected_searches: those of the record that it corrects.
    """

    number: int
    hash: str
    bike: str
    made_at: datetime
    recorded_at: datetime
    recorded_from: str
    temperature_c: float | None
    notes: str
    corrects: int | None
    corrected_by: int | None
    result: Result
    plan: Plan
    logs: tuple[RecordLog, ...]
    signatures: tuple[Signature, ...]
    searches: tuple[FoundFault, ...] = ()
    corrected_searches: tuple[FoundFault, ...] = ()

    @property
    def walks(self) -> list[Walk]:
        """What each circuit draws with the key off, for each log in which fuses were pulled."""
        return [(log.name, rows) for log in self.logs if not log.before and (rows := draw_rows(log))]


@dataclass(frozen=True, slots=True)
class RecordRow:
    """One line of a list of records.

    Attributes:
        percent: passed of planned checks. closest: the check with the smallest margin.
        signed_by: names, first signature first.
    """

    number: int
    bike: str
    recorded_at: datetime
    made_at: datetime
    verdict: str
    passed: int
    planned: int
    percent: float | None
    closest: str | None
    corrects: int | None
    corrected_by: int | None
    signed_by: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BikeRow:
    """One bike: how many records, and its newest."""

    bike: str
    records: int
    number: int
    recorded_at: datetime
    verdict: str
