"""Every test of an install with circuits on slots 1 and 4, by name: its minutes and its danger's."""

import pytest
from test_find_drawing import plan

from benchlog.find.beliefs import Knowledge
from benchlog.find.questions import LOG_DRAIN, OL_OHM, WIGGLED_TOGETHER, Question, questions_of

COSTS = {
    "voltage battery + to fuse in, all on": (1.5, 0.5),
    "voltage battery + to fuse out, all on": (1.5, 0.5),
    "voltage battery + to 30, all on": (1.5, 0.5),
    "voltage battery + to 87, all on": (1.5, 0.5),
    "voltage battery + to block, all on": (1.5, 0.5),
    "voltage fuse in to fuse out, all on": (1.5, 0.5),
    "voltage fuse in to 30, all on": (1.5, 0.5),
    "voltage fuse in to 87, all on": (1.5, 0.5),
    "voltage fuse in to block, all on": (1.5, 0.5),
    "voltage fuse out to 30, all on": (1.5, 0.5),
    "voltage fuse out to 87, all on": (1.5, 0),
    "voltage fuse out to block, all on": (1.5, 0),
    "voltage 30 to 87, all on": (1.5, 0.5),
    "voltage 30 to block, all on": (1.5, 0.5),
    "voltage 87 to block, all on": (1.5, 0),
    "voltage battery + to battery -, all on": (1.5, 0.5),
    "voltage fuse in to battery -, all on": (1.5, 0.5),
    "voltage fuse out to battery -, all on": (1.5, 0),
    "voltage 30 to battery -, all on": (1.5, 0.5),
    "voltage 87 to battery -, all on": (1.5, 0),
    "voltage block to battery -, all on": (1.5, 0),
    "voltage bus to battery -, all on": (1.5, 0),
    "voltage block to slot 1, all on": (1.5, 0),
    "voltage slot 1 to battery -, all on": (1.5, 0),
    "voltage slot 1 to device 1 +, all on": (5, 0),
    "voltage device 1 + to device 1 -, all on": (5, 0),
    "voltage device 1 + to bus, all on": (5, 0),
    "voltage device 1 - to bus, all on": (5, 0),
    "voltage block to battery - without slot 1, asleep": (2.5, 0),
    "voltage block to slot 4, all on": (1.5, 0),
    "voltage slot 4 to battery -, all on": (1.5, 0),
    "voltage slot 4 to device 4 +, all on": (5, 0),
    "voltage device 4 + to device 4 -, all on": (5, 0),
    "voltage device 4 + to bus, all on": (5, 0),
    "voltage device 4 - to bus, all on": (5, 0),
    "voltage block to battery - without slot 4, asleep": (2.5, 0),
    "voltage key line to battery -, key on": (3, 0),
    "voltage 86 to battery -, key on": (3, 0),
    "voltage 85 to battery -, key on": (3, 0),
    "voltage 86 to 85, key on": (3, 0),
    "voltage key line to 86, key on": (3, 0),
    "voltage 85 to battery -, all on": (3, 0),
    "voltage battery + to key line, key on": (3, 0.5),
    "voltage 86 to battery -, asleep": (2, 0),
    "voltage block to battery -, asleep": (1.5, 0),
    "voltage 86 to battery - without relay, asleep": (3, 0),
    "voltage battery + to battery -, asleep": (3, 0.5),
    "voltage battery + to battery -, cranking": (3, 0.5),
    "voltage battery + to battery -, running": (3, 0.5),
    "current slot 1, all on": (2, 0),
    "current slot 4, all on": (2, 0),
    "current feed, all on": (2, 0),
    "current battery, running": (3, 0),
    "current battery, asleep": (2, 0),
    "drain": (4, 2),
    "drain without feed": (4, 2),
    "drain without bike fuse": (4, 2),
    "drain without charging": (6, 2),
    "drain without device 1, device 4": (8, 2),
    "drain without device 1": (4, 2),
    "drain without device 4": (4, 2),
    "drain without slot 1": (4, 2),
    "drain without slot 4": (4, 2),
    "resistance 86 to 85 without relay, power off": (4, 0),
    "resistance slot 1 to battery - without slot 1, device 1, power off": (5, 0),
    "resistance slot 4 to battery - without slot 4, device 4, power off": (5, 0),
    "resistance device 1 + to device 1 - without device 1, power off": (4, 0),
    "resistance device 4 + to device 4 - without device 4, power off": (4, 0),
    "resistance 30 to battery - without feed fuse, relay, power off": (4, 0),
    "resistance block to battery - without relay, slot 1, slot 4, power off": (5, 0),
    "click at the relay": (0.5, 0),
    "feed fuse intact": (1, 0),
    "voltage at 86 steady": (3, 0),
    "trigger wire alone lets the relay go in time": (8, 0),
    "this relay is in time on a fused lead of its own": (8, 0),
    "another relay is in time": (6, 0),
    "trigger clip on 86, feed clip on 87": (1, 0),
    "block's wire on 87": (3, 0),
    "charger and solar panel unplugged": (1, 0),
    "charging fuse and alternator plug intact": (3, 0),
    "fuse 1 intact": (0.7, 0),
    "fuse 4 intact": (0.7, 0),
    "device 1 works": (0.5, 0),
    "device 4 works": (0.5, 0),
    "wiggle battery + to fuse in changes nothing": (2, 0),
    "wiggle fuse out to 30 changes nothing": (2, 0),
    "wiggle 87 to block changes nothing": (2, 0),
    "wiggle bus to battery - changes nothing": (2, 0),
    "wiggle battery + to 30 changes nothing": (2, 0),
    "wiggle fuse out to block changes nothing": (2, 0),
    "wiggle battery + to block changes nothing": (2, 0),
    "lamp in place of fuse 1 dark without device 1": (4, 0),
    "lamp in place of fuse 4 dark without device 4": (4, 0),
    "lamp in place of feed fuse dark without relay": (3, 0),
    "lamp in place of feed fuse dark without slot 1, slot 4": (4, 0),
    "new feed fuse holds": (3, 2),
    "new fuse 1 holds": (3, 2),
    "new fuse 4 holds": (3, 2),
    "no wake-up in the watch without device 1, device 4": (68, 2),
    "asleep in time without device 1, device 4": (16, 2),
    "no wake-up in the watch without device 1": (64, 2),
    "asleep in time without device 1": (12, 2),
    "no wake-up in the watch without device 4": (64, 2),
    "asleep in time without device 4": (12, 2),
    "no wake-up in the watch without bike fuse": (64, 2),
    "asleep in time without bike fuse": (12, 2),
}


@pytest.fixture(scope="module")
def tests() -> dict[str, Question]:
    """By name."""
    return {question.name: question for question in questions_of(plan((1, 4)))}


def test_each_test_is_there_once_with_its_cost(tests: dict[str, Question]):
    """Minutes and danger of each, in this order, and no other."""
    assert {name: (one.minutes, one.danger) for name, one in tests.items()} == COSTS
    assert list(tests) == list(COSTS)
    assert len(tests) == len(questions_of(plan((1, 4))))
    assert all(one.cost == one.minutes + one.danger for one in tests.values())


def test_points_and_what_is_out_are_those_of_the_name(tests: dict[str, Question]):
    """A name holds the two points, what is out and the state, so that two tests never share one."""
    for one in tests.values():
        less = f" without {', '.join(one.without)}" if one.without else ""
        if one.kind in ("voltage", "resistance"):
            assert one.name == f"{one.kind} {one.start} to {one.end}{less}, {one.state}"
        elif one.kind == "current":
            assert (one.name, one.how) == (f"current {one.of}, {one.state}", "clamp")
        elif one.kind == "drain":
            assert (one.name, one.state) == (f"drain{less}", "asleep")
        else:
            assert one.name == one.of
            assert one.of.endswith(less)


def test_looks_have_no_unit(tests: dict[str, Question]):
    """All else is in V, A, mA or ohm."""
    units = {one.kind: one.unit for one in tests.values()}

    assert units == {"voltage": "V", "current": "A", "drain": "mA", "resistance": "Ω", "look": ""}


@pytest.mark.parametrize(
    ("slots", "sets"),
    [
        ((), []),
        ((2,), [("device 2",)]),
        ((1, 2, 3), [("device 1", "device 2", "device 3"), ("device 1",), ("device 2", "device 3"), ("device 2",),
                     ("device 3",)]),
    ],
)  # fmt: skip
def test_devices_are_unplugged_by_halves(slots: tuple[int, ...], sets: list[tuple[str, ...]]):
    """All, each half, each half of those: an hour of sleep for each device alone is dear."""
    found = [one for one in questions_of(plan(slots)) if one.kind == "drain"]
    at = [one.without for one in found if one.without and one.without[0].startswith("device")]

    assert at == sets
    assert [one.minutes for one in found if one.without in sets] == [4.0 + 4.0 * (len(each) - 1) for each in sets]


def test_joints_are_moved_one_by_one_and_together():
    """Each of four places, and the path from the battery by halves."""
    one, two, three, four = "battery + to fuse in", "fuse out to 30", "87 to block", "bus to battery -"

    assert {
        **{place: (place,) for place in (one, two, three, four)},
        "battery + to 30": (one, two),
        "fuse out to block": (two, three),
        "battery + to block": (one, two, three),
    } == WIGGLED_TOGETHER


def test_the_logs_own_drain_is_asked_of_nobody():
    """A log has the mean; a meter is read between two wakes."""
    known = Knowledge(plan(()))

    assert LOG_DRAIN.name in known.questions
    assert LOG_DRAIN.name not in known.asked
    assert (LOG_DRAIN.kind, LOG_DRAIN.unit, LOG_DRAIN.cost) == ("drain", "mA", 0.0)


def test_an_open_circuit_is_a_million_ohms():
    """What OL is taken as."""
    assert OL_OHM == 1_000_000
