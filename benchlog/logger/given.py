"""What the columns mean, as a caller gives it: a logger file's path, its content, or the logger itself."""

from collections.abc import Mapping
from pathlib import Path

from benchlog.core.errors import BenchlogError
from benchlog.logger.model import Logger, load_logger, logger_from_mapping

LoggerLike = str | Path | Mapping[str, object] | Logger


def logger_of(logger: LoggerLike | None) -> Logger | None:
    """The logger itself; None for None.

    Raises:
        BenchlogError: it cannot be used, or is no logger.
    """
    if logger is None or isinstance(logger, Logger):
        return logger
    if isinstance(logger, Mapping):
        return logger_from_mapping(logger)
    if not isinstance(logger, (str, Path)):
        raise BenchlogError(f"{logger!r} is not a logger; give the path of a logger file, or its content as a mapping")
    return load_logger(logger)
