"""Many logs at once: the same result as one after another, nothing left running, memory within bounds."""

import os
import pickle
import signal
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

import benchlog
from benchlog.core.errors import BadLog, BenchlogError, MissingColumns
from benchlog.core.trace import Trace
from benchlog.log import discovery
from benchlog.log.discovery import every_log, processes_for
from benchlog.log.overview import OverviewBuilder
from benchlog.process.pool import ProcessEnded, side_by_side
from benchlog.verdict.bounded import MOST_BYTES, bounded, joined
from benchlog.verdict.evidence import LogEvidence

ROOT = Path(__file__).parent.parent
SAMPLES = ROOT / "sample_data"
PLAN = SAMPLES / "larch.plan.toml"


def squared(number: int) -> int:
    """Work for another process."""
    return number * number


def refused(number: int) -> int:
    """Work that refuses all numbers above 2."""
    if number > 2:
        raise MissingColumns(f"log {number}", "a column is missing", ["v_bat"])
    return number


def blundered(number: int) -> float:
    """Work with a fault of the program in it."""
    return 1 / (number - 2)


def ended_by_three(number: int) -> int:
    """Work that ends its process at 3."""
    if number == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.01)
    return number


def ended_once(job: tuple[int, Path]) -> int:
    """Work whose first process is ended from outside at 3."""
    number, mark = job
    if number == 3 and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number


SET = ("POLARS_MAX_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def process_of(_: int) -> tuple[int, tuple[str | None, ...]]:
    """Who works, and with how many threads of each library."""
    time.sleep(0.05)  # so that no process takes all of them
    return os.getpid(), tuple(os.environ.get(name) for name in SET)


@pytest.fixture
def shared(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two processors and a handful of short logs that are worth two processes."""
    monkeypatch.setattr(discovery, "cores", lambda: 2)
    monkeypatch.setattr(discovery, "_START_S", 0.0)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Five short logs with their logger files beside them."""
    lines = (SAMPLES / "acceptance.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    for n in range(5):
        (tmp_path / f"ride {n}.csv").write_text("".join(lines[: 4000 + 500 * n]), encoding="utf-8")
        (tmp_path / f"ride {n}.logger.toml").write_bytes((SAMPLES / "acceptance.logger.toml").read_bytes())
    return tmp_path


def test_answers_come_in_order_from_several_processes():
    """Every job is answered once, in order, by other processes, which use one thread of each library."""
    before = dict(os.environ)
    answers = list(side_by_side(squared, range(200), 2))
    seen = dict(side_by_side(process_of, range(60), 2))

    assert answers == [n * n for n in range(200)]
    assert len(seen) == 2
    assert os.getpid() not in seen
    assert set(seen.values()) == {tuple(before.get(name, "1") for name in SET)}
    assert dict(os.environ) == before


def test_one_process_is_none_more():
    """With one processor the work is done here."""
    assert {pid for pid, _ in side_by_side(process_of, range(3), 1)} == {os.getpid()}


def test_the_first_refusal_in_order_is_the_one_that_is_told():
    """A refusal keeps its kind, its text and its facts, whichever process met one first."""
    with pytest.raises(MissingColumns, match=r"^log 3: a column is missing$") as told:
        list(side_by_side(refused, [2, 3, 4, 5, 6], 2))

    assert told.value.columns == ("v_bat",)
    assert told.value.where == "log 3"


def test_a_process_ended_from_outside_costs_a_second_try(tmp_path: Path):
    """Where one is killed once, every job is answered all the same."""
    jobs = [(number, tmp_path / "killed") for number in range(12)]

    assert list(side_by_side(ended_once, jobs, 2)) == list(range(12))
    assert (tmp_path / "killed").exists()


def test_a_job_that_ends_two_processes_is_passed_over():
    """It is named, and the rest goes on; who cannot go on without it reads what happened, not a broken pipe."""
    went_on = list(side_by_side(ended_by_three, range(8), 2, lost=lambda job: -job))
    got = []
    with pytest.raises(ProcessEnded, match="one of its processes was ended, perhaps because memory ran out"):
        got += side_by_side(ended_by_three, range(8), 2)

    assert went_on == [0, 1, 2, -3, 4, 5, 6, 7]


class Made(list[int]):
    """Jobs that tell which of them was asked for last."""

    last = 0

    def __getitem__(self, at: object) -> int:  # type: ignore[override]
        assert isinstance(at, int)
        self.last = max(self.last, at)
        return at


def test_what_the_caller_holds_does_not_grow_with_the_jobs():
    """Of 2000 jobs no more than a bounded number are made before the first answers are fetched."""
    jobs = Made(range(2000))
    with closing(side_by_side(squared, jobs, 2)) as answers:
        assert [next(answers) for _ in range(5)] == [0, 1, 4, 9, 16]
        time.sleep(0.5)
        assert jobs.last < 100


def test_a_fault_of_the_program_is_shown_from_this_process():
    """A bug in another process is not hidden: the job is done again here and fails here."""
    with pytest.raises(ZeroDivisionError, match="division by zero"):
        list(side_by_side(blundered, [1, 2, 3], 2))


def test_where_no_process_can_start_the_work_is_done_here(monkeypatch: pytest.MonkeyPatch):
    """An interpreter that is not there, or ends at once, costs speed and nothing else."""
    monkeypatch.setattr(sys, "executable", "/no/such/python")
    missing = list(side_by_side(squared, range(6), 2))
    monkeypatch.setattr(sys, "executable", "/bin/true")
    useless = list(side_by_side(squared, range(6), 2))

    assert missing == useless == [n * n for n in range(6)]


def test_leaving_early_ends_every_process():
    """Whoever stops listening leaves no process behind."""
    answers = side_by_side(process_of, range(300), 3)
    workers = {next(answers)[0] for _ in range(60)}
    answers.close()

    assert len(workers) == 3
    for pid in workers:
        with pytest.raises(ProcessLookupError, match="No such process"):
            os.kill(pid, 0)


@pytest.mark.usefixtures("shared")
def test_many_logs_give_the_same_result_as_one_after_another(folder: Path, monkeypatch: pytest.MonkeyPatch):
    """Checks, notes, key turns and evidence are the same, byte for byte."""
    assert processes_for(every_log([folder])) == 2
    together = benchlog.check(folder, plan=PLAN)
    monkeypatch.setattr(discovery, "cores", lambda: 1)
    alone = benchlog.check(folder, plan=PLAN)

    assert together.to_json() == alone.to_json()
    assert [log.log for log in together.evidence.logs] == [f"ride {n}.csv" for n in range(5)]
    for one, other in zip(together.evidence.logs, alone.evidence.logs, strict=True):
        np.testing.assert_equal(one.overview.bands["battery_v"].max, other.overview.bands["battery_v"].max)
        assert one.spans == other.spans
        assert pickle.dumps(one.pull_ins) == pickle.dumps(other.pull_ins)


@pytest.mark.usefixtures("shared")
def test_the_first_bad_log_is_refused_in_the_same_words(folder: Path, monkeypatch: pytest.MonkeyPatch):
    """Of two bad logs the first is named, and just as it is where they are read one after another."""
    (folder / "ride 1.csv").write_text("not,what,it,was\n1,2,3,4\n", encoding="utf-8")
    (folder / "ride 3.csv").write_bytes(b"")
    with pytest.raises(BenchlogError, match="ride 1") as together:
        benchlog.check(folder, plan=PLAN)
    monkeypatch.setattr(discovery, "cores", lambda: 1)
    with pytest.raises(BenchlogError, match="ride 1") as alone:
        benchlog.check(folder, plan=PLAN)

    assert str(together.value) == str(alone.value)
    assert type(together.value) is type(alone.value)


@pytest.mark.usefixtures("shared")
def test_progress_is_told_for_all_of_many_logs(folder: Path):
    """Bytes rise to their sum, under one name."""
    told: list[tuple[str, int, int]] = []
    benchlog.check(folder, plan=PLAN, progress=lambda *seen: told.append(seen))
    total = sum(path.stat().st_size for path in folder.glob("*.csv"))

    assert {name for name, _, _ in told} == {"5 logs"}
    assert [done for _, done, _ in told] == sorted(done for _, done, _ in told)
    assert told[0][1:] == (0, total)
    assert told[-1][1:] == (total, total)


SCRIPT = """
import benchlog
from benchlog.log import discovery
discovery.cores, discovery._START_S = lambda: 2, 0.0
print("once")
print(benchlog.check({folder!r}, plan={plan!r}).verdict)
"""


def test_a_script_needs_no_guard(folder: Path, tmp_path: Path):
    """A script that checks at its top level runs once, not again in each process."""
    script = tmp_path / "script.py"
    script.write_text(SCRIPT.format(folder=str(folder), plan=str(PLAN)), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(script)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )

    assert done.stderr == ""
    assert done.stdout.splitlines()[0] == "once"
    assert done.stdout.splitlines()[1] in ("pass", "fail", "not proven")
    assert len(done.stdout.splitlines()) == 2


def test_a_file_in_the_users_folder_is_not_run(folder: Path):
    """A log folder with a ``pickle.py`` and a ``joblib.py`` in it harms nothing, whichever process is started there."""
    for name in ("pickle", "joblib", "signal", "polars"):
        (folder / f"{name}.py").write_text("raise SystemExit('run from the log folder')\n", encoding="utf-8")
    script = "import sys; sys.path.remove(''); " + SHARED + "; from benchlog.__main__ import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", script, "check", ".", "--plan", str(PLAN)],
        capture_output=True, text=True, timeout=60, check=False, cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip

    assert done.stderr == ""
    assert "Larch" in done.stdout


SHARED = "from benchlog.log import discovery; discovery.cores, discovery._START_S = lambda: 2, 0.0"
WAITING = """
import sys
from benchlog.log import discovery
from benchlog.__main__ import main
discovery.cores, discovery._START_S = lambda: 3, 0.0
import benchlog.run
def said(logs):
    print("sharing", file=sys.stderr, flush=True)
    return discovery.processes_for(logs)
benchlog.run.processes_for = said
main()
"""


def below(pid: int) -> set[int]:
    """The processes that a process started."""
    found = set()
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = status.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            found.add(int(status.parent.name))
    return found


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL], ids=["Ctrl-C", "killed"])
def test_stopping_it_leaves_nothing_running(folder: Path, how: signal.Signals):
    """Ctrl-C ends all at once with one plain line; even where the first process is killed the others end."""
    for n in range(5, 60):
        (folder / f"ride {n}.csv").symlink_to(SAMPLES / "acceptance.csv")
        (folder / f"ride {n}.logger.toml").symlink_to(SAMPLES / "acceptance.logger.toml")
    with subprocess.Popen(
        [sys.executable, "-c", WAITING, "check", str(folder), "--plan", str(PLAN)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as process:
        assert process.stderr is not None
        assert process.stderr.readline() == "sharing\n"
        workers: set[int] = set()
        deadline = time.monotonic() + 20
        while len(workers) < 5 and time.monotonic() < deadline:
            workers |= below(process.pid)
            time.sleep(0.01)
        time.sleep(0.5)
        process.send_signal(how)
        out, err = process.communicate(timeout=20)
    deadline = time.monotonic() + 10
    while any(Path(f"/proc/{pid}").exists() for pid in workers) and time.monotonic() < deadline:
        time.sleep(0.05)

    assert len(workers) == 5  # three, and what Python has look after their names and locks, for itself and for loky
    assert not [pid for pid in workers if Path(f"/proc/{pid}").exists()]
    assert out == ""
    assert err.strip() == ("benchlog: stopped" if how == signal.SIGINT else "")
    assert process.returncode == (130 if how == signal.SIGINT else -signal.SIGKILL)


def test_a_folder_stands_for_the_logs_in_it(folder: Path):
    """Sorted by name; logger files, plans, hidden files, other files and folders are none, nor is the one before."""
    for name in ("notes.md", ".hidden.csv", "plan.toml", "old.csv.gz", "table.PARQUET"):
        (folder / name).write_bytes(b"x")
    (folder / "more.csv").mkdir()
    names = [path.name for path in every_log([folder], before=folder / "ride 2.csv")]

    assert names == ["old.csv.gz", "ride 0.csv", "ride 1.csv", "ride 3.csv", "ride 4.csv", "table.PARQUET"]


def test_an_empty_folder_is_refused(tmp_path: Path):
    """A folder with a plan but no log is told as one."""
    (tmp_path / "plan.toml").write_bytes(PLAN.read_bytes())
    with pytest.raises(BadLog, match=r"there is no log in this folder; name a log file, its name ends in \.csv"):
        benchlog.check(tmp_path, plan=PLAN)


def test_few_logs_pipes_and_frames_stay_in_this_process(folder: Path, monkeypatch: pytest.MonkeyPatch):
    """More processes only where they pay, and where they can open the same files."""
    monkeypatch.setattr(discovery, "cores", lambda: 4)
    short = every_log([folder])
    long = [folder / f"ride {n % 5}.csv" for n in range(200)]
    missing = [*long, folder / "gone.csv"]

    assert processes_for(short) == 1
    assert processes_for(long) == 4
    assert processes_for([*long, Path("/dev/stdin")]) == 1
    assert processes_for(missing) == 1
    assert processes_for([*long, object()]) == 1


def evidence_of(trace: Trace) -> LogEvidence:
    """A log's evidence with this trace as overview and as pull-in."""
    builder = OverviewBuilder(tuple(trace.values))
    builder.add(trace)
    return LogEvidence("ride.csv", builder.finish(), tuple(trace.values), (), (trace,), (), (0.0,), ())


def test_joined_buckets_keep_extremes_sums_and_gaps():
    """Checked against the samples themselves: least, greatest, mean, charge, rows and the widest gap."""
    rng = np.random.default_rng(4)
    time_s = np.cumsum(rng.uniform(0.5, 1.5, 10_001))
    volts, amps = rng.normal(12, 1, 10_001), rng.normal(3, 1, 10_001)
    volts[[3, 700]] = np.nan
    overview = evidence_of(Trace(time_s, {"battery_v": volts, "battery_a": amps}, {})).overview
    less = joined(overview, 100)
    group = -(-10_001 // len(less))
    pieces = [slice(n, n + 128) for n in range(0, 10_001, 128)]

    assert group == 127
    assert len(less) == len(pieces) == 79
    assert less.rows.tolist() == [len(time_s[piece]) for piece in pieces]
    assert less.bands["battery_v"].max.tolist() == [np.nanmax(volts[piece]) for piece in pieces]
    assert less.bands["battery_v"].min.tolist() == [np.nanmin(volts[piece]) for piece in pieces]
    np.testing.assert_allclose(less.bands["battery_v"].mean, [np.nanmean(volts[piece]) for piece in pieces])
    assert less.bands["battery_a"].area.sum() == pytest.approx(np.trapezoid(amps, time_s))
    assert less.gap_s.max() == pytest.approx(np.diff(time_s).max())
    assert (less.start_s[0], less.end_s[-1]) == (time_s[0], time_s[-1])
    assert joined(overview, 20_000) is overview


def test_evidence_of_many_logs_stays_within_bounds():
    """Of 200 logs each keeps its share, and no sample holds on to the block that it was cut from."""
    block = np.arange(3_000_000) / 1000
    trace = Trace(block[:200_000], {"battery_v": block[:200_000], "battery_a": block[:200_000]}, {})
    evidence = evidence_of(trace)
    few, many = bounded(evidence, 2), bounded(evidence, 200)

    assert len(few.overview) == 200_000
    assert len(pickle.dumps(many.overview)) < MOST_BYTES / 200
    assert many.pull_ins[0].time_s.base is None
    np.testing.assert_equal(many.pull_ins[0].time_s, trace.time_s)
