"""Logs and a plan in, a result out: the one way in for the command line, the pages and Python."""

from collections.abc import Callable, Generator, Mapping, Sequence
from contextlib import closing
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from benchlog.core import remote
from benchlog.core.errors import BadLog, BenchlogError
from benchlog.core.files import shown_name
from benchlog.core.marks import mark_notes
from benchlog.core.note import Note
from benchlog.core.roles import slot_of
from benchlog.log.discovery import ENDINGS, every_log, processes_for, reachable, size_of
from benchlog.logger.given import LoggerLike, logger_of
from benchlog.logger.model import Logger
from benchlog.logger.sidecar import find_sidecar, logger_for
from benchlog.meter.given import NamedReadings, readings_given
from benchlog.plan.given import PlanLike, plan_of
from benchlog.plan.model import Plan
from benchlog.process.meanwhile import load_meanwhile
from benchlog.process.orders import Answer
from benchlog.process.pool import side_by_side, workers_at
from benchlog.verdict.result import Result

if TYPE_CHECKING:
    import pandas as pd
    import polars as pl

    from benchlog.examine import LogFindings
    from benchlog.log.log import Log
    from benchlog.meter.findings import ReadingsFindings
    from benchlog.plan.limits import PlannedLimit

    LogLike = str | Path | pd.DataFrame | pl.DataFrame | Log | NamedReadings
    Findings = LogFindings | ReadingsFindings
    Examined = tuple[Findings, list[Note]]

#: name of the log, or how many logs; bytes done, bytes in all
Progress = Callable[[str, int, int], None]
#: how many of many logs are done; what came of the last one
Watch = Callable[[int, Answer], None]
#: What is needed once a log has been read.
_NEEDED_LATER = ("benchlog.examine", "benchlog.verdict.checks", "benchlog.verdict.bounded", "numpy.fft")


def check(
    logs: "LogLike | Sequence[LogLike]",
    *,
    plan: PlanLike,
    logger: LoggerLike | None = None,
    before: "LogLike | None" = None,
    progress: Progress | None = None,
    on: str | None = None,
    watch: Watch | None = None,
) -> Result:
    """Check one install: one or more logs against its plan.

    Args:
        logs: paths of log files or meter readings, or frames whose columns are roles (``time_s``, ``battery_v`` …,
            units and signs as there); several make one result, each check from the log that decides it. A folder stands
            for the logs in it, or in a bucket (``s3://BUCKET/FOLDER``). Many logs are read on all cores.
        plan: path of the plan, or its content as a mapping.
        logger: path or content of the logger file, for logs without their own ``LOG.logger.toml``.
        before: the log recorded before the install, for ``added_drain``.
        progress: called as each log is read.
        on: address of a Dask scheduler (``tcp://HOST:NUMBER``), whose workers then read the logs.
        watch: called as each of many logs is done, with how many are, and what came of it.

    Returns:
        The result; ``to_frame()`` gives it as a pandas DataFrame, ``to_json()`` as JSON.

    Raises:
        BenchlogError: a plan, logger or log that cannot be used; the text says what to do.
    """
    planned = plan_of(plan)
    default = logger_of(logger)
    wanted = every_log(logs if isinstance(logs, (list, tuple)) else [logs], before)
    if not wanted:
        raise BenchlogError("no log was given; name at least one log file")
    found: list[Findings] = []
    notes: list[Note] = []
    with closing(_examined(wanted, planned, default, progress, on, watch)) as examined:
        for findings, log_notes in examined:
            found.append(findings)
            notes += log_notes
    earlier = None
    if before is not None:
        _refuse_same(before, wanted)
        earlier, before_notes = _examine(before, 0, 0, planned, default, progress)
        notes += before_notes
    return _judged(found, earlier, planned, notes)


def _judged(found: "list[Findings]", earlier: "Findings | None", planned: Plan, notes: list[Note]) -> Result:
    """What the findings of all logs and meter readings come to."""
    from benchlog import __version__
    from benchlog.examine import LogFindings, key_events, lift_bypass, with_circuits
    from benchlog.verdict.causes import find_causes, merged
    from benchlog.verdict.checks import judge, overall, score
    from benchlog.verdict.evidence import Evidence

    logs = [one for one in found if isinstance(one, LogFindings)]
    by_hand = [one for one in found if not isinstance(one, LogFindings)]
    if isinstance(earlier, LogFindings):
        earlier = lift_bypass([earlier, *logs])[0]
    logs = lift_bypass(logs)
    every: list[Findings] = [*logs, *by_hand]
    checks = judge(planned, [each for one in every for each in one.each(earlier)])
    devices = {circuit.slot: circuit.device for circuit in planned.circuit}
    causes = find_causes(merged(f.seen for f in logs), checks, devices)
    draws = [draw for f in logs for draw in f.evidence.key_off_draws]
    drain_ma = next((check.measured for check in checks if check.id == "off_state_drain"), None)
    return Result(
        benchlog_version=__version__,
        bike=planned.install.bike,
        verdict=overall(checks),
        score=score(checks),
        key_events=[event for findings in logs for event in key_events(findings)],
        checks=checks,
        causes=with_circuits(causes, draws, [pair for f in logs for pair in f.let_go], drain_ma),
        notes=notes,
    ).with_evidence(Evidence(tuple(f.evidence for f in logs)))


def _refuse_same(before: "LogLike", logs: "Sequence[LogLike]") -> None:
    """A log cannot be its own before."""
    for log in logs:
        if not isinstance(before, (str, Path)) or not isinstance(log, (str, Path)):
            same = before is log
        else:
            one, other = Path(before), Path(log)
            same = one.exists() and other.exists() and one.samefile(other)
        if same:
            raise BenchlogError(
                f"{before if isinstance(before, (str, Path)) else 'before'}: this log is also checked; "
                "the one from before the install must be another, recorded before anything was added"
            )


def _examined(
    logs: "list[LogLike]",
    plan: Plan,
    default: Logger | None,
    progress: Progress | None,
    on: str | None,
    watch: Watch | None,
) -> "Generator[Examined, None, None]":
    """Each log's findings and notes, in order; many logs several at a time."""
    processes = processes_for(logs)
    if on is None and processes < 2:
        yield from (_examine(log, at, len(logs), plan, default, progress) for at, log in enumerate(logs, start=1))
        return
    if on is not None:
        logs = list(reachable(logs))
    sizes = [size_of(log) or 0 for log in logs]
    report = progress or (lambda *_: None)
    done, total, name = 0, sum(sizes), f"{len(logs)} logs"
    report(name, 0, total)
    one = partial(_examine_job, of=len(logs), plan=plan, default=default)
    jobs = [(at, Path(log)) for at, log in enumerate(logs, start=1)]  # type: ignore[arg-type] # processes_for saw to it
    crew = None if on is None else workers_at(on, logs)
    with closing(side_by_side(one, jobs, processes, crew=crew, watch=watch)) as answers:
        for size, answer in zip(sizes, answers, strict=True):
            done += size
            report(name, done, total)
            yield answer


def _examine_job(job: tuple[int, Path], *, of: int, plan: Plan, default: Logger | None) -> "Examined":
    return _examine(job[1], job[0], of, plan, default, None)


def _examine(
    log: "LogLike", number: int, of: int, plan: Plan, default: Logger | None, progress: Progress | None
) -> "Examined":
    from benchlog.log.log import Log
    from benchlog.verdict.registry.table import limits_of

    if (by_hand := readings_given(log)) is not None:
        from benchlog.meter.findings import findings_of

        read = findings_of(by_hand.file, plan, by_hand.name)
        return read, list(read.notes)
    told: list[Note] = []
    look = partial(_findings, plan=plan, limits=limits_of(plan), of=of)
    if isinstance(log, Log):
        return look(log)
    if isinstance(log, (str, Path)) and remote.url_of(log) is not None:
        with remote.fetched(Path(log)) as local:
            return _examine(local, number, of, plan, default, progress)
    if isinstance(log, (str, Path)):
        path = Path(log)
        if path.is_dir() or not path.name:
            if number == 0:  # of those before the install there is one
                raise BadLog(str(path), "this is a folder; name one log file in it")
            named = ", ".join(ENDINGS)
            raise BadLog(str(path), f"there is no log in this folder; name a log file, its name ends in {named}")
        own = find_sidecar(path)
        logger = logger_for(path, default)
        if own and default is not None and logger is not None and logger.model_dump() != default.model_dump():
            text = f"{own.name} beside it was used instead of the logger file that was given"
            told.append(Note(log=shown_name(path), text=text))
        report = None if progress is None else lambda done, total: progress(path.name, done, total)
        opened, left_out = _opened(path, logger, report, may_lack=number == 0)
        with opened:
            findings, notes = look(opened)
            return findings, [*told, *notes, *left_out]
    if isinstance(log, NamedReadings) or not hasattr(log, "columns"):
        raise BenchlogError(f"{log!r} is not a log; name a log file, or give a pandas or polars frame")
    name = "before" if number == 0 else "log" if of == 1 else f"log {number}"
    with Log.from_frame(log, default, name=name) as opened:
        return look(opened)


def refuse_unreadable_before(path: Path, logger: Logger | None) -> None:
    """Find out before long work whether ``check`` could read a log from before the install.

    Args:
        logger: for a log without its own ``LOG.logger.toml``.

    Raises:
        BenchlogError: it cannot be used; says why.
    """
    if readings_given(path) is None:
        _opened(path, logger_for(path, logger), None, may_lack=True)[0].close()


def _opened(
    path: Path, logger: Logger | None, report: Callable[[int, int], None] | None, *, may_lack: bool
) -> "tuple[Log, list[Note]]":
    """Open a log; one from before the install ``may_lack`` columns, since there was no relay and no feed then."""
    from benchlog.log.earlier import open_as_earlier
    from benchlog.log.log import Log, have_polars_ready

    load_meanwhile(_NEEDED_LATER, size_of(path) or 0, first=have_polars_ready)
    open_with = partial(Log.open, path, progress=report)
    if not may_lack:
        return open_with(logger), []
    log, lacking = open_as_earlier(open_with, logger)
    if not lacking:
        return log, []
    return log, [Note(log=log.name, text=f"recorded without the columns {', '.join(lacking)} of the logger file")]


def _findings(
    log: "Log", plan: Plan, limits: "Mapping[str, PlannedLimit]", of: int
) -> "tuple[LogFindings, list[Note]]":
    from benchlog.examine import examine, story_notes
    from benchlog.verdict.bounded import bounded

    if len(log.overview) < 2:
        raise BadLog(log.name, "it holds fewer than 2 samples, so nothing can be measured; record a longer log")
    findings = examine(log, log.logger, plan, limits)
    findings = replace(findings, evidence=bounded(findings.evidence, of))
    notes = list(log.notes)
    notes += [Note(log=log.name, text=text) for text in story_notes(findings)]
    notes += [Note(log=log.name, text=text) for text in findings.notes]
    notes += [Note(log=log.name, text=text) for text in mark_notes(log.marks, [c.slot for c in plan.circuit])]
    planned = {circuit.slot for circuit in plan.circuit}
    spare = sorted({slot for role in log.roles if (slot := slot_of(role)) is not None} - planned)
    if spare:
        named = ", ".join(str(slot) for slot in spare)
        notes.append(
            Note(log=log.name, text=f"slot {named} is logged but the plan has no circuit there, so it was not judged")
        )
    return findings, notes
