"""What can be repaired without touching the ledger: lists rebuilt, files that no record names removed."""

import time
from contextlib import suppress
from typing import TYPE_CHECKING

from benchlog.store.engine import writing
from benchlog.store.ledger import derive_again, lock_head
from benchlog.store.trouble import Trouble

if TYPE_CHECKING:
    from benchlog.store.store import Store

#: A save lays its logs down before its entry, so a young file may yet find its record.
_YOUNG_S = 3600.0


def mend(store: "Store", troubles: list[Trouble]) -> list[Trouble]:
    """Repair what can be repaired; gives what remains.

    The lists are rebuilt only where the ledger is intact.
    """
    remaining = [trouble for trouble in troubles if trouble.kind in ("ledger", "logs")]
    lists = [trouble for trouble in troubles if trouble.kind == "lists"]
    if lists and any(trouble.kind == "ledger" for trouble in troubles):
        remaining += lists
    elif lists:
        with writing(store.engine, store.where) as connection:
            lock_head(connection)
            derive_again(connection)
    now = time.time()
    for trouble in troubles:
        if trouble.harmless and trouble.file is not None:
            with suppress(OSError):
                if now - trouble.file.stat().st_mtime > _YOUNG_S:
                    trouble.file.unlink()
                    continue
            remaining.append(trouble)
    return remaining
