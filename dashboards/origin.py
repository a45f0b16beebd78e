"""Which names are this machine's, and which forms its own pages send."""

import ipaddress
import socket
from urllib.parse import urlsplit

from dashboards.settings import LOOPBACK, WILDCARDS, Settings


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


def _host_name(header: str) -> str:
    try:
        return (urlsplit(f"//{header}").hostname or "").lower()
    except ValueError:
        return ""
