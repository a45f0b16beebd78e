"""The printed plan: complete, plain and 80 columns wide."""

import pytest
from test_advice import SOUND

from benchlog.plan.model import plan_from_mapping
from benchlog.report.plan import CAUTION, render_plan
from benchlog.verdict.registry.table import limits_of, not_planned

#: A plan with one load and no limit.
SMALL = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "circuit": [{"slot": 1, "device": "cool box", "planned_a": 3.0}],
}

LARCH = {
    "install": {"bike": "Larch", "notes": "rural\nvet's round bike"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "relay": {"trigger": "tail lamp", "coil_a": 0.14},
    "feed": {"fuse_a": 20, "conductor": "4 mm2", "length_m": 1.5, "drop_max_v": 0.3},
    "ground": {"conductor": "4 mm2", "length_m": 1.6},
    "circuit": [
        {"slot": 12, "device": "heated seat and heated grips together", "planned_a": 4.5},
        SOUND["circuit"][0],
    ],
    "limits": {"charging_min_v": 13.55, "charging_max_v": 14.85, "source_resistance_max_mohm": 40},
}
BARE = {"install": {"bike": "Larch"}, "battery": {"chemistry": "lifepo4", "capacity_ah": 4}}
WIDE = LARCH | {
    "install": {"bike": "Larch " * 30, "notes": "x" * 300 + "\x1b[31m"},
    "relay": {"trigger": "t" * 150, "suppression": "none", "coil_a": 0.4},
    "limits": {"feed_in_crank": "drop", "off_state_drain_ma": 123456.789, "crank_min_v": 7.123456},
}


def row(text, start):
    """The one line of a text that starts so, in words."""
    (found,) = [line.split() for line in text.splitlines() if line.split()[:1] == [start]]
    return found


@pytest.mark.parametrize("data", [LARCH, BARE, WIDE], ids=["full", "bare", "wide"])
def test_print_fits_80_columns(data):
    """Whatever a plan holds, no line is wider than a terminal, and none steers one."""
    lines = render_plan(plan_from_mapping(data)).splitlines()

    assert max(map(len, lines)) <= 80
    assert all(line.isprintable() for line in lines)


@pytest.mark.parametrize("data", [LARCH, BARE], ids=["full", "bare"])
def test_every_check_is_printed(data):
    """Each check stands among the limits or among those not planned."""
    plan = plan_from_mapping(data)
    text = render_plan(plan)

    assert [check_id for check_id in (*limits_of(plan), *not_planned(plan)) if check_id not in text] == []


def test_circuit_is_one_line():
    """Slot, device, planned current, limits, fuse, wire and its own drop: 3.5 A x 1.1 m x 19.5 mohm/m = 75 mV."""
    words = row(render_plan(plan_from_mapping(LARCH)), "1")

    assert " ".join(words) == "1 cool box 3.5 A 2.8 to 4 A 5 A 1 mm² 75 mV"


def test_small_currents_are_printed_in_milliampere():
    """A tracker of 25 mA ± 20 % is no row of zeros."""
    tracker = {"slot": 2, "device": "tracker", "planned_a": 0.025}
    text = render_plan(plan_from_mapping(LARCH | {"circuit": [tracker]}))

    assert " ".join(row(text, "2")) == "2 tracker 25 mA 20 to 30 mA none - -"


def test_circuits_come_by_slot():
    """In the order of the fuse block, not of the file."""
    text = render_plan(plan_from_mapping(LARCH))

    assert text.index("1  cool box") < text.index("2  heated seat and")


def test_paths_show_wire_allowance_and_drop():
    """Feed at 8 A: 1.5 m x 4.95 mohm/m + 11.5 mohm = 18.9 mohm, 151 mV; worked by hand."""
    text = render_plan(plan_from_mapping(LARCH))

    assert "feed    4 mm², 1.5 m      7.4 mΩ    11.5 mΩ   18.9 mΩ    151 mV" in text
    assert "feed allowance: 3.0 mΩ joints, 3.5 mΩ fuse, 5.0 mΩ relay contact" in text


def test_limits_say_where_they_come_from():
    """Given limits name their key, derived ones their working."""
    text = render_plan(plan_from_mapping(LARCH))

    assert "feed_drop         at most 0.3 V    given   feed.drop_max_v" in text
    assert "charging_voltage  13.55 to 14.85 V given   limits.charging_min_v" in text
    assert "ground_lift       at most 0.0853 V derived 8 A x (9.2 mΩ of wire at 60 °C" in text
    assert row(text, "relay_chatter")[1:5] == ["at", "most", "0", "given"]


def test_crank_limits_are_words():
    """A limit of 0 s would say little."""
    held = render_plan(plan_from_mapping(LARCH | {"limits": {"feed_in_crank": "hold"}}))

    assert row(held, "feed_in_crank")[1:3] == ["no", "loss"]
    assert row(render_plan(plan_from_mapping(WIDE)), "feed_in_crank")[1:5] == ["a", "loss", "is", "seen"]


def test_remarks_stand_before_the_figures():
    """What is dangerous is read first."""
    text = render_plan(plan_from_mapping(LARCH | {"feed": {"fuse_a": 40, "conductor": "1 mm2"}}))

    assert text.index("FIRE RISK") < text.index("Circuits")


def test_caution_closes_the_print():
    """Fuse near the battery, service manual."""
    text = " ".join(render_plan(plan_from_mapping(BARE)).split())

    assert text.endswith(CAUTION)
    assert "service manual" in CAUTION


def test_impossible_range_is_not_printed_as_one():
    """Where the plan and the fuse contradict each other, no range from more to less is printed."""
    text = render_plan(
        plan_from_mapping({**BARE, "circuit": [{"slot": 1, "device": "pump", "planned_a": 6, "fuse_a": 5}]})
    )

    assert "4.8 to 4" not in text
    assert text.count("none fits") == 2
    assert "no current can pass its check" in " ".join(text.split())


def test_alternator_and_trigger_fuse_stand_at_the_head():
    """What is needed is held against what the alternator gives, at speed and at idle; the trigger's fuse is named."""
    plan = {
        **SMALL,
        "alternator": {"speed_a": 28, "idle_a": 10},
        "relay": {"trigger": "tail lamp", "trigger_fuse_a": 1},
    }
    head = " ".join(render_plan(plan_from_mapping(plan)).partition("\n\n")[0].split())

    assert "alternator 3 A needed, the bike's own need not known; it gives 28 A at speed and 10 A at idle" in head
    assert "its trigger wire fused with 1 A" in head
    assert "alternator" not in render_plan(plan_from_mapping(SMALL))


def test_what_is_not_planned_comes_first():
    """Right after the head stands what no check will judge, each with the keys that set it."""
    blocks = render_plan(plan_from_mapping(SMALL)).split("\n\n")

    assert blocks[1].startswith("Not planned (no limit given), and what sets it")
    assert "limits.off_state_drain_ma" in blocks[1]
