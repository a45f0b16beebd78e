"""Check dropped files in the background, and save what came out."""

import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from benchlog.core.errors import BenchlogError
from benchlog.logger.model import Logger
from benchlog.plan.kept import KeptPlan, kept_plan
from benchlog.plan.model import Plan
from benchlog.verdict.result import Result
from dashboards.apart import Errand, bounds_of, run_apart
from dashboards.context import Context
from dashboards.foreign.looking import lay_loggers
from dashboards.shelf import LookedAt, looked_at
from dashboards.trays import Dropped, Tray
from dashboards.work import Job


@dataclass(frozen=True, slots=True)
class Checked:
    """A result that is not saved yet.

    Attributes:
        result, plan, logger: as they came from the check. paths, before: copies of the logs behind it.
        looked: of each log, what is drawn.
    """

    result: Result
    plan: Plan
    logger: Logger | None
    paths: tuple[Path, ...]
    before: Path | None
    looked: tuple[LookedAt, ...]


@dataclass(frozen=True, slots=True)
class Wish:
    """What is to be checked: files of a tray, and a plan from it or from a record."""

    logs: tuple[Dropped, ...]
    before: Dropped | None
    logger: Dropped | None
    plan: Dropped | KeptPlan | int
    tray: Tray


def wish_of(tray: Tray | None, plan_choice: object, before_choice: object) -> Wish:
    """What the form asks for.

    Args:
        tray: the dropped files. before_choice: a file's id, or "".
        plan_choice: a file's id, ``record N``, or ``kept NAME``.

    Raises:
        BenchlogError: what is missing, in words.
    """
    if tray is None or not tray.files:
        raise BenchlogError("no file is here; drop a log and its plan in first")
    before = tray.files.get(str(before_choice)) if before_choice else None
    logs = tuple(log for log in tray.to_be_checked() if before is None or log.id != before.id)
    if not logs:
        raise BenchlogError("no log is here to be checked; drop one in beside the plan")
    plan: Dropped | KeptPlan | int | None = tray.files.get(str(plan_choice))
    if plan is None and str(plan_choice).startswith("record "):
        number = str(plan_choice).removeprefix("record ")
        plan = int(number) if number.isdecimal() and len(number) < 12 else None
    elif plan is None and str(plan_choice).startswith("kept "):
        plan = kept_plan(str(plan_choice).removeprefix("kept "))
    if plan is None:
        raise BenchlogError("no plan is chosen; drop a plan in, or choose one that is on file")
    # a logger file with a log's own name is found beside it; another one serves the logs without
    stems = {log.name.partition(".")[0] for log in tray.of_kind("log")}
    loose = [f for f in tray.of_kind("logger") if f.name.partition(".")[0] not in stems]
    return Wish(logs, before, loose[0] if loose else None, plan, tray)


def check_wish(context: Context, wish: Wish, job: Job) -> Checked:
    """Have it read and checked by a process of its own; tells the job how far it is.

    Raises:
        BenchlogError: a file cannot be used; says why.
    """
    folder = wish.logs[0].path.parent
    keep_in = Path(tempfile.mkdtemp(dir=folder, prefix=".copies-"))
    most_bytes, most_s = bounds_of(sum(log.bytes for log in (*wish.logs, *filter(None, (wish.before,)))))
    errand = Errand(
        logs=tuple(log.path for log in wish.logs),
        before=wish.before.path if wish.before else None,
        logger=wish.logger.path if wish.logger else None,
        plan=context.store.record(wish.plan).plan if isinstance(wish.plan, int) else wish.plan.path,
        keep_in=keep_in,
        most_bytes=most_bytes,
        most_s=most_s,
    )

    def tell(doing: str, done: int, of: int) -> None:
        job.doing, job.done, job.of = doing, done, of

    with named_plainly(folder), _one_logger_for_all(wish):
        lay_loggers(wish.tray, (*wish.logs, *filter(None, (wish.before,))), job.ends_by)
        brought = run_apart(errand, tell, job.ends_by)
    found = () if brought.result.evidence is None else brought.result.evidence.logs
    looked = tuple(looked_at(copy, evidence) for copy, evidence in zip(brought.copies, found, strict=True))
    return Checked(brought.result, brought.plan, brought.logger, errand.logs, errand.before, looked)


@contextmanager
def _one_logger_for_all(wish: Wish) -> Iterator[None]:
    """Say that one logger file was used for several logs, which may be what is wrong."""
    try:
        yield
    except BenchlogError as problem:
        if wish.logger is None or len(wish.logs) < 2:
            raise
        raise BenchlogError(
            f"{problem}\n{wish.logger.name} was used for all of these logs. Where it does not suit one, drop in "
            "another that bears that log's name, or take it out: then the columns are asked for"
        ) from problem


@contextmanager
def named_plainly(folder: Path) -> Iterator[None]:
    """Name dropped files as the user does: where they lie meanwhile is nobody's concern."""
    try:
        yield
    except BenchlogError as problem:
        raise BenchlogError(str(problem).replace(f"{folder}{os.sep}", "")) from problem


def save_checked(
    context: Context, checked: Checked, *, notes: str, temperature_c: float | None, keep_logs: bool
) -> int:
    """File the result in the store, and lay what is drawn of its logs beside their copies; gives its number."""
    with named_plainly(checked.paths[0].parent):
        record = context.store.save(
            checked.result,
            plan=checked.plan,
            loggers=checked.logger,
            logs=list(checked.paths),
            before=checked.before,
            notes=notes,
            temperature_c=temperature_c,
            keep_logs=keep_logs,
        )
    for one in checked.looked:
        path = context.store.log_path(record.number, one.evidence.log)
        if path is not None:
            context.shelf.keep(path, record.plan, one.evidence)
    return record.number


def plans_on_file(context: Context) -> Sequence[tuple[str, int]]:
    """Bike and number of its newest record, whose plan can be used again."""
    return [(row.bike, row.number) for row in context.store.bikes()]
