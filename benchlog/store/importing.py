"""Many logs at once: every log under a folder checked by one plan and saved, on all cores, resumable."""

import multiprocessing
import os
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from sqlalchemy import select

from benchlog.errors import BadLog, BenchlogError
from benchlog.logger import Logger
from benchlog.plan import Plan
from benchlog.store.engine import reading
from benchlog.store.named import path_of
from benchlog.store.saving import given_loggers, record_body, settings_of
from benchlog.store.schema import LOGS

if TYPE_CHECKING:
    from benchlog.store.store import Store

#: Endings of files that are taken for logs; each may be followed by one of ``PACKED``.
ENDINGS = (".csv", ".tsv", ".txt", ".log", ".dat", ".asc", ".parquet")
PACKED = (".gz", ".zst")
_AHEAD = 4  # logs handed out for each process, so that none waits


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
class _Job:
    plan: Plan
    logger: Logger | None
    keep_in: Path | None
    known: frozenset[tuple[str, str]]


_job: _Job | None = None  # of a worker process: the same for all its logs


def logs_under(folder: Path, but: Path | None = None) -> list[Path]:
    """Every log in a folder tree, in the order of names; hidden files and those in ``but`` are left out.

    Raises:
        BenchlogError: there is no such folder, or no log in it.
    """
    if not path_of(folder, "the folder of logs").is_dir():
        raise BenchlogError(f"{folder}: there is no such folder; name one that holds logs")
    skipped = None if but is None else but.resolve()
    found = []
    for place, folders, names in os.walk(folder):
        folders[:] = sorted(
            name for name in folders if not name.startswith(".") and (Path(place) / name).resolve() != skipped
        )
        found += [Path(place) / name for name in sorted(names) if _is_log(name)]
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
) -> Iterator[Imported]:
    """Check and save each log as a record of its own; tells of each as it is done, in order.

    A log that the store has already, judged by the same plan and logger, is passed over, so that an import that was
    stopped goes on where it stood.

    Raises:
        BenchlogError: the store cannot be written, or a process was ended from outside.
    """
    known = _known(store)
    job = _Job(plan, logger, store.logs if keep_logs else None, frozenset(known))
    count = min(processes or os.cpu_count() or 1, len(logs))
    for done, (path, answer) in enumerate(_answers(logs, job, count), start=1):
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


_Answer = str | tuple[tuple[str, str], dict[str, Any] | None]


def _answers(logs: list[Path], job: _Job, count: int) -> Iterator[tuple[Path, _Answer]]:
    if count < 2:
        for path in logs:
            yield path, _examine(path, job)
        return
    # a fresh interpreter for each: the libraries' threads do not survive a fork
    context = multiprocessing.get_context("spawn")
    waiting: deque[tuple[Path, Future[_Answer]]] = deque()
    pool = ProcessPoolExecutor(count, mp_context=context, initializer=_begin, initargs=(job,))
    try:
        for path in logs:
            waiting.append((path, pool.submit(_work, path)))
            if len(waiting) >= count * _AHEAD:
                first, future = waiting.popleft()
                yield first, future.result()
        while waiting:
            first, future = waiting.popleft()
            yield first, future.result()
    except BrokenProcessPool:
        raise BenchlogError(
            "the import was stopped: one of its processes was ended, perhaps because memory ran out; "
            "run the same command again, it goes on where it stopped"
        ) from None
    finally:
        pool.shutdown(cancel_futures=True)


def _begin(job: _Job) -> None:
    global _job  # noqa: PLW0603 a worker gets its job once, not with each log
    _job = job
    os.environ.setdefault("POLARS_MAX_THREADS", "1")  # the processes share the cores already


def _work(path: Path) -> _Answer:
    if _job is None:  # pragma: no cover  # the pool calls _begin first
        raise RuntimeError("a worker without a job")
    return _examine(path, _job)


def _examine(path: Path, job: _Job) -> _Answer:
    """What is wrong with a log, or its fingerprint with the body of its record (None where the store has it)."""
    from benchlog.run import check

    try:
        (logger,) = given_loggers([path], job.logger)
        fingerprint = (_hash(path), settings_of(job.plan, logger))
        if fingerprint in job.known:
            return fingerprint, None
        result = check([path], plan=job.plan, logger=job.logger)
        body = record_body(result, plan=job.plan, loggers=[logger], logs=[path], keep_in=job.keep_in)
        # the file may have changed since it was hashed
        return (body["logs"][0]["sha256"], fingerprint[1]), body
    except BenchlogError as problem:
        return str(problem)


def _hash(path: Path) -> str:
    import hashlib

    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as problem:
        raise BadLog(str(path), f"the file cannot be read ({(problem.strerror or '').lower()})") from problem


def _known(store: "Store") -> set[tuple[str, str]]:
    with reading(store.engine, store.where) as connection:
        found = connection.execute(select(LOGS.c.sha256, LOGS.c.settings).where(LOGS.c.part == "log"))
        return {(row.sha256, row.settings) for row in found}


def _is_log(name: str) -> bool:
    lower = name.lower()
    for packed in PACKED:
        lower = lower.removesuffix(packed)
    return not name.startswith(".") and lower.endswith(ENDINGS)
