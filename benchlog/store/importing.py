"""Many logs at once: every log under a folder checked by one plan and saved, on all cores, resumable."""

import os
import secrets
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from sqlalchemy import select

from benchlog.core import remote
from benchlog.core.errors import BadLog, BenchlogError, reason_of
from benchlog.core.files import is_read_once
from benchlog.log.discovery import ENDINGS, is_evidence, is_log, processes_for, reachable
from benchlog.logger.model import Logger
from benchlog.plan.model import Plan
from benchlog.process.pool import side_by_side, workers_at
from benchlog.run import Watch
from benchlog.store.engine import reading
from benchlog.store.kept_far import is_far
from benchlog.store.logs_kept import CannotKeep, forget_parts
from benchlog.store.named import path_of
from benchlog.store.saving import given_loggers, record_body, settings_of
from benchlog.store.schema import LOGS

if TYPE_CHECKING:
    from benchlog.store.store import Store


@dataclass(frozen=True, slots=True)
class Imported:
    """What became of one log.

    Attributes:
        outcome: "saved", "known" (was in the store already, by its hash and what it is judged by), or "bad".
        number: of the new record. verdict: its verdict.
        text: why it is bad.
        done, of: how many logs have been dealt with, of how many.
    """

    path: Path
    outcome: Literal["saved", "known", "bad"]
    number: int | None
    verdict: str | None
    text: str
    done: int
    of: int


@dataclass(frozen=True, slots=True)
class _ImportJob:
    plan: Plan
    logger: Logger | None
    keep_in: Path | None
    known: frozenset[tuple[str, str]]
    run: str


def logs_under(folder: Path, but: Path | None = None) -> list[Path]:
    """Every log and file of meter readings in a folder tree, by name; hidden files and those in ``but`` are left out.

    Raises:
        BenchlogError: there is no such folder, or no log in it.
    """
    url = remote.url_of(folder)
    if url is not None:
        inside = [path for path in remote.listed(url, deep=True) if is_log(path.name)]
        if not inside:
            raise BenchlogError(f"{url}: there is no log in it; a log ends in {', '.join(ENDINGS)}")
        return inside
    if not path_of(folder, "the folder of logs").is_dir():
        raise BenchlogError(f"{folder}: there is no such folder; name one that holds logs")
    skipped = None if but is None else but.resolve()
    found = []
    for place, folders, names in os.walk(folder):
        folders[:] = sorted(
            name for name in folders if not name.startswith(".") and (Path(place) / name).resolve() != skipped
        )
        # an import does not wait for what a pipe may never send
        paths = (Path(place) / name for name in sorted(names))
        found += [path for path in paths if not is_read_once(path) and is_evidence(path)]
    if not found:
        raise BenchlogError(f"{folder}: there is no log in it; a log ends in {', '.join(ENDINGS)}")
    return found


def import_logs(
    store: "Store",
    logs: list[Path],
    *,
    plan: Plan,
    logger: Logger | None = None,
    keep_logs: bool = True,
    processes: int | None = None,
    on: str | None = None,
    watch: Watch | None = None,
) -> Iterator[Imported]:
    """Check and save each log as a record of its own; tells of each as it is done, in order.

    A log that the store has already, judged by the same plan and logger, is passed over, so that an import that was
    stopped goes on where it stood. So is one that ended two of the processes that read it.

    Args:
        on: address of a Dask scheduler whose workers read the logs, and keep the copies.
        watch: as ``benchlog.check`` has it.

    Raises:
        BenchlogError: the store or its folder of logs cannot be written, or the workers are not to be had.
    """
    known, run = _known(store), secrets.token_hex(8)
    job = _ImportJob(plan, logger, store.logs if keep_logs else None, frozenset(known), run)
    crew = None
    if on is not None:
        logs = list(reachable(logs))
        crew = workers_at(on, [*logs[:1], *logs[-1:], *_made(store.logs if keep_logs else None)])
    work, number_of = partial(_examine_imported, job=job), processes or processes_for(logs)
    try:
        with closing(side_by_side(work, logs, number_of, crew=crew, lost=_lost, watch=watch)) as answers:
            for done, (path, answer) in enumerate(zip(logs, answers, strict=True), start=1):
                if isinstance(answer, str):
                    yield Imported(path, "bad", None, None, answer, done, len(logs))
                    continue
                fingerprint, body = answer
                if body is None or fingerprint in known:
                    yield Imported(path, "known", None, None, "", done, len(logs))
                    continue
                (number,) = store.append_records([body])
                known.add(fingerprint)
                yield Imported(path, "saved", number, body["result"]["verdict"], "", done, len(logs))
    finally:
        # a process that was ended in the midst of a copy could not take it away
        forget_parts(store.logs, run)


_Answer = str | tuple[tuple[str, str], dict[str, Any] | None]


def _made(folder: Path | None) -> list[Path]:
    """The folder of kept logs, which the workers must see."""
    if folder is None:
        return []
    if is_far(folder):  # where a folder is there once something lies in it
        return []
    folder.mkdir(parents=True, exist_ok=True)
    return [folder.absolute()]


def _lost(path: Path) -> _Answer:
    return (
        f"{remote.shown(path)}: this log ended two of the processes that read it, perhaps because memory ran out; it "
        "was skipped: check it alone, where there is more memory"
    )


def _examine_imported(named: Path, job: _ImportJob) -> _Answer:
    """What is wrong with a log, or its fingerprint with the body of its record (None where the store has it)."""
    from benchlog.run import check

    try:
        with remote.fetched(named) as path:
            (logger,) = given_loggers([path], job.logger)
            fingerprint = (_hash(path), settings_of(job.plan, logger))
            if fingerprint in job.known:
                return fingerprint, None
            result = check([path], plan=job.plan, logger=job.logger)
            body = record_body(result, plan=job.plan, loggers=[logger], logs=[path], keep_in=job.keep_in, run=job.run)
            # the file may have changed since it was hashed
            return (body["logs"][0]["sha256"], fingerprint[1]), body
    except CannotKeep:
        raise  # it would be so with every log
    except BenchlogError as problem:
        return str(problem)


def _hash(path: Path) -> str:
    import hashlib

    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as problem:
        raise BadLog(
            str(path),
            f"the file cannot be read ({reason_of(problem)}); change its permissions or copy it",
        ) from problem


def _known(store: "Store") -> set[tuple[str, str]]:
    with reading(store.engine, store.where) as connection:
        found = connection.execute(select(LOGS.c.sha256, LOGS.c.settings).where(LOGS.c.part == "log"))
        return {(row.sha256, row.settings) for row in found}
