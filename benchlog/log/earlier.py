"""A log from before the install may lack columns of the logger file, since there was no relay and no feed then."""

from collections.abc import Callable
from typing import TypeVar

from benchlog.core.errors import MissingColumns
from benchlog.logger.model import Logger

T = TypeVar("T")
#: Without a current there is no drain to compare.
_NEEDED = ("drain_a", "battery_a")


def open_as_earlier(open_with: Callable[[Logger | None], T], logger: Logger | None) -> tuple[T, tuple[str, ...]]:
    """Open a log, without the channels that it lacks where need be.

    Args:
        open_with: opens it with a logger.

    Returns:
        What was opened, and the columns that it lacks.

    Raises:
        MissingColumns: it lacks a current, or every channel.
    """
    try:
        return open_with(logger), ()
    except MissingColumns as lacking:
        if logger is None:
            raise
        left = tuple(
            channel for channel in logger.channel if channel.column not in lacking.columns or channel.role in _NEEDED
        )
        if len(left) == len(logger.channel) or not left:
            raise
        return open_with(logger.model_copy(update={"channel": left})), tuple(str(name) for name in lacking.columns)
