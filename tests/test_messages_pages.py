"""Every message of the pages: who may ask, what is dropped in, checks, sheets, and the server that cannot begin."""

# ruff: noqa: E501 a message is searched for in one piece

import errno
import io
import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from messages import Entry, command, done, fails, while_it
from messages import test_every_message_is_heard as test_every_message_is_heard
from messages import test_message_reads_like_this as test_message_reads_like_this
from page_server import texts, until
from store_cases import save_small, small_plan, small_result

from benchlog.core.errors import BenchlogError
from benchlog.store import open_store
from dashboards import checked_page, drop_form, live_page, log_view, sheet
from dashboards.app import make_app, page_at
from dashboards.change_list import take_back
from dashboards.checking import Checked
from dashboards.context import Context
from dashboards.door import Door
from dashboards.listening import PageServer
from dashboards.looked import behind, reading
from dashboards.note_form import note
from dashboards.planning.opening import open_dropped, open_filed, open_kept
from dashboards.planning.saving import save_plan
from dashboards.planning.sketch import Sketch
from dashboards.serving import serve
from dashboards.settings import Settings
from dashboards.trays import MOST_FILES, Trays
from dashboards.work import Job

TOKEN = "Zk3n8Qw1Yx7Lp5Rt9Vb2Mc"
HERE = {"Host": "127.0.0.1:8127"}
OWN = {**HERE, "Origin": "http://127.0.0.1:8127"}
LOG = b"time_s,battery_v\n0,12\n1,12\n"
PLAN = b'[install]\nbike = "Larch"\n[battery]\nchemistry = "agm"\ncapacity_ah = 11.2\n'
#: As ``test_watched`` has it: reading it ends the process.
DEADLY = Path(__file__).parent / "damaged" / "ends_polars.parquet"


def refused(ask: Callable[[Any], Any], text: str, token: str = "") -> Entry:
    """What the pages answer to a request."""

    def run(_: Path) -> None:
        app, close = make_app(Settings(max_upload_mb=1, token=token))
        try:
            answer = ask(app.server.test_client())
            assert answer.status_code >= 400
            raise BenchlogError(answer.get_json()["problem"] if answer.is_json else answer.text.rstrip("\n"))
        finally:
            close()

    return done(run, text)


def by_head(head: Callable[[int], str], text: str, before: int = 0) -> Entry:
    """What the server answers to a head, after as many others; the disk is full where there are none."""

    def run(_: Path) -> None:
        settings, listening = Settings(max_upload_mb=4), socket.create_server(("127.0.0.1", 0))
        door = Door(settings)
        server = PageServer(lambda *_: [], door, listening, settings)
        port = listening.getsockname()[1]
        serving = threading.Thread(target=server.run, daemon=True)
        with ExitStack() as opened, pytest.MonkeyPatch.context() as patch:
            patch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=(1 << 40) * min(before, 1)))
            serving.start()
            for _ in range(before):
                opened.enter_context(socket.create_connection(("127.0.0.1", port))).sendall(head(port).encode())
            until(lambda: sum(one.request is not None for one in server.active_channels.values()) == before)
            asking = opened.enter_context(socket.create_connection(("127.0.0.1", port)))
            asking.sendall(head(port).encode())
            answer = b""
            while piece := asking.recv(4096):
                answer += piece
        server.accepting = False
        server.close()
        server.task_dispatcher.shutdown()
        raise BenchlogError(answer.decode().partition("\r\n\r\n")[2].rstrip("\n"))

    return done(run, text)


def uploaded(client: Any) -> Any:
    """One file that is dropped in."""
    return client.post("/upload", data=LOG, headers={**OWN, "X-File-Name": "ride.csv"})


def upload_fails(client: Any) -> Any:
    """The same, while the disk fails."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "open", fails(errno.EIO))
        return uploaded(client)


@contextmanager
def pages(folder: Path) -> Iterator[Context]:
    """What the pages share, over a store of their own."""
    context = Context(Settings(), open_store(folder / "data" / "records.sqlite"), Trays(1 << 20))
    try:
        yield context
    finally:
        context.close()


def on_pages(call: Callable[[Context, Path], object], text: str) -> Entry:
    """What is refused behind a page."""

    def run(folder: Path) -> None:
        with pages(folder) as context:
            call(context, folder)

    return done(run, text)


def said_on_pages(call: Callable[[Context, Path], object], text: str) -> Entry:
    """What a page or a form says without refusing; of a whole page it is a part."""

    def bring(folder: Path) -> list[str]:
        with pages(folder) as context:
            return [texts(call(context, folder))]

    return Entry(bring, text)


def shown(path: str, text: str, **asked: str) -> Entry:
    """A page of an empty store."""
    return said_on_pages(lambda context, _: page_at(context, path, asked, UTC), f"…{text}…")


def dropped(context: Context, *files: tuple[str, bytes], tray: str = "") -> str:
    """Files in a tray; gives its id."""
    for name, content in files:
        tray = context.trays.take(tray or None, name, io.BytesIO(content), len(content))[0].id
    return tray


def full_tray(context: Context, _: Path) -> None:
    """One file too many."""
    tray = dropped(context, *((f"{n}.csv", LOG) for n in range(MOST_FILES)))
    dropped(context, ("one more.csv", LOG), tray=tray)


def no_disk(context: Context, _: Path) -> None:
    """A disk that is nearly full."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(1 << 30, 1 << 30, 1000))
        dropped(context, ("ride.csv", LOG))


def checked(context: Context, tray: str, plan: str = "", before: str = "") -> Job:
    """A check of what lies in the tray, once it has ended."""
    job = context.works.get(drop_form.start_check(context, tray, plan, before))
    assert job is not None
    until(lambda: job.state in ("done", "failed"))
    if job.state == "failed":
        raise BenchlogError(job.problem)
    return job


def deadly(context: Context, _: Path) -> None:
    """A table whose damage would end the server."""
    tray = dropped(context, ("plan.toml", PLAN), ("ride.parquet", DEADLY.read_bytes()))
    found = context.trays.get(tray)
    assert found is not None
    checked(context, tray, found.of_kind("plan")[0].id)


def broken(context: Context, _: Path) -> None:
    """Work with a fault of the program in it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("dashboards.work._log.exception", lambda *_: None)
        job = context.works.start("a blunder", lambda _: 1 / 0)
        until(lambda: job.state == "failed")
        raise BenchlogError(job.problem)


def filed(context: Context, notes: str = "", celsius: str = "") -> None:
    """Filing what was checked."""
    job = context.works.start("a check", lambda _: Checked(small_result(), small_plan(), None, (), None, ()))
    until(lambda: job.state == "done")
    checked_page.save(context, f"checked {job.id}", notes, celsius, True)


def one_sheet(context: Context, folder: Path, *, keep_logs: bool = False) -> str:
    """A sheet on file; gives what its page calls it."""
    return f"record {save_small(context.store, folder, keep_logs=keep_logs)}"


def signed(context: Context, folder: Path, by: str, *, on_file: bool = True) -> str:
    """What is said to who signs."""
    job = context.works.start("a check", lambda _: Checked(small_result(), small_plan(), None, (), None, ()))
    until(lambda: job.state == "done")
    source = one_sheet(context, folder) if on_file else f"checked {job.id}"
    return sheet.sign(context, source, by, "", UTC)[1]


def noting(bike: str, on: str, what: str, text: str, times: int = 1) -> Entry:
    """A change that is noted on 1 June 2026, on the page of a season."""

    def call(context: Context, folder: Path) -> None:
        one_sheet(context, folder)
        for _ in range(times):
            note(context, bike, on, what, date(2026, 6, 1))

    return on_pages(call, text)


def moved(context: Context, folder: Path, *, first_s: str = "5", last_s: str = "1", drawn: bool = True) -> object:
    """What is said to who looks at another stretch of a log."""
    source = one_sheet(context, folder, keep_logs=True)
    if drawn:
        whose = behind(context, source)
        job = reading(context, whose, 0)
        assert job is not None
        until(lambda: job.state == "done")
    return log_view.move(context, source, 0, "go", {"from": first_s, "to": last_s})


def on_taken_port(_: Path) -> None:
    """A server on a port that somebody listens on."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        serve(Settings(port=other.getsockname()[1]), print)


def data_here(folder: Path) -> pytest.MonkeyPatch:
    """A data folder of the entry's own; to be undone."""
    patch = pytest.MonkeyPatch()
    patch.setenv("BENCHLOG_DATA", str(folder / "data"))
    return patch


def planning(call: Callable[[Context, Path], object], text: str) -> Entry:
    """What the page Plan refuses, over a data folder of its own."""

    def run(folder: Path) -> None:
        patch = data_here(folder)
        try:
            with pages(folder) as context:
                call(context, folder)
        finally:
            patch.undo()

    return done(run, text)


LARCH = {"install.bike": "Larch", "battery.capacity_ah": "11.2"}


def saved_twice(_: Context, __: Path) -> None:
    """Another plan of the same bike."""
    save_plan(Sketch(LARCH, 0), None)
    save_plan(Sketch({**LARCH, "battery.capacity_ah": "9"}, 0), None)


def no_plans_folder(_: Context, folder: Path) -> None:
    """A file lies where the plans' folder should be."""
    (folder / "data").mkdir(exist_ok=True)
    (folder / "data" / "plans").write_text("x")
    save_plan(Sketch(LARCH, 0), None)


def unreadable_plan(_: Context, __: Path) -> None:
    """The kept plan cannot be read."""
    save_plan(Sketch(LARCH, 0), None)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "read_bytes", fails(errno.EIO))
        save_plan(Sketch(LARCH, 0), None)


def one_logger_for_two(context: Context, _: Path) -> None:
    """Two logs that differ, and one logger file that fits neither."""
    logger = b'[logger]\nname = "x"\n[[channel]]\ncolumn = "U"\nrole = "battery_v"\n'
    tray = dropped(context, ("a.csv", LOG), ("b.csv", LOG), ("mine.logger.toml", logger), ("plan.toml", PLAN))
    found = context.trays.get(tray)
    assert found is not None
    checked(context, tray, found.of_kind("plan")[0].id)


def form_left_open(context: Context, _: Path) -> None:
    """A foreign log whose form has no role yet."""
    rows = b"".join(b"%d;%d\n" % (n * 10, n % 2) for n in range(30))
    tray = dropped(context, ("bench.csv", b"a;b\n" + rows), ("plan.toml", PLAN))
    found = context.trays.get(tray)
    assert found is not None
    checked(context, tray, found.of_kind("plan")[0].id)


PROVOKED: dict[str, Entry] = {
    # ---- planning
    "plan without a capacity": planning(
        lambda *_: save_plan(Sketch({"install.bike": "Larch"}, 1), None),
        "still needed, or not usable as it is: battery: Capacity in Ah; circuit 1: Device; circuit 1: Load in amperes or "
        "watts",
    ),
    "plan with nothing": planning(
        lambda *_: save_plan(Sketch({}, 3), None),
        "still needed, or not usable as it is: install: Name of the bike; battery: Capacity in Ah; circuit 1: Device; "
        "circuit 1: Load in amperes or watts; circuit 2: Device; circuit 2: Load in amperes or watts; and 2 more",
    ),
    "another plan": planning(
        saved_twice, "another plan is kept as larch.plan.toml already; replace it, or give the bike another name"
    ),
    "no folder for plans": planning(
        no_plans_folder, "…plans: this folder for plans cannot be made (file exists); download the plan instead"
    ),
    "kept plan that cannot be read": planning(
        unreadable_plan, "…larch.plan.toml: the plan that is kept cannot be read (input/output error); move it away"
    ),
    "kept plan that is gone": planning(
        lambda *_: open_kept("larch.plan.toml"), "this plan is no longer kept here; reload this page"
    ),
    "plan of no sheet": planning(
        lambda context, _: open_filed(context, "1"), "there is no such sheet; reload this page"
    ),
    "dropped plan that is gone": planning(
        lambda context, _: open_dropped(context, {"tray": "gone"}), "this file is no longer here; choose it again"
    ),
    # ---- foreign files
    "form left open": on_pages(
        form_left_open, "bench.csv: no column has a role yet, so there is nothing to check; say what one is"
    ),
    "one logger file for two logs": on_pages(
        one_logger_for_two,
        "a.csv: the logger file names columns that the log lacks: 'U'; the log has 'time_s', 'battery_v'; "
        "correct `column` in the logger file, or the header line\nmine.logger.toml was used for all of these logs. Where it "
        "does not suit one, drop in another that bears that log's name, or take it out: then the columns are asked for",
    ),
    # ---- the server
    "no such address": command(
        lambda _: ["page", "--host", "larch.invalid"],
        "--host larch.invalid: this machine has no such address; 127.0.0.1 serves this machine alone, 0.0.0.0 its whole "
        "network",
    ),
    "somebody else's address": command(
        lambda _: ["page", "--host", "192.0.2.1"],  # RFC 5737: nobody's
        "--host 192.0.2.1, port 8127: cannot listen there (cannot assign requested address); name another with --host or "
        "--port",
    ),
    "port in use": done(on_taken_port, "port … is in use, maybe by another benchlog page; name another with --port"),
    "port of the system's": done(
        while_it(socket.socket, "bind", errno.EACCES, lambda _: serve(Settings(port=80), print)),
        "port 80 needs more rights than you have; name one above 1023 with --port",
    ),
    # ---- who may ask
    "another name": refused(
        lambda client: client.get("/", headers={"Host": "other.example"}),
        "this address is not one of this machine's; open the address that benchlog page printed",
    ),
    "no token": refused(
        lambda client: client.get("/", headers=HERE),
        "a token is needed; open the address that benchlog page printed, with its token",
        TOKEN,
    ),
    "too many wrong tokens": refused(
        lambda client: [client.get("/?token=quite", headers=HERE) for _ in range(6)][-1],
        "too many wrong tokens came from there; wait a minute, then open the address again",
        TOKEN,
    ),
    "a question with content": refused(
        lambda client: client.get("/", data=b"x", headers=HERE), "a question has no content here"
    ),
    "no room for a file": by_head(
        lambda port: (
            f"POST /upload HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nContent-Length: 2000000\r\n\r\n"
        ),
        "the disk has no room for it; make room and drop it again",
    ),
    "four files coming in": by_head(
        lambda port: (
            f"POST /upload HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nContent-Length: 2000000\r\n\r\n"
        ),
        "4 files are coming in already; wait until one is there, then drop it again",
        before=4,
    ),
    "wrong token": refused(
        lambda client: client.get("/?token=quite", headers=HERE),
        "this token is not the one that benchlog page printed; copy the whole address",
        TOKEN,
    ),
    "another site's form": refused(
        lambda client: client.post("/upload", data=LOG, headers={**HERE, "Origin": "http://other.example"}),
        "this form comes from another site; open the page itself and try again",
    ),
    "another site's question": refused(
        lambda client: client.get("/content?path=/", headers={**HERE, "Sec-Fetch-Site": "cross-site"}),
        "this question comes from another site; open the page itself",
    ),
    "another way to ask": refused(
        lambda client: client.delete("/", headers=OWN), "only reading and sending forms is understood here"
    ),
    "no size": refused(
        lambda client: client.post(
            "/upload", headers={**OWN, "Transfer-Encoding": "chunked"}, input_stream=io.BytesIO(LOG)
        ),
        "the size must be told before the content",
    ),
    "too large to send": refused(
        lambda client: client.post("/upload", data=b"x" * (1 << 20) + b"x", headers=OWN),
        "this is larger than 1 MB, the most that is taken here",
    ),
    # ---- files that are dropped in
    "disk that fails": refused(
        upload_fails,
        "the file could not be taken (input/output error); make room on this computer's disk, then drop it again",
    ),
    "too large": on_pages(
        lambda context, _: dropped(context, ("ride.csv", b"x" * (1 << 20) + b"x")),
        "ride.csv: larger than 1 MB, the most that is taken here; start benchlog page with a larger --max-upload-mb",
    ),
    "no room": on_pages(no_disk, "ride.csv: the disk has no room for it; make room and drop it again"),
    "cut short": on_pages(
        lambda context, _: context.trays.take(None, "ride.csv", io.BytesIO(b"abc"), 8),
        "ride.csv: only 3 of 8 bytes arrived; drop it again",
    ),
    "full tray": on_pages(full_tray, "24 files are already in this tray; check these first, or remove some"),
    # ---- checking
    "nothing dropped": on_pages(
        lambda context, _: drop_form.start_check(context, None, "", ""),
        "no file is here; drop a log and its plan in first",
    ),
    "no log dropped": on_pages(
        lambda context, _: drop_form.start_check(context, dropped(context, ("plan.toml", PLAN)), "", ""),
        "no log is here to be checked; drop one in beside the plan",
    ),
    "no plan chosen": on_pages(
        lambda context, _: drop_form.start_check(context, dropped(context, ("ride.csv", LOG)), "", ""),
        "no plan is chosen; drop a plan in, or choose one that is on file",
    ),
    "deadly table": on_pages(
        deadly,
        "ride.parquet: the Parquet file is damaged inside and cannot be read; copy it again, or save the log as CSV",
    ),
    "a fault of ours": on_pages(
        broken, "something went wrong inside benchlog; the terminal where benchlog page runs says more"
    ),
    # ---- filing and signing
    "check that is forgotten": on_pages(
        lambda context, _: checked_page.save(context, "checked gone", "", "", True),
        "this check is no longer here; drop the log and the plan in again",
    ),
    "filed twice": on_pages(
        lambda context, folder: checked_page.save(context, one_sheet(context, folder), "", "", True),
        "this sheet is already on file; open it from the results page",
    ),
    "long notes": on_pages(
        lambda context, _: filed(context, "x" * 2001),
        "the notes have 2001 characters; at most 2000 are kept, shorten them",
    ),
    "no temperature": on_pages(
        lambda context, _: filed(context, celsius="warm"),
        'the temperature must be a number of °C from -60 to 90, or nothing at all; got "warm"',
    ),
    "signed by nobody": said_on_pages(
        lambda context, folder: signed(context, folder, " "), "A name is needed: write who signs."
    ),
    "signed at length": said_on_pages(
        lambda context, folder: signed(context, folder, "M" * 101),
        "At most 80 characters for the name and 600 for the notes fit on the sheet.",
    ),
    "signed before it is filed": said_on_pages(
        lambda context, folder: signed(context, folder, "bench two", on_file=False),
        "Only a saved sheet can be signed; save it first.",
    ),
    # ---- noting a change
    "change of a bike that is gone": noting(
        "Heron", "2026-03-01", "new battery", "there is no sheet of this bike any more; open its season again"
    ),
    "change on no day": noting(
        "Larch",
        "1.3.2026",
        "new battery",
        "the day must be written as year-month-day, such as 2026-09-20; got 1.3.2026",
    ),
    "change to come": noting(
        "Larch",
        "2027-03-01",
        "new battery",
        "the day must lie between 1970-01-01 and today, 2026-06-01; got 2027-03-01",
    ),
    "change of nothing": noting("Larch", "2026-03-01", " ", "say what was changed, such as: new battery"),
    "change at length": noting(
        "Larch", "2026-03-01", "x" * 201, "what was changed has 201 characters; at most 200 are kept"
    ),
    "change noted twice": noting(
        "Larch", "2026-03-01", "new battery", "this change is already noted for that day", times=2
    ),
    "change that is gone": on_pages(
        lambda context, folder: (one_sheet(context, folder), take_back(context, "Larch", 7)),
        "this change is no longer in the list; open the season again",
    ),
    # ---- looking
    "stretch that is none": said_on_pages(moved, "two times in seconds are needed, the first smaller than the second"),
    "log that is not at hand": said_on_pages(
        lambda context, folder: moved(context, folder, drawn=False), "this log is no longer loaded; reload the page"
    ),
    "no such sheet": on_pages(
        lambda context, folder: (one_sheet(context, folder), page_at(context, "/record/7", {}, UTC)),
        "there is no record 7; the newest record is 1, benchlog records list shows them",
    ),
    "no such page": shown("/nowhere", "There is no such page. The sheets on file are listed under Results."),
    "no such check": shown(
        "/checked/gone", "This check is no longer here. Drop the log and its plan in again on the results page."
    ),
    "no sheets": shown(
        "/",
        "No sheet is filed yet. Drop a log and its plan in below, check them, and file the result. In a terminal benchlog "
        "check LOG --plan PLAN --save A folder of old logs benchlog records import FOLDER --plan PLAN",
    ),
    "no sheets of the bike": said_on_pages(
        lambda context, folder: (one_sheet(context, folder), page_at(context, "/", {"bike": "Heron"}, UTC)),
        "…No sheet of this bike is filed. Choose another bike, or drop in a log of this one.…",
    ),
    "no seasons": shown(
        "/season",
        "There is nothing to draw yet: a season is built from the sheets on file. Check a log and save it on the results "
        "page; six readings over two months and more show a trend.",
    ),
    "no season of the bike": said_on_pages(
        lambda context, folder: (one_sheet(context, folder), page_at(context, "/season", {"bike": "Heron"}, UTC)),
        "…No sheet of this bike is filed, so there is no season of it. The sheets on file are under Results.…",
    ),
    "no plan for a measuring sheet": said_on_pages(
        lambda context, _: page_at(context, "/measuring", {}, UTC),
        "no plan was named for the measuring sheet; open it from a sheet on file",
    ),
    "no change": said_on_pages(
        lambda context, folder: (one_sheet(context, folder), page_at(context, "/season", {"bike": "Larch"}, UTC)),
        "…No change is noted, and the readings show none.…",
    ),
    "no recording": said_on_pages(
        lambda *_: live_page.looked_at([], 0.0)["live-now"]["children"],
        "Nothing is being recorded on this machine. Start a recording in a terminal, and this page shows it within a "
        "second. Which ports there are benchlog ports Record a logger benchlog record PORT --out LOG.csv The guided test "
        "benchlog acceptance PORT --plan PLAN Without a logger: a port to try benchlog standin",
    ),
    "no copy": said_on_pages(
        lambda context, folder: page_at(context, f"/{one_sheet(context, folder).replace(' ', '/')}", {}, UTC),
        "…No copy of this log is kept here, only its hash, so it cannot be drawn. Drop the log and its plan in on the "
        "results page to see it again.…",
    ),
}


# ---- no message without an entry

#: Files whose texts are all brought up here (False), or all that are raised or told as a fault (True).
FILES = {
    **{
        f"dashboards/{name}.py": True
        for name in (
            "change_list",
            "checked_page",
            "checking",
            "foreign/looking",
            "planning/opening",
            "planning/saving",
            "door",
            "guard",
            "listening",
            "looked",
            "measuring_page",
            "note_form",
            "serving",
            "trays",
            "upload",
            "work",
        )
    },
    "dashboards/words/empty.py": False,
    "benchlog/plan/kept.py": True,
}
