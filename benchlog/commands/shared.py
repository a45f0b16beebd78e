"""What all commands share: exit statuses, the one way out for unusable input, options that mean the same everywhere."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from benchlog.core.errors import BenchlogError, reason_of
from benchlog.core.printable import plain, short, unsecret

PASS, FAIL, UNUSABLE, NOT_PROVEN = 0, 1, 2, 3
EXIT_STATUS = {"pass": PASS, "fail": FAIL, "not proven": NOT_PROVEN}

# readable=False everywhere: whether a file can be read is found, and said, where it is read
PlanOption = Annotated[Path, typer.Option("--plan", readable=False, help="The plan of the install, a TOML file.")]
LoggerOption = Annotated[
    Path | None,
    typer.Option(
        "--logger", metavar="FILE", readable=False, help="What the channels mean, for logs without LOG.logger.toml."
    ),
]
StoreOption = Annotated[
    str | None,
    typer.Option(
        "--store",
        metavar="URL",
        envvar="BENCHLOG_STORE",
        show_envvar=False,
        help="Where the records are kept; without it, or BENCHLOG_STORE, a file in your data folder.",
    ),
]
BeforeOption = Annotated[
    Path | None,
    typer.Option(
        "--before", metavar="LOG", help="The log recorded before the install, for the added drain.", readable=False
    ),
]
JsonOption = Annotated[
    str | None, typer.Option("--json", metavar="FILE", help="Write it as JSON; - for standard output only.")
]
ReportOption = Annotated[Path | None, typer.Option("--report", metavar="FILE", help="Write it as an HTML page.")]
# what a person says of a record that is kept
NotesOption = Annotated[str, typer.Option("--notes", metavar="TEXT", help="Notes for the record.")]
TemperatureOption = Annotated[
    float | None,
    typer.Option("--temperature-c", metavar="C", help="Battery temperature for the record, where the log has none."),
]
CorrectsOption = Annotated[
    int | None,
    typer.Option(
        "--corrects", metavar="NUMBER", help="The record that this one corrects; the old one is kept unchanged."
    ),
]
HashesOnlyOption = Annotated[
    bool, typer.Option("--hashes-only", help="Keep only the logs' hashes, no copies: the record cannot be drawn again.")
]


@contextmanager
def user_errors() -> Iterator[None]:
    """Turn what is wrong with the input into one plain message on standard error and exit status 2."""
    try:
        yield
    except BenchlogError as problem:
        typer.echo(plain(short(unsecret(f"benchlog: {problem}"))), err=True)
        raise typer.Exit(UNUSABLE) from None
    except BrokenPipeError:
        raise  # the reader of a pipe went away, as ``head`` does: no fault of anyone
    except OSError as problem:
        if problem.filename is not None:
            raise  # a file that no reader or writer of ours took care of: a bug
        why = reason_of(problem)
        typer.echo(f"benchlog: the output cannot be written ({why}); send it where there is room", err=True)
        raise typer.Exit(UNUSABLE) from None


def refuse_outputs(json: str | None, report: Path | None, what: str, inputs: Iterable[Path]) -> None:
    """Find out before the work whether what was asked for can be written.

    Args:
        json, report: where they go; None for none, "-" for standard output.
        what: is written as JSON, for the message ("the result").
        inputs: files that neither may replace.

    Raises:
        BenchlogError: one cannot be written.
    """
    from benchlog.core.files import refuse_unwritable

    inputs = tuple(inputs)
    if json not in (None, "-"):
        refuse_unwritable(Path(json), what, inputs)
    if report is not None and str(report) == "-":
        raise BenchlogError("--report -: the report is a page, not text; name a file for it")
    if report is not None:
        refuse_unwritable(report, "the report", inputs)
