"""What should be known of a record as it is saved: a log that another holds already, and a day that is the file's."""

from sqlalchemy import Connection, select

from benchlog.store.kinds import Record
from benchlog.store.saving import FILE
from benchlog.store.schema import LOGS, RECORDS


def repeated_in(connection: Connection, record: Record) -> list[tuple[str, int]]:
    """Name of each log, and the newest other record that holds the same file; corrected records do not count."""
    later = RECORDS.alias("later")
    corrected = select(later.c.corrects).where(later.c.corrects.is_not(None))
    found: list[tuple[str, int]] = []
    for log in record.logs:
        same = (
            select(LOGS.c.record)
            .where(LOGS.c.sha256 == log.sha256, LOGS.c.part == "log", LOGS.c.record < record.number)
            .where(LOGS.c.record.not_in(corrected))
            .order_by(LOGS.c.record.desc())
            .limit(1)
        )
        number = None if log.before else connection.execute(same).scalar_one_or_none()
        if number is not None:
            found.append((log.name, int(number)))
    return found


def repeat_words(repeats: list[tuple[str, int]]) -> list[str]:
    """A sentence for each log that was saved before, and what to do."""
    return [
        f"{name} is in record {number} already, and both count in the season; if it replaces that, save it again as "
        f"its correction (--corrects {number})"
        for name, number in repeats
    ]


def file_day_words(record: Record) -> str:
    """That the day of the record is its file's, which copying may have changed; "" where it is not."""
    if record.recorded_from != FILE:
        return ""
    return (
        "the day of the recording is the file's own date, since the log's clock does not give one; copying a file may "
        "change it"
    )
