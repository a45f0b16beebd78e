"""A check on the page is bounded, can be stopped, keeps no other waiting, and ends with the server."""

import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from urllib.request import Request, urlopen

import psutil
import pytest
from page_server import PAGE, ROOT, free_port, until

from benchlog.core.errors import BenchlogError
from benchlog.store import open_store
from dashboards import apart, checked_page, drop_form
from dashboards.apart import Brought, Errand, run_apart
from dashboards.context import Context
from dashboards.settings import Settings
from dashboards.trays import MOST_TRAYS, Trays
from dashboards.work import STOPPED

PLAN = b'[install]\nbike = "Larch"\n[battery]\nchemistry = "agm"\ncapacity_ah = 11.2\n'
LOG = b"time_s,battery_v\n" + b"".join(b"%d,12.7\n" % n for n in range(200))
#: Takes far longer than any test: reading it waits for more.
ENDLESS = "import os\nos.read(os.pipe()[0], 1)\n"


@pytest.fixture
def context(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """What the pages share, over an empty store."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))
    made = Context(Settings(), open_store(tmp_path / "data" / "records.sqlite"), Trays(8 << 20))
    yield made
    made.close()


def dropped(context: Context, *files: tuple[str, bytes]) -> str:
    """A tray with these files."""
    tray = None
    for name, content in files:
        tray = context.trays.take(tray, name, io.BytesIO(content), len(content))[0].id
    assert tray is not None
    return tray


def begun(context: Context, *files: tuple[str, bytes]):  # type: ignore[no-untyped-def]  # a job, once it is there
    """A check of dropped files by the plan among them."""
    tray = dropped(context, ("p.toml", PLAN), *files)
    plan = next(file.id for file in context.trays.get(tray).of_kind("plan"))  # type: ignore[union-attr]  # it is there
    return context.works.get(drop_form.start_check(context, tray, plan, ""))


def errand(folder: Path, **bounds: float) -> Errand:
    """A check of a small log."""
    (folder / "copies").mkdir()
    (folder / "a.csv").write_bytes(LOG)
    (folder / "p.toml").write_bytes(PLAN)
    given = {"most_bytes": 1 << 30, "most_s": 60.0, **bounds}
    return Errand(
        (folder / "a.csv",), None, None, folder / "p.toml", folder / "copies", int(given["most_bytes"]), given["most_s"]
    )


def hangs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the process that checks wait for ever, as with a file that nothing bounds."""
    started = subprocess.Popen

    def slow(command, **options):  # type: ignore[no-untyped-def]  # as Popen's
        return started([command[0], "-c", ENDLESS], **options)

    monkeypatch.setattr(apart.subprocess, "Popen", slow)


def test_what_comes_back_holds_copies(tmp_path: Path):
    """Result, evidence and canonical copies, that nothing of the dropped file is read by the server."""
    told: list[str] = []
    brought = run_apart(errand(tmp_path), lambda doing, *_: told.append(doing), lambda _: None)

    assert isinstance(brought, Brought)
    assert brought.result.bike == "Larch"
    assert [one.samples for one in brought.result._evidence.logs] == [200]
    assert [copy.parent.parent for copy in brought.copies] == [tmp_path / "copies"]
    assert "reading a.csv" in told


def test_a_check_beyond_its_time_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Whatever it is at."""
    hangs(monkeypatch)

    with pytest.raises(BenchlogError, match="the check took longer than 1 s, which no log of its size does"):
        run_apart(errand(tmp_path, most_s=1.0), lambda *_: None, lambda _: None)


def test_a_check_beyond_its_memory_is_stopped(tmp_path: Path):
    """The system refuses it more; the server says so in words."""
    with pytest.raises(BenchlogError, match="the check was stopped: it needed more than 60 MB of memory"):
        run_apart(errand(tmp_path, most_bytes=60 << 20), lambda *_: None, lambda _: None)


def test_a_check_can_be_stopped(context: Context, monkeypatch: pytest.MonkeyPatch):
    """By its button; the page then says so, and its process is gone."""
    hangs(monkeypatch)
    job = begun(context, ("a.csv", LOG))
    until(lambda: job._end is not None)
    _, content = checked_page.checked_page(context, job.id)
    assert "check-stop" in str(content)

    context.works.stop(job.id)
    until(lambda: job.state == "failed")

    assert job.problem == STOPPED
    living = [one for one in psutil.Process().children() if one.status() != psutil.STATUS_ZOMBIE]
    assert not [one for one in living if ENDLESS in one.cmdline()]


def test_an_honest_check_does_not_wait_for_an_endless_one(context: Context, monkeypatch: pytest.MonkeyPatch):
    """Two without end leave a place for a third."""
    with monkeypatch.context() as patch:
        hangs(patch)
        slow = [begun(context, ("a.csv", LOG)) for _ in range(2)]
        until(lambda: all(job._end is not None for job in slow))
    honest = begun(context, ("b.csv", LOG))
    until(lambda: honest.state in ("done", "failed"))

    assert honest.state == "done", honest.problem


def test_the_oldest_tray_stays_while_its_check_may_be_filed(context: Context):
    """Many trays opened before filing lose nothing; a tray without a check makes room."""
    job = begun(context, ("a.csv", LOG))
    until(lambda: job.state in ("done", "failed"))
    assert job.state == "done", job.problem
    others = [dropped(context, ("x.csv", LOG)) for _ in range(MOST_TRAYS + 2)]

    saving = checked_page.save(context, f"checked {job.id}", "", "", ["keep"])
    until(lambda: saving.state in ("done", "failed"))

    assert saving.state == "done", saving.problem
    assert context.trays.get(others[0]) is None
    assert context.trays.get(others[-1]) is not None


def test_no_message_names_where_dropped_files_lie(context: Context):
    """A plan that cannot be used is named as the user named it."""
    tray = dropped(context, ("p.toml", PLAN.replace(b"agm", b"tin")), ("a.csv", LOG))
    plan = next(file.id for file in context.trays.get(tray).of_kind("plan"))  # type: ignore[union-attr]  # it is there
    job = context.works.get(drop_form.start_check(context, tray, plan, ""))
    assert job is not None
    until(lambda: job.state == "failed")

    assert job.problem.startswith("p.toml: the plan cannot be used")
    assert "/" not in job.problem.splitlines()[0]


def test_nested_plans_are_told_from_logs_within_bounds(context: Context):
    """A dropped file that no parser should see is no traceback and no gigabyte."""
    for text in ("x = " + "[" * 100_000, ".".join("a" * 16_000) + " = 1\n"):
        tray = context.trays.get(dropped(context, ("p.toml", text.encode())))
        assert tray is not None
        assert [file.kind for file in tray.files.values()] == ["plan"]


def test_the_server_ends_with_a_check_under_way(tmp_path: Path):
    """Ctrl-C during a check leaves neither server nor check behind."""
    (tmp_path / "slow.py").write_text(
        "import subprocess\n"
        "from dashboards import apart\n"
        f"command = [{sys.executable!r}, '-c', {ENDLESS!r}]\n"
        "started = subprocess.Popen\n"
        "apart.subprocess.Popen = lambda _, **options: started(command, **options)\n" + PAGE,
        encoding="utf-8",
    )
    port = free_port()
    server = subprocess.Popen(
        [sys.executable, str(tmp_path / "slow.py"), "--port", str(port)],
        cwd=ROOT,
        env={**os.environ, "BENCHLOG_DATA": str(tmp_path / "data"), "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert server.stdout is not None
    assert server.stdout.readline().startswith("Open ")
    checking = _check_on(port)
    under_way = until(lambda: psutil.Process(server.pid).children())
    time.sleep(
        0.5
    )  # the stand-in for a check, unlike a real one, does not end by itself where its server just began it
    server.send_signal(signal.SIGINT)

    assert server.wait(10) in (0, 130)
    assert checking
    until(lambda: not any(one.is_running() and one.status() != "zombie" for one in under_way))
    server.stdout.close()


def _check_on(port: int) -> bool:
    """Drop a log and its plan in and begin the check, as the page's scripts do."""
    home = f"http://127.0.0.1:{port}"
    tray: dict[str, object] = {"tray": ""}
    for name, content in (("p.toml", PLAN), ("a.csv", LOG)):
        asked = Request(f"{home}/upload?tray={tray['tray']}", content, {"Origin": home, "X-File-Name": name})
        with urlopen(asked, timeout=20) as answer:
            tray = json.load(answer)
    plan = next(file["id"] for file in tray["files"] if file["kind"] == "plan")  # type: ignore[attr-defined]  # as JSON has it
    body = {
        "output": "..go.href...check-said.children..",
        "outputs": [{"id": "go", "property": "href"}, {"id": "check-said", "property": "children"}],
        "inputs": [{"id": "check", "property": "n_clicks", "value": 1}],
        "changedPropIds": ["check.n_clicks"],
        "state": [
            {"id": "tray", "property": "data", "value": tray},
            {"id": "plan-choice", "property": "data", "value": plan},
            {"id": "before-choice", "property": "data", "value": ""},
        ],
    }
    headers = {"Origin": home, "Content-Type": "application/json"}
    with urlopen(Request(f"{home}/_dash-update-component", json.dumps(body).encode(), headers), timeout=20) as answer:
        return "checked" in json.load(answer)["response"]["go"]["href"]
