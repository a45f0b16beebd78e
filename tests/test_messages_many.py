"""Every message of many logs: processes, a cluster, buckets, rechecking, backup, and the stand-in over TCP."""

# ruff: noqa: E501 a message is searched for in one piece

import os
import socket
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Future
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from messages import FOLDER, Entry, command, done
from messages import test_every_message_is_heard as test_every_message_is_heard
from messages import test_message_reads_like_this as test_message_reads_like_this
from store_cases import save_small, small_log, small_plan

import benchlog
from benchlog.core.errors import BenchlogError
from benchlog.logger.model import load_logger
from benchlog.process.cluster import Workers
from benchlog.process.pool import side_by_side
from benchlog.standin.network import listening
from benchlog.store import open_store
from benchlog.store.importing import logs_under
from benchlog.store.kept_far import fetched
from benchlog.store.logs_kept import kept_path, read_log
from benchlog.store.rechecking import KeptLog, judged_again, kept_logs, recheck_records
from benchlog.verdict.result import Result

SAMPLES = Path(__file__).parent.parent / "sample_data"
PLAN = SAMPLES / "larch.plan.toml"
AT = "tcp://127.0.0.1:8786"


def ends(*_: object, **__: object) -> None:
    """Work that the system ends in every process but the caller's."""
    os._exit(9)


def recheck_that_ends_processes(folder: Path) -> list[str]:
    """What is told of a record that ends two processes."""
    with open_store() as store, pytest.MonkeyPatch.context() as patch:
        save_small(store, folder)
        save_small(store, folder)
        patch.setattr("benchlog.store.rechecking._judge", ends)
        return [one.text for one in recheck_records(store, processes=2)][:1]


def not_kept(folder: Path) -> None:
    """A record of hashes alone."""
    with open_store() as store:
        number = save_small(store, folder, keep_logs=False)
        kept_logs(store.record(number), store.logs)


class FakeClient:
    """A scheduler's client with one worker."""

    version, sees, workers = benchlog.__version__, True, 1

    def __init__(self, *_: object, **__: object) -> None:
        """As Dask's."""

    def wait_for_workers(self, _: int, timeout: float) -> None:
        """Come at once, or never."""
        if not self.workers:
            raise TimeoutError(timeout)

    def run(self, _: object, paths: list[str], **__: object) -> dict[str, tuple[str, str]]:
        """What the worker tells."""
        return {"tcp://10.0.0.2:4000": (self.version, "" if self.sees else paths[0])}

    def register_plugin(self, *_: object, **__: object) -> None:
        """Nothing to do."""

    def ncores(self) -> dict[str, int]:
        """Of the one worker."""
        return {"a": 1}

    def cancel(self, *_: object, **__: object) -> None:
        """Nobody is there."""

    def close(self) -> None:
        """Nothing to do."""

    def submit(self, *_: object, **__: object) -> "Future[Any]":
        """Lost with the scheduler."""
        lost: Future[Any] = Future()
        lost.key = "lost"  # type: ignore[attr-defined]
        lost.set_exception(CancelledError())
        return lost


def at_scheduler(**what: object) -> Callable[[Path], object]:
    """A crew of such a scheduler's workers does some work."""

    def run(_: Path) -> None:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("distributed.Client", type("Client", (FakeClient,), what))
            list(side_by_side(str, [1, 2], 1, crew=lambda work: Workers(AT, work, ["/logs/a.csv"])))

    return run


def refused_client(_: Path) -> None:
    """Nobody at the address."""

    def refused(*_: object, **__: object) -> None:
        raise OSError("Timed out")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("distributed.Client", refused)
        Workers(AT, str)


def without(module: str, call: Callable[[Path], object]) -> Callable[[Path], object]:
    """The same where a library is not installed."""

    def run(folder: Path) -> None:
        with pytest.MonkeyPatch.context() as patch:
            patch.setitem(sys.modules, module, None)
            call(folder)

    return run


@contextmanager
def taken() -> Iterator[int]:
    """A number that something listens on."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        yield other.getsockname()[1]


def listen_where_taken(_: Path) -> None:
    """Two at one number."""
    with taken() as number:
        try:
            listening("127.0.0.1", number)
        except BenchlogError as told:
            raise BenchlogError(str(told).replace(str(number), "NUMBER")) from None


def broken_bucket(_: Path) -> None:
    """A bucket whose library fails."""
    import fsspec.implementations.memory as memory

    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("no key\nand much more")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(memory.MemoryFileSystem, "isfile", fail)
        benchlog.check("memory://garage/a.csv", plan=PLAN)


def bucket_that_takes_nothing(folder: Path) -> None:
    """A copy that is to be kept in one."""
    import fsspec.implementations.memory as memory

    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("no key")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(memory.MemoryFileSystem, "put_file", fail)
        read_log(small_log(folder, "ride.csv"), None, Path("memory://garage/kept"))


def copy_in_bucket(content: bytes) -> Path:
    """A file in a bucket under the name of a kept copy."""
    import fsspec

    path = kept_path(Path("memory://garage/kept"), "a" * 64)
    fsspec.filesystem("memory").pipe(f"/garage/kept/aa/{path.name}", content)
    return path


def fetched_without_room(folder: Path) -> None:
    """The folder for fetched copies is a file."""
    (folder / "data").write_text("", encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BENCHLOG_DATA", str(folder / "data"))
        fetched(copy_in_bucket(b"words"))


def not_in_bucket(_: Path) -> None:
    """A kept copy that is gone from its bucket."""
    gone = KeptLog(
        "ride.csv",
        Path("memory://garage/kept/bb/b.parquet"),
        load_logger(SAMPLES / "acceptance.logger.toml"),
        before=False,
    )
    judged_again(small_plan(), [gone], Result.model_construct(notes=()))


def frame_on_workers(_: Path) -> None:
    """A frame cannot be read elsewhere."""
    benchlog.check(pl.DataFrame({"time_s": [0.0, 1.0], "battery_v": [12.0, 12.1]}), plan=PLAN, on=AT)


PROVOKED: dict[str, Entry] = {
    # ---- processes
    "record that ends two processes": Entry(
        recheck_that_ends_processes,
        "record 1: judging it ended two of the processes that tried, perhaps because memory ran out; it was skipped",
    ),
    "work that ends two processes": done(
        lambda _: list(side_by_side(ends, [1, 2], 2)),
        "the work was stopped: one of its processes was ended, perhaps because memory ran out; give fewer logs at once",
    ),
    # ---- a cluster
    "no address": done(
        lambda _: Workers("127.0.0.1", str),
        "--on 127.0.0.1: this is no scheduler's address; it looks like tcp://HOST:8786",
    ),
    "no scheduler": done(
        refused_client,
        f"{AT}: no scheduler answers there; start one with: dask scheduler, and give the address it prints",
    ),
    "no dask": done(
        without("distributed", lambda _: Workers(AT, str)),
        '--on: what speaks to a scheduler is not installed; run: pip install "benchlog[cluster]"',
    ),
    "no worker": done(
        at_scheduler(workers=0),
        f"{AT}: this scheduler has no worker; start one with: dask worker {AT} --nthreads 1",
    ),
    "another version": done(
        at_scheduler(version="0.0.9"),
        f"{AT}: this is benchlog {benchlog.__version__}, its worker tcp://10.0.0.2:4000 has 0.0.9; install the same version there",
    ),
    "blind worker": done(
        at_scheduler(sees=False),
        f"{AT}: its worker tcp://10.0.0.2:4000 does not see /logs/a.csv; put the logs where all workers reach them by the same name, or in a bucket",
    ),
    "scheduler gone": done(
        at_scheduler(),
        f"{AT}: the scheduler is gone; what was answered until then is kept. Start it and its workers again, then run the same command again",
    ),
    "frame on workers": done(
        frame_on_workers,
        "a frame: with --on every log must be a file in a folder or bucket that all workers reach",
    ),
    # ---- buckets
    "no fsspec": done(
        without("fsspec", lambda _: benchlog.check("s3://garage/a.csv", plan=PLAN)),
        's3://garage/a.csv: what reads such a bucket is not installed (fsspec); run: pip install "benchlog[bucket]", or the fsspec library of this bucket',
    ),
    "unknown kind of bucket": done(
        lambda _: benchlog.check("odd://garage/a.csv", plan=PLAN),
        "odd://garage/a.csv: this is no address of a bucket (…); write it as s3://BUCKET/FOLDER",
    ),
    "no such file in the bucket": done(
        lambda _: benchlog.check("memory://garage/a.csv", plan=PLAN),
        "memory://garage/a.csv: there is no such file in the bucket; check the name",
    ),
    "bucket that fails": done(
        broken_bucket,
        "memory://garage/a.csv: the bucket cannot be read (no key); check its name, its address and your key",
    ),
    "bucket that takes nothing": done(
        bucket_that_takes_nothing,
        "memory://garage/kept/…/….parquet: the bucket cannot be written (no key); check its name, its address and your key",
    ),
    "altered copy in a bucket": done(
        lambda _: fetched(copy_in_bucket(b"words")),
        "memory://garage/kept/aa/….parquet: this copy of a log was altered or damaged; run benchlog records verify",
    ),
    "no room for a fetched copy": done(
        fetched_without_room,
        f"{FOLDER}/data/fetched: a copy fetched from the bucket cannot be laid down here (not a directory); make room there, or set BENCHLOG_DATA to another folder",
    ),
    "copy gone from its bucket": done(
        not_in_bucket,
        "no copy of ride.csv is kept in memory://garage/kept/bb, so it cannot be checked again; check the log file itself, if you have it",
    ),
    "no log in the bucket": done(
        lambda _: logs_under(Path("memory://garage/none")),
        "memory://garage/none: there is no log in it; a log ends in .csv, .tsv, .txt, .log, .dat, .asc, .parquet",
    ),
    # ---- the store
    "record without copies": done(
        not_kept,
        "record 1: no copy of ride.csv is kept here, so it cannot be checked again; check the log file itself, if you have it",
    ),
    "backup over a file": command(
        lambda f: ["records", "backup", small_log(f, "b.sqlite"), "--store", made(f)],
        f"{FOLDER}/b.sqlite: this already exists, and a backup overwrites nothing; name a new file for it",
    ),
    # ---- the stand-in over TCP
    "no address to listen on": command(
        lambda _: ["standin", "--listen", "4000"],
        "--listen 4000: HOST:NUMBER is needed, such as 127.0.0.1:4000",
    ),
    "number that is taken": done(
        listen_where_taken,
        "--listen 127.0.0.1:NUMBER: the stand-in cannot listen there (address already in use); name another number, or 127.0.0.1",
    ),
}


def made(folder: Path) -> Path:
    """A store with a record."""
    path = folder / "records.sqlite"
    with open_store(path) as store:
        save_small(store, folder)
    return path


#: Files whose raised texts are all brought up here.
FILES = {
    f"benchlog/{name}.py": True
    for name in (
        *("process/cluster", "process/orders", "core/remote", "log/discovery"),
        *("store/backup", "store/rechecking", "store/kept_far", "standin/network"),
    )
}
