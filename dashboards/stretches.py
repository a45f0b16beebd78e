"""Which stretch of a log is looked at next: from a drag, a button, the two boxes or a check."""

from collections.abc import Mapping
from typing import Any

Stretch = tuple[float, float]


def dragged(change: Mapping[str, Any] | None, whole: Stretch) -> Stretch | None:
    """What a drag or double click in the figure asks for; None where it asks for nothing in time."""
    if not change:
        return None
    if change.get("xaxis.autorange"):
        return whole
    pair: Any = change.get("xaxis.range") or (change.get("xaxis.range[0]"), change.get("xaxis.range[1]"))
    try:
        return float(pair[0]), float(pair[1])
    except (TypeError, ValueError, IndexError):
        return None


def stepped(by: str, now: Stretch, whole: Stretch) -> Stretch | None:
    """What a button asks for: ``whole``, ``in``, ``out``, ``earlier`` or ``later``."""
    middle, wide = (now[0] + now[1]) / 2, now[1] - now[0]
    if by == "whole":
        return whole
    if by in ("in", "out"):
        half = wide / 8 if by == "in" else wide * 2
        return middle - half, middle + half
    if by in ("earlier", "later"):
        shift = 0.5 * wide if by == "later" else -0.5 * wide
        return now[0] + shift, now[1] + shift
    return None


def around(from_s: float, to_s: float, step_s: float) -> Stretch:
    """A check's span with room on both sides, enough to distinguish single samples."""
    room = max(0.25 * (to_s - from_s), 20 * step_s)
    return from_s - room, to_s + room


def typed(from_text: object, to_text: object) -> Stretch | None:
    """The two boxes, s, with a decimal point or comma; None where they are no stretch."""
    try:
        first, last = (float(str(text).strip().replace(",", ".")) for text in (from_text, to_text))
    except ValueError:
        return None
    return (first, last) if abs(first) < 1e12 and abs(last) < 1e12 and first < last else None


def within(wanted: Stretch, whole: Stretch, step_s: float) -> Stretch:
    """The stretch that is shown: in order, inside the log, and no shorter than a few samples."""
    first, last = min(wanted), max(wanted)
    least = max(4 * step_s, 1e-4)
    wide = min(max(last - first, least), max(whole[1] - whole[0], least))
    middle = (first + last) / 2
    first = min(max(middle - wide / 2, whole[0]), max(whole[1] - wide, whole[0]))
    return first, first + wide
