"""The whole job on the sample logs of the invented bike "Larch"."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from textwrap import fill

from benchlog.core.errors import BenchlogError, CannotWrite, reason_of
from benchlog.core.files import refuse_unwritable
from benchlog.plan.model import load_plan
from benchlog.report.text import render_text
from benchlog.report.words import next_test_of
from benchlog.report.written import write_html
from benchlog.run import check

REPORT = "benchlog-report-larch.html"
FAULT_REPORT = "benchlog-report-larch-fault.html"
#: In the first lines of every report, so that one of an earlier demo is known again.
_OURS, _HEAD_BYTES = b"(benchlog report)</title>", 4096


def sample_folder() -> Path:
    """Where the sample data lies: in the installed package, or beside it in a source tree.

    Raises:
        BenchlogError: it lies in neither place.
    """
    package = Path(__file__).parents[1]
    for folder in (package / "sample_data", package.parent / "sample_data"):
        if (folder / "larch.plan.toml").is_file():
            return folder
    raise BenchlogError(f"{package}: the sample data is missing here; install benchlog again")


def run_demo(into: Path, *, colour: bool = False) -> Iterator[str]:
    """Check the good install and the one with a fault, write both reports and say where they lie.

    Args:
        into: the folder for the reports; those of an earlier demo are replaced.

    Raises:
        BenchlogError: a report cannot be written there, or another file is in its way.
    """
    samples = sample_folder()
    with _told_plainly(into):
        for name in (REPORT, FAULT_REPORT):
            _refuse_in_the_way(into / name)
            refuse_unwritable(into / name, "the report")
    plan = samples / "larch.plan.toml"
    planned = load_plan(plan)
    logs = [samples / "acceptance.csv", samples / "overnight.csv"]
    yield (
        'The invented bike "Larch". A fast log of the acceptance run proves the relay,\n'
        "the voltages and the circuits; a slow overnight log proves the drain; a log from\n"
        "before the install shows what the install added. No hardware is needed.\n"
    )
    good = check(logs, plan=plan, before=samples / "before.csv")
    yield render_text(good, colour=colour)
    with _told_plainly(into):
        write_html(good, into / REPORT, plan=planned)
    bad = check(samples / "fault_slow_drop_out.csv", plan=plan)
    with _told_plainly(into):
        write_html(bad, into / FAULT_REPORT, plan=planned)
    failed = [found for found in bad.checks if found.verdict == "fail"]
    yield "The same bike with a fault added (a relay that drops out late):"
    for found in failed:
        told = f"{found.title}: {found.verdict}. {found.because} {next_test_of(bad, found)}".rstrip()
        yield fill(told, 80, initial_indent="  ", subsequent_indent="  ")
    yield ""
    yield f"Verdict for the good install: {good.verdict}. Report: {into / REPORT}"
    yield f"Verdict with the fault:       {bad.verdict}. Report: {into / FAULT_REPORT}"


def _refuse_in_the_way(report: Path) -> None:
    """Nobody named these files, so nothing but a report of the demo may be lost by them."""
    if not report.is_symlink():
        if not report.exists():
            return
        if report.is_file():
            with report.open("rb") as file:
                if _OURS in file.read(_HEAD_BYTES):
                    return
    raise BenchlogError(
        f"{report}: this is in the way of the demo's report; move it away, or run the demo in another folder"
    )


@contextmanager
def _told_plainly(into: Path) -> Iterator[None]:
    """Whoever runs the demo named no file, but is in a folder."""
    try:
        yield
    except CannotWrite as problem:
        why = problem.why
    except OSError as problem:
        why = reason_of(problem)
    else:
        return
    raise BenchlogError(
        f"{into}: the demo cannot write its two reports here ({why}); "
        "run it in a folder that has room and that you can write to"
    )
