"""The stand-in logger: a simulated install on a pseudo-terminal, for trying everything without hardware."""

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer
from typer.core import TyperCommand

from benchlog.commands.shared import user_errors
from benchlog.core.errors import BenchlogError

if TYPE_CHECKING:
    from benchlog.standin.install import SimulatedInstall
    from benchlog.standin.serving import Standin

FASTEST_HZ = 20_000.0
#: Nobody records the stand-in's bike before its install, so that the plan asks for no added drain.
NO_BEFORE = {"added_drain_ma": None}


class WithBehaviours(TyperCommand):
    """Lists the behaviours at the end of its help; only there, since they bring the whole stand-in with them."""

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Print the help, then the names and what each is."""
        from rich import print as shown
        from rich.panel import Panel
        from rich.table import Table

        from benchlog.standin import BEHAVIOURS

        super().format_help(ctx, formatter)
        table = Table.grid(padding=(0, 2))
        for one in BEHAVIOURS.values():
            table.add_row(one.name, one.words)
        shown(Panel(table, title="Behaviours", title_align="left", border_style="dim"))


def standin(
    fault: Annotated[
        str | None, typer.Option(metavar="NAME", help="Simulate one fault, named by its cause id.")
    ] = None,
    behaviour: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME",
            help="Show what a real bike does beside the test; may be given again. Names below.",
        ),
    ] = None,
    plan: Annotated[
        Path | None,
        typer.Option(metavar="PLAN", readable=False, help="Build the install from this plan; else that of the Larch."),
    ] = None,
    rate: Annotated[float, typer.Option(metavar="HZ", help="Samples a second.")] = 500.0,
    speed: Annotated[float, typer.Option(metavar="N", help="Simulated seconds in a second.")] = 1.0,
    form: Annotated[Literal["csv", "pairs", "json"], typer.Option(help="What a line looks like.")] = "csv",
    checksum: Annotated[bool, typer.Option("--checksum", help="End each line in * and an XOR, as NMEA 0183 does.")] = (
        False
    ),
    crc: Annotated[bool, typer.Option("--crc", help="End each line in * and a CRC-16.")] = False,
    seed: Annotated[
        int | None, typer.Option(metavar="N", help="Random seed: the same number gives the same logger.")
    ] = None,
    seconds: Annotated[
        float | None, typer.Option(metavar="N", help="Stop after this many seconds of real time.")
    ] = None,
    listen: Annotated[
        str | None,
        typer.Option(
            metavar="HOST:NUMBER", help="A port over TCP, such as 127.0.0.1:4000, opened as socket://127.0.0.1:4000."
        ),
    ] = None,
) -> None:
    """Stand in for a logger on an install: a port to record from, and a bike that does what you type."""
    with user_errors():
        _refuse(rate, speed, checksum and crc, seed, seconds)
        import numpy as np

        from benchlog.standin.network import address_of
        from benchlog.standin.serving import Standin

        address = None if listen is None else address_of(listen)
        if address is None and not _has_terminals():
            raise BenchlogError(
                "this system has no pseudo-terminals; let the stand-in listen: benchlog standin --listen 127.0.0.1:4000"
            )
        from benchlog.standin.lines import LineForm
        from benchlog.standin.logger import live_logger
        from benchlog.standin.streaming import LiveBike

        install, plan_toml = _install(plan, fault, behaviour or [])
        bike = LiveBike(install, live_logger(rate), np.random.default_rng(seed))
        lines = LineForm(form, "xor" if checksum else "crc" if crc else "none")
        standing = Standin(bike, lines, plan_toml=plan_toml, speed=speed, listen=address)
        with _told_to_end(seconds) as ended, standing as running:
            _say(_welcome(running, fault, behaviour or []))
            for text in running.run(ended, typing=True):
                _say(text)
        _say("the stand-in has ended, and its folder is gone")


def _has_terminals() -> bool:
    try:
        from benchlog.standin import terminal  # noqa: F401
    except ImportError:
        return False
    return True


def _refuse(rate: float, speed: float, both: bool, seed: int | None, seconds: float | None) -> None:
    faults = []
    if not 1.0 <= rate <= FASTEST_HZ:
        faults.append(f"--rate must be from 1 to {FASTEST_HZ:g} samples a second, got {rate:g}")
    if not 0.01 <= speed <= 10_000:
        faults.append(f"--speed must be from 0.01 to 10000, got {speed:g}")
    if seconds is not None and not seconds > 0:
        faults.append(f"--seconds must be above 0, got {seconds:g}")
    if seed is not None and seed < 0:
        faults.append(f"--seed must be 0 or more, got {seed}")
    if both:
        faults.append("--checksum and --crc cannot both end a line; give one of them")
    if faults:
        raise BenchlogError("\n  ".join(faults))


def _install(plan: Path | None, fault: str | None, behaviours: list[str]) -> "tuple[SimulatedInstall, str]":
    from benchlog.standin import NoSuchFault, SimulatedInstall, plan_toml_of, with_behaviours, with_fault
    from benchlog.standin.faults import FAULTS

    if fault is not None and fault not in FAULTS:
        raise NoSuchFault(fault)
    with_behaviours(SimulatedInstall(), behaviours)  # an unknown name is refused before the plan is read
    if plan is None:
        made = SimulatedInstall() if fault is None else with_fault(SimulatedInstall(), fault)
        return with_behaviours(made, behaviours), plan_toml_of(SimulatedInstall(), NO_BEFORE)
    from benchlog.plan.model import load_plan
    from benchlog.standin.from_plan import faulty_install_of, install_of

    loaded = load_plan(plan)
    text = plan.read_text(encoding="utf-8-sig")
    made = install_of(loaded) if fault is None else faulty_install_of(loaded, fault)
    return with_behaviours(made, behaviours), text


@contextmanager
def _told_to_end(seconds: float | None) -> "Iterator[Callable[[], bool]]":
    """A question whether to end: because of Ctrl-C, a signal, or the clock."""
    told: list[int] = []
    wanted = [signal.SIGINT, signal.SIGTERM, *([signal.SIGHUP] if hasattr(signal, "SIGHUP") else [])]
    before = {number: signal.signal(number, lambda got, _: told.append(got)) for number in wanted}
    until = None if seconds is None else time.monotonic() + seconds
    try:
        yield lambda: bool(told) or (until is not None and time.monotonic() >= until)
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _welcome(running: "Standin", fault: str | None, behaviours: list[str]) -> str:
    from benchlog.standin import BEHAVIOURS

    bike, port = running.bike, running.port
    slots = ", ".join(f"{circuit.slot} {circuit.device}" for circuit in bike.install.circuits) or "none"
    return "\n".join(
        (
            f'a simulated install on the bike "{bike.install.bike}"'
            + (f", with one fault: {fault}" if fault else ", without a fault"),
            *(f"  {name}: {BEHAVIOURS[name].words}" for name in behaviours),
            f"  port    {port}",
            f"  plan    {running.plan}",
            f"  logger  {running.logger}",
            f"  {bike.spec.rate_hz:g} samples a second, {running.speed:g} simulated"
            f" {'second' if running.speed == 1 else 'seconds'} in a second",
            "it waits until a program opens the port; try in another terminal:",
            f"  benchlog record {port} --out try.csv --logger {running.logger}",
            f"  benchlog acceptance {port} --plan {running.plan}",
            "type here what you do to the bike, one action a line:",
            "  key on · key off · slot N on · slot N off · all on · all off",
            "  fuse N out · fuse N in · crank · engine off",
            "  zero · zero end · shunt bridged · shunt free",
            f"  slots: {slots}",
            "Ctrl-C ends it and removes its folder",
        )
    )


def _say(text: str) -> None:
    """Print at once; that nobody reads it is no reason to end."""
    try:
        print(text, flush=True)
    except OSError:
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115  # stays open as long as the program
