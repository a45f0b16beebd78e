"""The whole store copied while it is in use: one state of all entries, and the kept logs that they name.

The copy is a store of its own, a SQLite file with its logs in ``FILE.logs``, whatever engine it came from: ``records
verify``, the lists and the pages read it as any other.
"""

import json
import secrets
import shutil
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import insert, update

from benchlog.core.errors import BenchlogError, CannotWrite, reason_of
from benchlog.core.files import refuse_unwritable, replace
from benchlog.store.derived import enter
from benchlog.store.engine import engine_of, reading, writing
from benchlog.store.entry import Entry
from benchlog.store.kept_far import at_hand
from benchlog.store.ledger import batches, row_of
from benchlog.store.logs_kept import kept_path
from benchlog.store.named import path_of, url_of
from benchlog.store.opening import bring_up
from benchlog.store.places import LOGS_BESIDE
from benchlog.store.schema import HEAD, LEDGER

if TYPE_CHECKING:
    from benchlog.store.store import Store


def back_up_store(store: "Store", file: Path) -> tuple[int, int, int]:
    """Copy a store; gives the numbers of its entries, of kept logs copied, and of those that were not there.

    The copy is complete under its name, or not there.

    Raises:
        BenchlogError: something is there already, or it cannot be written.
    """
    target = path_of(file, "the backup")
    beside = target.with_name(target.name + LOGS_BESIDE)
    for taken in (target, beside):
        if taken.exists():
            raise BenchlogError(
                f"{taken}: this already exists, and a backup overwrites nothing; name a new file for it"
            )
    refuse_unwritable(target, "the backup", inputs=store.files)
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        part.mkdir()
        kept: set[str] = set()
        entries = _copy_entries(store, part / target.name, str(target), kept)
        copied = sum(_copy_log(store.logs, part / beside.name, sha256) for sha256 in sorted(kept))
        if copied:
            replace(part / beside.name, beside)
        replace(part / target.name, target)
    except OSError as problem:
        raise CannotWrite(str(target), "the backup", reason_of(problem)) from problem
    finally:
        with suppress(OSError):
            shutil.rmtree(part)
    return entries, copied, len(kept) - copied


def _copy_entries(store: "Store", to: Path, where: str, kept: set[str]) -> int:
    """Enter them as they are, number, hash and all; what is worked out from them is made anew.

    Args:
        to: the file they are entered in. where: what messages call it.
        kept: takes the hashes of the kept logs that they name.
    """
    engine, last = engine_of(url_of(to)), None
    try:
        bring_up(engine, where)
        with reading(store.engine, store.where) as source, writing(engine, where) as copy:
            for batch in batches(source):
                copy.execute(insert(LEDGER), [row_of(entry) for entry in batch])
                enter(copy, batch)
                kept.update(_kept_of(batch))
                last = batch[-1]
            if last is not None:
                copy.execute(update(HEAD).values(number=last.number, hash=last.hash))
    finally:
        engine.dispose()
    return 0 if last is None else last.number


def _kept_of(entries: list[Entry]) -> Iterator[str]:
    for entry in entries:
        if entry.kind == "record":
            for log in json.loads(entry.body)["logs"]:
                if log["kept"] is not None:
                    yield log["kept"]["sha256"]


def _copy_log(from_folder: Path, to_folder: Path, sha256: str) -> bool:
    source, target = kept_path(from_folder, sha256), kept_path(to_folder, sha256)
    with at_hand(source) as here:
        if here is None:  # told by ``records verify``, of the store and of the copy
            return False
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(here, target)
    return True
