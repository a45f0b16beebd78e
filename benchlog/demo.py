"""The whole job on the sample logs of the invented bike "Larch"."""

from collections.abc import Iterator
from pathlib import Path
from textwrap import fill

from benchlog.errors import BenchlogError
from benchlog.report import write_html
from benchlog.report_text import render_text
from benchlog.run import check

REPORT = "benchlog-report-larch.html"
FAULT_REPORT = "benchlog-report-larch-fault.html"


def sample_folder() -> Path:
    """Where the sample data lies: in the installed package, or beside it in a source tree.

    Raises:
        BenchlogError: it lies in neither place.
    """
    package = Path(__file__).parent
    for folder in (package / "sample_data", package.parent / "sample_data"):
        if (folder / "larch.plan.toml").is_file():
            return folder
    raise BenchlogError(f"{package}: the sample data is missing here; install benchlog again")


def run_demo(into: Path, *, colour: bool = False) -> Iterator[str]:
    """Check the good install and the one with a fault, write both reports and say where they lie.

    Args:
        into: the folder for the reports.
    """
    samples = sample_folder()
    plan = samples / "larch.plan.toml"
    logs = [samples / "acceptance.csv", samples / "overnight.csv"]
    yield (
        'The invented bike "Larch". A fast log of the acceptance run proves the relay,\n'
        "the voltages and the circuits; a slow overnight log proves the drain; a log from\n"
        "before the install shows what the install added. No hardware is needed.\n"
    )
    good = check(logs, plan=plan, before=samples / "before.csv")
    yield render_text(good, colour=colour)
    write_html(good, into / REPORT)
    bad = check(samples / "fault_slow_drop_out.csv", plan=plan)
    write_html(bad, into / FAULT_REPORT)
    failed = [found for found in bad.checks if found.verdict == "fail"]
    yield "The same bike with a fault put in (a relay that lets go late):"
    for found in failed:
        yield fill(f"{found.title}: {found.verdict}. {found.because}", 80, initial_indent="  ", subsequent_indent="  ")
    yield ""
    yield f"Verdict for the good install: {good.verdict}. Report: {into / REPORT}"
    yield f"Verdict with the fault:       {bad.verdict}. Report: {into / FAULT_REPORT}"
