"""Serial ports: what there is, and saving a logger's stream to a file."""

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchlog.commands.shared import LoggerOption, user_errors

if TYPE_CHECKING:
    from benchlog.bench.recording import Capture


def ports() -> None:
    """List the serial ports and what is plugged in."""
    with user_errors():
        from benchlog.bench.recording import ports_there

        found = ports_there()
        if not found:
            typer.echo(
                "No serial port was found.\n"
                "Plug the logger in and switch it on, then try again; some USB cables only charge.\n"
                "Without a logger, benchlog standin simulates one."
            )
            return
        width = max(len(port.name) for port in found)
        for port in found:
            typer.echo(f"{port.name:<{width}}  {port.what}")


def record(
    port: Annotated[
        str, typer.Argument(help="A device such as /dev/ttyACM0 or COM3, or a URL such as socket://HOST:NUMBER.")
    ],
    out: Annotated[
        Path, typer.Option("--out", metavar="LOG.csv", readable=False, help="The file to write; it must not exist yet.")
    ],
    logger: LoggerOption = None,
    baud: Annotated[int, typer.Option(metavar="N", min=50, help="Baud rate, where the port has one.")] = 115200,
    seconds: Annotated[
        float | None, typer.Option(metavar="N", min=0.1, help="Stop after this time; without it, stop with Ctrl-C.")
    ] = None,
    plan: Annotated[
        Path | None,
        typer.Option("--plan", readable=False, help="The plan, to show the bike's name on the live page."),
    ] = None,
) -> None:
    """Save what a logger sends to a file that can be checked. Exit status: 0 saved, 2 unusable input or a full disk."""
    with user_errors():
        from benchlog.bench.recording import Capture
        from benchlog.bench.recording.screen import LiveLine, summary
        from benchlog.logger.model import load_logger
        from benchlog.logger.sidecar import find_sidecar
        from benchlog.plan.model import load_plan

        logger = logger or find_sidecar(out)
        meant = load_logger(logger) if logger is not None else None
        bike = load_plan(plan).install.bike if plan is not None else ""
        capture = Capture(port, out, logger=meant, baud=baud, bike=bike, seconds=seconds)
        with capture, _stopped_by_signals(capture):
            ends = f"for {seconds:g} s" if seconds is not None else "until Ctrl-C"
            typer.echo(f"Recording from {port} to {out} {ends}.", err=True)
            line = LiveLine(capture, sys.stderr)
            try:
                for batch in capture.batches():
                    line.update(batch)
            finally:
                line.clear()
        typer.echo(summary(capture, str(out)))


@contextmanager
def _stopped_by_signals(capture: "Capture") -> Iterator[None]:
    """Ctrl-C and a polite end by the system close the file as a normal end does."""
    wanted = (signal.SIGINT, signal.SIGTERM)
    before = {number: signal.signal(number, lambda *_: capture.stop()) for number in wanted}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
