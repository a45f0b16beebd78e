"""What is fuzzed: functions that take any bytes and must end in a result or one ``BenchlogError``."""

import contextlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from benchlog.core.errors import BenchlogError
from benchlog.log.log import Log
from benchlog.logger.model import Channel, Logger, LogTime, load_logger
from benchlog.plan.model import load_plan

Target = Callable[[bytes], None]

#: The first byte of an input to the log readers chooses one of these: what is known of the columns.
LOGGERS: tuple[Logger | None, ...] = (
    None,
    Logger(time=LogTime(column=1, unit="s"), channel=(Channel(column=2, role="battery_v", unit="V"),)),
    Logger(
        time=LogTime(column="t", unit="us", wraps_at=65536.0),
        channel=(
            Channel(column="I", role="battery_a", unit="mV", shunt_mohm=0.5, over_range=("OL", "32767")),
            Channel(column="note", role="mark", unit="text"),
        ),
    ),
    Logger(time=LogTime(column="t", unit="iso8601"), channel=(Channel(column="I", role="battery_a", unit="A"),)),
    Logger(rate_hz=10.0, channel=(Channel(column=1, role="drain_a", unit="uA"),)),
    Logger(time=LogTime(column="t", unit="epoch_ms"), channel=(Channel(column="I", role="battery_a", unit="A"),)),
)
BLOCKS = (7, 64, 1 << 20)


def log(data: bytes) -> None:
    """Open a log of any format, read it all, and look at it again in two windows."""
    choice, content = (data[0], data[1:]) if data else (0, b"")
    logger = LOGGERS[choice % len(LOGGERS)]
    block_bytes = BLOCKS[choice // len(LOGGERS) % len(BLOCKS)]
    with (
        _file(content) as path,
        contextlib.suppress(BenchlogError),
        Log.open(path, logger, block_bytes=block_bytes) as opened,
    ):
        trace = opened.trace(opened.start_s, opened.end_s)
        if len(trace) != opened.rows:
            raise AssertionError(f"{len(trace)} samples read again, {opened.rows} counted")
        if not bool((trace.time_s[1:] > trace.time_s[:-1]).all()):
            raise AssertionError("the time does not rise")
        opened.trace(opened.start_s, opened.start_s)


def delimited(data: bytes) -> None:
    """Open a log that is no table."""
    if data[1:5] != b"PAR1":
        log(data)


def parquet(data: bytes) -> None:
    """Open a log that claims to be a Parquet table."""
    log(data[:1] + b"PAR1" + data[5:])


def plan(data: bytes) -> None:
    """Read a plan file, and write what it derives."""
    from benchlog.report.plan import render_plan

    with _file(data) as path, contextlib.suppress(BenchlogError):
        render_plan(load_plan(path))


def logger(data: bytes) -> None:
    """Read a logger file."""
    with _file(data) as path, contextlib.suppress(BenchlogError):
        for channel in load_logger(path).channel:
            channel.to_canonical()


def lines(data: bytes) -> None:
    """Feed a serial stream in pieces, with and without a logger file."""
    from benchlog.log.readers.lines import LineParser

    choice, content = (data[0], data[1:]) if data else (0, b"")
    parser = LineParser(LOGGERS[choice % len(LOGGERS)])
    step = (1, 7, 64, 1 << 20)[choice // len(LOGGERS) % 4]
    with contextlib.suppress(BenchlogError):
        for start in range(0, len(content), step):
            if choice & 128 and start == 3 * step:
                parser.interrupted()
            parser.feed(content[start : start + step])
        parser.feed(b"", few=True, last=True)


class _file:  # noqa: N801 used as a function
    """A file with this content, in memory where the system has such a folder."""

    def __init__(self, content: bytes) -> None:
        shared = Path("/dev/shm")
        handle, name = tempfile.mkstemp(dir=shared if shared.is_dir() else None, prefix="benchlog-fuzz-")
        self._path = Path(name)
        with os.fdopen(handle, "wb") as file:
            file.write(content)

    def __enter__(self) -> Path:
        return self._path

    def __exit__(self, *_: object) -> None:
        self._path.unlink()


TARGETS: dict[str, Target] = {
    "delimited": delimited,
    "parquet": parquet,
    "lines": lines,
    "plan": plan,
    "logger": logger,
}
