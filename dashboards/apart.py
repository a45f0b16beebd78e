"""A dropped Parquet table is read once by a process of its own: some damage would end the one that serves the pages."""

import subprocess
import sys
from pathlib import Path

from benchlog.core.errors import DAMAGED_INSIDE, BadLog
from benchlog.log.readers.parquet import claims

_READ = """
import sys
import polars as pl
for _ in pl.scan_parquet(sys.argv[1], glob=False).collect_batches(chunk_size=200_000, maintain_order=True):
    pass
"""


def refuse_deadly(path: Path, name: str) -> None:
    """Let another process read a table from end to end; what is no Parquet table is left alone.

    Raises:
        BadLog: the table ended it.
    """
    with path.open("rb") as file:
        if not claims(file.read(4)):
            return
    # -P: nothing is imported from the folder that the pages were started in
    done = subprocess.run(
        [sys.executable, "-P", "-c", _READ, str(path)], stdin=subprocess.DEVNULL, capture_output=True, check=False
    )
    if done.returncode < 0:  # other damage is told as it is met again
        raise BadLog(name, f"the Parquet file {DAMAGED_INSIDE}")
