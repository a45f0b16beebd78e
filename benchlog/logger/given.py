"""What the columns mean, as a caller gives it: a logger file's path, its content, or the logger itself."""

from collections.abc import Mapping
from pathlib import Path

from benchlog.core.given import made_of
from benchlog.logger.model import Logger, load_logger, logger_from_mapping

LoggerLike = str | Path | Mapping[str, object] | Logger


def logger_of(logger: LoggerLike | None) -> Logger | None:
    """The logger itself; None for None.

    Raises:
        BenchlogError: it cannot be used, or is no logger.
    """
    return None if logger is None else made_of(logger, "logger", Logger, logger_from_mapping, load_logger)
