"""What the commands for many logs share: the scheduler's address, a line that tells how far they are, events."""

import json
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from benchlog.core.remote import shown
from benchlog.process.course import Course
from benchlog.process.output import drawn_on

if TYPE_CHECKING:
    from benchlog.store.importing import Imported

OnOption = Annotated[
    str | None,
    typer.Option(
        "--on", metavar="ADDRESS", help="tcp://HOST:NUMBER of a Dask scheduler, whose workers then read the logs."
    ),
]
EventsOption = Annotated[
    bool,
    typer.Option("--json", help="Print one JSON object a line instead: each log, progress, the end."),
]

_EVERY_S = 0.5
_EVENT_EVERY_S = 1.0


def quiet_cluster(on: str | None) -> None:
    """What Dask logs besides is no message for the user of a command."""
    if on is not None:
        import logging

        logging.getLogger("distributed").setLevel(logging.CRITICAL)


@contextmanager
def shown_course(course: Course, *, events: bool) -> Iterator[Callable[[], None]]:
    """What shows how far the work is, to be called after each step: a line on a terminal, or events now and then."""
    if events:
        yield _now_and_then(_EVENT_EVERY_S, lambda: typer.echo(json.dumps(course.event())))
        return
    if not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console

    with Console(file=drawn_on(sys.stderr)).status("") as line:
        yield _now_and_then(_EVERY_S, lambda: line.update(course.line()))


def imported_event(one: "Imported") -> str:
    """One log of an import as a line of JSON."""
    told = {"event": "log", "log": shown(one.path), "outcome": one.outcome, "record": one.number}
    return json.dumps({**told, "verdict": one.verdict, "text": one.text}, ensure_ascii=False)


def end_event(counted: Mapping[str, int]) -> str:
    """The last line."""
    return json.dumps({"event": "end", **counted})


def _now_and_then(every_s: float, show: Callable[[], object]) -> Callable[[], None]:
    last = time.monotonic()

    def step() -> None:
        nonlocal last
        if time.monotonic() - last >= every_s:
            last = time.monotonic()
            show()

    return step
