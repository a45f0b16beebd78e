"""The drawing of an install with two circuits, stroke by stroke and word by word: a ladder on a grid of its own."""

import re
import tomllib
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from benchlog.find.drawing import beliefs_of, drawing_of, in_words, shade
from benchlog.find.hunt import Suspect
from benchlog.find.questions import Question, voltage
from benchlog.plan.model import Plan, plan_from_mapping

PLAN_FILE = Path(__file__).parent.parent / "sample_data" / "larch.plan.toml"
SVG = "{http://www.w3.org/2000/svg}"
Spot = tuple[int, int]


def plan(slots: tuple[int, ...] = (1, 4), device: str = "heated grips") -> Plan:
    """The sample plan with these circuits."""
    data = tomllib.loads(PLAN_FILE.read_text(encoding="utf-8"))
    data["circuit"] = [data["circuit"][0] | {"slot": slot, "device": device, "planned_a": 1.0} for slot in slots]
    return plan_from_mapping(data)


def drawn(
    suspects: list[Suspect] | None = None, question: Question | None = None, of: Plan | None = None
) -> ET.Element:
    """The drawing's root."""
    return ET.fromstring(drawing_of(of or plan(), suspects or [], question))


def number(element: ET.Element, name: str) -> int:
    """A whole number among its attributes."""
    return int(element.attrib[name])


def strokes(root: ET.Element) -> dict[str, tuple[Spot, Spot]]:
    """Place -> where its stroke begins and ends."""
    return {
        line.attrib["data-place"]: (
            (number(line, "x1"), number(line, "y1")),
            (number(line, "x2"), number(line, "y2")),
        )
        for line in root.iter(f"{SVG}line")
        if "data-place" in line.attrib
    }


def words(root: ET.Element) -> dict[str, tuple[int, int, str, bool]]:
    """Text -> x, y, anchor and whether it is soft."""
    return {
        str(text.text): (number(text, "x"), number(text, "y"), text.attrib["text-anchor"], "class" in text.attrib)
        for text in root.iter(f"{SVG}text")
    }


def test_every_place_has_its_stroke():
    """The feed down the left from battery +, a rung a circuit, the bus up the right to battery -, the trigger above."""
    assert strokes(drawn()) == {
        "battery": ((44, 44), (316, 44)),
        "bike": ((104, 74), (256, 74)),
        "charging": ((104, 104), (256, 104)),
        "measurement": ((104, 134), (256, 134)),
        "trigger source": ((44, 164), (132, 164)),
        "key line to 86": ((132, 164), (180, 164)),
        "coil": ((180, 164), (244, 164)),
        "85 to battery -": ((244, 164), (316, 164)),
        "battery + to fuse in": ((44, 44), (44, 194)),
        "feed fuse": ((44, 194), (44, 224)),
        "fuse out to 30": ((44, 224), (44, 254)),
        "contact": ((44, 254), (44, 284)),
        "87 to block": ((44, 284), (44, 314)),
        "fuse 1": ((44, 360), (110, 360)),
        "slot 1 to device": ((110, 360), (176, 360)),
        "device 1": ((176, 360), (240, 360)),
        "device 1 to bus": ((240, 360), (316, 360)),
        "fuse 4": ((44, 406), (110, 406)),
        "slot 4 to device": ((110, 406), (176, 406)),
        "device 4": ((176, 406), (240, 406)),
        "device 4 to bus": ((240, 406), (316, 406)),
        "bus to battery -": ((316, 406), (316, 44)),
    }


def test_each_stroke_is_followed_by_its_line():
    """What is shaded lies under a line at the same place."""
    lines = list(drawn().iter(f"{SVG}line"))
    ends = [tuple(line.attrib[name] for name in ("x1", "y1", "x2", "y2")) for line in lines]

    assert ends[::2] == ends[1::2]
    assert {line.attrib["class"] for line in lines[::2]} == {"shade s0"}
    assert {line.attrib["class"] for line in lines[1::2]} == {"line"}


def test_words_stand_beside_what_they_name():
    """Points beside the feed and under the trigger's side, devices above their rungs, slots on their devices."""
    assert words(drawn()) == {
        "battery": (180, 48, "middle", False),
        "bike": (180, 78, "middle", False),
        "charging": (180, 108, "middle", False),
        "logger": (180, 138, "middle", False),
        "coil": (212, 168, "middle", False),
        "trigger source": (88, 154, "middle", True),
        "battery +": (14, 32, "start", True),
        "battery -": (350, 32, "end", True),
        "fuse in": (58, 198, "start", True),
        "fuse out": (58, 228, "start", True),
        "30": (58, 258, "start", True),
        "87": (58, 288, "start", True),
        "block": (58, 318, "start", True),
        "key line": (132, 184, "middle", True),
        "86": (180, 184, "middle", True),
        "85": (244, 184, "middle", True),
        "1": (208, 364, "middle", False),
        "4": (208, 410, "middle", False),
        "heated grips": (110, 391, "start", True),
        "bus": (340, 426, "end", True),
    }


def signs(root: ET.Element) -> list[tuple[str, ...]]:
    """What is drawn on the strokes, with its place and size."""
    return [
        (part.tag.removeprefix(SVG), *(value for name, value in part.attrib.items() if name != "class"))
        for part in root.iter()
        if part.attrib.get("class") == "part"
    ]


def test_each_part_has_its_sign():
    """Boxes for battery, bike, charging, logger and coil, circles for switches and devices, fuses up and across."""
    assert signs(drawn()) == [
        ("rect", "140", "31", "80", "26", "3"),
        ("rect", "134", "64", "92", "20", "3"),
        ("rect", "134", "94", "92", "20", "3"),
        ("rect", "134", "124", "92", "20", "3"),
        ("circle", "88", "164", "7"),
        ("rect", "196", "155", "32", "18"),
        ("rect", "38", "199", "12", "20"),
        ("circle", "44", "269", "7"),
        ("rect", "64", "355", "26", "11"),
        ("circle", "208", "360", "11"),
        ("rect", "64", "401", "26", "11"),
        ("circle", "208", "406", "11"),
    ]


def test_paths_are_rails_fuse_wires_and_switch_levers():
    """The block's rail, the two lines of the bike's own side, and what is in a fuse and a switch."""
    paths = [path.attrib["d"] for path in drawn().iter(f"{SVG}path")]

    assert paths == [
        "M44 314V406",
        "M44 74H316",
        "M44 104H316",
        "M83 169L93 159",
        "M44 199V219",
        "M39 274L49 264",
        "M64 360H90",
        "M64 406H90",
    ]


@pytest.mark.parametrize(("slots", "height"), [((), 354), ((2,), 400), ((1, 4), 446)])
def test_each_circuit_makes_it_46_higher(slots: tuple[int, ...], height: int):
    """40 below the last rung; without a circuit there is no rail of the block."""
    root = drawn(of=plan(slots))
    rails = [path for path in root.iter(f"{SVG}path") if "stroke-width:4" in path.attrib.get("style", "")]

    assert (root.attrib["viewBox"], root.attrib["width"], root.attrib["height"]) == (
        f"0 0 360 {height}", "360", str(height),
    )  # fmt: skip
    assert len(rails) == bool(slots)


@pytest.mark.parametrize(
    ("belief", "step"),
    [
        (0.0049, 0),
        (0.005, 1),
        (0.0199, 1),
        (0.02, 2),
        (0.079, 2),
        (0.08, 3),
        (0.249, 3),
        (0.25, 4),
        (0.59, 4),
        (0.6, 5),
    ],
)
def test_belief_becomes_a_shade(belief: float, step: int):
    """Six steps, each two pixels wider than the one before."""
    assert shade(belief) == step
    line = next(
        line
        for line in drawn([Suspect("feed fuse", "open", belief)]).iter(f"{SVG}line")
        if line.attrib.get("data-place") == "feed fuse"
    )
    assert line.attrib["class"] == f"shade s{step}"
    assert line.attrib["stroke-width"] == str(5 + 2 * step)


def test_large_beliefs_are_written_beside_their_places():
    """From 10 % on: left of the feed, right of the bus, under a rung."""
    places = {"feed fuse": 0.101, "bus to battery -": 0.2, "device 1": 0.3, "fuse 4": 0.099}
    told = words(drawn([Suspect(place, "open", belief) for place, belief in places.items()]))

    assert told["10 %"] == (32, 213, "end", False)
    assert told["20 %"] == (328, 229, "start", False)
    assert told["30 %"] == (208, 384, "middle", False)
    assert [text for text in told if "%" in text] == ["10 %", "30 %", "20 %"]


def test_beliefs_of_one_place_add_up():
    """All kinds of a place together; the relay's socket with its contact."""
    suspects = [Suspect("contact", "open", 0.2), Suspect("relay socket", "wrong terminal", 0.3),
                Suspect("contact", "stuck", 0.1), Suspect("feed fuse", "open", 0.4)]  # fmt: skip

    assert beliefs_of(suspects) == pytest.approx({"contact": 0.6, "feed fuse": 0.4})


def test_the_likeliest_four_in_words():
    """For those who do not see the drawing; what is not shaded is not named."""
    suspects = [Suspect(place, "open", belief) for place, belief in
                (("a", 0.004), ("b", 0.005), ("c", 0.5), ("d", 0.3), ("e", 0.02), ("f", 0.1))]  # fmt: skip

    assert in_words(suspects).endswith("marked: c 50 %, d 30 %, f 10 %, e 2 %.")
    assert in_words(suspects[:3]).endswith("marked: c 50 %, b 0 %.")


def test_probes_stand_at_their_points():
    """Red at the first, black at the second, their letters in the middle; without a voltage there are none."""
    root = drawn(question=voltage("fuse in", "device 4 -", "all on", 5.0))
    probes = [
        (circle.attrib["class"], number(circle, "cx"), number(circle, "cy"), circle.attrib["r"])
        for circle in root.iter(f"{SVG}circle")
        if circle.attrib["class"] != "part"
    ]
    letters = {str(text.text): (number(text, "x"), number(text, "y")) for text in root.iter(f"{SVG}text")}

    assert probes == [("red", 44, 194, "8"), ("black", 240, 406, "8")]
    assert (letters["R"], letters["B"]) == ((44, 198), (240, 410))
    look = Question("feed fuse intact", "look", "power off", 1.0, of="feed fuse intact")
    assert not re.search('class="red"', drawing_of(plan(), [], look) + drawing_of(plan(), [], None))


@pytest.mark.parametrize(
    ("point", "spot"),
    [
        ("battery +", (44, 44)), ("battery -", (316, 44)), ("key line", (132, 164)), ("86", (180, 164)),
        ("85", (244, 164)), ("fuse out", (44, 224)), ("30", (44, 254)), ("87", (44, 284)), ("block", (44, 314)),
        ("slot 1", (110, 360)), ("device 1 +", (176, 360)), ("device 1 -", (240, 360)), ("bus", (316, 406)),
    ],
)  # fmt: skip
def test_each_point_has_its_spot(point: str, spot: Spot):
    """Where the strokes on either side of it meet."""
    root = drawn(question=voltage(point, "bus", "all on", 1.0))
    red = next(circle for circle in root.iter(f"{SVG}circle") if circle.attrib["class"] == "red")

    assert (number(red, "cx"), number(red, "cy")) == spot


@pytest.mark.parametrize(("letters", "shown"), [(34, "x" * 34), (35, "x" * 33 + "…")])
def test_long_names_of_devices_are_cut(letters: int, shown: str):
    """34 letters fit."""
    assert shown in words(drawn(of=plan((1,), "x" * letters)))


def test_names_are_only_text():
    """A device named like a tag is shown, not obeyed."""
    assert "<b>" in words(drawn(of=plan((1,), "<b>")))
