"""A table that ends whoever reads it is refused by whoever asks: command, pages, workers and Python alike."""

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import polars as pl
import pytest
from conftest import Samples
from page_server import until
from test_cli import command

import benchlog
from benchlog.core.errors import BadLog
from benchlog.log.log import Log
from benchlog.plan.model import load_plan
from benchlog.process import probe
from benchlog.store import Store
from benchlog.store.importing import import_logs

pytest_plugins = ("store_fixtures",)

#: 300 rows of which three bytes within a page were changed: polars 2.1 asks for 2 ** 61 bytes and ends the process.
DEADLY = Path(__file__).parent / "damaged" / "ends_polars.parquet"


@pytest.fixture(autouse=True)
def _fresh() -> Iterator[None]:
    """No process of an earlier test, and nothing known from it."""
    probe.end()
    probe._told.clear()
    yield
    probe.end()


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """A sound Parquet table."""
    path = tmp_path / "log.parquet"
    pl.DataFrame({"time_s": [0.0, 1.0, 2.0], "battery_v": [12.6, 12.6, 12.5]}).write_parquet(path)
    return path


def test_command_names_it(samples: Samples, tmp_path: Path):
    """One message with the file's name, status 2, nothing else."""
    log = tmp_path / "garage log é.parquet"
    shutil.copy(DEADLY, log)

    done = subprocess.run(
        command("check", log, "--plan", samples.plan), capture_output=True, text=True, check=False, timeout=120
    )

    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "benchlog: garage log é.parquet: the Parquet file is damaged inside and cannot be read; copy it "
        "again, or save the log as CSV\n"
    )


def test_python_is_not_ended(samples: Samples):
    """``benchlog.check`` raises, and goes on."""
    with pytest.raises(BadLog, match=r"^ends_polars\.parquet: the Parquet file is damaged inside"):
        benchlog.check(DEADLY, plan=samples.plan)


def test_import_on_all_cores_passes_over_it(store: Store, samples: Samples, table: Path):
    """A worker refuses it as any other bad log, and lives."""
    logs = [table, DEADLY, *[table] * 3]
    told = list(import_logs(store, logs, plan=load_plan(samples.plan), processes=2))

    assert [one.outcome for one in told] == ["saved", "bad", "known", "known", "known"]
    assert told[1].text.startswith("ends_polars.parquet: the Parquet file is damaged inside")


def test_tables_share_one_process(table: Path, tmp_path: Path):
    """It is started at the first table; a table that ends it costs a new one; a file that was read is known."""
    other = tmp_path / "other\nline.parquet"
    shutil.copy(table, other)
    Log.open(table).close()
    first = probe._running
    Log.open(other).close()
    Log.open(table).close()

    assert probe._running is first
    assert first is not None
    with pytest.raises(BadLog, match="damaged inside"):
        Log.open(DEADLY)
    assert first.poll() is not None
    assert probe._running is None
    with pytest.raises(BadLog, match="damaged inside"):
        Log.open(DEADLY)
    assert probe._running is None


def test_one_that_went_for_want_of_questions_is_started_again(table: Path):
    """A process that ended by itself is no sign of damage."""
    probe._running = subprocess.Popen(
        [sys.executable, "-c", ""], stdin=subprocess.PIPE, stdout=subprocess.PIPE, encoding="utf-8"
    )
    probe._running.wait()

    Log.open(table).close()
    assert list(probe._told.values()) == [True]


def test_text_and_benchlogs_own_copies_are_not_tried(samples: Samples, table: Path, monkeypatch: pytest.MonkeyPatch):
    """Text costs nothing; a copy under the name of its hash is one that benchlog wrote, another content is not."""
    monkeypatch.setattr(probe, "_started", lambda: pytest.fail("a process was started"))
    sha256 = hashlib.sha256(table.read_bytes()).hexdigest()
    kept = table.parent / sha256[:2] / f"{sha256}.parquet"
    kept.parent.mkdir()
    shutil.copy(table, kept)
    Log.open(kept).close()
    benchlog.check(samples.log, plan=samples.plan)
    monkeypatch.undo()
    shutil.copy(DEADLY, kept)

    with pytest.raises(BadLog, match="damaged inside"):
        Log.open(kept)

    # anyone can name a file by its hash
    named = table.with_name(f"{hashlib.sha256(DEADLY.read_bytes()).hexdigest()}.parquet")
    shutil.copy(DEADLY, named)
    with pytest.raises(BadLog, match="damaged inside"):
        Log.open(named)


def test_it_ends_with_whoever_started_it(table: Path):
    """Killed, too, nothing stays behind."""
    script = (
        "import sys, time\nfrom pathlib import Path\nfrom benchlog.log.log import Log\n"
        "from benchlog.process import probe\n"
        "Log.open(Path(sys.argv[1]))\nprint(probe._running.pid, flush=True)\ntime.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", script, str(table)], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        pid = int(process.stdout.readline())
        os.kill(pid, 0)
        process.kill()
        assert until(lambda: not Path(f"/proc/{pid}").exists(), 10)
