"""A logger on the network that talks to whoever listens, as many as there are."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

EVERY_S = 0.02


@contextmanager
def talking_logger(lines_at_once: int = 1) -> Iterator[str]:
    """Start it; gives the URL that benchlog records from.

    Args:
        lines_at_once: sent every 20 ms.
    """
    ended = threading.Event()

    def talk(to: socket.socket) -> None:
        with suppress(OSError), to:
            to.sendall(b"time_s,battery_v,battery_a\n")
            for n in range(1_000_000):
                at = [(n * lines_at_once + k) * EVERY_S / lines_at_once for k in range(lines_at_once)]
                to.sendall("".join(f"{time_s:.4f},12.6,0.3\n" for time_s in at).encode())
                if ended.wait(EVERY_S):
                    return

    def serve(server: socket.socket) -> None:
        with suppress(OSError):
            while True:
                there, _ = server.accept()
                threading.Thread(target=talk, args=(there,), daemon=True).start()

    with socket.create_server(("127.0.0.1", 0)) as server:
        threading.Thread(target=serve, args=(server,), daemon=True).start()
        try:
            yield f"socket://127.0.0.1:{server.getsockname()[1]}"
        finally:
            ended.set()
            server.shutdown(socket.SHUT_RDWR)
