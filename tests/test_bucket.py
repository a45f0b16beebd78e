"""Logs in a bucket: listed there, read by whoever judges them, with the same result as from a folder."""

import hashlib
import socket
import tempfile
from collections.abc import Iterator
from pathlib import Path

import fsspec
import pytest
from page_server import free_port
from typer.testing import CliRunner

import benchlog
from benchlog.cli import app
from benchlog.core import remote
from benchlog.core.errors import BadLog, BenchlogError
from benchlog.log import discovery
from benchlog.plan.model import load_plan
from benchlog.store import Store, open_store
from benchlog.store.backup import back_up_store
from benchlog.store.importing import import_logs, logs_under
from benchlog.store.rechecking import recheck_records

pytest_plugins = ("store_fixtures",)

SAMPLES = Path(__file__).parent.parent / "sample_data"
PLAN = SAMPLES / "larch.plan.toml"


@pytest.fixture(scope="module")
def bucket() -> Iterator[str]:
    """A bucket of a local server that speaks as S3 does."""
    import s3fs
    from moto.server import ThreadedMotoServer

    number = free_port()
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=number, verbose=False)
    server.start()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("AWS_ENDPOINT_URL", f"http://127.0.0.1:{number}")
        patch.setenv("AWS_ACCESS_KEY_ID", "key")
        patch.setenv("AWS_SECRET_ACCESS_KEY", "secret")
        patch.setenv("AWS_DEFAULT_REGION", "us-east-1")
        files = s3fs.S3FileSystem()
        files.mkdir("garage")
        for name, source in logs().items():
            with files.open(f"garage/{name}", "wb") as file:
                file.write(source)
        try:
            yield "s3://garage"
        finally:
            server.stop()
            s3fs.S3FileSystem.clear_instance_cache()


def logs() -> dict[str, bytes]:
    """Names and content: four logs in one folder, one below it, a packed one, what is no log, and logger files."""
    import gzip

    lines = (SAMPLES / "acceptance.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    logger = (SAMPLES / "acceptance.logger.toml").read_bytes()
    found: dict[str, bytes] = {"rides/notes.md": b"x"}
    for n in range(4):
        found[f"rides/ride {n}.csv"] = "".join(lines[: 3000 + 200 * n]).encode()
        found[f"rides/ride {n}.logger.toml"] = logger
    found["rides/old/ride é.csv.gz"] = gzip.compress("".join(lines[:5000]).encode(), mtime=0)
    found["rides/old/ride é.logger.toml"] = logger
    return found


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The same as files."""
    for name, content in logs().items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return tmp_path / "rides"


def test_what_is_a_url_and_what_a_path():
    """A drive letter is none; a URL that was made a path is one again."""
    assert remote.url_of("s3://garage/rides/a.csv") == "s3://garage/rides/a.csv"
    assert remote.url_of(Path("s3://garage/rides/a.csv")) == "s3://garage/rides/a.csv"
    assert remote.url_of(Path("gs://b")) == "gs://b"
    for path in ("C:/logs/a.csv", r"C:\logs\a.csv", "/tmp/a.csv", "a:b.csv", "logs/s3:/a.csv", "", 3, None):
        assert remote.url_of(path) is None


def test_check_of_a_bucket_is_that_of_the_folder(bucket: str, folder: Path, monkeypatch: pytest.MonkeyPatch):
    """In one process and in two, to the last byte."""
    here = benchlog.check(folder, plan=PLAN).to_json()

    assert benchlog.check(f"{bucket}/rides", plan=PLAN).to_json() == here
    monkeypatch.setattr(discovery, "cores", lambda: 2)
    monkeypatch.setattr(discovery, "_START_S", 0.0)
    assert benchlog.check(f"{bucket}/rides", plan=PLAN).to_json() == here


def test_command_reads_one_log_there(bucket: str, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """With the logger file beside it; nothing of it stays in the place for passing files."""
    passing = tmp_path / "passing"
    passing.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(passing))
    there = CliRunner().invoke(app, ["check", f"{bucket}/rides/old/ride é.csv.gz", "--plan", str(PLAN), "--json", "-"])
    here = CliRunner().invoke(app, ["check", str(folder / "old/ride é.csv.gz"), "--plan", str(PLAN), "--json", "-"])

    assert there.stdout == here.stdout
    assert there.exit_code == here.exit_code
    assert list(passing.iterdir()) == []


def test_import_takes_what_lies_below_too(store: Store, bucket: str, folder: Path):
    """Each log is kept with the hash of the file as it lies there; run again, all are known."""
    found = logs_under(Path(f"{bucket}/rides"))
    plan = load_plan(PLAN)
    told = [(one.path.name, one.outcome) for one in import_logs(store, found, plan=plan, processes=2)]
    again = {one.outcome for one in import_logs(store, logs_under(folder), plan=plan)}

    assert told == [("ride é.csv.gz", "saved"), *((f"ride {n}.csv", "saved") for n in range(4))]
    assert again == {"known"}
    assert store.verify() == []


def test_saved_check_keeps_the_logs(store_url: str, bucket: str):
    """``--save`` fetches each once more for its copy."""
    words = ["check", f"{bucket}/rides/ride 0.csv", "--plan", str(PLAN), "--save", "--store", store_url]
    done = CliRunner().invoke(app, words)
    verified = CliRunner().invoke(app, ["records", "verify", "--store", store_url])

    assert "Saved as record 1" in done.stdout
    assert verified.exit_code == 0


def test_copies_are_kept_there(store_url: str, bucket: str, folder: Path, monkeypatch: pytest.MonkeyPatch):
    """Written by two processes, verified and judged again where they lie; opened and backed up, they are files here."""
    monkeypatch.setenv("BENCHLOG_LOGS", f"{bucket}/kept")
    files = fsspec.filesystem("s3")
    with open_store(store_url) as store:
        told = [one.outcome for one in import_logs(store, logs_under(folder), plan=load_plan(PLAN), processes=2)]
        files.invalidate_cache()
        lying = {Path(path).stem: size for path, size in files.du(f"{bucket}/kept", total=False).items()}
        judged = {one.outcome for processes in (1, 2) for one in recheck_records(store, processes=processes)}
        shown = [store.log_path(1, store.record(1).logs[0].name) for _ in range(2)]

        assert told == ["saved"] * 5
        assert {
            log.kept.sha256: log.kept.bytes for n in range(1, 6) for log in store.record(n).logs if log.kept
        } == lying
        assert judged == {"same"}
        assert store.verify() == []
        assert shown[0] == shown[1]
        assert shown[0] is not None
        assert hashlib.sha256(shown[0].read_bytes()).hexdigest() == shown[0].stem
        assert back_up_store(store, folder / "copy.sqlite")[1:] == (5, 0)
        with open_store(folder / "copy.sqlite") as copy:
            assert copy.verify() == []


def test_what_differs_there_is_told(store_url: str, bucket: str, folder: Path, monkeypatch: pytest.MonkeyPatch):
    """A copy that was altered, one that is gone, and one that belongs to no record."""
    kept = f"{bucket}/changed"
    monkeypatch.setenv("BENCHLOG_LOGS", kept)
    files = fsspec.filesystem("s3")
    with open_store(store_url) as store:
        list(import_logs(store, logs_under(folder)[:3], plan=load_plan(PLAN), processes=1))
        names = [log.kept.sha256 for n in (1, 2, 3) for log in store.record(n).logs if log.kept]
        files.pipe(f"{kept}/{names[0][:2]}/{names[0]}.parquet", b"words")
        files.rm(f"{kept}/{names[1][:2]}/{names[1]}.parquet")
        files.pipe(f"{kept}/ff/{'f' * 64}.parquet", b"words")
        found = [(trouble.kind, trouble.text) for trouble in store.verify()]
        judged = [one.outcome for one in recheck_records(store)]

        assert [kind for kind, _ in found] == ["logs", "logs", "left over"]
        assert found[0][1].endswith(f"({kept}/{names[0][:2]}/{names[0]}.parquet) was altered or damaged")
        assert found[1][1].endswith("is not there")
        assert found[2][1].startswith(f"{kept}/ff/")
        assert judged == ["bad", "not kept", "same"]
        with pytest.raises(BenchlogError, match=r"this copy of a log was altered or damaged; run benchlog records ver"):
            store.log_path(1, store.record(1).logs[0].name)
        assert store.log_path(2, store.record(2).logs[0].name) is None


def test_what_is_not_there_is_told(bucket: str):
    """A log, a folder, a bucket and a server."""
    with pytest.raises(BadLog, match=r"^s3://garage/rides/no\.csv: there is no such file in the bucket"):
        benchlog.check(f"{bucket}/rides/no.csv", plan=PLAN)
    with pytest.raises(BenchlogError, match=r"^s3://garage/nowhere: there is no log in it"):
        logs_under(Path(f"{bucket}/nowhere"))


def test_server_that_does_not_answer_is_told(monkeypatch: pytest.MonkeyPatch):
    """One sentence, whatever its library says."""
    import s3fs

    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        monkeypatch.setenv("AWS_ENDPOINT_URL", f"http://127.0.0.1:{silent.getsockname()[1]}")
        monkeypatch.setenv("AWS_ACCESS_KEY_ID", "key")
        monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "secret")
        monkeypatch.setenv("AWS_MAX_ATTEMPTS", "1")
        s3fs.S3FileSystem.clear_instance_cache()
        with pytest.raises(BadLog, match=r"^s3://garage/a\.csv: the bucket cannot be read \(.+\); check its name"):
            benchlog.check("s3://garage/a.csv", plan=PLAN)
        s3fs.S3FileSystem.clear_instance_cache()
