"""The server under the pages: waitress, asking the door as soon as a head is there, with bounds on who waits.

A slow or half-sent request costs a connection and no more; of one address the oldest such make room for newer ones.
"""

import select
import shutil
import socket
import tempfile
import time
from contextlib import suppress
from typing import Any

from waitress.adjustments import Adjustments  # type: ignore[import-untyped]  # waitress ships no types
from waitress.channel import HTTPChannel  # type: ignore[import-untyped]  # as above
from waitress.parser import HTTPRequestParser  # type: ignore[import-untyped]  # as above
from waitress.server import TcpWSGIServer  # type: ignore[import-untyped]  # as above
from waitress.task import ThreadedTaskDispatcher  # type: ignore[import-untyped]  # as above
from waitress.utilities import Error  # type: ignore[import-untyped]  # as above

from dashboards.door import Door, Head, Refusal
from dashboards.settings import Settings

#: Room for a few browsers, each of which asks several things at once.
THREADS = 8
#: Connections of one address, of all, and large bodies that come in at a time.
MOST_OF_ONE, MOST_OF_ALL, MOST_LARGE = 64, 512, 4
_LARGE = 1 << 20  # bytes; more goes to the disk while it comes
_LEAVE = 256 << 20  # bytes of the disk that are left to others
_HEAD_S, _IDLE_S = 10.0, 60.0
_SLOWEST = 50_000  # bytes a second that a body may take on the average
_LINGER_S, _LINGER_BYTES = 2.0, 32 << 20


class _Refused(Error):  # type: ignore[misc]  # waitress ships no types
    """The door's words as waitress answers them."""

    def __init__(self, refusal: Refusal) -> None:
        super().__init__(refusal.text)
        self._refusal = refusal
        self.code, self.reason = refusal.status, "Refused" if refusal.status >= 400 else "OK"

    def to_response(self, _ident: object = None) -> tuple[str, list[tuple[str, str]], bytes]:
        headers = [
            ("Content-Type", f"{self._refusal.kind}; charset=utf-8"),
            ("Cache-Control", "no-store"),
            ("X-Content-Type-Options", "nosniff"),
            ("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'"),
        ]
        return f"{self.code} {self.reason}", headers, f"{self._refusal.text}\n".encode()


class _Request(HTTPRequestParser):  # type: ignore[misc]  # waitress ships no types
    """A request that is refused by its head: its body is never taken."""

    content_length: int

    def __init__(self, adj: Any, channel: "_Connection") -> None:
        super().__init__(adj)
        self._channel = channel
        self.begun = time.monotonic()
        self.refused = False

    def parse_header(self, header_plus: bytes) -> None:
        super().parse_header(header_plus)
        refusal = self._channel.server.door.refusal(self._head()) or self._no_room()
        if refusal is not None:
            self.error, self.refused = _Refused(refusal), self.content_length > 0 or self.chunked
            self.body_rcv, self.content_length, self.expect_continue = None, 0, False

    @property
    def late(self) -> bool:
        """Whether it takes longer than an honest one."""
        allowed_s = _HEAD_S + (self.content_length / _SLOWEST if self.headers_finished else 0)
        return time.monotonic() - self.begun > allowed_s

    @property
    def is_large(self) -> bool:
        """Whether its body goes to the disk."""
        return bool(self.headers_finished and self.content_length > _LARGE)

    def _head(self) -> Head:
        named = self.headers
        told = named.get("CONTENT_LENGTH")
        return Head(
            address=str(self._channel.addr[0]),
            method=self.command,
            path=self.path,
            query=self.query or "",
            host=named.get("HOST", ""),
            origin=named.get("ORIGIN"),
            referer=named.get("REFERER"),
            cookie=named.get("COOKIE", ""),
            length=self.content_length if told is not None and not self.chunked else None,
            site=named.get("SEC_FETCH_SITE", ""),
            mode=named.get("SEC_FETCH_MODE", ""),
        )

    def _no_room(self) -> Refusal | None:
        if self.chunked:
            return Refusal(411, "the size must be told before the content")
        if self.content_length <= _LARGE:
            return None
        if sum(one.request is not None and one.request.is_large for one in self._channel.others()) >= MOST_LARGE:
            return Refusal(
                503, f"{MOST_LARGE} files are coming in already; wait until one is there, then drop it again"
            )
        # once while it comes, and once in its tray
        if shutil.disk_usage(tempfile.gettempdir()).free < 2 * self.content_length + _LEAVE:
            return Refusal(507, "the disk has no room for it; make room and drop it again")
        return None


class _Connection(HTTPChannel):  # type: ignore[misc]  # waitress ships no types
    """A connection that tells how long it has waited, and lets a refused sender hear why."""

    _lingers_until: float | None = None
    _lingered = 0

    def parser_class(self, adj: Any) -> _Request:  # waitress calls it as a class
        return _Request(adj, self)

    def others(self) -> list["_Connection"]:
        """All other connections of the server."""
        return [one for one in list(self.server.active_channels.values()) if one is not self]

    @property
    def waits(self) -> bool:
        """Whether nothing of it is being worked on or sent."""
        return bool(not self.requests and not self.total_outbufs_len)

    @property
    def too_long(self) -> bool:
        """Whether it has waited longer than an honest one."""
        if self._lingers_until is not None:
            return time.monotonic() > self._lingers_until
        if not self.waits:
            return False
        if self.request is not None:
            return bool(self.request.late)
        patience_s = _IDLE_S if self.last_activity > self.creation_time else _HEAD_S
        return bool(time.time() - self.last_activity > patience_s)

    def received(self, data: bytes) -> bool:
        taken: bool = super().received(data)
        if any(request.refused for request in self.requests if isinstance(request, _Request)):
            self._lingered = 1
        return taken

    def readable(self) -> bool:
        return bool(self._lingers_until is not None or super().readable())

    def handle_read(self) -> None:
        if self._lingers_until is None:
            super().handle_read()
            return
        with suppress(OSError):
            data = self.recv(self.adj.recv_bytes)
            self._lingered += len(data)
            if data and self._lingered < _LINGER_BYTES and time.monotonic() < self._lingers_until:
                return
        self.handle_close()

    def handle_write(self) -> None:
        if self._lingers_until is not None:
            return
        if self._lingered and self.close_when_flushed and not self.total_outbufs_len:
            # closed with bytes unread, the connection would be reset and the answer lost
            self._lingers_until = time.monotonic() + _LINGER_S
            with suppress(OSError):
                self.socket.shutdown(socket.SHUT_WR)
            return
        super().handle_write()

    def writable(self) -> bool:
        return self._lingers_until is None and bool(super().writable())


class PageServer(TcpWSGIServer):  # type: ignore[misc]  # waitress ships no types
    """The server of the pages.

    Args:
        application: the pages. door: who may come in. listening: the socket, bound. settings: sizes.
    """

    channel_class = _Connection

    def __init__(self, application: Any, door: Door, listening: socket.socket, settings: Settings) -> None:
        self.door = door
        adj = Adjustments(
            sockets=[listening],
            threads=THREADS,
            max_request_body_size=(settings.max_upload_mb << 20) + (1 << 20),
            max_request_header_size=32 << 10,
            inbuf_overflow=_LARGE,
            connection_limit=MOST_OF_ALL + 16,
            cleanup_interval=1,
            channel_timeout=120,
            asyncore_use_poll=hasattr(select, "poll"),
            ident="",
        )
        dispatcher = ThreadedTaskDispatcher()
        dispatcher.set_thread_count(THREADS)
        where = (listening.family, listening.type, listening.proto, listening.getsockname())
        super().__init__(
            application, {}, True, listening, dispatcher=dispatcher, adj=adj, bind_socket=False, sockinfo=where
        )

    def handle_accept(self) -> None:
        super().handle_accept()
        open_now = list(self.active_channels.values())
        if not open_now:
            return
        newest = max(open_now, key=lambda one: one.creation_time)
        mine = [one for one in open_now if one.addr[0] == newest.addr[0]]
        if len(mine) > MOST_OF_ONE:
            self._make_room(mine, newest)
        elif len(open_now) > MOST_OF_ALL:
            self._make_room(open_now, newest)

    def maintenance(self, now: float) -> None:
        """Close what has waited too long; waitress calls it once a second."""
        for one in list(self.active_channels.values()):
            if one.too_long:
                one.handle_close()
        super().maintenance(now)

    def _make_room(self, among: list[_Connection], newest: _Connection) -> None:
        """Close the one that has waited longest, half-sent before idle; the newest where all are being answered."""
        waiting = [one for one in among if one.waits and one is not newest]
        half = [one for one in waiting if one.request is not None or one.last_activity <= one.creation_time]
        oldest = min(half or waiting or [newest], key=lambda one: one.creation_time)
        oldest.handle_close()
