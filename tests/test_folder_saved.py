"""``benchlog check FOLDER --save``: one record of all the logs in a folder."""

import hashlib
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from benchlog.cli import app
from benchlog.log import discovery
from benchlog.store import open_store

SAMPLES = Path(__file__).parent.parent / "sample_data"
PLAN = SAMPLES / "larch.plan.toml"


@pytest.mark.parametrize("cores", [1, 2])
def test_folder_that_is_saved_keeps_every_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cores: int):
    """One record holds the folder: each log with its hash, its own logger, and a copy that gives the same again."""
    monkeypatch.setattr(discovery, "cores", lambda: cores)
    monkeypatch.setattr(discovery, "_START_S", 0.0)
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))
    folder = tmp_path / "rides"
    folder.mkdir()
    lines = (SAMPLES / "acceptance.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    logger = (SAMPLES / "acceptance.logger.toml").read_text(encoding="utf-8")
    for n in range(5):
        (folder / f"ride {n}.csv").write_text("".join(lines[: 4000 + 500 * n]), encoding="utf-8")
        name = "another" if n == 3 else "the usual"
        (folder / f"ride {n}.logger.toml").write_text(re.sub(r'name = "[^"]*"', f'name = "{name}"', logger), "utf-8")
    logs = sorted(folder.glob("*.csv"))

    done = CliRunner().invoke(app, ["check", str(folder), "--plan", str(PLAN), "--save", "--notes", "a week"])
    listed = CliRunner().invoke(app, ["records", "list"])
    shown = CliRunner().invoke(app, ["records", "show", "1"])
    with open_store(create=False) as store:
        record, again, troubles = store.record(1), store.recheck(1), store.verify()
        copies = [store.log_path(1, log.name) for log in logs]

    assert (done.exit_code, done.stderr) == ({"pass": 0, "fail": 1, "not proven": 3}[record.result.verdict], "")
    assert done.stdout.splitlines()[-2].startswith("Saved as record 1 in ")
    assert [(log.name, log.sha256) for log in record.logs] == [
        (log.name, hashlib.sha256(log.read_bytes()).hexdigest()) for log in logs
    ]
    assert [log.logger.name == "another" for log in record.logs] == [False, False, False, True, False]
    assert len({path for path in copies if path is not None and path.is_file()}) == len(logs) == 5
    assert again.checks == record.result.checks
    assert troubles == []
    assert (listed.exit_code, listed.stderr) == (0, "")
    assert listed.stdout.splitlines()[1].split()[:1] == ["1"]
    assert record.result.verdict in listed.stdout
    assert all(log.name in shown.stdout for log in logs)
