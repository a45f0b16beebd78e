"""Records as text: a list, one record with its facts, one record as JSON. Dates in this computer's time zone."""

import json
from collections.abc import Iterator, Sequence
from datetime import datetime

from benchlog.core.printable import one_line
from benchlog.report.table_text import ONE_LINE_A_ROW, table_lines
from benchlog.report.text import render_text
from benchlog.report.words import SHAPES
from benchlog.store.entry import stamp
from benchlog.store.kinds import FoundFault, Record, RecordRow
from benchlog.store.walk_kept import walk_body
from benchlog.verdict.result import Verdict

_HEADS = ("No", "Recorded", "Bike", "Verdict", "Score", "Closest", "Signed by")


def list_text(rows: Sequence[RecordRow]) -> str:
    """The records as a table; a line each, ends with a newline."""
    if not rows:
        return "The store has no records yet; benchlog check LOG --plan PLAN --save makes the first.\n"
    from rich.table import Column

    lines = table_lines([Column(head) for head in _HEADS], map(_cells, rows), width=ONE_LINE_A_ROW)
    return "".join(f"{line}\n" for line in lines)


def record_text(record: Record, last_hash: str, *, colour: bool = False) -> str:
    """The result's text, then what is known of the record itself, and the store's last hash, to be kept elsewhere."""
    text = render_text(record.result, colour=colour, walks=record.walks)
    return text + "\n" + "".join(f"{line}\n" for line in _facts(record)) + f"  last hash {last_hash}\n"


def record_json(record: Record) -> str:
    """A whole record as JSON text, dates in UTC."""
    plain = {
        **{"number": record.number, "hash": record.hash, "bike": record.bike},
        **{"made_at": stamp(record.made_at), "recorded_at": stamp(record.recorded_at)},
        **{"recorded_from": record.recorded_from, "temperature_c": record.temperature_c, "notes": record.notes},
        **{"corrects": record.corrects, "corrected_by": record.corrected_by},
        "signatures": [
            {"entry": signed.number, "by": signed.by, "at": stamp(signed.at), "notes": signed.notes}
            for signed in record.signatures
        ],
        "searches": [
            {
                **{"entry": search.number, "record": search.record, "at": stamp(search.at)},
                **{"place": search.place, "kind": search.kind, "belief": search.belief, "also": list(search.also)},
                **{"mend": search.mend, "check_again": search.check_again, "mended": search.mended},
                "answers": [dict(answer) for answer in search.answers],
            }
            for search in (*record.corrected_searches, *record.searches)
        ],
        "logs": [
            {
                **{"name": log.name, "before": log.before, "sha256": log.sha256, "bytes": log.bytes},
                **{"recorded_at": stamp(log.recorded_at), "recorded_from": log.recorded_from},
                "temperature_c": log.temperature_c,
                "logger": log.logger.model_dump(mode="json", exclude_none=True),
                "kept_sha256": None if log.kept is None else log.kept.sha256,
                **({} if log.readings is None else {"readings": log.readings}),
                **walk_body(log),
            }
            for log in record.logs
        ],
        "plan": record.plan.model_dump(mode="json", exclude_none=True),
        "result": record.result.model_dump(mode="json", by_alias=True),
    }
    return json.dumps(plain, ensure_ascii=False, indent=2)


def local(moment: datetime) -> str:
    """A moment on this computer's clock, to the minute, with its distance from UTC."""
    return moment.astimezone().strftime("%Y-%m-%d %H:%M %z")


def _facts(record: Record) -> Iterator[str]:
    yield f"── Record {record.number} " + "─" * (69 - len(str(record.number)))
    yield f"  saved     {local(record.made_at)}"
    yield f"  recorded  {local(record.recorded_at)} (by the {record.recorded_from})".replace("by the given", "as given")
    if record.temperature_c is not None:
        yield f"  battery   {record.temperature_c:.1f} °C"
    if record.notes:
        yield f"  notes     {one_line(record.notes)}"
    if record.corrects is not None:
        yield f"  corrects  record {record.corrects}"
    if record.corrected_by is not None:
        yield f"  corrected by record {record.corrected_by}: read that one instead"
    for log in record.logs:
        kept = "a copy is kept" if log.kept is not None or log.readings is not None else "hash only"
        before = ", before the install" if log.before else ""
        yield f"  log       {one_line(log.name)}{before}, {log.bytes} bytes, {kept}"
        yield f"            SHA-256 {log.sha256}"
    for signed in record.signatures:
        said = f": {one_line(signed.notes)}" if signed.notes else ""
        yield f"  signed    {local(signed.at)} by {one_line(signed.by)} (entry {signed.number}){said}"
    for search in (*record.corrected_searches, *record.searches):
        yield f"  {search_words(search, record.number)}"
    yield f"  hash      {record.hash}"


def search_words(search: FoundFault, record: int) -> str:
    """What was found and mended, on one line; ``record`` is the sheet that it stands on."""
    whose = "" if search.record == record else f" by the search of record {search.record}"
    also = f" (or {', '.join(search.also)})" if search.also else ""
    tests = sum(not answer.get("skipped", False) for answer in search.answers)
    counted = f"{tests} test{'' if tests == 1 else 's'}"
    told = f"found{whose}: {search.place}, {search.kind}{also}, {100 * search.belief:.1f} % sure after {counted}"
    return one_line(told + (f"; mended: {search.mended}" if search.mended else ""))


def _cells(row: RecordRow) -> tuple[str, ...]:
    verdict: Verdict = row.verdict  # type: ignore[assignment]  # as a result has it; the column is text
    score = f"{row.passed}/{row.planned}" + ("" if row.percent is None else f" {row.percent:.0f} %")
    number = str(row.number)
    if row.corrects is not None:
        number += f" (for {row.corrects})"
    if row.corrected_by is not None:
        number += f" (see {row.corrected_by})"
    return (
        number,
        row.recorded_at.astimezone().strftime("%Y-%m-%d %H:%M"),
        one_line(row.bike),
        f"{SHAPES.get(verdict, '?')} {verdict}",
        score,
        row.closest or "–",
        one_line(", ".join(row.signed_by)) or "–",
    )
