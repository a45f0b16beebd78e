"""What a meter shows on each copy: Ohm's and Kirchhoff's laws on the path, and the effect of each fault by hand."""

import numpy as np
import pytest
from test_find_drawing import plan

from benchlog.find.copies import COPIES, GOOD, LAMP_OHM, OPEN_OHM, Copies, copies_of
from benchlog.find.flaws import flaws_of
from benchlog.find.forward import Forward
from benchlog.find.network import Branch, voltages
from benchlog.find.questions import LOG_DRAIN, OL_OHM, questions_of

PLAN = plan((1, 4))
FLAWS = flaws_of(PLAN)
QUESTIONS = {question.name: question for question in [*questions_of(PLAN), LOG_DRAIN]}


@pytest.fixture(scope="module")
def copies() -> Copies:
    """Of an install with two circuits."""
    return copies_of(PLAN, FLAWS)


@pytest.fixture(scope="module")
def shown(copies: Copies) -> dict[str, np.ndarray]:
    """Test -> what each copy shows."""
    forward = Forward(copies, FLAWS)
    return {name: forward.values(question) for name, question in QUESTIONS.items()}


def here(place: str, kind: str) -> slice:
    """The copies of one fault."""
    index = next(n for n, flaw in enumerate(FLAWS) if (flaw.place, flaw.kind) == (place, kind))
    return slice(GOOD + index * COPIES, GOOD + (index + 1) * COPIES)


GOOD_ONES = slice(0, GOOD)


def test_a_divider_divides():
    """12 V over 1 and 3 ohm: 9 V; over 2 and 2 ohm: 6 V, in two copies at once."""
    found = voltages(
        [Branch("+", "middle", np.array([1.0, 2])), Branch("middle", "-", np.array([3.0, 2]))],
        ("+", np.array([12.0, 12])),
        "-",
    )

    assert found["middle"] == pytest.approx([9.0, 6.0])
    assert (found["+"].tolist(), found["-"].tolist()) == ([12, 12], [0, 0])


def test_a_bridge_is_solved():
    """Two dividers with a fifth resistance between: 8 V and 4 V without it, and by hand with 1 ohm."""
    one = np.ones(1)
    found = voltages(
        [Branch("+", "a", one), Branch("a", "-", 2 * one), Branch("+", "b", 2 * one), Branch("b", "-", one),
         Branch("a", "b", one)], ("+", 12 * one), "-",
    )  # fmt: skip
    # a: (12 - a) = a / 2 + (a - b); b: (12 - b) / 2 = b + (b - a)
    a, b = found["a"][0], found["b"][0]
    assert 12 - a == pytest.approx(a / 2 + (a - b))
    assert (12 - b) / 2 == pytest.approx(b + (b - a))
    assert a + b == pytest.approx(12.0)


def test_a_point_that_hangs_on_nothing_is_at_zero():
    """Between two open parts of a thousand gigohms: what ties it to zero is ten."""
    found = voltages([Branch("+", "a", np.array([1e13])), Branch("a", "b", np.ones(1))], ("+", np.array([12.0])), "-")

    # 1e-13 S to the source, twice 1e-10 S to zero
    assert found["a"][0] == pytest.approx(12 * 1e-13 / (2e-10 + 1e-13), rel=1e-3)


def test_many_copies_are_solved_in_batches():
    """600 of them: each as alone."""
    low = np.linspace(1, 5, 600)
    found = voltages([Branch("+", "a", np.ones(600)), Branch("a", "-", low)], ("+", np.full(600, 12.0)), "-")

    assert found["a"] == pytest.approx(12 * low / (1 + low))


def test_currents_of_a_good_install_obey_ohm_and_kirchhoff(copies: Copies, shown: dict[str, np.ndarray]):
    """The feed's is the sum of its slots; each drop is current times resistance, from battery + to battery -."""
    feed, one, four = (shown[f"current {of}, all on"][GOOD_ONES] for of in ("feed", "slot 1", "slot 4"))

    assert feed == pytest.approx(one + four, rel=1e-6)
    for name, place, amps in (
        ("voltage battery + to fuse in, all on", "battery + to fuse in", feed),
        ("voltage fuse in to fuse out, all on", "feed fuse", feed),
        ("voltage fuse out to 30, all on", "fuse out to 30", feed),
        ("voltage 30 to 87, all on", "contact", feed),
        ("voltage 87 to block, all on", "87 to block", feed),
        ("voltage block to slot 4, all on", "fuse 4", four),
        ("voltage slot 4 to device 4 +, all on", "slot 4 to device", four),
        ("voltage device 4 + to device 4 -, all on", "device 4", four),
        ("voltage device 4 - to bus, all on", "device 4 to bus", four),
        ("voltage bus to battery -, all on", "bus to battery -", feed),
    ):
        assert shown[name][GOOD_ONES] == pytest.approx(amps * copies.ohm[place][GOOD_ONES], rel=1e-4), name


def test_the_battery_gives_the_feed_the_bike_the_lamps_and_the_coil(copies: Copies, shown: dict[str, np.ndarray]):
    """What it drops inside: the feed's current, the bike's own, and the key line's, lamps of 30 ohm and the coil."""
    volts = shown["voltage battery + to battery -, all on"][GOOD_ONES]
    line = shown["voltage key line to battery -, key on"][GOOD_ONES]
    coil = shown["voltage 86 to 85, key on"][GOOD_ONES] / copies.ohm["coil"][GOOD_ONES]
    own = volts * copies.own_a[GOOD_ONES] / copies.emf[GOOD_ONES]
    total = shown["current feed, all on"][GOOD_ONES] + own + line / LAMP_OHM + coil

    assert LAMP_OHM == 30.0
    assert copies.emf[GOOD_ONES] - volts == pytest.approx(total * copies.ohm["battery"][GOOD_ONES], rel=1e-6)


def test_a_dead_coil_leaves_the_feed_open(shown: dict[str, np.ndarray]):
    """Nothing reaches the block, and the relay does not click; across a broken coil stands the whole voltage."""
    for place, kind in (("coil", "open"), ("trigger source", "open"), ("key line to 86", "open"),
                        ("85 to battery -", "open")):  # fmt: skip
        at = here(place, kind)
        assert (shown["voltage block to battery -, all on"][at] < 0.01).all()
        assert not shown["click at the relay"][at].any()
        assert (shown["current feed, all on"][at] < 0.001).all()
    assert (shown["voltage 86 to 85, key on"][here("coil", "open")] > 12.0).all()
    assert shown["click at the relay"][GOOD_ONES].all()


@pytest.mark.parametrize("place", ["key line to 86", "85 to battery -", "trigger source"])
def test_a_coil_pulls_in_above_seven_volts(copies: Copies, shown: dict[str, np.ndarray], place: str):
    """Of the copies with a poor wire on the trigger's side those with more than 7.2 V across the coil click."""
    at = here(place, "resistive")
    branch = copies.ohm["key line to 86"][at] + copies.ohm["coil"][at] + copies.ohm["85 to battery -"][at]
    lamps = branch * LAMP_OHM / (branch + LAMP_OHM)
    line = copies.emf[at] * lamps / (lamps + copies.ohm["trigger source"][at])
    coil = line * copies.ohm["coil"][at] / branch

    assert shown["click at the relay"][at].tolist() == (coil > 7.2).tolist()
    assert (shown["voltage block to battery -, all on"][at] > 6).tolist() == (coil > 7.2).tolist()
    assert 5 < int((coil > 7.2).sum()) < COPIES - 5


@pytest.mark.parametrize(
    ("place", "kind", "closed", "clicks"),
    [("contact", "stuck", True, True), ("relay socket", "wrong terminal", False, True),
     ("trigger source", "stuck", True, False), ("device 4", "backfeeds", True, False), ("coil", "slow", True, True)],
)  # fmt: skip
def test_the_contact_with_the_key_on(shown: dict[str, np.ndarray], place: str, kind: str, closed: bool, clicks: bool):
    """A relay that was pulled in already does not click; on 87a the block is dead once it is pulled in."""
    at = here(place, kind)

    assert ((shown["voltage block to battery -, all on"][at] > 6) == closed).all()
    assert (shown["click at the relay"][at] == clicks).all()


def test_a_pulsed_line_shows_its_mean(shown: dict[str, np.ndarray]):
    """Of a line on for 10 to 85 % of the time: at the key line and at 86, not elsewhere."""
    at = here("trigger source", "wrong circuit")
    duty = (0.1 + 0.8 * (np.arange(len(shown["drain"])) % 16) / 16)[at]

    for name in ("voltage key line to battery -, key on", "voltage 86 to battery -, key on", "voltage 86 to 85, key on",
                 "voltage battery + to key line, key on", "voltage key line to 86, key on"):  # fmt: skip
        assert shown[name][at] == pytest.approx(duty * shown[name][:COPIES]), name
    assert shown["voltage 85 to battery -, key on"][at] == pytest.approx(shown["voltage 85 to battery -, key on"][:48])
    assert shown["voltage 85 to battery -, all on"][at] == pytest.approx(shown["voltage 85 to battery -, all on"][:48])
    assert not shown["voltage at 86 steady"][at].any()


def test_asleep_the_block_is_dead(copies: Copies, shown: dict[str, np.ndarray]):
    """So is 86; the battery stands at its own voltage, and cranking and running at theirs."""
    assert not shown["voltage block to battery -, asleep"][GOOD_ONES].any()
    assert not shown["voltage 86 to battery -, asleep"][GOOD_ONES].any()
    assert (shown["voltage battery + to battery -, asleep"] == copies.emf).all()
    assert (shown["voltage battery + to battery -, cranking"] == copies.crank_v).all()
    assert (shown["voltage battery + to battery -, running"] == copies.run_v).all()


@pytest.mark.parametrize(
    ("place", "kind", "block", "trigger", "alone"),
    [
        ("contact", "stuck", 1, 0, 0),
        ("relay socket", "wrong terminal", 1, 0, 0),
        ("trigger source", "stuck", 1, 1, 1),
        ("device 4", "backfeeds", 1, 1, 0),
    ],
)
def test_asleep_a_live_block_is_a_tenth_of_a_volt_below_the_battery(
    copies: Copies, shown: dict[str, np.ndarray], place: str, kind: str, block: int, trigger: int, alone: int
):
    """And 86, where that is what holds it; with the relay out only a trigger that stays on shows at 86."""
    at = here(place, kind)
    live = copies.emf[at] - 0.1

    assert shown["voltage block to battery -, asleep"][at] == pytest.approx(block * live)
    assert shown["voltage 86 to battery -, asleep"][at] == pytest.approx(trigger * live)
    assert shown["voltage 86 to battery - without relay, asleep"][at] == pytest.approx(alone * live)


def test_a_second_supply_is_found_by_its_fuse(copies: Copies, shown: dict[str, np.ndarray]):
    """With the fuse of the device that feeds back out the block is dead, with another's it is live."""
    at = here("device 4", "backfeeds")

    assert not shown["voltage block to battery - without slot 4, asleep"][at].any()
    assert shown["voltage block to battery - without slot 1, asleep"][at] == pytest.approx(copies.emf[at] - 0.1)


def test_the_battery_running(copies: Copies, shown: dict[str, np.ndarray]):
    """Charged it takes what a bike draws; hardly charged it gives 0.4 of the load, not charged all of it."""
    amps = shown["current battery, running"]
    load = shown["current feed, all on"] + copies.own_a

    assert amps[GOOD_ONES] == pytest.approx(-copies.own_a[GOOD_ONES])
    assert amps[here("charging", "open")] == pytest.approx(load[here("charging", "open")])
    weak = here("charging", "weak")
    above = (copies.run_v - copies.emf)[weak]
    assert amps[weak][above > 0.3] == pytest.approx(-copies.own_a[weak][above > 0.3])
    assert amps[weak][above < 0.3] == pytest.approx(0.4 * load[weak][above < 0.3])
    assert 0 < (above > 0.3).sum() < COPIES


def test_the_drain_of_a_good_bike(copies: Copies, shown: dict[str, np.ndarray]):
    """What all good parts draw; a clamp shows it in A."""
    assert (shown["drain"][GOOD_ONES] == copies.drain_ma[GOOD_ONES]).all()
    assert shown["current battery, asleep"][GOOD_ONES] == pytest.approx(copies.drain_ma[GOOD_ONES] / 1000)
    assert (shown["drain without feed"][GOOD_ONES] == copies.drain_ma[GOOD_ONES]).all()


@pytest.mark.parametrize(
    ("place", "gone_with", "stays_with"),
    [("device 4", "device 4", "device 1"), ("bike", "bike fuse", "feed"), ("charging", "charging", "bike fuse")],
)  # fmt: skip
def test_a_leak_goes_with_its_place(
    copies: Copies, shown: dict[str, np.ndarray], place: str, gone_with: str, stays_with: str
):
    """Unplugged it is gone, with another place unplugged it stays."""
    at = here(place, "leak")
    leak = copies.leak_ma[place][at]

    assert shown["drain"][at] == pytest.approx(copies.drain_ma[at] + leak)
    assert shown[f"drain without {stays_with}"][at] == pytest.approx(copies.drain_ma[at] + leak)
    assert shown[f"drain without {gone_with}"][at] == pytest.approx(copies.drain_ma[at])


def test_the_logs_mean_has_the_wake_ups(copies: Copies, shown: dict[str, np.ndarray]):
    """A meter between two of them does not show them."""
    at = here("bike", "wakes")

    assert shown["drain"][at] == pytest.approx(copies.drain_ma[at])
    assert shown[LOG_DRAIN.name][at] == pytest.approx(copies.drain_ma[at] + copies.mean_ma[at])


def test_a_live_block_draws_for_its_coil_and_what_was_left_on(copies: Copies, shown: dict[str, np.ndarray]):
    """A welded contact feeds the devices that were on, one, the other, both or none; a held relay its coil as well."""
    welded, held = here("contact", "stuck"), here("trigger source", "stuck")
    amps = {slot: 1000 * copies.emf / copies.ohm[f"device {slot}"] for slot in (1, 4)}
    more = shown["drain"] - copies.drain_ma
    left_on = {
        slot: np.round((shown["drain"] - shown[f"drain without slot {slot}"]) / amps[slot], 6) for slot in (1, 4)
    }

    assert more[welded] == pytest.approx(sum(left_on[slot][welded] * amps[slot][welded] for slot in (1, 4)))
    assert {(float(a), float(b)) for a, b in zip(left_on[1][welded], left_on[4][welded], strict=True)} == {
        (0, 0), (0, 1), (1, 0), (1, 1),
    }  # fmt: skip
    coil = 1000 * copies.emf / copies.ohm["coil"]
    assert more[held] - more[welded] == pytest.approx(coil[held])
    assert shown["drain without device 4"][welded] == pytest.approx(shown["drain without slot 4"][welded])
    assert shown["drain without feed"][held] == pytest.approx(copies.drain_ma[held])


def test_what_is_shorted_is_as_dead_as_what_it_touches(shown: dict[str, np.ndarray]):
    """A wire on the frame lies at battery - while the other circuit lifts the bus; a shorted device lies at the bus."""
    wire, device, block = here("slot 4 to device", "short"), here("device 4", "short"), here("87 to block", "short")
    lift = shown["voltage bus to battery -, all on"]
    plus = shown["voltage device 4 + to bus, all on"]

    assert (lift[wire] > 1e-3).any()
    assert plus[wire] == pytest.approx(-lift[wire], abs=1e-4)
    assert plus[device] == pytest.approx(0.0, abs=1e-6)
    assert shown["voltage slot 4 to battery -, all on"][device] == pytest.approx(lift[device], abs=1e-4)
    assert shown["voltage block to battery -, all on"][block] == pytest.approx(0.0, abs=1e-6)


def test_resistances_with_the_power_off(copies: Copies, shown: dict[str, np.ndarray]):
    """The coil, a device, and open circuits but for a short; never more than a meter's OL."""
    coil, device = (shown[f"resistance {name}, power off"] for name in
                    ("86 to 85 without relay", "device 4 + to device 4 - without device 4"))  # fmt: skip
    feed, block, slot = (shown[f"resistance {name}, power off"] for name in
                         ("30 to battery - without feed fuse, relay",
                          "block to battery - without relay, slot 1, slot 4",
                          "slot 4 to battery - without slot 4, device 4"))  # fmt: skip

    assert (coil[GOOD_ONES] == copies.ohm["coil"][GOOD_ONES]).all()
    assert (coil[here("coil", "open")] == OL_OHM).all()
    assert (device[GOOD_ONES] == copies.ohm["device 4"][GOOD_ONES]).all()
    assert (device[here("device 4", "open")] == OL_OHM).all()
    assert (device[here("device 4", "short")] == 0.05).all()
    for values, place in ((feed, "fuse out to 30"), (block, "87 to block"), (slot, "slot 4 to device")):
        assert (values[GOOD_ONES] == OL_OHM).all()
        assert (values[here(place, "short")] == 0.05).all()
    assert (feed[here("87 to block", "short")] == OL_OHM).all()
    assert OPEN_OHM > OL_OHM
