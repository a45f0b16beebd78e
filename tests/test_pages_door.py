"""What is refused is refused by its head alone, and those who wait keep nobody waiting."""

import re
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from urllib.request import urlopen

import psutil
import pytest
from page_server import Serving, serving

from benchlog.store import open_store
from dashboards.app import make_app
from dashboards.door import FREE_TRIES, Door, Head
from dashboards.listening import MOST_OF_ONE
from dashboards.settings import Settings

TOKEN = "Zk3n8Qw1Yx7Lp5Rt9Vb2Mc"
GOOD = Head("192.0.2.1", "GET", "/", "", "127.0.0.1:8127", None, None, "", None, "", "")


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """A server over an empty store."""
    data = tmp_path_factory.mktemp("data")
    with open_store(data / "records.sqlite"), serving(data) as one:
        yield one


def told(head: str, served: Serving) -> tuple[str, float]:
    """The first line of the answer to a head alone, and the seconds until it came."""
    name, port = served.url.removeprefix("http://").split(":")
    begun = time.monotonic()
    with socket.create_connection((name, int(port)), timeout=20) as asking:
        asking.sendall(head.replace("HERE", f"{name}:{port}").replace("\n", "\r\n").encode() + b"\r\n\r\n")
        return asking.recv(200).decode().partition("\r\n")[0], time.monotonic() - begun


@pytest.mark.parametrize(
    ("head", "status"),
    [
        ("POST /upload HTTP/1.1\nHost: HERE\nOrigin: http://evil.example\nContent-Length: 60000000", 403),
        ("POST /upload HTTP/1.1\nHost: evil.example\nOrigin: http://HERE\nContent-Length: 60000000", 403),
        ("POST /upload HTTP/1.1\nHost: HERE\nContent-Length: 60000000", 403),
        ("POST /upload HTTP/1.1\nHost: HERE\nOrigin: http://HERE\nContent-Length: 99000000000000", 413),
        ("POST /_dash-update-component HTTP/1.1\nHost: HERE\nOrigin: http://HERE\nContent-Length: 2000000", 413),
        ("POST /upload HTTP/1.1\nHost: HERE\nOrigin: http://HERE\nTransfer-Encoding: chunked", 411),
        ("GET / HTTP/1.1\nHost: HERE\nTransfer-Encoding: chunked", 411),
        ("GET / HTTP/1.1\nHost: HERE\nContent-Length: 60000000", 400),
        (
            "POST /upload HTTP/1.1\nHost: HERE\nOrigin: http://evil.example\nContent-Length: 9\nExpect: 100-continue",
            403,
        ),
        ("PUT / HTTP/1.1\nHost: HERE\nOrigin: http://HERE\nContent-Length: 60000000", 405),
        ("GET /" + "x" * 40_000 + " HTTP/1.1\nHost: HERE", 431),
    ],
)
def test_a_head_is_enough_to_be_refused(served: Serving, head: str, status: int):
    """No byte of the body is waited for, let alone kept."""
    line, seconds = told(head, served)

    assert line.split()[1] == str(status)
    assert seconds < 5


def test_a_sender_who_goes_on_hears_the_answer(served: Serving):
    """Some megabytes are let pass unread, that the connection is not reset under the answer."""
    name, port = served.url.removeprefix("http://").split(":")
    before = psutil.Process(served.pid).memory_info().rss
    with socket.create_connection((name, int(port)), timeout=20) as asking:
        head = f"POST /upload HTTP/1.1\r\nHost: {name}:{port}\r\nOrigin: http://evil.example\r\n"
        asking.sendall(f"{head}Content-Length: 9000000\r\n\r\n".encode())
        asking.sendall(b"x" * 9_000_000)
        answer = b""
        while piece := asking.recv(4096):
            answer += piece
    assert answer.startswith(b"HTTP/1.1 403 ")
    assert b"this form comes from another site" in answer
    assert psutil.Process(served.pid).memory_info().rss - before < 8 << 20


@pytest.mark.parametrize(
    "begin",
    [
        b"",
        b"GET / HTTP/1.1\r\nHost: ",
        b"POST /upload?x HTTP/1.1\r\nHost: HERE\r\nOrigin: http://HERE\r\nContent-Length: 900000\r\n\r\n12345",
        b"POST /_dash-update-component HTTP/1.1\r\nHost: HERE\r\nOrigin: http://HERE\r\nContent-Length: 9000\r\n\r\n{",
    ],
)
def test_a_hundred_who_wait_keep_nobody_waiting(served: Serving, begin: bytes):
    """Slow or half-sent, from the same address as an honest one, whose answer comes in a moment."""
    name, port = served.url.removeprefix("http://").split(":")
    said = begin.replace(b"HERE", f"{name}:{port}".encode())
    waiting = [socket.create_connection((name, int(port)), timeout=20) for _ in range(110)]
    try:
        for one in waiting:
            try:
                one.sendall(said)
            except OSError:
                continue  # it had to make room
        slowest = 0.0
        for _ in range(5):
            begun = time.monotonic()
            with urlopen(served.url + "/assets/pages.css", timeout=20) as answer:
                assert answer.status == 200
            slowest = max(slowest, time.monotonic() - begun)
        assert slowest < 1
        held = [c for c in psutil.Process(served.pid).net_connections() if c.status == "ESTABLISHED"]
        assert len(held) <= MOST_OF_ONE + 1
    finally:
        for one in waiting:
            one.close()


def test_a_request_that_never_ends_is_ended(served: Serving):
    """Ten seconds for a head, whatever trickles in."""
    name, port = served.url.removeprefix("http://").split(":")
    with socket.create_connection((name, int(port)), timeout=30) as asking:
        asking.sendall(b"GET / HTTP/1.1\r\nHost: ")
        stop = threading.Event()

        def trickle() -> None:
            while not stop.wait(0.5):
                try:
                    asking.sendall(b"x")
                except OSError:
                    return

        slow = threading.Thread(target=trickle)
        slow.start()
        begun = time.monotonic()
        try:
            ended = asking.recv(100)
        except ConnectionResetError:
            ended = b""
        stop.set()
        slow.join()
    assert ended == b""
    assert 8 < time.monotonic() - begun < 20


def test_wrong_tokens_are_slowed_down():
    """Five are free, then each has to wait twice as long, from its own address alone; a login is none of them."""
    now = [0.0]
    door = Door(Settings(token=TOKEN), clock=lambda: now[0])
    wrong, right = replace(GOOD, query="token=guess"), replace(GOOD, query=f"token={TOKEN}")
    inside = replace(GOOD, cookie=f"{door.cookie}={door.session()}")

    assert [door.refusal(wrong).status for _ in range(FREE_TRIES)] == [401] * FREE_TRIES  # type: ignore[union-attr]  # each is refused
    assert door.refusal(right).status == 429  # type: ignore[union-attr]  # as above
    assert door.refusal(inside) is None
    assert door.refusal(replace(right, address="192.0.2.2")) is None
    for wait_s in (2, 4, 8):
        now[0] += wait_s
        assert door.refusal(wrong).status == 401  # type: ignore[union-attr]  # as above
        assert door.refusal(wrong).status == 429  # type: ignore[union-attr]  # as above
    now[0] += 61
    assert door.refusal(right) is None
    assert door.refusal(wrong).status == 401  # type: ignore[union-attr]  # as above


def test_each_login_has_a_secret_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """One that leaked from a browser is not the next one's; both stay logged in; the cookie is named by the port."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path))
    app, close = make_app(Settings(port=8999, token=TOKEN))
    try:
        found = []
        for _ in range(2):
            answer = app.server.test_client().get(
                f"/?token={TOKEN}",
                headers={"Host": "127.0.0.1:8999"},
                environ_overrides={"PATH_INFO": "//evil.example/"},
            )
            assert answer.headers["Location"] == "/evil.example/"
            found.append(
                re.match(r"benchlog_8999=([^;]+); HttpOnly; Path=/; SameSite=Strict", answer.headers["Set-Cookie"])
            )
        secrets = [one.group(1) for one in found if one]
        assert len(set(secrets)) == 2
        for secret in secrets:
            client = app.server.test_client()
            client.set_cookie("benchlog_8999", secret, domain="127.0.0.1")
            assert client.get("/", headers={"Host": "127.0.0.1:8999"}).status_code == 200
    finally:
        close()


def test_a_link_of_another_site_asks_again_by_itself():
    """A strict cookie is not sent along such a link; the page that comes instead reloads, and then it is."""
    door = Door(Settings(token=TOKEN))
    linked = replace(GOOD, site="cross-site", mode="navigate")

    refused = door.refusal(linked)
    assert refused is not None
    assert (refused.status, refused.kind) == (200, "text/html")
    assert 'http-equiv="refresh" content="0"' in refused.text
    assert door.refusal(replace(linked, site="same-origin")).status == 401  # type: ignore[union-attr]  # without a login
    assert door.refusal(replace(linked, mode="no-cors")).status == 401  # type: ignore[union-attr]  # an image is no page
