"""What was heard on a port, as text."""

import math
from collections.abc import Sequence

from benchlog.bench.listening.hearing import Heard
from benchlog.bench.listening.known import Recognised
from benchlog.bench.listening.prospects import Prospect
from benchlog.bench.recording.screen import values_in_words
from benchlog.core.numbers import number, sides, unit_suffix

#: A step this much longer than the others is a sample that was missed.
_MISSED = 1.5


def heard_lines(heard: Heard, found: Recognised | None) -> list[str]:
    """Which logger it is, how it speaks, and what it says now; the first line goes beside the port's name."""
    if found is None:
        if heard.data:
            return [
                "something arrives, but no lines that make sense at any baud rate tried: no logger, or switched off"
            ]
        return ["nothing arrives: no logger, or one that is switched off"]
    assert heard.form is not None
    named = found.logger.name if found.logger is not None and found.from_file else None
    what = named or ("a logger whose columns are role names" if found.logger is not None else "an unknown logger")
    lines = [what, f"  {_speaks(heard, found)}"]
    if found.last:
        lines.append(f"  {values_in_words({role: v for role, v in found.last.items() if math.isfinite(v)})}")
    if found.logger is None:
        lines.append(f"  columns: {', '.join(heard.form.columns)}; what they mean a logger file has to say (--logger)")
    elif not found.from_file:
        lines.append("  its accuracy is not stated: no level can be proven without a logger file")
    return lines


def _speaks(heard: Heard, found: Recognised) -> str:
    rate = f"{number(found.rate_hz)} samples a second" if found.rate_hz else "a rate that is not known yet"
    parts = [rate]
    if heard.baud is not None:
        parts.append(f"{heard.baud:,} baud")
    assert heard.form is not None
    parts.append({"xor": "XOR checksums", "crc": "CRC-16 checksums"}.get(heard.form.checksum, "no checksums"))
    if found.refused:
        parts.append(f"{found.refused} of {found.kept + found.refused} lines refused")
    if found.widest_step > _MISSED:
        parts.append(f"samples missing: the longest step was {found.widest_step:.0f} times the usual one")
    return ", ".join(parts)


def prospect_lines(bike: str, found: Sequence[Prospect]) -> list[str]:
    """What it could prove of the plan, one check a line."""
    if not found:
        return [f"  the plan of {bike} sets no limit that a log would have to prove"]
    return [f"  of the plan of {bike} it could prove (k = 2, without noise):", *(f"    {_line(one)}" for one in found)]


def _line(one: Prospect) -> str:
    unit = unit_suffix(one.check.kind.unit)
    title = one.check.title[0].lower() + one.check.title[1:]
    limit = "" if one.check.kind.unit == "1" or _by_words(one) else f", {sides(one.limit.min, one.limit.max)}{unit}"
    answer = "yes" if one.can else "with a zero" if one.can_zeroed else "no"
    return f"{title}{limit}: {answer}{_why(one, unit)}"


def _by_words(one: Prospect) -> bool:
    return one.check.kind.limit_words is not None


def _why(one: Prospect, unit: str) -> str:
    if one.lacks:
        return f", {one.lacks}"
    if one.expanded is None:
        return ""
    text = f", ± {_two(one.expanded)}{unit}"
    return text if one.zeroed is None else f"{text}, with a zero ± {_two(one.zeroed)}{unit}"


def _two(value: float) -> str:
    """An uncertainty to two digits."""
    return number(float(f"{value:.2g}"))
