"""The install's path as a drawing (SVG), made from the plan: suspects darken, and the probes stand at their points.

A ladder: the feed runs down the left side from the battery's positive post, each circuit is a rung from the fuse block
to the ground bus, which runs up the right side to the negative post. The trigger's side is the upper rung.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

from benchlog.find.hunt import Suspect, share_words
from benchlog.find.questions import Question
from benchlog.plan.model import Plan, slots_in_order

WIDTH, LEFT, RIGHT, STEP, CIRCUIT_STEP = 360, 44, 316, 30, 46
#: Belief from which on a place is one shade darker, and the belief that is written beside it.
SHADES, SAID = (0.005, 0.02, 0.08, 0.25, 0.6), 0.10
_FEED = ("battery + to fuse in", "feed fuse", "fuse out to 30", "contact", "87 to block")
_TRIGGER = ("trigger source", "key line to 86", "coil", "85 to battery -")
_POINTS = ("battery +", "fuse in", "fuse out", "30", "87", "block")
_STYLE = """
text { font: 11px system-ui, sans-serif; fill: #1f2426 } .soft { fill: #565e62 } .shade { stroke-linecap: round }
.line { stroke: #1f2426; stroke-width: 1.5; fill: none } .part { fill: #fff; stroke: #1f2426; stroke-width: 1.5 }
.s0 { stroke: #d9d6cf } .s1 { stroke: #c3b8ac } .s2 { stroke: #b1957f } .s3 { stroke: #a8673f } .s4 { stroke: #a83200 }
.s5 { stroke: #6b1d00 } .red { fill: #c01414; stroke: #fff } .black { fill: #000; stroke: #fff }
@media (prefers-color-scheme: dark) {
text { fill: #e7e5e0 } .soft { fill: #a9b0b3 } .line { stroke: #e7e5e0 } .part { fill: #1e2325; stroke: #e7e5e0 }
.s0 { stroke: #32383b } .s1 { stroke: #4f453f } .s2 { stroke: #7a5a48 } .s3 { stroke: #b8795a } .s4 { stroke: #ff9d73 }
.s5 { stroke: #ffd9c7 } .red { fill: #ff5c5c; stroke: #000 } .black { fill: #000; stroke: #fff } }
"""


@dataclass(frozen=True, slots=True)
class _Stroke:
    """One place between two spots of the drawing; ``sign`` is what is drawn on it."""

    place: str
    start: tuple[int, int]
    end: tuple[int, int]
    sign: str = ""


def drawing_of(plan: Plan, suspects: Sequence[Suspect], question: Question | None) -> str:
    """The whole drawing, an SVG text.

    Args:
        plan: of the install.
        suspects: places and kinds with their beliefs.
        question: the test whose probes are shown; None for none.
    """
    slots = [circuit.slot for circuit in slots_in_order(plan)]
    belief = beliefs_of(suspects)
    strokes, spots, bottom = _laid_out(slots)
    block = spots["block"]
    rails = [f'<path class="line" style="stroke-width:4" d="M{LEFT} {block[1]}V{bottom - 40}"/>'] if slots else []
    rails += [f'<path class="line" d="M{LEFT} {y}H{RIGHT}"/>' for y in (44 + STEP, 44 + 2 * STEP)]
    parts = [*rails, *(_stroke(one, belief.get(one.place, 0.0)) for one in strokes)]
    parts += [_sign(one) for one in strokes if one.sign]
    parts += _names(plan, spots) + _said(strokes, belief)
    parts += _probes(question, spots)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {bottom}" width="{WIDTH}" height="{bottom}">'
        f"<style>{_STYLE}</style>{''.join(parts)}</svg>"
    )


def beliefs_of(suspects: Sequence[Suspect]) -> dict[str, float]:
    """Place -> belief in all its kinds of fault; the relay's socket counts with its contact."""
    found: dict[str, float] = {}
    for each in suspects:
        place = "contact" if each.place == "relay socket" else each.place
        found[place] = found.get(place, 0.0) + each.belief
    return found


def in_words(suspects: Sequence[Suspect]) -> str:
    """The drawing for those who do not see it: the likeliest places."""
    most = sorted(beliefs_of(suspects).items(), key=lambda item: -item[1])[:4]
    named = ", ".join(f"{place} {share_words(share)}" for place, share in most if share >= SHADES[0])
    return f"The path of the current; the more a place is suspected, the stronger it is marked: {named}."


def _laid_out(slots: Sequence[int]) -> tuple[list[_Stroke], dict[str, tuple[int, int]], int]:
    """Strokes, the spot of each point, and the height."""
    top = 44
    strokes = [_Stroke("battery", (LEFT, top), (RIGHT, top), "battery")]
    spots = {"battery +": (LEFT, top), "battery -": (RIGHT, top)}
    for number, place in enumerate(("bike", "charging", "measurement"), start=1):
        y = top + number * STEP
        strokes.append(_Stroke(place, (LEFT + 60, y), (RIGHT - 60, y), "box"))
    y = top + 4 * STEP
    at = [LEFT, LEFT + 88, LEFT + 136, LEFT + 200, RIGHT]
    signs = {"trigger source": "switch", "coil": "coil"}
    for number, place in enumerate(_TRIGGER):
        strokes.append(_Stroke(place, (at[number], y), (at[number + 1], y), signs.get(place, "")))
    spots |= {"key line": (at[1], y), "86": (at[2], y), "85": (at[3], y)}
    y0 = y
    for number, place in enumerate(_FEED, start=1):
        y1 = y + STEP
        start = (LEFT, top) if number == 1 else (LEFT, y0)
        sign = {"feed fuse": "fuse", "contact": "switch"}.get(place, "")
        strokes.append(_Stroke(place, start, (LEFT, y1), sign))
        spots[_POINTS[number]] = (LEFT, y1)
        y = y0 = y1
    for slot in slots:
        y += CIRCUIT_STEP
        strokes += _rung(slot, y)
        spots |= {f"slot {slot}": (LEFT + 66, y), f"device {slot} +": (LEFT + 132, y)}
        spots[f"device {slot} -"] = (LEFT + 196, y)
    spots["bus"] = (RIGHT, y)
    strokes.append(_Stroke("bus to battery -", (RIGHT, y), (RIGHT, top)))
    return strokes, spots, y + 40


def _rung(slot: int, y: int) -> list[_Stroke]:
    return [
        _Stroke(f"fuse {slot}", (LEFT, y), (LEFT + 66, y), "fuse"),
        _Stroke(f"slot {slot} to device", (LEFT + 66, y), (LEFT + 132, y)),
        _Stroke(f"device {slot}", (LEFT + 132, y), (LEFT + 196, y), "device"),
        _Stroke(f"device {slot} to bus", (LEFT + 196, y), (RIGHT, y)),
    ]


def shade(belief: float) -> int:
    """0 for the lightest to 5 for the darkest."""
    return sum(belief >= least for least in SHADES)


def _stroke(one: _Stroke, belief: float) -> str:
    (x1, y1), (x2, y2) = one.start, one.end
    step = shade(belief)
    return (
        f'<line class="shade s{step}" data-place="{escape(one.place)}" x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" '
        f'stroke-width="{5 + 2 * step}"/><line class="line" x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}"/>'
    )


def _sign(one: _Stroke) -> str:
    (x1, y1), (x2, y2) = one.start, one.end
    x, y = (x1 + x2) // 2, (y1 + y2) // 2
    upright = x1 == x2
    if one.sign == "fuse":
        wide, high = (12, 20) if upright else (26, 11)
        return f'<rect class="part" x="{x - wide // 2}" y="{y - high // 2}" width="{wide}" height="{high}"/>' + (
            f'<path class="line" d="M{x} {y - high // 2}V{y + high // 2}"/>'
            if upright
            else f'<path class="line" d="M{x - wide // 2} {y}H{x + wide // 2}"/>'
        )
    if one.sign == "switch":
        return (
            f'<circle class="part" cx="{x}" cy="{y}" r="7"/><path class="line" d="M{x - 5} {y + 5}L{x + 5} {y - 5}"/>'
        )
    if one.sign == "coil":
        return f'<rect class="part" x="{x - 16}" y="{y - 9}" width="32" height="18"/>'
    if one.sign == "device":
        return f'<circle class="part" cx="{x}" cy="{y}" r="11"/>'
    if one.sign == "battery":
        return f'<rect class="part" x="{x - 40}" y="{y - 13}" width="80" height="26" rx="3"/>'
    return f'<rect class="part" x="{x - 46}" y="{y - 10}" width="92" height="20" rx="3"/>'


def _names(plan: Plan, spots: Mapping[str, tuple[int, int]]) -> list[str]:
    middle = (LEFT + RIGHT) // 2
    named = [("battery", middle, 48, "middle"), ("bike", middle, 78, "middle"), ("charging", middle, 108, "middle")]
    named += [("logger", middle, 138, "middle"), ("coil", LEFT + 168, 168, "middle")]
    found = [_text(*one) for one in named]
    found += [
        _text("trigger source", LEFT + 44, 154, "middle", soft=True),
        _text("battery +", LEFT - 30, 32, "start", soft=True),
        _text("battery -", RIGHT + 34, 32, "end", soft=True),
    ]
    for point in ("fuse in", "fuse out", "30", "87", "block"):
        x, y = spots[point]
        found.append(_text(point, x + 14, y + 4, "start", soft=True))
    for point in ("key line", "86", "85"):
        x, y = spots[point]
        found.append(_text(point, x, y + 20, "middle", soft=True))
    for circuit in slots_in_order(plan):
        x, y = spots[f"device {circuit.slot} +"]
        found.append(_text(str(circuit.slot), x + 32, y + 4, "middle"))
        name = circuit.device if len(circuit.device) <= 34 else f"{circuit.device[:33]}…"
        found.append(_text(name, LEFT + 66, y - 15, "start", soft=True))
    x, y = spots["bus"]
    return [*found, _text("bus", x + 24, y + 20, "end", soft=True)]


def _said(strokes: Sequence[_Stroke], belief: Mapping[str, float]) -> list[str]:
    """The beliefs that are large enough to be written."""
    found = []
    for one in strokes:
        share = belief.get(one.place, 0.0)
        if share < SAID:
            continue
        (x1, y1), (x2, y2) = one.start, one.end
        x, y = (x1 + x2) // 2, (y1 + y2) // 2
        if x1 == x2:
            found.append(
                _text(f"{share_words(share)}", x - 12 if x == LEFT else x + 12, y + 4, "end" if x == LEFT else "start")
            )
        else:
            found.append(_text(f"{share_words(share)}", x, y + 24, "middle"))
    return found


def _probes(question: Question | None, spots: Mapping[str, tuple[int, int]]) -> list[str]:
    """The probes at their points."""
    if question is None or not question.start:
        return []
    found = []
    for point, colour, letter in ((question.start, "red", "R"), (question.end, "black", "B")):
        x, y = spots[point]
        found.append(
            f'<circle class="{colour}" cx="{x}" cy="{y}" r="8" stroke-width="2"/>'
            f'<text x="{x}" y="{y + 4}" text-anchor="middle" style="fill:#fff;font-weight:700">{letter}</text>'
        )
    return found


def _text(text: str, x: int, y: int, anchor: str, *, soft: bool = False) -> str:
    look = ' class="soft"' if soft else ""
    return f'<text x="{x}" y="{y}" text-anchor="{anchor}"{look}>{escape(text)}</text>'
