"""The door before every request of the pages, and what a browser may do with each answer."""

import base64
import hashlib
from collections.abc import Sequence
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from dashboards.door import Door, Head

if TYPE_CHECKING:
    from flask import Flask, Request, Response

_SCRIPTS = ("/_dash-component-suites/", "/assets/")

_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


def _head_of(request: "Request") -> Head:
    """What the door looks at."""
    named = request.headers
    return Head(
        address=request.remote_addr or "",
        method=request.method,
        path=request.path,
        query=request.query_string.decode("latin-1"),
        host=named.get("Host", ""),
        origin=named.get("Origin"),
        referer=named.get("Referer"),
        cookie=named.get("Cookie", ""),
        length=request.content_length,
        site=named.get("Sec-Fetch-Site", ""),
        mode=named.get("Sec-Fetch-Mode", ""),
    )


def guard(server: "Flask", door: Door, inline_scripts: Sequence[str] = ()) -> None:
    """Put the checks before every request and the headers on every answer.

    Args:
        server: the pages' Flask application.
        door: who may come in; a server may ask it earlier, as soon as a request's head is there.
        inline_scripts: CSP hashes of the few scripts that Dash writes into the page.
    """
    from flask import Response, redirect, request

    @server.before_request
    def _admit() -> "Response | None":
        head = _head_of(request)
        if (refused := door.refusal(head)) is not None:
            return Response(f"{refused.text}\n", status=refused.status, mimetype=refused.kind)
        if head.token is None or not door.asks_token:
            return None
        rest = urlencode([(k, v) for k, v in request.args.items(multi=True) if k != "token"])
        # the token leaves the address bar, and with it the history; to one slash, or it would name another server
        path = "/" + request.path.lstrip("/\\")
        answer: Response = redirect(path + (f"?{rest}" if rest else ""), code=303)  # type: ignore[assignment]  # Flask gives its own Response here
        answer.set_cookie(door.cookie, door.session(), httponly=True, samesite="Strict", path="/")
        return answer

    policy = content_policy(inline_scripts)

    @server.after_request
    def _label(answer: "Response") -> "Response":
        for name, value in _HEADERS.items():
            answer.headers[name] = value
        answer.headers["Content-Security-Policy"] = policy
        if not request.path.startswith(_SCRIPTS):
            answer.headers["Cache-Control"] = "no-store"
        elif "Cache-Control" not in answer.headers:
            # kept, but asked about: a browser that keeps a script also keeps it compiled
            answer.headers["Cache-Control"] = "no-cache"
        return answer


def hash_in_policy(script: str) -> str:
    """What lets a script stand in the document: the policy names its hash."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}'"


def content_policy(inline_scripts: Sequence[str]) -> str:
    """What a browser may load: this server's own files and nothing else.

    Styles may stand inline, since Dash and plotly write theirs into the page; scripts may not, but for the hashes.
    """
    scripts = " ".join(["'self'", *inline_scripts])
    return (
        f"default-src 'none'; script-src {scripts}; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
        "font-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    )
