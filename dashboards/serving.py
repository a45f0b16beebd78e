"""Serve the pages with a production server until Ctrl-C."""

import errno
import importlib
import os
import secrets
import socket
import threading
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from benchlog.core.errors import BenchlogError, reason_of
from benchlog.core.interrupts import answered
from dashboards.door import Door
from dashboards.settings import WILDCARDS, Settings


def with_token(settings: Settings) -> Settings:
    """Beyond this machine a token is needed: one is made where none was given."""
    if settings.token or settings.local:
        return settings
    return replace(settings, token=secrets.token_urlsafe(16))


def address(settings: Settings) -> str:
    """What to open in a browser."""
    name = socket.gethostname() if settings.host in WILDCARDS else settings.host
    shown = f"[{name}]" if ":" in name else name
    return f"http://{shown}:{settings.port}/" + (f"?token={settings.token}" if settings.token else "")


def serve(settings: Settings, say: Callable[[str], None]) -> None:
    """Listen until Ctrl-C.

    Args:
        settings: where and how. say: takes each line for the user, once the pages can be opened.

    Raises:
        BenchlogError: the address or the port cannot be had.
    """
    settings = with_token(settings)
    listening = _bound(settings)
    try:
        from dashboards.app import make_app
        from dashboards.listening import PageServer

        door = Door(settings)
        app, close = make_app(settings, door)
        try:
            _run(PageServer(app.server, door, listening, settings), settings, say)
        finally:
            close()
    finally:
        listening.close()


def _run(server: Any, settings: Settings, say: Callable[[str], None]) -> None:
    try:
        say(f"Open {address(settings)}")
        if not settings.local:
            say("Anyone with this address can read and sign records; the connection is not encrypted.")
        say("Stop with Ctrl-C.")
        # a quarter of a second that the first page with a log need not wait for
        threading.Thread(target=importlib.import_module, args=("polars",), daemon=True).start()
        server.run()
    except KeyboardInterrupt:
        pass  # the way to end it; waitress may have taken it as that before
    finally:
        answered()
        server.close()


def _bound(settings: Settings) -> socket.socket:
    try:
        found = socket.getaddrinfo(settings.host, settings.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    except (socket.gaierror, UnicodeError):
        raise BenchlogError(
            f"--host {settings.host}: this machine has no such address; 127.0.0.1 serves this machine alone, "
            "0.0.0.0 its whole network"
        ) from None
    family, kind, protocol, _, place = found[0]
    listening = socket.socket(family, kind, protocol)
    try:
        if os.name == "posix":
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(place)
        listening.listen(64)
    except OSError as problem:
        listening.close()
        if problem.errno == errno.EADDRINUSE:
            text = f"port {settings.port} is in use, maybe by another benchlog page; name another with --port"
        elif problem.errno == errno.EACCES:
            text = f"port {settings.port} needs more rights than you have; name one above 1023 with --port"
        else:
            why = reason_of(problem)
            where = f"--host {settings.host}, port {settings.port}"
            text = f"{where}: cannot listen there ({why}); name another with --host or --port"
        raise BenchlogError(text) from problem
    return listening
