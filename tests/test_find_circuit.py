"""What a good part of the path resists, worked out by hand for one plan, and where the plan says nothing."""

import pytest
from test_find_drawing import plan

from benchlog.find.circuit import parts_of, points_of
from benchlog.plan.model import Plan, plan_from_mapping

#: mΩ/m at 20 °C of 4 and 1 mm2 (IEC 60228, class 5), and how much more copper has at 60 °C (IEC 60028).
FOUR, ONE, HOT = 4.95, 19.5, 1 + 0.00393 * 40
BARE = {"install": {"bike": "Larch"}, "battery": {"chemistry": "agm", "capacity_ah": 11.2}}


def ranges(of: Plan) -> dict[str, tuple[float, float]]:
    """Place -> mΩ."""
    return {part.place: (1000 * part.low_ohm, 1000 * part.high_ohm) for part in parts_of(of)}


def wire(mohm_per_m: float, metres: float, joints: int) -> tuple[float, float]:
    """Half of a good one when cold; 1.4 times when hot, and joints of 0.5 mΩ that aged to three times as much."""
    return 0.5 * (mohm_per_m * metres + 0.5 * joints), 1.4 * mohm_per_m * metres * HOT + 2 * 1.5 * 0.5 * joints


def fuse(rated_a: float) -> tuple[float, float]:
    """70 mV over the rating, half of it to half as much again, and two joints that aged."""
    return 0.5 * 70 / rated_a, 1.5 * 70 / rated_a + 2 * 1.5 * 2 * 0.5


def test_the_feed_by_hand():
    """4 mm2, 1.5 m: a fifth to the fuse, 45 % to the relay, 35 % to the block; a fuse of 20 A."""
    assert ranges(plan(())) == {
        "battery": pytest.approx((6.0, 40.0)),
        "battery + to fuse in": pytest.approx(wire(FOUR, 0.3, 1)),
        "feed fuse": pytest.approx(fuse(20)),
        "fuse out to 30": pytest.approx(wire(FOUR, 0.675, 1)),
        "contact": pytest.approx((0.4 * 5.0, 2 * 5.0 + 2 * 0.5)),
        "87 to block": pytest.approx(wire(FOUR, 0.525, 1)),
        "bus to battery -": pytest.approx(wire(FOUR, 1.6, 2)),
        "trigger source": pytest.approx((50.0, 800.0)),
        "key line to 86": pytest.approx((5.0, 150.0)),
        "coil": pytest.approx((700 * 12.8 / 0.14, 1300 * 12.8 / 0.14)),
        "85 to battery -": pytest.approx((5.0, 150.0)),
    }


def test_a_circuit_by_hand():
    """1 mm2, 1.1 m to a device of 1 A ± 20 % at 12.8 V, behind a fuse of 5 A."""
    found = ranges(plan((3,)))

    assert found["fuse 3"] == pytest.approx(fuse(5))
    assert found["slot 3 to device"] == found["device 3 to bus"] == pytest.approx(wire(ONE, 1.1, 2))
    assert found["device 3"] == pytest.approx((12800 / 1.2, 12800 / 0.8))


def test_what_is_not_planned_is_taken_wider():
    """1.5 m of 2.5 mm2 to either side of twice as much or as little, fuses of 15 A, a coil of 0.15 A, 40 mΩ."""
    data = BARE | {"circuit": [{"slot": 1, "device": "x", "planned_a": 2.0, "tolerance_pct": 95.0}]}
    found = ranges(plan_from_mapping(data))
    low, high = wire(7.98, 1.5, 2)

    assert found["slot 1 to device"] == pytest.approx((low / 2, high * 2))
    assert found["bus to battery -"] == pytest.approx((low / 2, high * 2))
    low, high = wire(7.98, 0.3, 1)
    assert found["battery + to fuse in"] == pytest.approx((low / 2, high * 2))
    assert found["feed fuse"] == found["fuse 1"] == pytest.approx(fuse(15))
    assert found["coil"] == pytest.approx((700 * 12.8 / 0.15, 1300 * 12.8 / 0.15))
    assert found["battery"] == pytest.approx((6.0, 40.0))
    # a tolerance near 100 % leaves a tenth of the current
    assert found["device 1"] == pytest.approx((6400 / 1.95, 6400 / 0.1))


@pytest.mark.parametrize("known", [{"conductor": "4 mm2"}, {"length_m": 1.6}])
def test_half_a_wire_is_not_known(known: dict[str, object]):
    """Its size without its length, or the other way round: what is given counts, and the range is wide."""
    found = ranges(plan_from_mapping(BARE | {"ground": known}))["bus to battery -"]
    low, high = wire(FOUR, 1.5, 2) if "conductor" in known else wire(7.98, 1.6, 2)

    assert found == pytest.approx((low / 2, high * 2))


def test_the_planned_source_resistance_is_the_most():
    """The plan's own limit, 25 mΩ."""
    found = ranges(plan_from_mapping(BARE | {"limits": {"source_resistance_max_mohm": 25.0}}))

    assert found["battery"] == pytest.approx((6.0, 25.0))


def test_the_path_runs_from_part_to_part():
    """Each part between its two points, in the order of the current; the cell itself cannot be probed."""
    ends = {part.place: (part.start, part.end) for part in parts_of(plan((3,)))}

    assert ends == {
        "battery": ("cell", "battery +"),
        "battery + to fuse in": ("battery +", "fuse in"),
        "feed fuse": ("fuse in", "fuse out"),
        "fuse out to 30": ("fuse out", "30"),
        "contact": ("30", "87"),
        "87 to block": ("87", "block"),
        "fuse 3": ("block", "slot 3"),
        "slot 3 to device": ("slot 3", "device 3 +"),
        "device 3": ("device 3 +", "device 3 -"),
        "device 3 to bus": ("device 3 -", "bus"),
        "bus to battery -": ("bus", "battery -"),
        "trigger source": ("battery +", "key line"),
        "key line to 86": ("key line", "86"),
        "coil": ("86", "85"),
        "85 to battery -": ("85", "battery -"),
    }
    assert points_of(plan((3,))) == [
        "battery +", "fuse in", "fuse out", "30", "87", "block", "slot 3", "device 3 +", "device 3 -", "bus",
        "battery -", "key line", "86", "85",
    ]  # fmt: skip
