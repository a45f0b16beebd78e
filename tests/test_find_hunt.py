"""A session's rules on beliefs written by hand: when a place is found, what is doubted, and which test is next."""

from collections.abc import Iterable

import numpy as np
import pytest
from test_find_drawing import plan

from benchlog.find.flaws import SOMETHING_ELSE, Flaw
from benchlog.find.hunt import Hunt, Reply, Suspect
from benchlog.find.likelihood import WRONG
from benchlog.find.questions import Question, voltage

FLAWS = [Flaw("contact", "open", 1, "contact"), Flaw("relay socket", "open", 1, "contact"),
         Flaw("contact", "stuck", 1, "contact"), Flaw("coil", "open", 1, "coil")]  # fmt: skip
VOLTS = voltage("30", "87", "all on", 1.5)


def look(name: str, minutes: float, danger: float = 0.0) -> Question:
    """A look."""
    return Question(name, "look", "key on", minutes, of=name, danger=danger)


class Scripted:
    """Knowledge whose beliefs and bits are written down: one copy a fault, and something else."""

    def __init__(self, beliefs: Iterable[float] = (), bits: dict[str, float] | None = None) -> None:
        """Beliefs of the four faults and of something else."""
        self.plan = plan((1,))
        self.flaws = FLAWS
        self.beliefs = np.array([*beliefs]) if beliefs else np.full(5, 0.2)
        self.bits = bits or {}
        self.asked = list(self.bits)
        self.questions: dict[str, Question] = {VOLTS.name: VOLTS} | {name: look(name, 1.0) for name in self.bits}
        #: test -> how likely its answer is, and how much of that is wrong
        self.of_answer: dict[str, tuple[np.ndarray, np.ndarray]] = {}
        self.seen: list[tuple[str, float, float]] = []
        self.informed: list[np.ndarray] = []

    def weights(self, _prior: object) -> np.ndarray:
        """As written."""
        return self.beliefs.copy()

    def likelihood(self, name: str, value: float, wrong: float = WRONG) -> tuple[np.ndarray, np.ndarray]:
        """As written; all alike otherwise."""
        self.seen.append((name, value, wrong))
        return self.of_answer.get(name, (np.ones(5), np.zeros(5)))

    def by_flaw(self, weights: np.ndarray) -> list[float]:
        """One copy a fault."""
        return [float(weight) for weight in weights[:-1]]

    def by_group(self, weights: np.ndarray) -> dict[str, float]:
        """The first three together."""
        return {"contact": float(weights[:3].sum()), "coil": float(weights[3]), SOMETHING_ELSE: float(weights[4])}

    def information(self, weights: np.ndarray, names: list[str]) -> np.ndarray:
        """As written."""
        self.informed.append(weights)
        return np.array([self.bits[name] for name in names])


def hunt(known: Scripted, *replies: Reply) -> Hunt:
    """A session with these answers."""
    made = Hunt(known, None, list(replies))  # type: ignore[arg-type]  # its like
    known.seen.clear()
    return made


@pytest.mark.parametrize(("belief", "found"), [(0.969, False), (0.971, True)])
def test_a_place_is_found_at_97_in_100(belief: float, found: bool):
    """All kinds of a group together."""
    got = hunt(Scripted([belief - 0.02, 0.01, 0.01, 0.5 - belief / 2, 0.5 - belief / 2])).found()

    assert (got is not None) is found


@pytest.mark.parametrize(("belief", "found"), [(0.979, False), (0.981, True)])
def test_with_a_doubtful_answer_it_takes_98(belief: float, found: bool):
    """An answer that is likelier wrong than right: asked again in another way before it is put aside."""
    known = Scripted([belief - 0.02, 0.01, 0.01, 0.5 - belief / 2, 0.5 - belief / 2], {"a": 1.0})
    known.of_answer["a"] = (np.ones(5), np.full(5, 0.51))
    session = hunt(known, Reply("a", 1.0))

    assert session.doubtful() == ["a"]
    assert (session.found() is not None) is found
    known.of_answer["a"] = (np.ones(5), np.full(5, 0.49))
    assert session.doubtful() == []
    assert session.found() is not None
    known.seen.clear()
    hunt(known, Reply("a", 1.0), Reply("a", 1.0)).doubtful()
    assert {wrong for _, _, wrong in known.seen} == {WRONG**2}


def test_something_else_is_no_place():
    """However sure."""
    assert hunt(Scripted([0.0, 0.0, 0.0, 0.01, 0.99])).found() is None


def test_what_is_found_is_named_by_its_likeliest_kind():
    """The group's own place first; others of that kind, which no test parts from it, beside it."""
    open_ = hunt(Scripted([0.5, 0.4, 0.08, 0.01, 0.01])).found()
    blades = hunt(Scripted([0.4, 0.5, 0.08, 0.01, 0.01])).found()
    stuck = hunt(Scripted([0.1, 0.1, 0.78, 0.01, 0.01])).found()
    coil = hunt(Scripted([0.0, 0.0, 0.01, 0.98, 0.01])).found()

    assert open_ is not None
    assert blades is not None
    assert stuck is not None
    assert coil is not None
    assert (open_.place, open_.kind, open_.also) == ("contact", "open", ("relay socket",))
    assert open_.belief == pytest.approx(0.98)
    assert (blades.place, blades.kind, blades.also) == ("contact", "open", ("relay socket",))
    assert (stuck.place, stuck.kind, stuck.also) == ("contact", "stuck", ())
    assert (coil.place, coil.kind, coil.also) == ("coil", "open", ())


def test_suspects_come_likeliest_first():
    """Something else among them."""
    assert hunt(Scripted([0.1, 0.2, 0.05, 0.4, 0.25])).suspects() == [
        Suspect("coil", "open", 0.4), Suspect(SOMETHING_ELSE, "", 0.25), Suspect("relay socket", "open", 0.2),
        Suspect("contact", "open", 0.1), Suspect("contact", "stuck", 0.05),
    ]  # fmt: skip


def test_answers_multiply_and_sum_to_one():
    """Bayes by hand: 0.2 each, three times as likely with an open coil, 3 of 7."""
    known = Scripted([0.2] * 5, {"a": 1.0})
    known.of_answer["a"] = (np.array([1.0, 1, 1, 3, 1]), np.zeros(5))

    assert hunt(known, Reply("a", 1.0)).weights == pytest.approx(np.array([1, 1, 1, 3, 1]) / 7)
    assert hunt(known, Reply("a", None)).weights == pytest.approx(0.2)


def test_an_impossible_answer_leaves_all_alike():
    """Where nothing is likely nothing is known."""
    known = Scripted([0.5, 0.5, 0.0, 0.0, 0.0], {"a": 1.0})
    known.of_answer["a"] = (np.zeros(5), np.zeros(5))

    assert hunt(known, Reply("a", 1.0)).weights == pytest.approx(0.2)


def told(*replies: Reply) -> list[tuple[str, float, float]]:
    """What likelihoods are asked for, with each answer's share of mistakes."""
    known = Scripted([0.2] * 5, {"a": 1.0, "b": 1.0, "wiggle x": 1.0})
    session = hunt(known, *replies)
    _ = session.weights
    return known.seen


def test_the_same_answer_again_is_no_slip():
    """Its chance to be wrong is 4 % once, 4 % of 4 % twice; another answer stands beside it."""
    assert told(Reply("a", 1.0)) == [("a", 1.0, WRONG)]
    assert told(Reply("a", 1.0), Reply("b", 1.0), Reply("a", 1.0)) == [("a", 1.0, WRONG**2), ("b", 1.0, WRONG)]
    assert told(Reply("a", 1.0), Reply("a", 0.0), Reply("a", 0.0)) == [("a", 1.0, WRONG), ("a", 0.0, WRONG**2)]
    assert told(Reply("a", None), Reply("a", 1.0)) == [("a", 1.0, WRONG)]


def test_each_try_is_one_of_its_own():
    """A joint that is moved again may open this time."""
    assert told(Reply("wiggle x", 1.0), Reply("wiggle x", 1.0)) == [("wiggle x", 1.0, WRONG)] * 2


@pytest.mark.parametrize(("again", "alike"), [(0.1, True), (0.112, True), (0.116, False), (0.05, False)])
def test_readings_within_their_spread_are_the_same(again: float, alike: bool):
    """0.100 V is known to 0.0145 V: sqrt((2.5 mV / 1.7)² + (14 mV)² + (3 mV)²)."""
    seen = told(Reply(VOLTS.name, 0.1), Reply(VOLTS.name, again))

    assert len(seen) == (1 if alike else 2)
    assert seen[0][2] == (WRONG**2 if alike else WRONG)


def next_of(known: Scripted, *replies: Reply) -> str | None:
    """The name of the next test."""
    question = hunt(known, *replies).next_question()
    return None if question is None else question.name


def test_the_next_test_tells_most_for_its_minutes():
    """A minute more for each: 1 bit in 1 + 1 min before 1.4 bit in 2 + 1 min; danger counts as minutes."""
    known = Scripted(bits={"quick": 1.0, "long": 1.4})
    known.questions["long"] = look("long", 2.0)
    assert next_of(known) == "quick"
    known.bits["long"] = 1.6
    assert next_of(known) == "long"
    known.questions["long"] = look("long", 2.0, 0.5)
    assert next_of(known) == "quick"


@pytest.mark.parametrize(("bits", "name"), [(0.0099, None), (0.0101, "a")])
def test_a_test_must_tell_a_hundredth_of_a_bit(bits: float, name: str | None):
    """Else nothing is left that tells anything."""
    assert next_of(Scripted(bits={"a": bits})) == name
    assert next_of(Scripted(bits={})) is None


@pytest.mark.parametrize(("bits", "name"), [(0.199, "long"), (0.201, "quick")])
def test_trifles_are_not_asked(bits: float, name: str):
    """A quick test needs a fifth of the bits of the most telling one, however much longer that takes."""
    known = Scripted(bits={"quick": bits, "long": 1.0})
    known.questions["quick"], known.questions["long"] = look("quick", 0.0), look("long", 60.0)

    assert next_of(known) == name


@pytest.mark.parametrize(("bits", "name"), [(0.31, "b"), (0.29, "a")])
def test_a_test_that_was_answered_counts_three_tenths(bits: float, name: str):
    """Of its bits, the second time; a ninth of a tenth less the third, and never a fourth."""
    known = Scripted(bits={"a": 1.0, "b": bits})
    assert next_of(known, Reply("a", 1.0)) == name
    known.bits["b"] = 0.09 * bits / 0.3
    assert next_of(known, Reply("a", 1.0), Reply("a", 0.0)) == name
    known.bits["b"] = 0.02
    assert next_of(known, *[Reply("a", 1.0)] * 3) == "b"


def test_a_try_keeps_its_bits():
    """Moved again by hand a joint tells as much as before."""
    known = Scripted(bits={"wiggle x": 1.0, "b": 0.99})

    assert next_of(known, Reply("wiggle x", 1.0)) == "wiggle x"
    known.bits["b"] = 1.01
    assert next_of(known, Reply("wiggle x", 1.0)) == "b"


@pytest.mark.parametrize(("bits", "name"), [(0.41, "b"), (0.39, "a")])
def test_a_skipped_test_comes_again_where_it_tells_far_more(bits: float, name: str):
    """Its bits count 0.4; not straight after it was skipped, and not after it was skipped twice."""
    known = Scripted(bits={"a": 1.0, "b": bits, "c": 0.02})

    assert next_of(known, Reply("a", None), Reply("c", 1.0)) == name
    assert next_of(known, Reply("a", None)) == "b"
    assert next_of(known, Reply("a", None), Reply("c", 1.0), Reply("a", None), Reply("c", 0.0)) == "b"


def test_a_skipped_test_comes_again_where_nothing_else_is_left():
    """At once then, with all its bits."""
    known = Scripted(bits={"a": 0.011, "b": 0.001})

    assert next_of(known, Reply("a", None)) == "a"
    assert next_of(known, Reply("a", None), Reply("a", None)) is None


def test_an_answered_test_may_come_again_at_once():
    """Only one that was skipped waits."""
    known = Scripted(bits={"a": 1.0, "b": 0.1})

    assert next_of(known, Reply("a", 1.0)) == "a"


def test_a_skip_and_an_answer_count_each_in_its_own_way():
    """Once skipped and once answered: 0.3 for the answer, 0.4 for the skip."""
    known = Scripted(bits={"a": 1.0, "b": 0.125, "c": 0.02})
    assert next_of(known, Reply("a", None), Reply("a", 1.0), Reply("c", 1.0)) == "b"
    known.bits["b"] = 0.115
    assert next_of(known, Reply("a", None), Reply("a", 1.0), Reply("c", 1.0)) == "a"


def test_a_doubtful_answer_counts_half_for_what_is_asked_next():
    """The mean of what is believed and of what would be if that answer were right, in a thousand wrong, others 0.3."""
    known = Scripted([0.2] * 5, {"a": 1.0, "b": 1.0})
    known.of_answer["a"] = (np.array([1.0, 1, 1, 3, 1]), np.full(5, 0.6))
    session = hunt(known, Reply("a", 1.0), Reply("b", 1.0))
    session.next_question()

    assert ("a", 1.0, 0.001) in known.seen
    assert ("b", 1.0, 0.3) in known.seen
    assert known.informed[0].sum() == pytest.approx(1.0)
    known.of_answer.clear()
    plain = hunt(known, Reply("a", 1.0))
    plain.next_question()
    assert {wrong for _, _, wrong in known.seen} == {WRONG}
