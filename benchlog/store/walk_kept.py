"""What each circuit draws with the key off, kept with a record: the table must not need the log's copy."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from benchlog.verdict.evidence import KeyOffDraw

if TYPE_CHECKING:
    from benchlog.report.words import Walked

_KEY = "key_off"


def walk_body(outline: "Walked | None") -> dict[str, Any]:
    """What the body of a log says more where fuses were pulled: the drain, mA, and each circuit's draw."""
    if outline is None or not outline.key_off_draws:
        return {}
    draws = [asdict(draw) for draw in outline.key_off_draws]
    return {_KEY: {"drain_ma": outline.key_off_drain_ma, "draws": draws}}


def walk_of(body: Mapping[str, Any]) -> tuple[tuple[KeyOffDraw, ...], float | None]:
    """Draws and drain, mA, from the body of a log; nothing where no fuse was pulled.

    Raises:
        KeyError, TypeError: the body is not one that this program writes.
    """
    if _KEY not in body:
        return (), None
    kept = body[_KEY]
    return tuple(KeyOffDraw(**draw) for draw in kept["draws"]), kept["drain_ma"]
