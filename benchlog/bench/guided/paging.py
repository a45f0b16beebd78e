"""The page that the tester sees, as lines: whole where there is room, and what to leave out where there is not."""

import textwrap
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.bench.guided.letters import large, word_of
from benchlog.bench.guided.view import View
from benchlog.core.printable import printable

WIDTH, HEIGHT = 76, 24
#: Narrower than this, or lower than the usual height, a screen is small: what to do stands there in large letters.
_SMALL_WIDTH = 60
_KEYS = ("[Enter] done", "[s] leave out", "[a] again", "[p] pause", "[l] steps", "[q] stop")
_ANSWERS = ("[y] yes", "[n] no", "[q] stop")
_WALK_KEY = "[w] fuse walk"
_BRIDGE_KEYS = {"offered": ("[b] shunt bridged",), "on": ("[b] bridge is off",)}
_APART = "   "

Paint = Literal["plain", "bold", "caution"]


@dataclass(frozen=True, slots=True)
class ScreenLine:
    """One line of the page, and how it stands out."""

    text: str
    paint: Paint = "plain"


def values_line(last: Mapping[str, float]) -> str:
    """The newest values in words; role -> value, canonical unit, NaN where none."""
    return _APART.join(_values(last)) or "no values yet"


def _values(last: Mapping[str, float]) -> list[str]:
    parts = []
    if (volts := last.get("battery_v")) is not None:
        parts.append(f"Battery {_shown(volts, 'V', 2)}")
    if (amps := last.get("battery_a")) is not None:
        way = "" if not amps < -0.05 else " (charging)"
        parts.append(f"{_shown(abs(amps) if way else amps, 'A', 2)}{way}")
    if (drain := last.get("drain_a")) is not None and drain == drain:
        parts.append(f"Drain {drain * 1000:.2f} mA")
    for role, name in (("key_v", "Key"), ("trigger_v", "Trigger"), ("feed_v", "Feed")):
        if (volts := last.get(role)) is not None:
            state = "?" if volts != volts else "live" if volts > UP_ABOVE_V else "dead"
            parts.append(f"{name} {state}" + (f" {volts:.1f} V" if state != "?" and role == "feed_v" else ""))
    return parts


def _shown(value: float, unit: str, digits: int) -> str:
    return f"{value:.{digits}f} {unit}" if value == value else f"beyond range ({unit})"


def page(
    view: View, last: Mapping[str, float], news: tuple[str, ...], *, width: int = WIDTH, height: int = HEIGHT
) -> list[str]:
    """The lines of the screen, without colours: caution first, then what to do; the oldest news go where it is full."""
    return [line.text for line in page_lines(view, last, news, width, height)]


def page_lines(
    view: View, last: Mapping[str, float], news: tuple[str, ...], width: int, height: int, part: int = 0
) -> list[ScreenLine]:
    if view.steps:
        return _listing(view, width, height)
    if view.read_first and view.step.caution:
        return _to_read(view, last, width, height, part)
    told = [wrapped(text, width, "  · ", "    ") for text in news]
    values, keys = _values_lines(view, last, width), [ScreenLine("─" * width), *_joined(_keys_of(view), width)]
    small = height < HEIGHT or width < _SMALL_WIDTH
    whole = _fitted(_top(view, width, full=True), values, told, keys, height)
    if not small and len(whole) <= height:
        return whole
    # what was read is not shown cut; c shows it again
    top = [line for line in _top(view, width, full=not view.step.caution) if line.text and "─" not in line.text]
    short = [ScreenLine("  ".join(_short_keys(view))[:width])]
    for head in ([*_large(view, width), *top], top):
        whole = _fitted(head, values, told, short, height)
        if len(whole) <= height:
            break
    return whole[:height]


def _short_keys(view: View) -> tuple[str, ...]:
    """The keys on one line of a small screen, those that matter most first; l tells of the others."""
    if view.step.ask:
        return ("y yes", "n no", "q stop")
    if view.paused:
        return ("p go on", "q stop")
    return ("Enter done", *(["b bridge"] if view.bridge else []), "s out", "l steps", "q stop")


def _top(view: View, width: int, *, full: bool) -> list[ScreenLine]:
    """Step, caution, and what to do; the caution only where all of it is wanted."""
    step = view.step
    top = [*_title(view, width), ScreenLine("─" * width)]
    if step.caution:
        words = f"CAUTION  {step.caution}" if full else "CAUTION as read: c shows it"
        top += [ScreenLine(""), *wrapped(words, width, paint="caution")]
    top.append(ScreenLine(""))
    if view.typed:
        return [*top, *wrapped(f">> Go to step {view.typed}: Enter", width, "  ", "     ", "bold")]
    if view.paused:
        return [*top, *wrapped(">> PAUSED. Nothing is waited for; p goes on.", width, "  ", "     ", "bold")]
    if step.ask:
        asked = step.ask[:1].upper() + step.ask[1:]
        return [*top, *wrapped(f"?? {asked}", width, "  ", "     ", "bold")]
    top += wrapped(f">> {step.say}", width, "  ", "     ", "bold")
    if step.waiting_for:
        top += wrapped(f"Waiting for: {step.waiting_for}", width, "     ")
    if step.hint:
        top += wrapped(step.hint[:1].upper() + step.hint[1:], width, "     ")
    if view.by_itself:
        top += wrapped("The stand-in does this step itself.", width, "     ")
    return top


def _values_lines(view: View, last: Mapping[str, float], width: int) -> list[ScreenLine]:
    if view.silent_s:
        values = wrapped(f"No line from the logger for {view.silent_s:.0f} s.", width, "  ", paint="bold")
    else:
        values = _joined(_values(last) or ["no values yet"], width, "  ")
    if view.bridge == "on":
        values = [*wrapped("The shunt is bridged: no current is measured.", width, "  ", paint="bold"), *values]
    return values


def _keys_of(view: View) -> tuple[str, ...]:
    if view.step.ask:
        return _ANSWERS
    if view.paused:
        return ("[p] go on", "[q] stop")
    return (*_KEYS, *_BRIDGE_KEYS.get(view.bridge, ()), *([_WALK_KEY] if view.can_walk else []))


def _large(view: View, width: int) -> list[ScreenLine]:
    """What the step is, or how long it still lasts, to be read from a distance."""
    word = "?" if view.step.ask else word_of(view.step.id, view.step.waiting_for)
    return [ScreenLine(line, "bold") for line in large(word, width)]


def _title(view: View, width: int) -> list[ScreenLine]:
    step = view.step
    return wrapped(f"STEP {step.number} of {step.of}{_APART}{step.title.upper()}", width, paint="bold")


def _end_of(view: View, last: Mapping[str, float], width: int) -> list[ScreenLine]:
    """Values and keys under a caution."""
    gap, rule = [ScreenLine("")], [ScreenLine("─" * width)]
    return [*gap, *_values_lines(view, last, width), *gap, *rule, *_joined(_keys_of(view), width)]


def _to_read(view: View, last: Mapping[str, float], width: int, height: int, part: int) -> list[ScreenLine]:
    """A caution that stands alone, whole: part after part where the screen is too small for it."""
    step = view.step
    head = _title(view, width)
    lines = wrapped(f"CAUTION  {step.caution}", width, paint="caution")
    rule, gap = [ScreenLine("─" * width)], [ScreenLine("")]
    order = wrapped(">> Read the caution. Press Enter when you have.", width, "  ", "     ", "bold")
    hint = wrapped(step.hint[:1].upper() + step.hint[1:], width, "     ") if step.hint else []
    whole = [*head, *rule, *gap, *lines, *gap, *order, *hint]
    end = _end_of(view, last, width)
    if len(whole) + len(end) <= height:
        return [*whole, *end]
    if len(whole) <= height:
        return whole
    chunks = _chunks(head, lines, height)
    part = min(part, len(chunks) - 1)
    more = "Enter: the rest" if part < len(chunks) - 1 else "Read? Enter"
    foot = wrapped(f">> {more} ({part + 1} of {len(chunks)})", width, paint="bold")
    return [*head, *chunks[part], *foot][:height]


def _chunks(head: list[ScreenLine], lines: list[ScreenLine], height: int) -> list[list[ScreenLine]]:
    """The caution in parts that leave room for the title above and two lines below."""
    room = max(height - len(head) - 2, 1)
    return [lines[first : first + room] for first in range(0, len(lines), room)]


def parts_of(view: View, width: int, height: int) -> int:
    """How many parts the caution that is to be read takes on such a screen."""
    if not (view.read_first and view.step.caution):
        return 1
    if len(_to_read(view, {}, width, 1 << 20, 0)) - len(_end_of(view, {}, width)) <= height:
        return 1
    return len(_chunks(_title(view, width), wrapped(f"CAUTION  {view.step.caution}", width), height))


def _listing(view: View, width: int, height: int) -> list[ScreenLine]:
    """All steps and how they stand; those around the present one where not all fit."""
    keys = _joined(("[number, Enter] go there", "[l] back"), width)
    room = max(height - len(keys) - 2, 1)
    now = next((n for n, one in enumerate(view.steps) if one.standing == "now"), 0)
    first = max(min(now - room // 2, len(view.steps) - room), 0)
    lines = []
    for one in view.steps[first : first + room]:
        stands = one.standing.rjust(9)
        title = printable(one.title, "?")[: width - len(stands) - 5]
        text = f"{one.number:2}  {title}".ljust(width - len(stands)) + stands
        lines.append(ScreenLine(text, "bold" if one.standing == "now" else "plain"))
    head = wrapped(f"Go to step {view.typed}: Enter" if view.typed else "STEPS", width, paint="bold")
    return [*head[:1], *lines, ScreenLine("─" * width), *keys][:height]


def _fitted(
    top: list[ScreenLine], values: list[ScreenLine], told: list[list[ScreenLine]], keys: list[ScreenLine], height: int
) -> list[ScreenLine]:
    """All of it where there is room; else without the oldest news, then without empty lines, then without its end."""
    gap = [ScreenLine("")]
    while True:
        news = [line for lines in told for line in lines]
        whole = [*top, *gap, *values, *(gap if news else []), *news, *gap, *keys]
        if len(whole) <= height or not told:
            break
        told = told[1:]
    if len(whole) > height:
        whole = [line for line in whole if line.text]
    return whole


def wrapped(text: str, width: int, first: str = "", rest: str = "", paint: Paint = "plain") -> list[ScreenLine]:
    """The text in lines of this width."""
    return [ScreenLine(line, paint) for line in _lines(text, width, first, rest or " " * len(first))]


@lru_cache(maxsize=64)  # a step's page is drawn some ten times a second, with the same words
def _lines(text: str, width: int, first: str, rest: str) -> tuple[str, ...]:
    # a name in the plan must not steer the terminal
    plain = printable(text, "?")
    return tuple(textwrap.wrap(plain, width, initial_indent=first, subsequent_indent=rest)) or ("",)


def _joined(parts: Iterable[str], width: int, indent: str = "") -> list[ScreenLine]:
    """Parts beside one another as far as they fit; none is torn apart."""
    lines: list[str] = []
    for part in parts:
        if lines and len(lines[-1]) + len(_APART) + len(part) <= width:
            lines[-1] += _APART + part
        else:
            lines.append((indent + part)[:width])
    return [ScreenLine(line) for line in lines]
