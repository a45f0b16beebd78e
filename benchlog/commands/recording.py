"""Serial ports: what there is, and saving a logger's stream to a file."""

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchlog.commands.shared import UNUSABLE, LoggerOption, user_errors
from benchlog.core.errors import BenchlogError
from benchlog.core.printable import plain

if TYPE_CHECKING:
    from benchlog.bench.recording import Capture


def ports(
    port: Annotated[
        list[str] | None,
        typer.Argument(help="With --listen: devices or URLs to listen to; without one, every local port."),
    ] = None,
    listen: Annotated[
        bool, typer.Option("--listen", help="Find a logger by its lines: which it is, and how fast.")
    ] = False,
    plan: Annotated[
        Path | None,
        typer.Option("--plan", readable=False, help="With --listen: what that logger could prove of this plan."),
    ] = None,
    logger: Annotated[
        Path | None,
        typer.Option("--logger", metavar="FILE", readable=False, help="With --listen: a logger to look for."),
    ] = None,
    baud: Annotated[
        int | None, typer.Option(metavar="N", min=50, help="With --listen: the only baud rate to try.")
    ] = None,
) -> None:
    """List the serial ports and what is plugged in; with --listen, which logger is there and what it could prove."""
    with user_errors():
        from benchlog.bench.recording import ports_there

        if not listen:
            _refuse_idle(port, plan, logger, baud)
        named = dict.fromkeys(port, "") if port else {one.name: one.what for one in ports_there()}
        if not named:
            typer.echo(
                "No serial port was found.\n"
                "Plug the logger in and switch it on, then try again; some USB cables only charge.\n"
                "Without a logger, benchlog standin simulates one."
            )
            return
        if listen:
            all_opened = _listen(named, plan, logger, baud)
            raise typer.Exit(UNUSABLE if port and not all_opened else 0)
        width = max(map(len, named))
        for name, what in named.items():
            typer.echo(f"{name:<{width}}  {what}")


def _refuse_idle(port: list[str] | None, plan: Path | None, logger: Path | None, baud: int | None) -> None:
    """What only --listen uses."""
    given = {"PORT": port, "--plan": plan, "--logger": logger, "--baud": baud}
    idle = [option for option, value in given.items() if value]
    if idle:
        raise BenchlogError(f"{', '.join(idle)}: used only to listen; add --listen, or leave it out")


def _listen(named: dict[str, str], plan: Path | None, logger: Path | None, baud: int | None) -> bool:
    """Listen on these ports (name -> what is plugged in) and tell what was heard; whether each could be opened."""
    from benchlog.bench.listening.every import listen_to
    from benchlog.bench.listening.known import reference_loggers
    from benchlog.bench.listening.prospects import prospects
    from benchlog.bench.listening.words import heard_lines, prospect_lines
    from benchlog.logger.model import load_logger
    from benchlog.plan.model import load_plan

    planned = load_plan(plan) if plan is not None else None
    loggers = [*([load_logger(logger)] if logger is not None else []), *reference_loggers()]
    typer.echo(f"Listening on {', '.join(named)} for a few seconds.", err=True)
    all_opened = True
    for one in listen_to(list(named), loggers, baud):
        all_opened &= one.heard is not None
        lines = [one.why] if one.heard is None else heard_lines(one.heard, one.found)
        if planned is not None and one.found is not None and one.found.logger is not None:
            able = prospects(planned, one.found.logger, one.found.rate_hz)
            lines += prospect_lines(planned.install.bike, able)
        what = f"  ({named[one.port]})" if named[one.port] else ""
        for text in (f"{one.port}{what}: {lines[0]}", *lines[1:]):
            typer.echo(plain(text))
    return all_opened


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
