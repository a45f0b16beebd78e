"""The whole guided test: opens the recording, leads through the steps, and checks what came of it."""

import contextlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from benchlog.bench.guided import resume
from benchlog.bench.guided.keys import Keyboard
from benchlog.bench.guided.retest import checks_named
from benchlog.bench.guided.session import Ended, Screen, run_session
from benchlog.bench.presses import PagePresses
from benchlog.core.errors import BenchlogError
from benchlog.core.files import refuse_unwritable
from benchlog.logger.model import Logger, load_logger
from benchlog.plan.model import Plan, load_plan
from benchlog.verdict.result import Result

if TYPE_CHECKING:
    from benchlog.standin.hands import Hands


@dataclass(frozen=True, slots=True)
class Setup:
    """What a guided test is made with, all of it looked at before anything is opened.

    Attributes:
        port, baud: the logger's. plan_file, plan: of the install. logger: what the channels mean; None: the headers.
        log, report: where they go. before: the log from before the install.
        stopped: where a stopped test stands. hands: the stand-in's; None for a real bike.
        only: the checks that are taken again; all where none is named. practise: a person does the stand-in's steps.
    """

    port: str
    baud: int
    plan_file: Path
    plan: Plan
    logger: Logger | None
    log: Path
    report: Path
    before: Path | None
    stopped: resume.Stopped | None
    hands: "Hands | None"
    only: tuple[str, ...] = ()
    practise: bool = False

    @property
    def by_itself(self) -> bool:
        """A stand-in does the steps."""
        return self.hands is not None and not self.practise


def prepare(
    port: str,
    plan_file: Path,
    *,
    logger_file: Path | None = None,
    out: Path | None = None,
    report: Path | None = None,
    baud: int = 115200,
    go_on: bool = False,
    before: Path | None = None,
    only: Sequence[str] = (),
    practise: bool = False,
    now: datetime | None = None,
) -> Setup:
    """Look at everything that a test needs before the tester is led anywhere.

    Args:
        out, report: where log and report go; by bike and date where not given.
        only: the checks to take again, each text one or several with commas; those of a stopped test where it goes on.
        practise: a person does the steps on a stand-in, too.
        go_on: take up a stopped test again: that of ``out``, else the newest one in this folder.

    Raises:
        BenchlogError: a file is missing, cannot be used, or would be overwritten.
    """
    from benchlog.logger.sidecar import find_sidecar
    from benchlog.run import refuse_unreadable_before
    from benchlog.standin.hands import hands_of

    plan = load_plan(plan_file)
    checks = checks_named(plan, only)
    hands = hands_of(port)
    if logger_file is None and hands is not None and hands.logger.is_file():
        logger_file = hands.logger
    if before is not None and not before.is_file():
        raise BenchlogError(f"{before}: no such log; name the log recorded before the install, or leave --before out")
    stopped = None
    if go_on:
        log = resume.newest(Path.cwd()) if out is None else out
        stopped = _stopped(log, plan)
        checks = stopped.memory.only
    else:
        stamp = (now or datetime.now()).strftime("%Y-%m-%d-%H%M")
        log = _free(Path(f"{_plain(plan.install.bike)}-{stamp}.csv")) if out is None else out
        _refuse_there(log, "the log of this test", "--out", "; to resume a stopped test, add --resume")
        resume.forget(log)  # of a log that is gone
    if report is None:
        report = _free(log.with_suffix(".html"))
    _refuse_there(report, "the report", "--report")
    # of a test that goes on, or laid there by the tester as a recording would find it
    logger_file = logger_file or find_sidecar(log)
    logger = None if logger_file is None else load_logger(logger_file)
    if before is not None:
        refuse_unreadable_before(before, logger)
    return Setup(port, baud, plan_file, plan, logger, log, report, before, stopped, hands, checks, practise)


def lead(test: Setup, screen: Screen) -> Ended:
    """Record, and lead the tester through all steps.

    Raises:
        BenchlogError: port or log cannot be used.
    """
    from benchlog.bench.recording import Capture

    with (
        Capture(
            test.port,
            test.log,
            logger=test.logger,
            baud=test.baud,
            bike=test.plan.install.bike,
            append=test.stopped is not None,
        ) as capture,
        Keyboard() as keyboard,
        contextlib.closing(PagePresses()) as presses,
    ):
        return run_session(
            capture,
            test.plan,
            screen,
            lambda: [*keyboard.pressed(), *presses.taken(capture.live.step)],
            log=test.log,
            ask=None if test.practise else _asker(test.hands, lambda: capture.moved_s),
            memory=test.stopped.memory if test.stopped else None,
            only=test.only,
            resolution=lambda: _resolution(capture.logger),
        )


def conclude(test: Setup) -> Result:
    """Check the log, write the report, and take the test's state away.

    Raises:
        BenchlogError: the log cannot be used, or the report cannot be written.
    """
    from benchlog.report.written import write_html
    from benchlog.run import check

    # the recording laid one beside its log, but the log from before the install may have none
    result = check(test.log, plan=test.plan, logger=test.logger, before=test.before)
    write_html(result, test.report, plan=test.plan)
    resume.forget(test.log)
    return result


def _asker(hands: "Hands | None", moved_s: Callable[[], float]) -> Callable[[str], float] | None:
    """Has the stand-in do a step; what it says is a time of its stream, what is given one of the file."""
    from benchlog.standin.hands import ask

    return None if hands is None else lambda text: ask(hands, text) + moved_s()


def _resolution(logger: Logger | None) -> Mapping[str, float]:
    return {} if logger is None else {one.role: one.resolution_c for one in logger.channel if one.resolution_c}


def _stopped(log: Path, plan: Plan) -> resume.Stopped:
    stopped = resume.load(log)
    if stopped.bike != plan.install.bike:
        raise BenchlogError(
            f'{log}: the stopped test is for the bike "{stopped.bike}", the plan for "{plan.install.bike}"; '
            "name the plan that it was started with"
        )
    return stopped


def _refuse_there(path: Path, what: str, option: str, more: str = "") -> None:
    if path.exists():
        raise BenchlogError(
            f"{path}: already exists and is not overwritten; name another file for {what} with {option}{more}"
        )
    if not path.absolute().parent.is_dir():
        raise BenchlogError(
            f"{path}: its folder does not exist; name a file for {what} in one that exists, with {option}"
        )
    refuse_unwritable(path, what)


def _plain(bike: str) -> str:
    """A bike's name as part of a file's."""
    return re.sub(r"[^\w]+", "-", bike.lower()).strip("-_")[:60] or "bike"


def _free(path: Path) -> Path:
    """The name itself, or with the first number that makes it free."""
    tries = [path, *(path.with_name(f"{path.stem}-{n}{path.suffix}") for n in range(2, 1000))]
    return next((one for one in tries if not one.exists()), path)
