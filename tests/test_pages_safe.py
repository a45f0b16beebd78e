"""The pages refuse what is not theirs to do, and show as text whatever tries to be more."""

import io
import json
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.error import URLError
from urllib.request import Request, urlopen

import pytest
from page_server import NASTY, PAGE, ROOT, SAMPLES, Serving, free_port, made_store, serving, until
from playwright.sync_api import Browser, expect
from plotly.offline import get_plotlyjs

from benchlog.bench.live import LiveState, write_live
from benchlog.core.errors import BenchlogError
from dashboards.app import make_app
from dashboards.document import PLOTLY_PATH
from dashboards.guard import content_policy
from dashboards.origin import host_allowed, same_origin
from dashboards.serving import address, with_token
from dashboards.settings import Settings
from dashboards.trays import Trays, shown_name

expect.set_options(timeout=30_000)
TOKEN = "Zk3n8Qw1Yx7Lp5Rt9Vb2Mc"
HERE = {"Host": "127.0.0.1:8127"}
OWN = {**HERE, "Origin": "http://127.0.0.1:8127"}


@pytest.fixture
def client(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """The pages of an empty store without a token, asked without a server between."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path))
    app, close = make_app(Settings(max_upload_mb=1))
    yield app.server.test_client()
    close()


@pytest.fixture
def guarded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """The same with a token."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path))
    app, close = make_app(Settings(token=TOKEN))
    yield app.server.test_client()
    close()


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "", "localhost.evil.example:8127", "[::1"])
def test_foreign_host_is_refused(client, host):
    """A name that someone else points at this machine gets nothing, neither page nor file nor form."""
    for path in ("/", "/_dash-layout", "/assets/pages.css", "/look/live"):
        assert client.get(path, headers={"Host": host}).status_code == 403
    posted = client.post("/_dash-update-component", json={}, headers={"Host": host, "Origin": f"http://{host}"})

    assert posted.status_code == 403


@pytest.mark.parametrize("host", ["127.0.0.1:8127", "localhost:8127", "localhost", "[::1]:8127"])
def test_own_names_are_served(client, host):
    """Every name of this machine's own gets the page."""
    assert client.get("/", headers={"Host": host}).status_code == 200


def test_served_to_the_network_only_own_names_and_numbers_pass():
    """On all addresses, numbers and the machine's own name pass; other names could be made to point here."""
    everywhere = Settings(host="0.0.0.0")

    assert host_allowed("192.168.1.7:8127", everywhere)
    assert host_allowed(f"{socket.gethostname()}:8127", everywhere)
    assert not host_allowed("evil.example:8127", everywhere)
    assert host_allowed("bench.lan:8127", Settings(host="bench.lan"))


@pytest.mark.parametrize("given", ["", "?token=", "?token=wrong", f"?token={TOKEN}x", f"?token={TOKEN[:-1]}"])
def test_without_the_token_nothing_is_shown(guarded, given):
    """A missing or wrong token, or a made-up cookie, gets no page, no file and no form."""
    guarded.set_cookie("benchlog_8127", TOKEN, domain="127.0.0.1")
    pages = [guarded.get(f"{path}{given}", headers=HERE).status_code for path in ("/", "/_dash-layout", "/look/live")]
    posted = guarded.post(f"/_dash-update-component{given}", json={}, headers=OWN)

    assert pages == [401, 401, 401]
    assert posted.status_code == 401


def test_token_becomes_a_strict_cookie(guarded):
    """The token leaves the address at once for a cookie that neither scripts nor other sites can use."""
    first = guarded.get(f"/record/3?token={TOKEN}&x=1", headers=HERE)
    cookie = first.headers["Set-Cookie"]
    then = guarded.get("/", headers=HERE)

    assert first.status_code == 303
    assert first.headers["Location"] == "/record/3?x=1"
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert TOKEN not in cookie
    assert then.status_code == 200


def test_beyond_this_machine_a_token_is_made():
    """Listening elsewhere than on this machine always needs a token, and no two are alike; here none is asked for."""
    out = [with_token(Settings(host=host)).token for host in ("0.0.0.0", "192.168.1.7", "::")]

    assert all(len(token) >= 20 for token in out)
    assert len(set(out)) == 3
    assert with_token(Settings()).token == ""
    assert with_token(Settings(host="127.0.0.2")).token == ""
    assert address(with_token(Settings(host="192.168.1.7", token="told-you-so"))).endswith(":8127/?token=told-you-so")


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Referer": "http://evil.example/127.0.0.1:8127"},
        {},
    ],
)
def test_forms_of_other_sites_are_refused(client, headers):
    """A callback or an upload that another site's page sends, or that does not say where it is from, does nothing."""
    for path in ("/_dash-update-component", "/upload"):
        assert client.post(path, data=b"{}", headers={**HERE, **headers}).status_code == 403


def test_content_is_not_given_to_other_sites(client):
    """What stands in a page is asked for by the page's own script: a browser that says another site asks is refused."""
    asked = [
        client.get("/content?path=/", headers={**HERE, **({"Sec-Fetch-Site": site} if site else {})}).status_code
        for site in ("cross-site", "same-site", "same-origin", "none", "")
    ]

    assert asked == [403, 403, 200, 200, 200]


@pytest.mark.parametrize("path", ["../../etc/passwd", "/record/../../etc", "/record/9", "//", "", "/checked/<b>x</b>"])
def test_content_of_no_page_is_a_page_that_says_so(client, path):
    """Whatever path is asked for, the answer is a page in words."""
    answer = client.get(
        "/content", query_string={"path": path, "search": "?bike=a%00b&page=x", "zone": "../x"}, headers=HERE
    )

    assert answer.status_code == 200
    assert answer.get_json()["content"]
    assert "Traceback" not in answer.text


def test_own_forms_pass():
    """Origin tells, else the referring page; both must be this very address."""
    host = "127.0.0.1:8127"

    assert same_origin(f"http://{host}", None, host)
    assert same_origin(None, f"http://{host}/record/1", host)
    assert not same_origin("http://evil.example", f"http://{host}/", host)
    assert not same_origin("ftp://127.0.0.1:8127", None, host)


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE"])
def test_other_methods_are_refused(client, method):
    """Nothing but reading and sending forms is understood."""
    assert client.open("/", method=method, headers=OWN).status_code == 405


def test_oversize_is_refused_before_it_is_read(client):
    """A file above the bound, and a form above its own smaller one, are refused by their told size."""
    large = client.post("/upload", data=b"x" * (1 << 20) + b"x", headers=OWN)
    form = client.post("/_dash-update-component", data=b"x" * (2 << 20), headers=OWN)
    untold = client.post("/upload", headers={**OWN, "Transfer-Encoding": "chunked"}, input_stream=io.BytesIO(b"x"))

    assert large.status_code == 413
    assert "1 MB" in large.text
    assert form.status_code == 413
    assert untold.status_code == 411


def _upload(client, name: str, content: bytes = b"time_s,battery_v\n0,12\n", tray: str = ""):
    return client.post(f"/upload?tray={tray}", data=content, headers={**OWN, "X-File-Name": name})


@pytest.mark.parametrize(
    "name",
    ["../../escape.csv", "..%2F..%2Fescape.csv", "%2Fetc%2Fescape.csv", "..\\escape.csv", "C:%5Cescape.csv",
     ".escape.csv", "%00escape.csv", "%2E%2E%2F"],
)  # fmt: skip
def test_no_name_leads_out_of_the_tray(client, tmp_path, name):
    """However a file is called, it lies under a plain name in the tray's own folder."""
    answer = _upload(client, name)
    (file,) = answer.get_json()["files"]

    assert answer.status_code == 200
    assert not set("/\\:\0%") & set(file["name"])
    assert not file["name"].startswith(".")
    assert not list(tmp_path.parent.glob("**/escape.csv"))
    assert not Path("/etc/escape.csv").exists()


def test_shown_name_stays_readable():
    """Plain names pass as they are; ends survive a cut, so that a log finds its logger file."""
    assert shown_name("ride 2.csv") == "ride 2.csv"
    assert shown_name("größe.logger.toml") == "größe.logger.toml"
    assert shown_name("a" * 300 + ".logger.toml").endswith("a.logger.toml")
    assert len(shown_name("a" * 300 + ".csv")) == 100
    assert shown_name("///") == "log"


@pytest.mark.parametrize(
    "path",
    ["/assets/../settings.py", "/assets/%2e%2e/settings.py", "/look/..%2f..%2fetc/passwd", "/static/..%2fsettings.py",
     "/_dash-component-suites/dash/../../../etc/passwd"],
)  # fmt: skip
def test_no_address_leads_out_of_the_pages(client, path):
    """An address with steps upward gets no file."""
    answer = client.get(path, headers=HERE)

    assert b"class Settings" not in answer.data
    assert b"root:" not in answer.data


def test_trays_and_their_files_are_found_by_id_alone():
    """A tray or file that is named by a path, or by another's name, is not there."""
    trays = Trays(1 << 20)
    tray, file = trays.take(None, "ride.csv", io.BytesIO(b"abc"), 3)

    assert trays.get(str(tray.folder)) is None
    assert trays.get("../" + tray.id) is None
    assert trays.get({"id": tray.id}) is None
    assert trays.forget(tray.id, "ride.csv") is tray
    assert file.path.exists()
    trays.close()
    assert not file.path.exists()


def test_cut_and_oversize_files_leave_nothing():
    """A file that breaks off, or tells a size above the bound, is refused in words and not kept."""
    trays = Trays(10)
    with pytest.raises(BenchlogError, match="only 3 of 8 bytes arrived"):
        trays.take(None, "ride.csv", io.BytesIO(b"abc"), 8)
    with pytest.raises(BenchlogError, match="larger than 0 MB"):
        trays.take(None, "ride.csv", io.BytesIO(b"x" * 11), 11)

    assert not list(Path(trays._root).rglob("*.csv"))
    trays.close()


def test_headers_keep_the_browser_in(client):
    """Every answer says what a page may load and do; inline scripts run by their hash alone."""
    page = client.get("/", headers=HERE)
    policy = page.headers["Content-Security-Policy"]
    scripts = policy.split("script-src ")[1].split(";")[0]
    small = [client.get(path, headers=HERE) for path in ("/no/such", "/look/live", "/assets/pages.js")]

    assert "default-src 'none'" in policy
    assert "unsafe" not in scripts
    assert "sha256-" in scripts
    assert "http" not in policy
    assert "frame-ancestors 'none'" in policy
    for answer in (page, *small, client.get("/", headers={"Host": "evil.example"})):
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["X-Frame-Options"] == "DENY"
        assert answer.headers["Content-Security-Policy"] == policy
        answer.close()
    assert page.headers["Cache-Control"] == "no-store"
    assert client.get("/content", headers=HERE).headers["Cache-Control"] == "no-store"
    assert content_policy([]).count("script-src 'self';") == 1


def test_page_names_no_other_server(client):
    """The document loads its own files only, is written in a stated language, and runs no tools for developers."""
    text = client.get("/", headers=HERE).text
    config = json.loads(text.split('type="application/json">')[1].split("</script>")[0])

    assert '<html lang="en">' in text
    assert 'src="http' not in text
    assert 'href="http' not in text
    assert config["ui"] is False
    assert config["serve_locally"] is True


def test_document_brings_what_its_page_needs(client):
    """The content is asked for before all scripts; what draws is plotly's own file, where something is drawn."""
    quiet, drawn = (client.get(path, headers=HERE).text for path in ("/", "/record/1"))

    for text in (quiet, drawn):
        assert text.index("benchlogAsked") < text.index("src=")
        assert "{%" not in text
    assert PLOTLY_PATH not in quiet
    assert f'<script defer src="{PLOTLY_PATH}"></script>' in drawn
    assert client.get(PLOTLY_PATH, headers=HERE).text == get_plotlyjs()


def test_callback_fed_with_nonsense_stays_polite(client):
    """A callback that is asked for something that is not there answers with an error, not with its insides."""
    answer = client.post(
        "/_dash-update-component",
        json={"output": "../etc.passwd", "outputs": {"id": "x", "property": "y"}, "inputs": [], "changedPropIds": []},
        headers=OWN,
    )

    assert answer.status_code >= 400
    assert "Traceback" not in answer.text
    assert "/site-packages/" not in answer.text


# what follows needs a browser: only there can a text turn into a script


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """One server, with a token, whose store holds a sheet full of HTML."""
    data = made_store(tmp_path_factory.mktemp("safe") / "data", nasty=True)
    with serving(data, "--token", TOKEN, "--max-upload-mb", "1") as running:
        yield running


@pytest.fixture
def page(browser: Browser, served: Serving):
    """A page that has shown the token; dialogs and errors end up in its ``trouble``."""
    context = browser.new_context(viewport={"width": 390, "height": 900})
    page = context.new_page()
    page.trouble = []
    page.on("dialog", lambda dialog: (page.trouble.append("dialog"), dialog.dismiss()))
    page.on("pageerror", lambda error: page.trouble.append(str(error)))
    page.on("console", lambda message: page.trouble.append(message.text))
    page.goto(f"{served.url}/?token={TOKEN}")
    yield page
    context.close()


def _made_elements(page) -> int:
    """Elements that a text of the store has turned into; the pages themselves use none of these."""
    return page.evaluate("document.querySelectorAll('main b, main script, main img, svg image, svg a, main i').length")


@pytest.mark.parametrize("path", ["/", "/record/4", "/record/4/sheet", "/season", "/season?record=4"])
def test_texts_of_the_store_are_shown_as_texts(page, served, path):
    """Bike, notes, device, log name, mark, note and signature appear letter by letter, in figures too."""
    page.goto(served.url + path)
    expect(page.locator("main")).to_contain_text(NASTY)
    expect(page.locator("progress")).to_have_count(0)
    page.wait_for_timeout(500)

    assert _made_elements(page) == 0
    assert page.trouble == []


def test_texts_of_a_recording_are_shown_as_texts(page, served, monkeypatch):
    """Names and messages that come over the wire stay texts, roles in the figure included."""
    monkeypatch.setenv("BENCHLOG_DATA", str(served.data))
    page.goto(f"{served.url}/live")
    expect(page.locator("h1")).to_have_text("Live")

    def shown() -> bool:
        now = time.time()
        write_live(
            LiveState(NASTY, NASTY, now - 1, now, bike=NASTY, told=(NASTY,), last={NASTY: 1.0, "battery_v": 12.0},
                      time_s=(0.0, 1.0), recent={NASTY: [1.0, 2.0], "battery_v": [12.0, 12.1]})
        )  # fmt: skip
        return page.locator(".reading").count() > 1

    until(shown)

    assert page.locator("main").inner_text().count("<script>alert(2)</script>") >= 4
    assert _made_elements(page) == 0
    assert page.trouble == []


def test_nasty_log_in_the_tray_is_text(page, tmp_path):
    """A dropped file's name, and a reader's message that quotes its cells, are texts."""
    bad = tmp_path / "<img src=x onerror=alert(3)>.csv"
    bad.write_text(f'time_s,"{NASTY}"\n0,1\n1,2\n')
    expect(page.locator("#drop-files")).to_have_count(1)
    page.locator("#drop-files").set_input_files([bad, SAMPLES / "larch.plan.toml"])
    expect(page.locator(".tray li")).to_have_count(2)
    page.get_by_role("button", name="Check", exact=True).click()
    expect(page.get_by_role("alert")).to_be_visible()

    assert _made_elements(page) == 0
    assert page.trouble == []


def test_oversize_file_is_refused_in_words(page, tmp_path):
    """A file above --max-upload-mb is refused through the real server, and the page says so."""
    large = tmp_path / "large.csv"
    large.write_bytes(b"0" * (1 << 20) + b"0" * 100)
    page.locator("#drop-files").set_input_files(large)
    expect(page.locator("#drop-said")).to_contain_text("1 MB")

    assert page.locator(".tray li").count() == 0


def test_other_site_cannot_read_or_sign(browser, served):
    """A page of another site, in a browser that holds the cookie, can neither read an answer nor sign."""
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{served.url}/?token={TOKEN}")
    page.route("http://evil.example/", lambda route: route.fulfill(body="<h1>evil</h1>", content_type="text/html"))
    page.goto("http://evil.example/")
    tried = page.evaluate(
        """async url => {
          const ask = (path, how) =>
            fetch(url + path, { credentials: "include", ...how }).then(r => r.text(), () => "blocked");
          return [await ask("/_dash-layout"), await ask("/upload", { method: "POST", body: "x", mode: "no-cors" })];
        }""",
        served.url,
    )
    context.close()

    assert tried[0] == "blocked"
    assert tried[1] in ("", "blocked")


def test_port_in_use_is_one_message(tmp_path):
    """A second server on the same port ends with one line and exit status 2."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        ended = subprocess.run(
            [sys.executable, "-c", PAGE, "--port", str(taken.getsockname()[1])], cwd=ROOT, text=True, timeout=60,
            capture_output=True, check=False, env={"BENCHLOG_DATA": str(tmp_path), "PATH": "", "PYTHONPATH": str(ROOT)},
        )  # fmt: skip

    assert ended.returncode == 2
    assert ended.stdout == ""
    assert ended.stderr.count("\n") == 1
    assert "is in use" in ended.stderr
    assert "--port" in ended.stderr


def _answered(request: Request) -> bool:
    try:
        with urlopen(request, timeout=10) as answer:
            return answer.status == 200
    except URLError:
        return False  # it does not listen yet


@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM])
def test_interrupt_ends_with_success(tmp_path, ending):
    """Ctrl-C, or a service manager, ends the server with exit status 0, and takes the dropped files away."""
    process = subprocess.Popen(
        [sys.executable, "-c", PAGE, "--port", str(free_port())], cwd=ROOT, text=True, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, env={"BENCHLOG_DATA": str(tmp_path / "data"), "TMPDIR": str(tmp_path), "PATH": "",
                                     "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    assert process.stdout is not None
    first = process.stdout.readline()
    try:
        page = first.removeprefix("Open ").strip().rstrip("/")
        dropped = Request(f"{page}/upload", b"time_s,battery_v\n", {"Origin": page, "X-File-Name": "log.csv"})
        until(lambda: _answered(dropped))
        there = list(tmp_path.glob("benchlog-page-*/*/log.csv"))
    finally:
        process.send_signal(ending)
        _, err = process.communicate(timeout=30)

    assert first.startswith("Open http://127.0.0.1:")
    assert len(there) == 1
    assert process.returncode == 0
    assert err == ""
    assert list(tmp_path.glob("benchlog-page-*")) == []
