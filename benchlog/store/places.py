"""Where the copies of logs lie."""

import os
from pathlib import Path

from sqlalchemy.engine import URL

from benchlog.core import remote
from benchlog.core.places import data_folder
from benchlog.store.named import path_of

#: Ends the name of the folder of kept logs that goes with one SQLite file alone, as that of a backup.
LOGS_BESIDE = ".logs"


def logs_folder(url: URL, named: Path | None = None) -> Path:
    """The folder of kept logs: as named, else that of this SQLite file alone, else BENCHLOG_LOGS.

    Else beside the SQLite file or in the data folder.

    Several benches that share one PostgreSQL store set BENCHLOG_LOGS to a folder or bucket that all of them reach.
    """
    if named is not None:
        return path_of(named, "the folder of kept logs")
    own = Path(f"{url.database}{LOGS_BESIDE}")
    if url.get_backend_name() == "sqlite" and own.is_dir():
        return own
    if by_name := os.environ.get("BENCHLOG_LOGS"):
        if by_name.partition("://")[0].lower() in remote.BUCKETS:
            return Path(by_name)
        return path_of(by_name, "BENCHLOG_LOGS, the folder of kept logs,")
    if url.get_backend_name() == "sqlite":
        return Path(str(url.database)).parent / "logs"
    return path_of(data_folder(), "BENCHLOG_DATA, the data folder,") / "logs"
