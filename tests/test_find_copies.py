"""The copies of an install: how wide good parts scatter, and what each fault does to its copies, by its strength."""

import math

import numpy as np
import pytest
from test_find_drawing import plan

from benchlog.find.circuit import parts_of
from benchlog.find.copies import COPIES, GOOD, LAMP_OHM, OPEN_OHM, SHORT_OHM, Copies, copies_of
from benchlog.find.flaws import Flaw, flaws_of
from benchlog.plan.batteries import charging_window, rest_voltage
from benchlog.plan.model import plan_from_mapping

PLAN = plan((1, 4))
FLAWS = flaws_of(PLAN)
BARE = plan_from_mapping({"install": {"bike": "Larch"}, "battery": {"chemistry": "agm", "capacity_ah": 11.2}})


@pytest.fixture(scope="module")
def copies() -> Copies:
    """Of an install with two circuits."""
    return copies_of(PLAN, FLAWS)


def here(place: str, kind: str) -> slice:
    """The copies of one fault."""
    index = next(n for n, flaw in enumerate(FLAWS) if (flaw.place, flaw.kind) == (place, kind))
    return slice(GOOD + index * COPIES, GOOD + (index + 1) * COPIES)


@pytest.fixture(scope="module")
def strength(copies: Copies) -> np.ndarray:
    """0 to 1, one a copy, the same for every fault: read off what makes the drain's mean larger."""
    return np.log(copies.mean_ma[here("device 1", "wakes")] / 0.5) / math.log(100.0)


def test_strengths_are_spread_over_their_range(strength: np.ndarray):
    """One in each 48th of it."""
    assert np.floor(strength * COPIES).astype(int).tolist() == list(range(48))


def test_there_are_96_good_copies_and_48_of_each_fault(copies: Copies):
    """Good ones first; the two last of them hold the ends of every range."""
    assert (copies.flaw[:96] == -1).all()
    assert copies.count == 96 + 48 * len(FLAWS)
    assert copies.flaw[here("coil", "slow")].tolist() == [FLAWS.index(Flaw("coil", "slow", 1, "coil"))] * 48
    for part in parts_of(PLAN):
        good = copies.ohm[part.place][:96]
        assert good[-2:].tolist() == [part.low_ohm, part.high_ohm]
        assert (part.low_ohm, part.high_ohm) == (good.min(), good.max())


def ends(values: np.ndarray) -> tuple[float, float]:
    """Of the last two good copies."""
    low, high = values[94:96].tolist()
    return low, high


def test_the_ranges_of_a_good_battery_and_bike(copies: Copies):
    """60 to 100 % of charge, 0.5 to 6 A of the bike itself, the plan's limits; 9.6 to 11.8 V and 1 mA without them."""
    limits = PLAN.limits
    bare = copies_of(BARE, flaws_of(BARE))

    for made in (copies, bare):
        assert ends(made.emf) == (rest_voltage("agm", 60.0), rest_voltage("agm", 100.0))
        assert ends(made.own_a) == (0.5, 6.0)
        assert not made.mean_ma[:96].any()
        assert not (made.live_off[:96] | made.trigger_off[:96]).any()
    assert ends(copies.drain_ma) == (0.0, limits.off_state_drain_ma)
    assert ends(copies.run_v) == (limits.charging_min_v, limits.charging_max_v)
    assert ends(copies.crank_v) == (limits.crank_min_v, 11.8)
    assert ends(bare.drain_ma) == (0.0, 1.0)
    assert ends(bare.run_v) == charging_window("agm")
    assert ends(bare.crank_v) == (9.6, 11.8)


def test_each_copy_of_a_fault_has_a_good_twin(copies: Copies):
    """Without its fault it is one of the first 48 good ones; what is no place of the fault stays so."""
    at = here("feed fuse", "open")

    for place in ("coil", "device 1", "bus to battery -", "contact"):
        assert (copies.ohm[place][at] == copies.ohm[place][:48]).all()
    assert (copies.emf[at] == copies.emf[:48]).all()
    assert (copies.own_a[at] == copies.own_a[:48]).all()


@pytest.mark.parametrize(
    ("place", "of"),
    [("battery + to fuse in", "battery + to fuse in"), ("contact", "contact"), ("relay socket", "contact"),
     ("device 4", "device 4"), ("coil", "coil"), ("trigger source", "trigger source")],
)  # fmt: skip
def test_an_open_place_lets_nothing_through(copies: Copies, place: str, of: str):
    """A hundred million ohms; the socket's blades lie between the same points as the contact."""
    assert (copies.ohm[of][here(place, "open")] == OPEN_OHM).all()
    assert (copies.ohm[of][:96] < OPEN_OHM).all()
    assert OPEN_OHM == 1e8


@pytest.mark.parametrize(
    ("place", "of", "low_v", "amps"),
    [
        ("battery + to fuse in", "battery + to fuse in", 0.1, None),
        ("relay socket", "contact", 0.1, None),
        ("bus to battery -", "bus to battery -", 0.1, None),
        ("fuse 4", "fuse 4", 0.1, "device 4"),
        ("slot 1 to device", "slot 1 to device", 0.1, "device 1"),
        ("device 1 to bus", "device 1 to bus", 0.1, "device 1"),
        ("key line to 86", "key line to 86", 2.0, "coil"),
        ("85 to battery -", "85 to battery -", 2.0, "coil"),
        ("trigger source", "trigger source", 2.0, "lamp"),
    ],
)
def test_a_poor_joint_drops_from_a_tenth_of_a_volt_to_sixty(
    copies: Copies, strength: np.ndarray, place: str, of: str, low_v: float, amps: str | None
):
    """At the current that flows there, evenly in the logarithm; on the trigger's side from 2 V on."""
    at = here(place, "resistive")
    if amps == "lamp":
        current = 12.8 / LAMP_OHM
    else:
        current = PLAN.planned_load_a if amps is None else 12.8 / float(copies.ohm[amps][:GOOD].mean())
    more = copies.ohm[of][at] - copies.ohm[of][:48]

    assert more == pytest.approx(low_v / current * (60 / low_v) ** strength)


def test_a_planned_load_below_an_ampere_counts_as_one():
    """Without any circuit a poor joint of 0.1 V is 0.1 ohm."""
    flaws = [Flaw("feed fuse", "resistive", 1, "feed fuse")]
    made = copies_of(BARE, flaws)
    more = made.ohm["feed fuse"][96:] - made.ohm["feed fuse"][:48]

    assert 0.1 <= more.min() < 0.1 * 600 ** (1 / 48)
    assert 60 * 600 ** (-1 / 48) < more.max() <= 60


@pytest.mark.parametrize(
    ("place", "fuse"),
    [("fuse out to 30", "feed fuse"), ("87 to block", "feed fuse"), ("slot 4 to device", "fuse 4"),
     ("device 1", "fuse 1")],
)  # fmt: skip
def test_a_short_has_blown_the_fuse_before_it(copies: Copies, place: str, fuse: str):
    """The fuse is open, 0.05 ohm lie behind it, and nowhere else."""
    at = here(place, "short")

    assert (copies.ohm[fuse][at] == OPEN_OHM).all()
    assert (copies.short_ohm[place][at] == SHORT_OHM).all()
    assert SHORT_OHM == 0.05
    others = np.ones(copies.count, bool)
    others[at] = False
    assert (copies.short_ohm[place][others] == OPEN_OHM).all()
    assert (copies.ohm[fuse][:96] < OPEN_OHM).all()


def test_an_overload_draws_from_a_sixth_to_nearly_three_times_as_much(copies: Copies, strength: np.ndarray):
    """1.15 times as much, up to 2.5 times that."""
    at = here("device 4", "overload")

    assert copies.ohm["device 4"][:48] / copies.ohm["device 4"][at] == pytest.approx(1.15 * 2.5**strength)


@pytest.mark.parametrize("place", ["device 1", "bike", "charging"])
def test_a_leak_is_of_3_ma_to_2_a(copies: Copies, strength: np.ndarray, place: str):
    """Evenly in the logarithm, at its own place alone."""
    at = here(place, "leak")

    assert copies.leak_ma[place][at] == pytest.approx(3.0 * 700.0**strength)
    assert not copies.leak_ma[place][:96].any()
    assert not copies.leak_ma[place][here("coil", "open")].any()


def test_a_charger_left_on_gives_20_ma_to_an_ampere(copies: Copies, strength: np.ndarray):
    """A leak the other way round."""
    assert copies.leak_ma["charging"][here("charging", "backfeeds")] == pytest.approx(-20.0 * 50.0**strength)
    assert not copies.live_off[here("charging", "backfeeds")].any()


@pytest.mark.parametrize("place", ["device 4", "bike"])
def test_wake_ups_add_half_a_milliampere_to_50(copies: Copies, strength: np.ndarray, place: str):
    """To the mean alone."""
    assert copies.mean_ma[here(place, "wakes")] == pytest.approx(0.5 * 100.0**strength)


@pytest.mark.parametrize(
    ("place", "kind", "block", "trigger"),
    [("contact", "stuck", True, False), ("relay socket", "wrong terminal", True, False),
     ("trigger source", "stuck", True, True), ("device 1", "backfeeds", True, True),
     ("measurement", "wrong terminal", False, False), ("coil", "slow", False, False),
     ("charging", "backfeeds", False, False), ("trigger source", "wrong circuit", False, False)],
)  # fmt: skip
def test_what_is_live_with_the_key_off(copies: Copies, place: str, kind: str, block: bool, trigger: bool):
    """A welded contact the block alone; a trigger that stays on, or a second supply, 86 as well."""
    at = here(place, kind)

    assert (copies.live_off[at] == block).all()
    assert (copies.trigger_off[at] == trigger).all()


def test_charging_faults_have_their_voltages(copies: Copies, strength: np.ndarray):
    """None: 0.6 V below rest. Weak: 0.3 V below to 0.4 V above. Too much: 15 to 18 V."""
    emf = copies.emf[:48]

    assert copies.run_v[here("charging", "open")] == pytest.approx(emf - 0.6)
    assert copies.run_v[here("charging", "weak")] == pytest.approx(emf - 0.3 + 0.7 * strength)
    assert copies.run_v[here("charging", "overvoltage")] == pytest.approx(15.0 + 3.0 * strength)


def test_a_weak_battery_resists_cranks_low_and_may_be_flat(copies: Copies, strength: np.ndarray):
    """45 to 270 mΩ; 9.3 to 5.3 V; every other one at 10.5 to 12.1 V besides."""
    at = here("battery", "weak")

    assert copies.ohm["battery"][at] == pytest.approx(0.045 * 6.0**strength)
    assert copies.crank_v[at] == pytest.approx(9.3 - 4.0 * strength)
    assert copies.emf[at][::2] == pytest.approx((10.5 + 1.6 * strength)[::2])
    assert (copies.emf[at][1::2] == copies.emf[:48][1::2]).all()


def test_the_same_plan_has_the_same_copies():
    """The generator starts alike each time."""
    one, two = copies_of(PLAN, FLAWS), copies_of(PLAN, FLAWS)

    assert all((one.ohm[place] == two.ohm[place]).all() for place in one.ohm)
    assert (one.emf == two.emf).all()
