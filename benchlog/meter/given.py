"""Readings as they are given: a path, or a file's content that was kept."""

from dataclasses import dataclass
from pathlib import Path

from benchlog.core.files import shown_name
from benchlog.core.roles import ROLE_UNITS
from benchlog.core.toml_files import is_readings
from benchlog.logger.model import Channel, Logger
from benchlog.meter.model import ReadingsFile, load_readings, readings_from_text
from benchlog.meter.shown import is_over_range, step_of


@dataclass(frozen=True, slots=True)
class NamedReadings:
    """The content of a file of readings, and the name that a result has for it."""

    name: str
    file: ReadingsFile


def readings_given(log: object) -> NamedReadings | None:
    """The readings that something given in place of a log is; None where it is something else.

    Raises:
        BadReadings: it is a file of readings that cannot be used.
    """
    if isinstance(log, NamedReadings):
        return log
    if not isinstance(log, (str, Path)) or not is_readings(Path(log)):
        return None
    return NamedReadings(shown_name(Path(log)), load_readings(log))


def kept_readings(name: str, text: str) -> NamedReadings:
    """Readings from the text that was kept of their file.

    Raises:
        BadReadings: it cannot be used.
    """
    return NamedReadings(name, readings_from_text(text, name))


def meter_as_logger(file: ReadingsFile) -> Logger:
    """The meter as a logger describes itself: a channel for each role, with the meter's limits of error there."""
    channels = {}
    for table in file.reading:
        role = table.role or "battery_v"
        stated = file.meter.current if ROLE_UNITS[role] == "A" else file.meter.voltage
        if role in channels or is_over_range(table.value):
            continue
        step = step_of(table.value)
        channels[role] = Channel(
            column=role,
            role=role,
            unit=table.unit,
            gain_error_pct=None if stated is None else stated.pct,
            offset_error=None if stated is None else stated.digits * step,
            resolution=step,
        )
    return Logger(name=file.meter.name, channel=tuple(channels.values()) or (Channel(column="mark", role="mark"),))
