"""What a look shows on each copy: the faults that make its statement false, and how surely."""

import numpy as np
import pytest
from test_find_forward import FLAWS, GOOD_ONES, PLAN, QUESTIONS, here

from benchlog.find.copies import COPIES, copies_of
from benchlog.find.forward import Forward


@pytest.fixture(scope="module")
def shown() -> dict[str, np.ndarray]:
    """Test -> what each copy shows."""
    forward = Forward(copies_of(PLAN, FLAWS), FLAWS)
    return {name: forward.values(question) for name, question in QUESTIONS.items()}


def false_with(shown: dict[str, np.ndarray], name: str) -> set[tuple[str, str]]:
    """The faults that make a statement false in some copy."""
    return {(flaw.place, flaw.kind) for flaw in FLAWS if (shown[name][here(flaw.place, flaw.kind)] < 0.5).any()}


@pytest.mark.parametrize(
    ("name", "faults"),
    [
        ("feed fuse intact", {("feed fuse", "open"), ("fuse out to 30", "short"), ("87 to block", "short")}),
        ("fuse 4 intact", {("fuse 4", "open"), ("slot 4 to device", "short"), ("device 4", "short")}),
        ("lamp in place of fuse 4 dark without device 4", {("slot 4 to device", "short")}),
        ("lamp in place of feed fuse dark without relay", {("fuse out to 30", "short")}),
        (
            "lamp in place of feed fuse dark without slot 1, slot 4",
            {("fuse out to 30", "short"), ("87 to block", "short")},
        ),
        ("new feed fuse holds", {("fuse out to 30", "short"), ("87 to block", "short")}),
        ("new fuse 4 holds", {("slot 4 to device", "short"), ("device 4", "short")}),
        ("wiggle 87 to block changes nothing", {("87 to block", "intermittent")}),
        (
            "wiggle battery + to 30 changes nothing",
            {("battery + to fuse in", "intermittent"), ("fuse out to 30", "intermittent")},
        ),
        ("no wake-up in the watch without device 1", {("device 4", "wakes"), ("bike", "wakes")}),
        ("no wake-up in the watch without bike fuse", {("device 1", "wakes"), ("device 4", "wakes")}),
        ("asleep in time without device 1, device 4", {("bike", "slow"), ("coil", "slow"), ("trigger source", "slow")}),
        ("voltage at 86 steady", {("trigger source", "wrong circuit")}),
        ("trigger wire alone lets the relay go in time", {("coil", "slow")}),
        ("this relay is in time on a fused lead of its own", {("coil", "slow")}),
        ("another relay is in time", {("trigger source", "slow")}),
        ("trigger clip on 86, feed clip on 87", {("measurement", "wrong terminal")}),
        ("block's wire on 87", {("relay socket", "wrong terminal")}),
        ("charger and solar panel unplugged", {("charging", "backfeeds")}),
        ("charging fuse and alternator plug intact", {("charging", "open")}),
    ],
)
def test_a_statement_is_false_with_these_faults(shown: dict[str, np.ndarray], name: str, faults: set[tuple[str, str]]):
    """And true with all others and on every good install."""
    assert false_with(shown, name) == faults
    assert (shown[name][GOOD_ONES] > 0.9).all()


def test_a_joint_opens_under_the_hand_in_85_of_100(shown: dict[str, np.ndarray]):
    """And something moves beside in 2 of 100."""
    values = shown["wiggle 87 to block changes nothing"]

    assert set(values[here("87 to block", "intermittent")].tolist()) == {0.15}
    assert set(values[GOOD_ONES].tolist()) == {0.98}


@pytest.mark.parametrize("place", ["slot 4 to device", "device 4 to bus"])
def test_a_device_works_from_eight_volts_on(shown: dict[str, np.ndarray], place: str):
    """With a poor wire before or behind it as long as 8 V are left; never with an open one of its own."""
    at = here(place, "resistive")
    volts = shown["voltage device 4 + to device 4 -, all on"][at]

    assert shown["device 4 works"][at].tolist() == (volts >= 8.0).tolist()
    assert 0 < (volts >= 8.0).sum() < COPIES
    assert not shown["device 4 works"][here("device 4", "open")].any()
    assert shown["device 1 works"][here("device 4", "open")].all()
