"""The logger file that is put beside a recording, so that the log can be checked as it is."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from benchlog.core.errors import BenchlogError

if TYPE_CHECKING:
    from benchlog.logger.model import Logger


def lay_beside(log: Path, logger: "Logger", given: "Logger | None") -> None:
    """Write the logger file of a recording.

    Args:
        log: the recording.
        logger: what the columns of the file mean.
        given: the logger as the user named it; a file that says just that may be replaced.

    Raises:
        BenchlogError: another logger file lies there, or it cannot be written.
    """
    from benchlog.core.files import write_whole
    from benchlog.logger.model import load_logger
    from benchlog.logger.sidecar import sidecar_of

    path = sidecar_of(log)
    if path.exists():
        # by what they say: two that mean the same may differ in what was noted as they were read
        there = logger_text(load_logger(path))
        if there == logger_text(logger):
            return
        if given is None or there != logger_text(given):
            raise BenchlogError(
                f"{path}: another logger file already lies beside the recording; move it away, or name it with --logger"
            )
    write_whole(path, logger_text(logger), what="the logger file beside the recording")


def logger_by_number(names: Sequence[str]) -> "Logger | None":
    """The logger that names alone describe, its columns given by number; None where no name is a role."""
    from benchlog.logger.model import logger_from_headers

    found = logger_from_headers(names)
    if found is None:
        return None
    number = {name: n + 1 for n, name in enumerate(names)}
    channels = tuple(each.model_copy(update={"column": number[str(each.column)]}) for each in found.channel)
    timed = found.time
    if timed is not None:
        timed = timed.model_copy(update={"column": number[str(timed.column)]})
    return found.model_copy(update={"channel": channels, "time": timed})


def logger_text(logger: "Logger") -> str:
    """A logger as a logger file says it; what a key says by default is left out."""
    import tomli_w

    head = {"name": logger.name} if logger.rate_hz is None else {"name": logger.name, "rate_hz": logger.rate_hz}
    tables: dict[str, object] = {"logger": head}
    if logger.time is not None:
        tables["time"] = logger.time.model_dump(exclude_none=True)
    tables["channel"] = [channel.model_dump(exclude_none=True, exclude_defaults=True) for channel in logger.channel]
    return tomli_w.dumps(tables)
