"""Where dropped files come in: one request a file, its bytes as they are, so that a large log streams to the disk."""

from typing import TYPE_CHECKING
from urllib.parse import unquote

from benchlog.core.errors import BenchlogError, reason_of
from dashboards.context import Context
from dashboards.door import UPLOAD_PATH

if TYPE_CHECKING:
    from flask import Flask, Response


def take_uploads(server: "Flask", context: Context) -> None:
    """Add the endpoint; who may use it, and how large a file may be, the guard has decided before."""
    from flask import jsonify, request

    @server.post(UPLOAD_PATH)
    def _upload() -> "tuple[Response, int]":
        name = unquote(request.headers.get("X-File-Name", "log"), errors="replace")
        tray = request.args.get("tray") or None
        try:
            kept, _ = context.trays.take(
                tray, name, request.stream, request.content_length or 0, _seconds(request.headers.get("X-Changed-Ms"))
            )
        except BenchlogError as problem:
            return jsonify(problem=str(problem)), 400
        except OSError as problem:
            why = reason_of(problem)
            text = f"the file could not be taken ({why}); make room on this computer's disk, then drop it again"
            return jsonify(problem=text), 507
        return jsonify(kept.listing()), 200


def _seconds(changed_ms: str | None) -> float | None:
    try:
        seconds = float(changed_ms or "") / 1000
    except ValueError:
        return None
    return seconds if 0 < seconds < 1e11 else None
