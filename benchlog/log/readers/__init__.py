"""Log formats. A reader says whether a log is its own and reads it; nothing after this knows which one did."""

from benchlog.core.errors import BadLog
from benchlog.log.readers import delimited, parquet, stream
from benchlog.log.readers.raw import Reader

#: The only place where a format is entered.
READERS: tuple[Reader, ...] = (delimited.READER, parquet.READER, stream.READER)


def reader_of(where: str, head: bytes) -> Reader:
    """The one reader that claims a log by its first bytes.

    Raises:
        BadLog: none does, or several do.
    """
    claiming = [reader for reader in READERS if reader.claims(head)]
    if len(claiming) == 1:
        return claiming[0]
    known = "a table as text (CSV, also packed as .gz or .zst) or as Parquet"
    if not claiming:
        raise BadLog(where, f"this is neither text nor any other known log; needed is {known}: export it so")
    raise BadLog(where, f"could be {' or '.join(reader.name for reader in claiming)}; save it as {known}")
