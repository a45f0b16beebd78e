"""A progress bar on standard error for logs that take more than a second; none where that is not a terminal."""

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

from benchlog.process.course import Course
from benchlog.process.orders import Answer
from benchlog.process.output import drawn_on
from benchlog.run import Progress, Watch

SHOWN_AFTER_S = 1.0
_MOST_SHOWN = 5  # of many logs only the last ones stay in sight


@contextmanager
def shown_progress(logs: int = 1) -> Iterator[tuple[Progress | None, Watch | None]]:
    """What is called as logs are read, and as each of many is done; None where nobody would see the bar."""
    if not sys.stderr.isatty():
        yield None, None
        return
    from rich.console import Console
    from rich.progress import BarColumn, DownloadColumn, TaskID, TextColumn
    from rich.progress import Progress as Bar

    began = time.monotonic()
    bar = Bar(
        TextColumn("reading {task.description}"),
        BarColumn(),
        DownloadColumn(),
        console=Console(file=drawn_on(sys.stderr)),
        transient=True,
    )
    tasks: dict[str, TaskID] = {}
    started = False

    def report(name: str, done: int, total: int) -> None:
        nonlocal started
        if not started and time.monotonic() - began < SHOWN_AFTER_S:
            return
        if not started:
            bar.start()
            started = True
        if name not in tasks:
            if len(tasks) >= _MOST_SHOWN:
                bar.remove_task(tasks.pop(next(iter(tasks))))
            tasks[name] = bar.add_task(name, total=total)
        bar.update(tasks[name], completed=done, total=total)

    course = Course(logs)

    def watch(done: int, answer: Answer) -> None:
        course.watch(done, answer)
        for task in tasks.values():
            bar.update(task, description=course.line())

    try:
        yield report, watch
    finally:
        if started:
            bar.stop()
