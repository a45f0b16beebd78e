"""Readings from logs that are in no record: a plain resting log gives its rest voltage and drain."""

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from benchlog.logger.given import LoggerLike, logger_of
from benchlog.plan.model import Plan
from benchlog.store.readings import QUANTITIES, Reading

if TYPE_CHECKING:
    from benchlog.verdict.result import Result


def readings_of_log(log: str | Path, plan: Plan, logger: LoggerLike | None = None) -> tuple[list[Reading], str | None]:
    """What one log measures of a battery's health, at the time of its first sample.

    Args:
        logger: for a log without its own ``LOG.logger.toml``.

    Returns:
        The readings, and a note where the log's clock does not tell the day and its file's time was taken.

    Raises:
        BenchlogError: the log cannot be used.
    """
    path = Path(log)
    result, epoch_s, temperature_c = _checked_readings(path, plan) or _checked_log(path, plan, logger)
    note = None
    if epoch_s is None:
        epoch_s = path.stat().st_mtime
        note = f"{path.name}: its clock does not give the date, so the file's was used"
    at = datetime.fromtimestamp(epoch_s, UTC)
    found = [
        Reading(at, check.id, check.measured, check.uncertainty, temperature_c)
        for check in result.checks
        if check.id in QUANTITIES and check.measured is not None
    ]
    if not found:
        note = f"{path.name}: shows none of a season's quantities ({', '.join(QUANTITIES)}), so it was left out"
    return found, note


def _checked_log(path: Path, plan: Plan, logger: LoggerLike | None) -> "tuple[Result, float | None, float | None]":
    """A log's result, its first sample's time by its clock, s since 1970 UTC, and its temperature, °C."""
    from benchlog.log.log import Log
    from benchlog.logger.sidecar import logger_for
    from benchlog.run import check

    # once: what comes through a pipe cannot be read again
    with Log.open(path, logger_for(path, logger_of(logger))) as opened:
        return check(opened, plan=plan), opened.epoch_s, opened.overview.mean("battery_c")


def _checked_readings(path: Path, plan: Plan) -> "tuple[Result, float | None, float | None] | None":
    """The same of a hand meter's readings; None where it is a log."""
    from benchlog.meter.findings import temperature_of
    from benchlog.meter.given import readings_given
    from benchlog.run import check

    given = readings_given(path)
    if given is None:
        return None
    taken = given.file.meter.taken
    return check(given, plan=plan), None if taken is None else taken.timestamp(), temperature_of(given.file)


def readings_of_logs(
    logs: Sequence[str | Path], plan: Plan, logger: LoggerLike | None = None
) -> tuple[list[Reading], list[str]]:
    """The readings of several logs, with notes on what was unclear."""
    readings: list[Reading] = []
    notes = []
    for log in logs:
        found, note = readings_of_log(log, plan, logger)
        readings += found
        notes += [note] if note else []
    return readings, notes
