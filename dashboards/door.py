"""Who may come in, decided from a request's head alone, so that what is refused is refused before its body is taken."""

import hmac
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl

from dashboards.origin import host_allowed, same_origin
from dashboards.settings import Settings

#: A form or a callback is small; only files that are dropped in may be larger.
MOST_FORM_BYTES = 1 << 20
UPLOAD_PATH = "/upload"
#: Where a document asks for what stands in it.
CONTENT_PATH = "/content"
#: Wrong tokens from one address before it has to wait; then twice as long each time.
FREE_TRIES = 5
_LONGEST_WAIT_S = 60.0
_MOST_KNOWN = 1000  # addresses whose tries are remembered
_MOST_SESSIONS = 64
#: What a browser says of a question that our own page, or the reader, asks.
_OWN_SITES = ("same-origin", "none")
_SAFE = ("GET", "HEAD", "OPTIONS")

#: A strict cookie is not sent along a link of another site; our own page asking again is no other site.
ASK_AGAIN = (
    '<!doctype html><meta charset="utf-8"><meta http-equiv="refresh" content="0"><title>benchlog</title>'
    "<p>Opening. If nothing happens, reload this page.</p>"
)


@dataclass(frozen=True, slots=True)
class Head:
    """What the head of a request says; texts are "" where a header is missing.

    Attributes:
        address: of who asks. method, path, query: of the first line.
        length: of the body, bytes; None where it is not told.
        site, mode: what a browser says of who asks (Sec-Fetch-Site, Sec-Fetch-Mode).
    """

    address: str
    method: str
    path: str
    query: str
    host: str
    origin: str | None
    referer: str | None
    cookie: str
    length: int | None
    site: str
    mode: str

    @property
    def token(self) -> str | None:
        """The token in the address; None without one."""
        if self.method != "GET" or "token=" not in self.query:
            return None
        return next((value for name, value in parse_qsl(self.query, keep_blank_values=True) if name == "token"), None)


@dataclass(frozen=True, slots=True)
class Refusal:
    """Status and words; ``text`` is HTML where it begins so."""

    status: int
    text: str

    @property
    def kind(self) -> str:
        """The answer's media type."""
        return "text/html" if self.text.startswith("<!doctype") else "text/plain"


class Door:
    """The checks before every request; safe to use from several threads."""

    def __init__(self, settings: Settings, clock: Callable[[], float] = time.monotonic) -> None:
        """Nobody is logged in."""
        self._settings, self._clock = settings, clock
        # cookies do not tell ports apart
        self.cookie = f"benchlog_{settings.port}"
        self._sessions: OrderedDict[str, None] = OrderedDict()
        self._tries: OrderedDict[str, tuple[int, float]] = OrderedDict()  # address -> wrong tries, when the next may be
        self._lock = threading.Lock()

    @property
    def asks_token(self) -> bool:
        """Whether anyone has to show one."""
        return bool(self._settings.token)

    def refusal(self, head: Head) -> Refusal | None:
        """Why a request is refused; None where it may pass."""
        settings = self._settings
        if not host_allowed(head.host, settings):
            return Refusal(
                403, "this address is not one of this machine's; open the address that benchlog page printed"
            )
        if settings.token and (refused := self._unknown(head)) is not None:
            return refused
        # a browser tells so; opening a page by a link from elsewhere is no harm, its content comes by our own script
        if head.path == CONTENT_PATH and (head.site or "none") not in _OWN_SITES:
            return Refusal(403, "this question comes from another site; open the page itself")
        if head.method in _SAFE:
            if head.length:
                return Refusal(400, "a question has no content here")
            return None
        if head.method != "POST":
            return Refusal(405, "only reading and sending forms is understood here")
        if not same_origin(head.origin, head.referer, head.host):
            return Refusal(403, "this form comes from another site; open the page itself and try again")
        most = settings.max_upload_mb << 20 if head.path == UPLOAD_PATH else MOST_FORM_BYTES
        if head.length is None:
            return Refusal(411, "the size must be told before the content")
        if head.length > most:
            return Refusal(413, f"this is larger than {most >> 20} MB, the most that is taken here")
        return None

    def session(self) -> str:
        """The secret of a new login."""
        made = secrets.token_urlsafe(32)
        with self._lock:
            self._sessions[made] = None
            while len(self._sessions) > _MOST_SESSIONS:
                self._sessions.popitem(last=False)
        return made

    def _unknown(self, head: Head) -> Refusal | None:
        """Why someone with neither the token nor a login is refused."""
        shown = head.token
        if shown is None:
            if self._logged_in(head.cookie):
                return None
            if head.method == "GET" and head.site == "cross-site" and head.mode == "navigate":
                return Refusal(200, ASK_AGAIN)
            return Refusal(401, "a token is needed; open the address that benchlog page printed, with its token")
        with self._lock:
            count, wait_until = self._tries.get(head.address, (0, 0.0))
            now = self._clock()
            if now < wait_until:
                return Refusal(429, "too many wrong tokens came from there; wait a minute, then open the address again")
            if same_secret(shown, self._settings.token):
                self._tries.pop(head.address, None)
                return None
            wait_s = min(2.0 ** (count + 1 - FREE_TRIES), _LONGEST_WAIT_S) if count + 1 >= FREE_TRIES else 0.0
            self._tries[head.address] = count + 1, now + wait_s
            self._tries.move_to_end(head.address)
            while len(self._tries) > _MOST_KNOWN:
                self._tries.popitem(last=False)
        return Refusal(401, "this token is not the one that benchlog page printed; copy the whole address")

    def _logged_in(self, header: str) -> bool:
        try:
            morsel = SimpleCookie(header).get(self.cookie)
        except CookieError:
            return False
        if morsel is None:
            return False
        with self._lock:
            found = [one for one in self._sessions if same_secret(morsel.value, one)]
            if found:
                self._sessions.move_to_end(found[0])
            return bool(found)


def same_secret(shown: str, secret: str) -> bool:
    """Compare in a time that tells nothing about where two texts differ."""
    return hmac.compare_digest(shown.encode("utf-8", "replace"), secret.encode())
