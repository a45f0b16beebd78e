"""From a result and the files behind it to the body of a record; keeps the logs, touches no database."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchlog import __version__
from benchlog.core.errors import BenchlogError
from benchlog.core.toml_files import is_readings
from benchlog.logger.given import LoggerLike, logger_of
from benchlog.logger.model import Logger
from benchlog.logger.sidecar import logger_for
from benchlog.meter.findings import temperature_of
from benchlog.meter.given import NamedReadings, meter_as_logger, readings_given
from benchlog.plan.model import Plan
from benchlog.store.entry import canonical, stamp
from benchlog.store.logs_kept import LogFacts, read_log
from benchlog.store.walk_kept import walk_body
from benchlog.verdict.result import Result

if TYPE_CHECKING:
    from benchlog.verdict.evidence import LogEvidence

BODY_FORM = 1
CLOCK, FILE, GIVEN = "log's clock", "file's time", "given"


@dataclass(frozen=True, slots=True)
class RecordNotes:
    """What a person says of a record, beside what was measured; as ``Store.save`` takes it."""

    recorded_at: datetime | None = None
    notes: str = ""
    temperature_c: float | None = None
    corrects: int | None = None


def record_body(
    result: Result,
    *,
    plan: Plan,
    loggers: LoggerLike | Sequence[LoggerLike | None] | None,
    logs: Sequence[str | Path],
    before: str | Path | None = None,
    said: RecordNotes | None = None,
    keep_in: Path | None = None,
    run: str = "",
) -> dict[str, Any]:
    """The body of a record; the logs are read once more for their hashes, and copied to ``keep_in`` if given.

    Of a run of many processes ``run`` begins the names of copies that are not complete.
    """
    said = said or RecordNotes()
    at = said.recorded_at
    paths = [(Path(log), False) for log in logs] + ([] if before is None else [(Path(before), True)])
    given = given_loggers([path for path, _ in paths], loggers)
    # the result's evidence is of the same logs in the same order; a stored or loaded result has none
    seen: list[LogEvidence | None] = [] if result.evidence is None else [*result.evidence.logs]
    if len(seen) != sum(not is_readings(Path(log)) for log in logs):
        seen = []
    described = []
    outlines = iter(seen)
    for (path, is_before), logger in zip(paths, given, strict=True):
        read = readings_given(path)
        if read is not None:
            described.append(_readings(path, read, is_before, settings_of(plan, logger), said))
            continue
        outline = None if is_before else next(outlines, None)
        facts = read_log(path, logger, keep_in, may_lack=is_before, run=run)
        _refuse_changed(facts, outline)
        warmth = said.temperature_c if said.temperature_c is not None else _mean_c(outline)
        log = _log(facts, is_before, settings_of(plan, logger), at, warmth)
        described.append(log | walk_body(outline))
    first = min(
        (log for log in described if not log["before"]),
        key=lambda log: (log["recorded_from"] == FILE, log["recorded_at"]),
        default={"recorded_at": stamp(at or datetime.now(UTC)), "recorded_from": GIVEN, "temperature_c": None},
    )
    known = [log["temperature_c"] for log in described if log["temperature_c"] is not None and not log["before"]]
    return {
        "form": BODY_FORM,
        "benchlog_version": __version__,
        "bike": result.bike,
        "recorded_at": first["recorded_at"] if at is None else stamp(at),
        "recorded_from": first["recorded_from"] if at is None else GIVEN,
        "temperature_c": said.temperature_c if said.temperature_c is not None else known[0] if known else None,
        "notes": said.notes,
        "corrects": said.corrects,
        "plan": plan.model_dump(mode="json", exclude_none=True),
        "result": result.model_dump(mode="json", by_alias=True),
        "logs": described,
    }


def given_loggers(
    paths: Sequence[Path], loggers: LoggerLike | Sequence[LoggerLike | None] | None
) -> list[Logger | None]:
    """The logger of each log: its own file beside it, else the one named; a list names one for each log."""
    if isinstance(loggers, (list, tuple)):
        if len(loggers) < len(paths):
            raise BenchlogError(
                f"{len(loggers)} loggers were given for {len(paths)} logs; give one for each log, or one for all"
            )
        return [logger_of(logger) for logger in loggers[: len(paths)]]
    default = logger_of(loggers)  # type: ignore[arg-type]  # a list was dealt with above
    return [logger_for(path, default) for path in paths]


def settings_of(plan: Plan, logger: Logger | None) -> str:
    """Fingerprint of what a log is judged by: the same log with the same settings need not be checked again."""
    named = None if logger is None else logger.model_dump(mode="json", exclude_none=True)
    plain = {"plan": plan.model_dump(mode="json", exclude_none=True), "logger": named}
    return hashlib.sha256(canonical(plain).encode()).hexdigest()


def _log(
    facts: LogFacts, is_before: bool, settings: str, recorded_at: datetime | None, temperature_c: float | None
) -> dict[str, Any]:
    if facts.epoch_s is not None:
        at, source = datetime.fromtimestamp(facts.epoch_s, UTC), CLOCK
    elif recorded_at is not None:
        at, source = recorded_at, GIVEN
    else:
        at, source = datetime.fromtimestamp(facts.changed_s, UTC), FILE
    return {
        "name": facts.name,
        "before": is_before,
        "sha256": facts.sha256,
        "bytes": facts.bytes,
        "recorded_at": stamp(at),
        "recorded_from": source,
        "temperature_c": temperature_c,
        "logger": facts.logger.model_dump(mode="json", exclude_none=True),
        "settings": settings,
        "kept": None if facts.kept is None else {"sha256": facts.kept.sha256, "bytes": facts.kept.bytes},
    }


def _readings(path: Path, read: NamedReadings, is_before: bool, settings: str, said: RecordNotes) -> dict[str, Any]:
    """A file of meter readings in a record: a few kilobytes, so its text goes into the record itself."""
    raw = path.read_bytes()
    meter, warm = read.file.meter, temperature_of(read.file)
    if meter.taken is not None:
        at, source = meter.taken.astimezone(UTC), GIVEN
    elif said.recorded_at is not None:
        at, source = said.recorded_at, GIVEN
    else:
        at, source = datetime.fromtimestamp(path.stat().st_mtime, UTC), FILE
    return {
        "name": read.name,
        "before": is_before,
        "sha256": hashlib.sha256(raw).hexdigest(),
        "bytes": len(raw),
        "recorded_at": stamp(at),
        "recorded_from": source,
        "temperature_c": said.temperature_c if said.temperature_c is not None else warm,
        "logger": meter_as_logger(read.file).model_dump(mode="json", exclude_none=True),
        "settings": settings,
        "kept": None,
        "readings": raw.decode("utf-8-sig"),
    }


def _refuse_changed(facts: LogFacts, outline: "LogEvidence | None") -> None:
    """A log that grew since it was checked is not what the result speaks of."""
    if outline is None or facts.kept is None:
        return
    if outline.samples not in (0, facts.rows):
        raise BenchlogError(
            f"{facts.name}: this log has changed since it was checked ({outline.samples} samples then, {facts.rows} "
            f"now); wait until its recording has ended, then check it again"
        )


def _mean_c(outline: "LogEvidence | None") -> float | None:
    """A log's mean temperature, °C."""
    mean_c = None if outline is None else outline.overview.mean("battery_c")
    return None if mean_c is None else round(mean_c, 2)
