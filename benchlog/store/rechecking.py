"""Every kept log judged again by today's program: which verdicts changed, and why. Nothing is overwritten."""

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from sqlalchemy import select

from benchlog.core import remote
from benchlog.core.errors import BenchlogError
from benchlog.log.discovery import cores
from benchlog.logger.model import Logger
from benchlog.meter.given import kept_readings
from benchlog.plan.model import Plan
from benchlog.process.pool import side_by_side, workers_at
from benchlog.run import Watch
from benchlog.store import reading as read
from benchlog.store.engine import reading
from benchlog.store.kept_far import at_hand, is_far, whole
from benchlog.store.logs_kept import kept_logger, kept_path
from benchlog.store.schema import RECORDS
from benchlog.store.walk_kept import walk_body
from benchlog.verdict.result import Result

if TYPE_CHECKING:
    from benchlog.log.log import Log
    from benchlog.run import LogLike
    from benchlog.store.kinds import Record
    from benchlog.store.store import Store

#: Below this many records starting processes costs more than it saves.
_FEWEST = 24


class NotKept(BenchlogError):
    """Only the hash of a log is here."""


@dataclass(frozen=True, slots=True)
class KeptLog:
    """One kept copy, and the name of the log that it is of; of meter readings the record has the text itself."""

    name: str
    path: Path
    logger: Logger
    before: bool
    readings: str | None = None


@dataclass(frozen=True, slots=True)
class ChangedVerdict:
    """One check that is judged differently now; ``check`` is "" for the verdict of the whole record.

    Attributes:
        because: why, as the new result says it. because_then: as the record says it.
    """

    check: str
    title: str
    then: str
    now: str
    because: str
    because_then: str


@dataclass(frozen=True, slots=True)
class Rechecked:
    """What became of one record.

    Attributes:
        outcome: "same", "changed", "not kept" (only hashes of its logs are here) or "bad".
        changes: the verdicts that changed. text: why it could not be judged.
        saved_as: number of the record that corrects it, where that was asked for.
        done, of: how many records have been dealt with, of how many.
    """

    number: int
    bike: str
    outcome: Literal["same", "changed", "not kept", "bad"]
    changes: tuple[ChangedVerdict, ...]
    text: str
    saved_as: int | None
    done: int
    of: int


@dataclass(frozen=True, slots=True)
class _RecheckJob:
    number: int
    bike: str
    plan: Plan
    logs: tuple[KeptLog, ...] | None  # None where not all are kept
    then: Result


@dataclass(frozen=True, slots=True)
class _Judged:
    """In place of a whole result, which the caller would have to hold."""

    number: int
    bike: str
    outcome: Literal["same", "changed", "not kept", "bad"]
    changes: tuple[ChangedVerdict, ...] = ()
    text: str = ""
    result: dict[str, Any] | None = None
    walks: tuple[dict[str, Any], ...] = ()


def kept_logs(record: "Record", folder: Path) -> tuple[KeptLog, ...]:
    """A record's logs as they are kept in a folder.

    Raises:
        NotKept: not all are.
    """
    found = []
    for log in record.logs:
        if log.readings is not None:
            found.append(KeptLog(log.name, Path(log.name), log.logger, log.before, log.readings))
            continue
        path = None if log.kept is None else kept_path(folder, log.kept.sha256)
        # what is not in a bucket is found out by whoever fetches it
        if path is None or not (is_far(path) or path.is_file()):
            raise NotKept(
                f"record {record.number}: no copy of {log.name} is kept here, so it cannot be checked again; check "
                "the log file itself, if you have it"
            )
        found.append(KeptLog(log.name, path, kept_logger(log.logger), log.before))
    return tuple(found)


def judged_again(plan: Plan, kept: Sequence[KeptLog], then: Result) -> Result:
    """Check kept logs again by their plan; what the original files alone could tell is taken from the result then."""
    from benchlog.run import check

    with ExitStack() as opened:
        logs: list[LogLike] = []
        earlier: LogLike | None = None
        for one in kept:
            log = kept_readings(one.name, one.readings) if one.readings is not None else _opened(one, opened)
            if one.before:
                earlier = log
            else:
                logs.append(log)
        result = check(logs, plan=plan, before=earlier)
        # what the original file alone could tell, such as lines left out, is not in its copy
        return result.model_copy(update={"notes": then.notes})


def _opened(one: KeptLog, within: ExitStack) -> "Log":
    from benchlog.log.log import Log

    here = within.enter_context(at_hand(one.path))
    if here is None:
        raise NotKept(
            f"no copy of {one.name} is kept in {remote.shown(one.path.parent)}, so it cannot be checked again; check "
            "the log file itself, if you have it"
        )
    log = within.enter_context(Log.open(here, one.logger))
    log.name = one.name
    return log


def recheck_records(
    store: "Store",
    *,
    bike: str | None = None,
    save: bool = False,
    processes: int | None = None,
    on: str | None = None,
    watch: Watch | None = None,
) -> Iterator[Rechecked]:
    """Judge every kept log again and compare; a record that was corrected already is skipped.

    Args:
        bike: of this bike alone.
        save: enter a record that corrects the old one wherever a verdict changed.
        on, watch: as for ``import_logs``.

    Raises:
        BenchlogError: the store cannot be used, or the workers are not to be had.
    """
    jobs = _RecheckJobs(store, _numbers(store, bike))
    crew = None if on is None else workers_at(on, [] if is_far(store.logs) else [store.logs.absolute()])
    wanted = processes or (cores() if len(jobs) >= _FEWEST else 1)
    with closing(side_by_side(_judge, jobs, wanted, crew=crew, lost=_lost_record, watch=watch)) as answers:
        for done, judged in enumerate(answers, start=1):
            saved = None
            if save and judged.outcome == "changed":
                (saved,) = store.append_records([_corrected(store, judged)])
            yield Rechecked(
                judged.number, judged.bike, judged.outcome, judged.changes, judged.text, saved, done, len(jobs)
            )


class _RecheckJobs(Sequence[_RecheckJob]):
    """The jobs, each made from its record as its turn comes."""

    def __init__(self, store: "Store", numbers: Sequence[int]) -> None:
        self._store, self._numbers = store, numbers

    def __len__(self) -> int:
        return len(self._numbers)

    def __getitem__(self, at: Any) -> Any:
        record = self._store.record(self._numbers[at])
        try:
            logs = kept_logs(record, whole(self._store.logs))
        except NotKept:
            logs = None
        return _RecheckJob(record.number, record.bike, record.plan, logs, record.result)


def _numbers(store: "Store", bike: str | None) -> list[int]:
    later = RECORDS.alias("later")
    corrected = select(later.c.corrects).where(later.c.corrects.is_not(None))
    wanted = select(RECORDS.c.number).where(RECORDS.c.number.not_in(corrected)).order_by(RECORDS.c.number)
    if bike is not None:
        wanted = wanted.where(RECORDS.c.bike == bike)
    with reading(store.engine, store.where) as connection:
        return [int(number) for number in connection.execute(wanted).scalars()]


def _judge(job: _RecheckJob) -> _Judged:
    if job.logs is None:
        return _Judged(job.number, job.bike, "not kept")
    try:
        now = judged_again(job.plan, job.logs, job.then)
    except NotKept:
        return _Judged(job.number, job.bike, "not kept")
    except BenchlogError as problem:
        return _Judged(job.number, job.bike, "bad", text=str(problem))
    changes = tuple(changed_verdicts(job.then, now))
    if not changes:
        return _Judged(job.number, job.bike, "same")
    walks = () if now.evidence is None else tuple(walk_body(outline) for outline in now.evidence.logs)
    plain = now.model_dump(mode="json", by_alias=True)
    return _Judged(job.number, job.bike, "changed", changes, result=plain, walks=walks)


def _lost_record(job: _RecheckJob) -> _Judged:
    text = (
        f"record {job.number}: judging it ended two of the processes that tried, perhaps because memory ran out; it "
        "was skipped"
    )
    return _Judged(job.number, job.bike, "bad", text=text)


def changed_verdicts(then: Result, now: Result) -> Iterator[ChangedVerdict]:
    """The checks that are judged differently, and the whole."""
    if then.verdict != now.verdict:
        yield ChangedVerdict("", "the whole record", then.verdict, now.verdict, "", "")
    before = {check.id: check for check in then.checks}
    for check in now.checks:
        old = before.pop(check.id, None)
        if old is None or old.verdict != check.verdict:
            was, why = ("", "") if old is None else (old.verdict, old.because)
            yield ChangedVerdict(check.id, check.title, was, check.verdict, check.because, why)
    for old in before.values():
        yield ChangedVerdict(old.id, old.title, old.verdict, "", "this benchlog has no such check", old.because)


def _corrected(store: "Store", judged: _Judged) -> dict[str, Any]:
    """The body of the record that corrects one: the same logs and plan, the new result."""
    import json

    from benchlog import __version__

    with reading(store.engine, store.where) as connection:
        body: dict[str, Any] = json.loads(read.record_entry(connection, judged.number).body)
    walks = iter(judged.walks)
    logs = [log if log["before"] or "readings" in log else {**log, **next(walks, {})} for log in body["logs"]]
    told = {"benchlog_version": __version__, "corrects": judged.number, "result": judged.result, "logs": logs}
    return {**body, **told}
