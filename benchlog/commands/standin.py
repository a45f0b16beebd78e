"""The stand-in logger: a simulated install on a pseudo-terminal, for trying everything without hardware."""

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer
from typer.core import TyperCommand

from benchlog.commands.shared import user_errors
from benchlog.core.errors import BenchlogError

if TYPE_CHECKING:
    from benchlog.standin.install import SimulatedInstall
    from benchlog.standin.probing.places import PlacedFault
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
        str | None,
        typer.Option(
            metavar="NAME", help="Simulate one fault, named by its cause id; with --place a kind of fault may be named."
        ),
    ] = None,
    place: Annotated[
        str | None,
        typer.Option(metavar="PLACE", help='Where the fault sits, such as "fuse out to 30"; an unknown one lists all.'),
    ] = None,
    behaviour: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME",
            help="Add what a real bike does during a test; may be repeated. Names below.",
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
        from benchlog.standin.probing.meter import Probes
        from benchlog.standin.streaming import LiveBike

        made = _made(plan, fault, place, behaviour or [])
        bike = LiveBike(made.install, live_logger(rate), np.random.default_rng(seed))
        lines = LineForm(form, "xor" if checksum else "crc" if crc else "none")
        probes = Probes(bike, made.good, made.fault)
        with (
            _told_to_end(seconds) as ended,
            Standin(bike, lines, plan_toml=made.plan_toml, speed=speed, listen=address) as running,
        ):
            running.probes = probes
            _say(_welcome(running, _named(fault, made.fault if place else None), behaviour or []))
            for text in running.run(ended, typing=True):
                _say(text)
        _say("the stand-in has ended, and its folder is gone")


def _has_terminals() -> bool:
    try:
        import benchlog.standin.terminal  # noqa: F401
    except ImportError:
        return False
    return True


def _refuse(rate: float, speed: float, both: bool, seed: int | None, seconds: float | None) -> None:
    from benchlog.standin.pace import FASTEST, SLOWEST, is_speed

    faults = []
    if not 1.0 <= rate <= FASTEST_HZ:
        faults.append(f"--rate must be from 1 to {FASTEST_HZ:g} samples a second, got {rate:g}")
    if not is_speed(speed):
        faults.append(f"--speed must be from {SLOWEST:g} to {FASTEST:.0f}, got {speed:g}")
    if seconds is not None and not seconds > 0:
        faults.append(f"--seconds must be above 0, got {seconds:g}")
    if seed is not None and seed < 0:
        faults.append(f"--seed must be 0 or more, got {seed}")
    if both:
        faults.append("--checksum and --crc cannot both end a line; give one of them")
    if faults:
        raise BenchlogError("\n  ".join(faults))


@dataclass(frozen=True, slots=True)
class _Made:
    """The install, without its fault too, the fault's place, and the plan."""

    install: "SimulatedInstall"
    good: "SimulatedInstall"
    fault: "PlacedFault | None"
    plan_toml: str


def _made(plan: Path | None, fault: str | None, place: str | None, behaviours: list[str]) -> _Made:
    from benchlog.standin import NoSuchFault, SimulatedInstall, plan_toml_of, with_behaviours, with_fault
    from benchlog.standin.faults import FAULTS
    from benchlog.standin.probing.installs import install_at
    from benchlog.standin.probing.places import EVERY_KIND, placed, usual

    if place is not None and fault is None:
        raise BenchlogError(f'--place "{place}" says where a fault sits; give --fault as well')
    if fault is not None and fault not in FAULTS and not (place is not None and fault in EVERY_KIND):
        raise NoSuchFault(fault)
    with_behaviours(SimulatedInstall(), behaviours)  # an unknown name is refused before the plan is read
    if plan is None:
        good, text = SimulatedInstall(), plan_toml_of(SimulatedInstall(), NO_BEFORE)
        faulty = partial(with_fault, good)
    else:
        from benchlog.plan.model import load_plan
        from benchlog.standin.from_plan import faulty_install_of, install_of

        loaded = load_plan(plan)
        good, text = install_of(loaded), plan.read_text(encoding="utf-8-sig")
        faulty = partial(faulty_install_of, loaded)
    good = with_behaviours(good, behaviours)
    slots = [circuit.slot for circuit in good.circuits]
    if fault is None:
        return _Made(good, good, None, text)
    if place is None:
        return _Made(with_behaviours(faulty(fault), behaviours), good, usual(fault, slots), text)
    at = placed(fault, place, slots)
    return _Made(install_at(good, lambda name: with_behaviours(faulty(name), behaviours), at), good, at, text)


def _named(fault: str | None, at: "PlacedFault | None") -> str | None:
    """What the welcome says of the fault."""
    return fault if at is None else f"{at.place}, {at.kind}"


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
    from benchlog.standin.probing.meter import HELP

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
            "  speed N: from now on so many simulated seconds in a second",
            "and a meter and tools, to find a fault's place:",
            *(f"  {line}" for line in HELP),
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
