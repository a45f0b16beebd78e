"""Which logs stand behind a page: those of a record, or of a check that is not saved yet."""

from dataclasses import dataclass

from benchlog.core.errors import BenchlogError
from benchlog.report.words import Walk, walks_of
from benchlog.store import Record
from benchlog.verdict.result import Result
from dashboards.checking import Checked
from dashboards.context import Context
from dashboards.shelf import LookedAt
from dashboards.work import Job


@dataclass(frozen=True, slots=True)
class Behind:
    """A result and the names of its logs, in the order of their figures.

    Attributes:
        source: ``record N`` or ``checked ID``, as the page gives it back.
        record: None for a check that is not saved. checked: None for a record.
    """

    source: str
    result: Result
    logs: tuple[str, ...]
    record: Record | None = None
    checked: Checked | None = None

    @property
    def walks(self) -> list[Walk]:
        """What each circuit draws with the key off, for each log in which fuses were pulled."""
        return walks_of(self.result) if self.record is None else self.record.walks


def behind(context: Context, source: object) -> Behind:
    """What a page's source stands for.

    Raises:
        BenchlogError: there is no such record, or the check is forgotten.
    """
    kind, _, name = str(source).partition(" ")
    if kind == "record" and name.isdecimal() and len(name) < 12:
        record = context.store.record(int(name))
        logs = tuple(log.name for log in record.logs if not log.before and log.readings is None)
        return Behind(f"record {record.number}", record.result, logs, record=record)
    job = context.works.get(name) if kind == "checked" else None
    if job is None or not isinstance(job.result, Checked):
        raise BenchlogError("this check is no longer here; drop the log and the plan in again")
    checked = job.result
    return Behind(f"checked {name}", checked.result, tuple(one.evidence.log for one in checked.looked), checked=checked)


def at_hand(context: Context, whose: Behind, number: int) -> LookedAt | None:
    """The log of one figure; None where it must be read first, or cannot."""
    if not 0 <= number < len(whose.logs):
        return None
    if whose.checked is not None:
        return whose.checked.looked[number]
    if whose.record is None or (path := context.store.log_path(whose.record.number, whose.logs[number])) is None:
        return None
    return context.shelf.at_hand(path, whose.record.plan)


def reading(context: Context, whose: Behind, number: int) -> Job | None:
    """Have a record's log read in the background so that it can be drawn; None where no copy is kept."""
    record = whose.record
    if record is None:
        return None
    name = whose.logs[number]
    path = context.store.log_path(record.number, name)
    if path is None:
        return None
    logger = next(log.logger for log in record.logs if log.name == name)

    def work(job: Job) -> LookedAt:
        def tell(done: int, of: int) -> None:
            job.done, job.of = done, of

        job.doing = f"reading {name} once, to draw it"
        return context.shelf.make(path, name, logger, record.plan, tell)

    return context.works.start(f"drawing {name}", work, key=("drawn", record.number, name))
