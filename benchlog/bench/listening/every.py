"""Several ports at once, each in a thread of its own, since listening is mostly waiting."""

import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from benchlog.bench.listening.hearing import BAUDS, Heard, hear
from benchlog.bench.listening.known import Recognised, recognise
from benchlog.core.errors import BenchlogError, reason_of
from benchlog.logger.model import Logger


@dataclass(frozen=True, slots=True)
class Listened:
    """One port.

    Attributes:
        heard, found: None where it could not be listened to, which ``why`` says; ``found`` also where no logger speaks.
    """

    port: str
    heard: Heard | None
    found: Recognised | None
    why: str = ""


def listen_to(ports: Sequence[str], loggers: Sequence[Logger], baud: int | None) -> Iterator[Listened]:
    """Listen to all of them; what each says comes in their order, as soon as it is known.

    Args:
        ports: devices or URLs.
        loggers: those that may speak, the likeliest first.
        baud: the only line speed to try; None for the usual ones.
    """
    stop = threading.Event()

    def one(port: str) -> Listened:
        try:
            heard = hear(port, BAUDS if baud is None else (baud,), stop)
        except BenchlogError as why:
            return Listened(port, None, None, str(why).removeprefix(f"{port}: "))
        except OSError as why:
            return Listened(port, None, None, f"the device went away ({reason_of(why)})")
        return Listened(port, heard, None if heard.form is None else recognise(heard, loggers))

    with ThreadPoolExecutor(max_workers=max(len(ports), 1)) as pool:
        try:
            yield from pool.map(one, ports)
        finally:
            stop.set()  # whoever asked has gone, by Ctrl-C perhaps: the pool waits for its threads
