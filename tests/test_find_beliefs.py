"""Beliefs by hand: Bayes' rule on made-up tests, what each is expected to tell, and the places found together."""

import math

import numpy as np
import pytest
from test_find_drawing import plan

from benchlog.find.beliefs import Knowledge, _mutual
from benchlog.find.copies import COPIES, GOOD
from benchlog.find.flaws import SOMETHING_ELSE
from benchlog.find.likelihood import density, scale, spread_of
from benchlog.find.questions import LOG_DRAIN

DROP = "voltage 30 to 87, all on"
OHMS = "resistance 86 to 85 without relay, power off"


@pytest.fixture(scope="module")
def known() -> Knowledge:
    """Of an install with two circuits."""
    return Knowledge(plan((1, 4)))


def of(known: Knowledge, place: str, kind: str) -> slice:
    """The copies of one fault among the weights."""
    index = next(n for n, flaw in enumerate(known.flaws) if (flaw.place, flaw.kind) == (place, kind))
    return slice(index * COPIES, (index + 1) * COPIES)


def test_each_copy_has_its_share_of_its_faults_weight(known: Knowledge):
    """A 48th; something else has its own, the last."""
    prior = [0.99 / len(known.flaws)] * len(known.flaws) + [0.01]
    weights = known.weights(prior)

    assert len(weights) == 48 * len(known.flaws) + 1
    assert weights[:-1] == pytest.approx(0.99 / len(known.flaws) / 48)
    assert weights[-1] == 0.01
    assert sum(known.by_flaw(weights)) == pytest.approx(0.99)
    assert known.by_flaw(weights)[3] == pytest.approx(prior[3])


def test_groups_hold_what_no_test_parts(known: Knowledge):
    """The contact with the socket's open and resistive blades; something else last."""
    weights = known.weights([0.0] * len(known.flaws) + [0.25])
    weights[of(known, "contact", "stuck")] = 0.01
    weights[of(known, "relay socket", "open")] = 0.005
    weights[of(known, "relay socket", "wrong terminal")] = 0.001
    found = known.by_group(weights)

    assert found["contact"] == pytest.approx(48 * 0.015)
    assert found["relay socket"] == pytest.approx(48 * 0.001)
    assert found[SOMETHING_ELSE] == 0.25
    assert found["coil"] == 0.0
    assert known.groups[-1] == SOMETHING_ELSE


def test_a_copy_that_a_test_does_not_part_is_a_good_one(known: Knowledge):
    """Its likelihood is the good copies' mean: what its twin happens to be tells nothing."""
    got, _ = known.likelihood(DROP, 0.05, 0.0)
    good = float(np.mean(density(known.questions[DROP], known.good[DROP], 0.05)))

    assert got[of(known, "bike", "leak")] == pytest.approx(good)
    at = of(known, "contact", "open")
    assert got[at] == pytest.approx(density(known.questions[DROP], known.shown[DROP][at], 0.05))
    assert len(known.good[DROP]) == GOOD


@pytest.mark.parametrize(("apart", "same"), [(0.49, True), (0.51, False)])
def test_half_a_spread_parts_a_copy_from_its_twin(known: Knowledge, apart: float, same: bool):
    """Less is no difference; on the scale on which answers are compared."""
    question = known.questions[DROP]
    twins = np.tile(known.good[DROP][:COPIES], len(known.flaws))
    shown = known.shown
    known.shown = {**shown, DROP: twins + apart * spread_of(question, twins)}
    try:
        assert known._as_good(question).tolist() == [same] * len(twins)
    finally:
        known.shown = shown


def test_looks_part_what_is_not_the_same(known: Knowledge):
    """A click that is missing, and no other."""
    question = known.questions["click at the relay"]
    same = known._as_good(question)

    assert not same[of(known, "coil", "open")].any()
    assert same[of(known, "bike", "leak")].all()


def test_a_wrong_answer_to_a_look_is_the_other_one(known: Knowledge):
    """With a tenth of the answers wrong a good relay clicks in 0.9 of cases, a dead one in 0.1."""
    got, wrong = known.likelihood("click at the relay", 1.0, 0.1)

    assert got[of(known, "bike", "leak")] == pytest.approx(0.9)
    assert got[of(known, "coil", "open")] == pytest.approx(0.1)
    assert wrong[of(known, "bike", "leak")] == pytest.approx(0.0, abs=1e-12)
    assert wrong[of(known, "coil", "open")] == pytest.approx(1.0)
    # something else: half as a good install, half either way
    assert (got[-1], wrong[-1]) == (pytest.approx(0.5 + 0.25), 0.0)


def test_a_wrong_reading_is_one_of_another_point(known: Knowledge):
    """In the same state, of the same kind: their mean density, and a tenth of any answer's."""
    question = known.questions[DROP]
    same = [name for name, other in known.questions.items()
            if (other.kind, other.state) == ("voltage", "all on") and name != DROP][:40]  # fmt: skip
    any_answer = 0.1 / 0.05
    elsewhere = sum(density(known.questions[name], known.shown[name], 0.02) for name in same) / len(same)
    wanted = elsewhere + 0.1 * any_answer
    got, wrong = known.likelihood(DROP, 0.02, 0.3)
    right, _ = known.likelihood(DROP, 0.02, 0.0)

    assert len(same) < 40
    assert got[:-1] == pytest.approx(0.7 * right[:-1] + 0.3 * wanted)
    assert wrong[:-1] == pytest.approx(0.3 * wanted / got[:-1])
    good = float(np.mean(density(question, known.good[DROP], 0.02)))
    assert got[-1] == pytest.approx(good / 2 + any_answer)


def test_of_many_points_the_first_forty_stand_for_all():
    """Four circuits have more: the sum of forty over forty."""
    known = Knowledge(plan((1, 2, 3, 4)))
    same = [name for name, other in known.questions.items()
            if (other.kind, other.state) == ("voltage", "all on") and name != DROP]  # fmt: skip
    wanted = sum(density(known.questions[name], known.shown[name], 1.0) for name in same[:40]) / 40 + 0.1 * 0.1
    got, wrong = known.likelihood(DROP, 1.0, 0.5)

    assert len(same) > 40
    assert wrong[:-1] * got[:-1] == pytest.approx(0.5 * wanted)


def test_where_no_other_point_is_like_it_a_wrong_reading_is_any(known: Knowledge):
    """The battery while cranking: even in the logarithm over four decades, 0.1 over the value."""
    got, wrong = known.likelihood("voltage battery + to battery -, cranking", 10.0, 0.2)

    assert wrong[:-1] * got[:-1] == pytest.approx(0.2 * 0.1 / 10.0)


@pytest.mark.parametrize(
    ("name", "answer", "flat"),
    [
        (DROP, 10.0, 0.01),
        (DROP, -10.0, 0.01),
        (DROP, 0.01, 0.1 / 0.05),
        ("current feed, all on", 0.1, 0.1 / 0.3),
        ("current feed, all on", 1.0, 0.1),
        ("drain", 0.1, 0.1 / 0.3),
        (OHMS, 91.0, 0.2),
        (OHMS, 0.0, 0.2),
    ],
)
def test_an_answer_that_may_be_anything(known: Knowledge, name: str, answer: float, flat: float):
    """A tenth of its size in the logarithm; never less than a meter's doubt near zero; a fifth a decade of ohms."""
    assert known._flat(known.questions[name], answer) == pytest.approx(flat)


def test_mutual_information_by_hand():
    """Two equal places that a test parts wholly tell one bit, not at all none; with 0.9 and 0.1, 1 less entropy."""
    entropy = -(0.9 * math.log2(0.9) + 0.1 * math.log2(0.1))

    assert _mutual(np.eye(2)) == pytest.approx(1.0)
    assert _mutual(np.ones((2, 2))) == pytest.approx(0.0)
    assert _mutual(np.array([[9.0, 1.0], [1.0, 9.0]])) == pytest.approx(1 - entropy)


def test_a_test_tells_what_it_parts(known: Knowledge):
    """An open coil against a leak, a half each: the click parts them but for 4 wrong answers of 100."""
    weights = np.zeros(len(known.flaws) * COPIES + 1)
    weights[of(known, "coil", "open")] = weights[of(known, "bike", "leak")] = 0.5 / COPIES
    names = ["click at the relay", DROP, "feed fuse intact"]
    click, drop, fuse = known.information(weights, names)
    chance = known.chances("click at the relay")
    no = float(chance[of(known, "coil", "open")].mean(axis=0)[0])
    yes = float(chance[of(known, "bike", "leak")].mean(axis=0)[1])

    def lost(p: float) -> float:
        return -(p * math.log2(p) + (1 - p) * math.log2(1 - p))

    mean = (no + (1 - yes)) / 2
    assert click == pytest.approx(lost(mean) - (lost(no) + lost(yes)) / 2, rel=1e-4)
    assert fuse == pytest.approx(0.0, abs=1e-6)
    assert drop > 0.5


def test_the_first_place_of_all_tells_as_much_as_any(known: Knowledge):
    """An open wire at the battery against an open coil, a half each."""
    weights = np.zeros(len(known.flaws) * COPIES + 1)
    weights[of(known, known.flaws[0].place, "open")] = weights[of(known, "coil", "open")] = 0.5 / COPIES
    (told,) = known.information(weights, ["voltage battery + to fuse in, all on"])

    assert 0.5 < told <= 1.0


def test_places_that_count_for_nothing_tell_nothing(known: Knowledge):
    """A millionth of the likeliest copy's weight is left out; what something else holds is no bit of any place."""
    weights = np.zeros(len(known.flaws) * COPIES + 1)
    weights[of(known, "coil", "open")] = 0.5 / COPIES
    weights[-1] = 0.5
    alone = known.information(weights, ["click at the relay"])
    weights[of(known, "bike", "leak")] = 0.9e-6 * 0.5
    little = known.information(weights, ["click at the relay"])
    weights[of(known, "bike", "leak")] = 1.1e-6 * 0.5
    more = known.information(weights, ["click at the relay"])

    assert alone[0] == pytest.approx(0.0, abs=1e-9)
    assert little[0] == alone[0]
    assert more[0] > alone[0]
    assert known.information(np.r_[np.zeros(len(weights) - 1), 1.0], ["click at the relay"]).tolist() == [0.0]


def test_half_the_belief_tells_half_the_bits(known: Knowledge):
    """Where something else holds half, each place's bits count half."""
    weights = np.zeros(len(known.flaws) * COPIES + 1)
    weights[of(known, "coil", "open")] = weights[of(known, "bike", "leak")] = 0.5 / COPIES
    whole = known.information(weights, ["click at the relay"])[0]
    weights *= 0.5
    weights[-1] = 0.5

    assert known.information(weights, ["click at the relay"])[0] == pytest.approx(0.5 * whole, rel=1e-5)


def test_chances_of_what_does_not_show_are_the_good_ones_mean(known: Knowledge):
    """So that twins tell nothing there either; each row sums to one."""
    chances = known.chances(DROP)
    leaks = chances[of(known, "bike", "leak")]

    assert (leaks == leaks[0]).all()
    assert chances.sum(axis=1) == pytest.approx(1.0, abs=1e-5)
    assert not (chances[of(known, "contact", "resistive")] == leaks[0]).all()


def test_likelihoods_are_kept_and_forgotten_in_time(known: Knowledge):
    """A hundred answers of a session; the next one clears them, and what is kept is what is worked out."""
    known._known.clear()
    first = known.likelihood(DROP, 0.0)
    for n in range(1, 100):
        known.likelihood(DROP, n / 100)
    assert known.likelihood(DROP, 0.0)[0] is first[0]
    known.likelihood(DROP, 5.0)
    again = known.likelihood(DROP, 0.0)

    assert again[0] is not first[0]
    assert (again[0] == first[0]).all()
    assert len(known._known) == 2


def test_the_log_has_a_test_of_its_own(known: Knowledge):
    """Known, and compared on the scale of the drain."""
    assert LOG_DRAIN.name in known.shown
    assert scale(LOG_DRAIN, known.good[LOG_DRAIN.name]) is known.good[LOG_DRAIN.name]
