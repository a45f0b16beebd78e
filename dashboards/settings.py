"""What the pages are started with."""

import ipaddress
from dataclasses import dataclass

#: Names under which a browser on the same machine reaches it.
LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})
#: Addresses that mean "all of this machine's".
WILDCARDS = frozenset({"0.0.0.0", "::"})


@dataclass(frozen=True, slots=True)
class Settings:
    """How the pages are served.

    Attributes:
        host, port: where they listen.
        token: what a browser must show once; "" where none is asked for.
        store: URL of the store; None for the usual one.
        max_upload_mb: the largest file that may be dropped in, MB.
    """

    host: str = "127.0.0.1"
    port: int = 8127
    token: str = ""
    store: str | None = None
    max_upload_mb: int = 2048

    @property
    def local(self) -> bool:
        """Whether only this machine can reach the pages."""
        if self.host in LOOPBACK:
            return True
        try:
            return ipaddress.ip_address(self.host).is_loopback
        except ValueError:
            return False
