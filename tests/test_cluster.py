"""Many logs on the workers of a Dask scheduler: the same results, and the faults that a cluster has."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from dask_cluster import ROOT, Cluster, cluster_of
from test_cli import command

import benchlog
from benchlog.core.errors import BenchlogError
from benchlog.plan.model import load_plan
from benchlog.process.cluster import ClusterGone, Workers
from benchlog.process.pool import side_by_side, workers_at
from benchlog.store import Store, open_store
from benchlog.store.importing import import_logs, logs_under
from benchlog.store.rechecking import recheck_records

pytest_plugins = ("store_fixtures",)

SAMPLES = ROOT / "sample_data"
PLAN = SAMPLES / "larch.plan.toml"
#: Logs of which some are left when worker and scheduler are gone.
MANY = 32


def numbered(folder: Path, logs: int) -> Path:
    """So many logs that differ, with their logger files."""
    folder.mkdir(exist_ok=True)
    lines = (SAMPLES / "acceptance.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    for n in range(logs):
        (folder / f"ride {n:02}.csv").write_text("".join(lines[: 2000 + 20 * n]), encoding="utf-8")
        (folder / f"ride {n:02}.logger.toml").write_bytes((SAMPLES / "acceptance.logger.toml").read_bytes())
    return folder


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    """Two workers that live through the module's tests."""
    with cluster_of(tmp_path_factory.mktemp("cluster")) as running:
        yield running


def by_worker(job: tuple[int, Path]) -> tuple[int, int]:
    """Notes that it was begun, and ends its worker at 3."""
    number, folder = job
    (folder / f"{number} {os.getpid()}").touch()
    if number == 3:
        os._exit(9)
    time.sleep(0.02)
    return number, os.getpid()


def test_result_is_the_same_as_in_one_process(cluster: Cluster, tmp_path: Path):
    """A folder checked on the workers gives the same JSON, to the last byte, and by the command too."""
    folder = numbered(tmp_path / "logs", 3)
    alone = benchlog.check(sorted(folder.glob("*.csv")), plan=PLAN)
    there = benchlog.check(folder, plan=PLAN, on=cluster.address)
    done = subprocess.run(
        command("check", folder, "--plan", PLAN, "--on", cluster.address, "--json", "-"),
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip

    assert there.to_json() == alone.to_json()
    assert (done.stdout, done.stderr) == (alone.to_json() + "\n", "")


def test_library_leaves_the_caller_as_it_is(tmp_path: Path, cluster: Cluster):
    """No worker is the caller, and its environment stays."""
    before = dict(os.environ)
    jobs = [(n, tmp_path) for n in range(10, 40)]
    answers = list(side_by_side(by_worker, jobs, 1, crew=workers_at(cluster.address, [tmp_path])))

    assert [number for number, _ in answers] == list(range(10, 40))
    assert len({pid for _, pid in answers}) == 2
    assert os.getpid() not in {pid for _, pid in answers}
    assert dict(os.environ) == before


def test_a_scheduler_that_was_given_up_is_left_without_a_word(cluster: Cluster):
    """Dask's client closes itself where it cannot come back in time; whoever then ends sees no error of its own."""
    crew = Workers(cluster.address, by_worker)
    crew._futures.add(crew._work)
    crew._client.sync(crew._client._close)

    crew.end()

    assert crew._client.status == "closed"


def test_job_that_kills_two_workers_is_passed_over(tmp_path: Path):
    """It is begun twice, or a third time where that was handed out before the second end was noticed; not again."""
    marks = tmp_path / "marks"
    marks.mkdir()
    with cluster_of(tmp_path, workers=4) as running:
        jobs = [(n, marks) for n in range(8)]
        crew = workers_at(running.address, [marks])
        answers = list(side_by_side(by_worker, jobs, 1, crew=crew, lost=lambda job: (-job[0], 0)))

    assert [number for number, _ in answers] == [0, 1, 2, -3, 4, 5, 6, 7]
    assert len(list(marks.glob("3 *"))) in (2, 3)


@pytest.mark.usefixtures("server")
def test_worker_and_scheduler_are_killed_and_every_log_is_judged_once(store: Store, store_url: str, tmp_path: Path):
    """The worker's logs go to the other; with the scheduler gone it says so, and a second start does the rest."""
    logs = logs_under(numbered(tmp_path / "logs", MANY))
    plan = load_plan(PLAN)
    with cluster_of(tmp_path) as running:
        first = import_logs(store, logs, plan=plan, on=running.address)
        done = [next(first).path.name for _ in range(3)]
        running.kill(running.workers[0])
        done += [next(first).path.name for _ in range(5)]
        running.kill(running.scheduler)
        with pytest.raises(ClusterGone, match="the scheduler is gone; what was answered until then is kept"):
            done += [one.path.name for one in first]
        assert 0 <= len(store.rows()) - len(done) <= 1  # one may be saved and not yet handed on
        running.start_scheduler()
        running.start_worker()
        with open_store(store_url) as again:
            second = [(one.path.name, one.outcome) for one in import_logs(again, logs, plan=plan, on=running.address)]

    assert len(done) < MANY
    known = [name for name, outcome in second if outcome == "known"]
    assert set(done) <= set(known)
    assert len(known) - len(done) <= 1
    assert {outcome for _, outcome in second} == {"known", "saved"}
    assert sorted(log.name for n in range(1, MANY + 1) for log in store.record(n).logs) == [path.name for path in logs]
    assert store.verify() == []


def test_recheck_and_import_on_the_workers(cluster: Cluster, store: Store, tmp_path: Path):
    """The kept copies are read there; nothing differs."""
    logs = logs_under(numbered(tmp_path / "logs", 3))
    imported = [one.outcome for one in import_logs(store, logs, plan=load_plan(PLAN), on=cluster.address)]
    judged = [(one.number, one.outcome) for one in recheck_records(store, on=cluster.address)]

    assert imported == ["saved"] * 3
    assert judged == [(1, "same"), (2, "same"), (3, "same")]


def test_events_tell_programs_of_each_log(cluster: Cluster, tmp_path: Path):
    """One JSON object a line, the last one the sum."""
    folder = numbered(tmp_path / "logs", 2)
    (folder / "words.csv").write_text("these are\nwords only\n", encoding="utf-8")
    done = subprocess.run(
        command("records", "import", folder, "--plan", PLAN, "--on", cluster.address, "--json"),
        capture_output=True, text=True, check=False, timeout=120, env={**os.environ, "BENCHLOG_DATA": str(tmp_path)},
    )  # fmt: skip
    events = [json.loads(line) for line in done.stdout.splitlines()]
    told = [event for event in events if event["event"] == "log"]

    assert (done.returncode, done.stderr) == (2, "")
    assert [(Path(event["log"]).name, event["outcome"], event["record"]) for event in told] == [
        ("ride 00.csv", "saved", 1), ("ride 01.csv", "saved", 2), ("words.csv", "bad", None),
    ]  # fmt: skip
    assert "words.csv" in told[2]["text"]
    assert events[-1] == {"event": "end", "saved": 2, "known": 0, "bad": 1, "of": 3}


def test_workers_of_another_version_are_refused(cluster: Cluster, tmp_path: Path):
    """Both versions are told, and which worker has the other."""
    folder = numbered(tmp_path / "logs", 1)
    with (
        cluster.with_worker("import benchlog\nbenchlog.__version__ = '0.0.9'\n"),
        pytest.raises(BenchlogError, match=r"this is benchlog 0\.1\.0, its worker tcp://\S+ has 0\.0\.9; install"),
    ):
        benchlog.check(folder, plan=PLAN, on=cluster.address)


def test_worker_that_does_not_see_the_folder_is_named(cluster: Cluster, tmp_path: Path):
    """As where it is another machine's own folder."""
    folder = numbered(tmp_path / "logs", 1)
    blind = "import benchlog.core.remote as remote\nremote.exists = lambda _: False\n"
    blind += "import benchlog.process.cluster as cluster\ncluster.exists = remote.exists\n"
    with (
        cluster.with_worker(blind),
        pytest.raises(BenchlogError, match=r"its worker tcp://\S+ does not see /.+\.csv; put the logs where all"),
    ):
        benchlog.check(folder, plan=PLAN, on=cluster.address)


def test_scheduler_without_workers_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """With the command that starts one."""
    monkeypatch.setattr("benchlog.process.cluster._CONNECT_S", 3)
    folder = numbered(tmp_path / "logs", 1)
    with cluster_of(tmp_path, workers=0) as running:
        running.answers()
        with pytest.raises(ClusterGone, match="this scheduler has no worker; start one with: dask worker tcp://"):
            benchlog.check(folder, plan=PLAN, on=running.address)


def test_caller_without_the_extra_is_told_how_to_get_it():
    """No traceback where Dask is not installed."""
    script = "import sys\nsys.modules['distributed'] = None\nfrom benchlog.__main__ import main\nmain()"
    done = subprocess.run(
        [sys.executable, "-c", script, "check", str(SAMPLES / "before.csv"), "--plan", str(PLAN), "--on", "tcp://a:1"],
        capture_output=True, text=True, check=False, timeout=60, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip

    assert done.returncode == 2
    assert done.stderr == (
        'benchlog: --on: what speaks to a scheduler is not installed; run: pip install "benchlog[cluster]"\n'
    )
