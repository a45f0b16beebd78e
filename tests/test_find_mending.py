"""What is done about each fault of the table, which check is taken again, and how common each fault is."""

import pytest
from test_find_drawing import plan

from benchlog.find.flaws import OF_CAUSE, SOMETHING_ELSE, TABLE, Flaw, flaws_of, prior
from benchlog.find.mending import MENDS, check_again, mend
from benchlog.verdict.result import Cause, Result

#: (place, kind) -> how its mending begins, and the check to take again.
MENDED = {
    ("battery + to fuse in", "open"): ("Follow the wire between these two ", "feed_drop"),
    ("battery + to fuse in", "resistive"): ("Take the joint apart, clean it to ", "feed_drop"),
    ("battery + to fuse in", "intermittent"): ("Move each joint between these poin", "relay_chatter"),
    ("feed fuse", "open"): ("Find out why it blew before a new ", "feed_drop"),
    ("feed fuse", "resistive"): ("Take the joint apart, clean it to ", "feed_drop"),
    ("fuse out to 30", "open"): ("Follow the wire between these two ", "feed_drop"),
    ("fuse out to 30", "resistive"): ("Take the joint apart, clean it to ", "feed_drop"),
    ("fuse out to 30", "intermittent"): ("Move each joint between these poin", "relay_chatter"),
    ("fuse out to 30", "short"): ("Find where the wire touches, mend ", "feed_drop"),
    ("contact", "open"): ("Replace the relay; look at the bla", "feed_drop"),
    ("contact", "resistive"): ("Take the joint apart, clean it to ", "feed_drop"),
    ("contact", "stuck"): ("Replace the relay, and look for th", "feed_off_voltage"),
    ("87 to block", "open"): ("Follow the wire between these two ", "feed_drop"),
    ("87 to block", "resistive"): ("Take the joint apart, clean it to ", "feed_drop"),
    ("87 to block", "intermittent"): ("Move each joint between these poin", "relay_chatter"),
    ("87 to block", "short"): ("Find where the wire touches, mend ", "feed_drop"),
    ("fuse 4", "open"): ("Find out why it blew before a new ", "slot_4_current"),
    ("fuse 4", "resistive"): ("Take the joint apart, clean it to ", "slot_4_current"),
    ("slot 4 to device", "open"): ("Follow the wire between these two ", "slot_4_current"),
    ("slot 4 to device", "resistive"): ("Take the joint apart, clean it to ", "slot_4_current"),
    ("slot 4 to device", "short"): ("Find where the wire touches, mend ", "slot_4_current"),
    ("device 4", "open"): ("Look at the device's switch and in", "slot_4_current"),
    ("device 4", "overload"): ("Compare its rating with the plan, ", "slot_4_current"),
    ("device 4", "short"): ("Replace the device; a fuse of the ", "slot_4_current"),
    ("device 4", "leak"): ("Move its supply to the fuse block ", "off_state_drain"),
    ("device 4", "wakes"): ("Set it to wake less often, or move", "off_state_drain"),
    ("device 4", "backfeeds"): ("Find its second supply, and take i", "off_state_drain"),
    ("device 4", "slow"): ("Set it to sleep sooner, or move it", "settle_time"),
    ("device 4 to bus", "open"): ("Follow the wire between these two ", "slot_4_current"),
    ("device 4 to bus", "resistive"): ("Take the joint apart, clean it to ", "slot_4_current"),
    ("bus to battery -", "open"): ("Follow the wire between these two ", "ground_lift"),
    ("bus to battery -", "resistive"): ("Take the joint apart, clean it to ", "ground_lift"),
    ("bus to battery -", "intermittent"): ("Move each joint between these poin", "relay_chatter"),
    ("battery", "weak"): ("Clean and tighten the posts, charg", "source_resistance"),
    ("charging", "open"): ("Look at the charging fuse and the ", "charging_voltage"),
    ("charging", "weak"): ("Plan less load, or use the heavy o", "charging_voltage"),
    ("charging", "overvoltage"): ("Look at the regulator's sense wire", "charging_voltage"),
    ("charging", "leak"): ("Unplug the regulator: if the drain", "off_state_drain"),
    ("charging", "backfeeds"): ("Take the charger or the solar pane", "off_state_drain"),
    ("key line to 86", "open"): ("Follow the wire between these two ", "relay_pull_in"),
    ("key line to 86", "resistive"): ("Take the joint apart, clean it to ", "relay_pull_in"),
    ("trigger source", "open"): ("Look at that circuit's own fuse an", "relay_pull_in"),
    ("trigger source", "resistive"): ("Take the joint apart, clean it to ", "relay_pull_in"),
    ("trigger source", "stuck"): ("Move the trigger to a circuit that", "feed_off_voltage"),
    ("trigger source", "slow"): ("Take the trigger from a circuit wi", "relay_drop_out"),
    ("trigger source", "wrong circuit"): ("Take the trigger from a line that ", "relay_chatter"),
    ("coil", "open"): ("Replace the relay.", "relay_pull_in"),
    ("coil", "slow"): ("Replace the relay, or take off wha", "relay_drop_out"),
    ("85 to battery -", "open"): ("Follow the wire between these two ", "relay_pull_in"),
    ("85 to battery -", "resistive"): ("Take the joint apart, clean it to ", "relay_pull_in"),
    ("relay socket", "open"): ("Follow the wire between these two ", "feed_drop"),
    ("relay socket", "resistive"): ("Take the joint apart, clean it to ", "feed_drop"),
    ("relay socket", "wrong terminal"): ("The fuse block's wire belongs on 8", "feed_off_voltage"),
    ("bike", "leak"): ("Move its supply to the fuse block ", "off_state_drain"),
    ("bike", "wakes"): ("Set it to wake less often, or move", "off_state_drain"),
    ("bike", "slow"): ("Ask the bike's service manual how ", "settle_time"),
    ("measurement", "wrong terminal"): ("Change the trigger's and the feed'", "feed_off_voltage"),
}


def test_each_fault_has_its_mending_and_its_check():
    """Every place and kind of an install with one circuit, the battery's negative lead off first."""
    flaws = flaws_of(plan((4,)))
    first = "Battery's negative lead off first. "
    told = {(flaw.place, flaw.kind): mend(flaw.place, flaw.kind) for flaw in flaws}

    assert all(text.startswith(first) for text in told.values())
    assert {pair: (text.removeprefix(first)[:34], check_again(*pair)) for pair, text in told.items()} == MENDED


def test_what_no_place_knows_is_mended_by_its_kind():
    """Each kind has its words."""
    assert mend("battery + to fuse in", "short").endswith(MENDS["short"])


#: Weights that are not one.
UNUSUAL = {
    ("battery + to fuse in", "resistive"): 2, ("feed fuse", "open"): 2, ("feed fuse", "resistive"): 2,
    ("contact", "resistive"): 2, ("fuse 1", "open"): 2, ("fuse 4", "open"): 2, ("bus to battery -", "resistive"): 2,
    ("battery", "weak"): 2, ("relay socket", "open"): 0.5, ("relay socket", "resistive"): 0.5,
}  # fmt: skip


def test_faults_are_as_common_as_the_table_says():
    """Twice as common as the others, or half."""
    flaws = flaws_of(plan((1, 4)))

    assert {(flaw.place, flaw.kind): flaw.common for flaw in flaws if flaw.common != 1} == UNUSUAL
    assert len(flaws) == sum(len(kinds) * (2 if "N" in place.split() else 1) for place, kinds in TABLE.items())
    assert [flaw.place for flaw in flaws if flaw.group != flaw.place] == ["relay socket"] * 2
    assert {flaw.group for flaw in flaws if flaw.group != flaw.place} == {"contact"}


def result(*causes: tuple[str, float, tuple[str, ...]]) -> Result:
    """One that names these causes: id, fit, checks explained."""
    return Result.model_construct(
        causes=tuple(Cause.model_construct(id=name, fit=fit, explains=explains) for name, fit, explains in causes)
    )


def beliefs(flaws: list[Flaw], given: Result | None) -> dict[tuple[str, str], float]:
    """(place, kind) -> its share, "something else" last."""
    shares = prior(flaws, given)
    return {(flaw.place, flaw.kind): share for flaw, share in zip(flaws, shares, strict=False)} | {
        (SOMETHING_ELSE, ""): shares[-1]
    }


def test_without_a_log_the_table_decides():
    """Something else 1 %, all others by how common they are."""
    flaws = flaws_of(plan((1, 4)))
    got = beliefs(flaws, None)
    total = sum(flaw.common for flaw in flaws)

    assert sum(got.values()) == pytest.approx(1.0)
    assert got[SOMETHING_ELSE, ""] == 0.01
    assert got["coil", "open"] == pytest.approx(0.99 / total)
    assert got["feed fuse", "open"] == pytest.approx(2 * 0.99 / total)


def test_a_named_cause_leaves_the_others_four_thousandths():
    """An open coil by the log, fit 0.8: its two places 0.804, all others 0.004 times how common they are."""
    flaws = flaws_of(plan((1, 4)))
    got = beliefs(flaws, result(("coil_open", 0.8, ())))

    assert got["coil", "open"] / got["bike", "leak"] == pytest.approx(0.804 / 0.004)
    assert got["85 to battery -", "open"] == pytest.approx(got["coil", "open"])
    assert got["feed fuse", "open"] / got["bike", "leak"] == pytest.approx(2.0)
    assert sum(got.values()) == pytest.approx(1.0)


def test_a_cause_that_hardly_fits_counts_a_twentieth():
    """As if its fit were 0.05."""
    got = beliefs(flaws_of(plan((1,))), result(("coil_open", 0.01, ())))

    assert got["coil", "open"] / got["bike", "leak"] == pytest.approx(0.054 / 0.004)


@pytest.mark.parametrize(
    ("explains", "suspected"),
    [(("slot_4_current",), {"4"}), ((), {"1", "4"}), (("feed_drop",), {"1", "4"}),
     (("slot_1_current", "slot_4_current"), {"1", "4"})],
)  # fmt: skip
def test_a_cause_is_of_the_slots_that_it_explains(explains: tuple[str, ...], suspected: set[str]):
    """Of all slots where it names none; places of no slot in any case."""
    got = beliefs(flaws_of(plan((1, 4))), result(("slot_dead", 0.9, explains), ("coil_open", 0.9, explains)))
    least = got["bike", "leak"]

    assert {slot for slot in ("1", "4") if got[f"device {slot} to bus", "open"] > 2 * least} == suspected
    assert got["coil", "open"] > 2 * least
    assert got["device 4", "leak"] == pytest.approx(least)


def test_a_cause_that_is_not_known_suspects_nothing():
    """As without a log; every cause that is known has its places."""
    flaws = flaws_of(plan((1,)))

    assert beliefs(flaws, result(("not_a_cause", 1.0, ()))) == pytest.approx(beliefs(flaws, None))
    for cause, places in OF_CAUSE.items():
        got = beliefs(flaws, result((cause, 1.0, ())))
        assert all(got[place.replace("N", "1"), kind] > 100 * 0.004 / sum(f.common for f in flaws)
                   for place, kind in places), cause  # fmt: skip
