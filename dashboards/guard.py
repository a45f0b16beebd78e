"""Who may ask for what: host names, the token, where a form comes from, sizes, and what a browser may do."""

import base64
import hashlib
import hmac
import ipaddress
import secrets
import socket
from collections.abc import Sequence
from typing import TYPE_CHECKING
from urllib.parse import urlencode, urlsplit

from dashboards.settings import LOOPBACK, WILDCARDS, Settings

if TYPE_CHECKING:
    from flask import Flask, Response

#: A form or a callback is small; only files that are dropped in may be larger.
MOST_FORM_BYTES = 1 << 20
UPLOAD_PATH = "/upload"
#: Where a document asks for what stands in it.
CONTENT_PATH = "/content"
_SCRIPTS = ("/_dash-component-suites/", "/assets/")
#: What a browser says of a question that our own page, or the reader, asks.
_OWN_SITES = ("same-origin", "none")
_SAFE = ("GET", "HEAD", "OPTIONS")

_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


def guard(server: "Flask", settings: Settings, inline_scripts: Sequence[str] = ()) -> None:
    """Put the checks before every request and the headers on every answer.

    Args:
        server: the pages' Flask application.
        inline_scripts: CSP hashes of the few scripts that Dash writes into the page.
    """
    from flask import Response, redirect, request

    session = secrets.token_urlsafe(32)
    # cookies do not tell ports apart
    cookie = f"benchlog_{settings.port}"

    def refused(status: int, text: str) -> "Response":
        return Response(f"{text}\n", status=status, mimetype="text/plain")

    @server.before_request
    def _admit() -> "Response | None":
        if not host_allowed(request.headers.get("Host", ""), settings):
            return refused(
                403, "this address is not one of this machine's; open the address that benchlog page printed"
            )
        if settings.token and (answer := _token_checked()) is not None:
            return answer
        # a browser tells so; opening a page by a link from elsewhere is no harm, its content comes by our own script
        if request.path == CONTENT_PATH and request.headers.get("Sec-Fetch-Site", "none") not in _OWN_SITES:
            return refused(403, "this question comes from another site; open the page itself")
        if request.method not in _SAFE:
            if request.method != "POST":
                return refused(405, "only reading and sending forms is understood here")
            if not same_origin(request.headers.get("Origin"), request.headers.get("Referer"), request.host):
                return refused(403, "this form comes from another site; open the page itself and try again")
            most = settings.max_upload_mb << 20 if request.path == UPLOAD_PATH else MOST_FORM_BYTES
            if request.content_length is None:
                return refused(411, "the size must be told before the content")
            if request.content_length > most:
                return refused(413, f"this is larger than {most >> 20} MB, the most that is taken here")
        return None

    def _token_checked() -> "Response | None":
        shown = request.args.get("token")
        if shown is not None and request.method == "GET":
            if not same_secret(shown, settings.token):
                return refused(401, "this token is not the one that benchlog page printed; copy the whole address")
            rest = urlencode([(k, v) for k, v in request.args.items(multi=True) if k != "token"])
            # the token leaves the address bar, and with it the history
            answer: Response = redirect(request.path + (f"?{rest}" if rest else ""), code=303)  # type: ignore[assignment]  # Flask gives its own Response here
            answer.set_cookie(cookie, session, httponly=True, samesite="Strict", path="/")
            return answer
        if same_secret(request.cookies.get(cookie, ""), session):
            return None
        return refused(401, "a token is needed; open the address that benchlog page printed, with its token")

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


def host_allowed(header: str, settings: Settings) -> bool:
    """Whether a Host header names this machine as it was told: what keeps a foreign name from pointing here."""
    name = _host_name(header)
    if name in LOOPBACK or name == settings.host.lower():
        return True
    if settings.host not in WILDCARDS:
        return False
    own = socket.gethostname().lower()
    if name in (own, f"{own}.local", own.partition(".")[0], f"{own.partition('.')[0]}.local"):
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True  # a number cannot be made to point elsewhere


def same_origin(origin: str | None, referer: str | None, host: str) -> bool:
    """Whether a form was sent by a page of this very server; one that does not say is not."""
    told = origin if origin is not None else referer
    if not told:
        return False
    parts = urlsplit(told)
    return parts.scheme in ("http", "https") and parts.netloc.lower() == host.lower()


def same_secret(shown: str, secret: str) -> bool:
    """Compare in a time that tells nothing about where two texts differ."""
    return hmac.compare_digest(shown.encode(), secret.encode())


def _host_name(header: str) -> str:
    try:
        return (urlsplit(f"//{header}").hostname or "").lower()
    except ValueError:
        return ""
