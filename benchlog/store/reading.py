"""From rows and entries to what the store gives back."""

import json
from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from pydantic import ValidationError
from sqlalchemy import Connection, and_, exists, func, select

from benchlog.core.errors import BenchlogError
from benchlog.logger.model import Logger
from benchlog.plan.model import plan_from_mapping
from benchlog.store.entry import Entry, moment
from benchlog.store.kinds import BikeRow, Record, RecordLog, RecordRow, Signature
from benchlog.store.ledger import entries_about, entry_of
from benchlog.store.logs_kept import Kept
from benchlog.store.readings import QUANTITIES, Reading
from benchlog.store.saving import BODY_FORM
from benchlog.store.schema import HEAD, LEDGER, MEASURED, RECORDS, SIGNATURES
from benchlog.store.searches import searches_of
from benchlog.store.trouble import NOT_OURS
from benchlog.store.walk_kept import walk_of
from benchlog.verdict.result import Result

_LATER = RECORDS.alias("later")


@contextmanager
def understood(where: str) -> Iterator[None]:
    """Rows that benchlog did not write, such as a date that is none, end in one sentence.

    Raises:
        BenchlogError: a row could not be read.
    """
    try:
        yield
    except NOT_OURS as problem:
        raise BenchlogError(
            f"{where}: a row of the store is not in the form that benchlog writes; run benchlog records verify, "
            "which names it"
        ) from problem


def head_of(connection: Connection) -> tuple[int, str]:
    """Number and hash of the last entry."""
    row = connection.execute(select(HEAD)).one()
    return int(row.number), str(row.hash)


def entry_at(connection: Connection, number: int) -> Entry | None:
    """The entry with this number, if there is one."""
    row = connection.execute(select(LEDGER).where(LEDGER.c.number == number)).one_or_none()
    return None if row is None else entry_of(row)


def record_entry(connection: Connection, number: int) -> Entry:
    """The entry of a record.

    Raises:
        BenchlogError: there is none with this number.
    """
    # PostgreSQL and SQLite count to 2**63 - 1
    entry = entry_at(connection, number) if 0 < number < 2**63 else None
    if entry is not None and entry.kind == "record":
        return entry
    if entry is not None:
        raise BenchlogError(f"entry {number} is a {entry.kind}, not a record; benchlog records list shows the records")
    last = connection.execute(select(func.max(RECORDS.c.number))).scalar_one_or_none()
    if last is None:
        has = "the store has no records yet, the first benchlog check LOG --plan PLAN --save makes one"
    else:
        has = f"the newest record is {last}, benchlog records list shows them"
    raise BenchlogError(f"there is no record {number}; {has}")


def record_of(connection: Connection, number: int) -> Record:
    """A whole record.

    Raises:
        BenchlogError: there is none, or a later benchlog wrote it.
    """
    entry = record_entry(connection, number)
    body = json.loads(entry.body)
    if body.get("form") != BODY_FORM:
        raise BenchlogError(
            f"record {number} was written by a later benchlog; update benchlog to open it, with "
            "pip install --upgrade benchlog"
        )
    try:
        result = Result.model_validate(body["result"])
        logs = tuple(_log(log) for log in body["logs"])
    except (ValidationError, KeyError, ValueError, TypeError) as problem:
        raise BenchlogError(
            f"record {number} cannot be read by this version of benchlog (it was made by "
            f"{body.get('benchlog_version')}), or was altered; run benchlog records verify, or update benchlog"
        ) from problem
    later = connection.execute(select(func.max(RECORDS.c.number)).where(RECORDS.c.corrects == number)).scalar_one()
    return Record(
        number=number,
        hash=entry.hash,
        bike=body["bike"],
        made_at=moment(entry.made_at),
        recorded_at=moment(body["recorded_at"]),
        recorded_from=body["recorded_from"],
        temperature_c=body["temperature_c"],
        notes=body["notes"],
        corrects=body["corrects"],
        corrected_by=later,
        result=result,
        plan=plan_from_mapping(body["plan"], where=f"record {number}"),
        logs=logs,
        signatures=signatures_of(connection, number),
        searches=searches_of(connection, number),
        corrected_searches=() if body["corrects"] is None else searches_of(connection, body["corrects"]),
    )


def signatures_of(connection: Connection, number: int) -> tuple[Signature, ...]:
    """Who signed a record, first signature first."""
    return tuple(
        Signature(entry.number, number, body["by"], moment(entry.made_at), body["notes"])
        for entry in entries_about(connection, number, SIGNATURES)
        for body in [json.loads(entry.body)]
    )


def rows_of(connection: Connection, bike: str | None, limit: int | None, offset: int) -> list[RecordRow]:
    """Records, the last saved first."""
    corrected = (
        select(_LATER.c.corrects.label("number"), func.max(_LATER.c.number).label("corrected_by"))
        .where(_LATER.c.corrects.is_not(None))
        .group_by(_LATER.c.corrects)
        .subquery()
    )
    wanted = (
        select(RECORDS, corrected.c.corrected_by)
        .outerjoin(corrected, corrected.c.number == RECORDS.c.number)
        .order_by(RECORDS.c.number.desc())
        .offset(offset)
    )
    if bike is not None:
        wanted = wanted.where(RECORDS.c.bike == bike)
    if limit is not None:
        wanted = wanted.limit(limit)
    rows = connection.execute(wanted).all()
    names = _signers(connection, [row.number for row in rows])
    return [_row(row, names.get(row.number, ())) for row in rows]


def bikes_of(connection: Connection) -> list[BikeRow]:
    """Every bike with records, by name."""
    newest = select(func.max(RECORDS.c.number).label("number"), func.count().label("records")).group_by(RECORDS.c.bike)
    newest_of = newest.subquery()
    found = connection.execute(
        select(RECORDS, newest_of.c.records).join(newest_of, newest_of.c.number == RECORDS.c.number)
    ).all()
    bikes = [BikeRow(row.bike, row.records, row.number, moment(row.recorded_at), row.verdict) for row in found]
    return sorted(bikes, key=lambda row: (row.bike.casefold(), row.bike))


def readings_of(connection: Connection, bike: str, quantity: str | None) -> list[Reading]:
    """What a bike's records measured, in the order of time; a record that was corrected gives none."""
    wanted = (
        select(
            MEASURED.c.at,
            MEASURED.c.check_id,
            MEASURED.c.value,
            MEASURED.c.uncertainty,
            MEASURED.c.temperature_c,
            MEASURED.c.record,
        )
        .join(RECORDS, RECORDS.c.number == MEASURED.c.record)
        .where(
            RECORDS.c.bike == bike,
            MEASURED.c.check_id.in_(list(QUANTITIES) if quantity is None else [quantity]),
            ~exists().where(and_(_LATER.c.corrects == RECORDS.c.number)),
        )
        .order_by(MEASURED.c.at, MEASURED.c.record, MEASURED.c.check_id)
    )
    # in the order of a reading's fields: names looked up row by row take half as long again for thousands
    return [Reading(moment(at), *rest) for at, *rest in connection.execute(wanted).all()]


def _signers(connection: Connection, numbers: Sequence[int]) -> dict[int, tuple[str, ...]]:
    if not numbers:
        return {}
    names: dict[int, list[str]] = defaultdict(list)
    found = connection.execute(
        select(SIGNATURES).where(SIGNATURES.c.record.between(min(numbers), max(numbers))).order_by(SIGNATURES.c.number)
    )
    for row in found:
        if row.signed_by not in names[row.record]:
            names[row.record].append(row.signed_by)
    return {record: tuple(signed) for record, signed in names.items()}


def _row(row: Any, signed_by: tuple[str, ...]) -> RecordRow:
    return RecordRow(
        number=row.number,
        bike=row.bike,
        recorded_at=moment(row.recorded_at),
        made_at=moment(row.made_at),
        verdict=row.verdict,
        passed=row.passed,
        planned=row.planned,
        percent=row.percent,
        closest=row.closest,
        corrects=row.corrects,
        corrected_by=row.corrected_by,
        signed_by=signed_by,
    )


def _log(log: dict[str, Any]) -> RecordLog:
    kept = log["kept"]
    draws, drain_ma = walk_of(log)
    return RecordLog(
        **{key: log[key] for key in ("name", "before", "sha256", "bytes", "recorded_from", "temperature_c")},
        recorded_at=moment(log["recorded_at"]),
        logger=Logger.model_validate(log["logger"]),
        kept=None if kept is None else Kept(kept["sha256"], kept["bytes"]),
        key_off_draws=draws,
        key_off_drain_ma=drain_ma,
        readings=log.get("readings"),
    )
