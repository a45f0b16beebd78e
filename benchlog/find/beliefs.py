"""What is believed of each fault, how an answer changes it, and how much each test would tell."""

import numpy as np
from numpy.typing import NDArray

from benchlog.find.copies import COPIES, GOOD, Values, copies_of
from benchlog.find.flaws import SOMETHING_ELSE, Flaw, flaws_of
from benchlog.find.forward import Forward
from benchlog.find.likelihood import LEADS_OHM, WRONG, bins, density, scale, spread_of
from benchlog.find.questions import LOG_DRAIN, Question, questions_of
from benchlog.plan.model import Plan

#: Copies with less than this share of the likeliest one's weight tell nothing about which test is best.
_NEGLIGIBLE = 1e-6
#: Answers whose likelihoods are kept: those of a session, which are asked for again at each step.
_REMEMBERED = 100


class Knowledge:
    """The install's faults and tests, and what every test shows with every fault: worked out once for a plan.

    Attributes:
        flaws: every fault.
        questions: every test, by its name.
        asked: the names of those that a tester can be asked for.
        groups: the places that can be found, and last "something else".
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.flaws: list[Flaw] = flaws_of(plan)
        listed = questions_of(plan)
        self.questions: dict[str, Question] = {question.name: question for question in listed}
        self.asked = list(self.questions)
        self.questions[LOG_DRAIN.name] = LOG_DRAIN
        forward = Forward(copies_of(plan, self.flaws), self.flaws)
        every = {question.name: forward.values(question) for question in self.questions.values()}
        self.good = {name: values[:GOOD] for name, values in every.items()}
        #: name -> what it shows with each fault's copies
        self.shown = {name: values[GOOD:] for name, values in every.items()}
        self.groups = [*dict.fromkeys(flaw.group for flaw in self.flaws), SOMETHING_ELSE]
        #: of each copy, its group; the copies of a group stand together so that sums over them are quick
        of_flaw = np.array([self.groups.index(flaw.group) for flaw in self.flaws])
        self.order = np.argsort(np.repeat(of_flaw, COPIES), kind="stable")
        self.starts = np.searchsorted(np.repeat(of_flaw, COPIES)[self.order], range(len(self.groups) - 1))
        self._known: dict[tuple[str, float, float], tuple[Values, Values]] = {}
        self._same = {name: self._as_good(question) for name, question in self.questions.items()}
        self._bins = {name: self._ranges(question) for name, question in self.questions.items()}

    def weights(self, prior: list[float]) -> Values:
        """One weight a copy, and last that of something else."""
        return np.append(np.repeat(np.array(prior[:-1]) / COPIES, COPIES), prior[-1])

    def likelihood(self, name: str, answer: float, wrong: float = WRONG) -> tuple[Values, Values]:
        """How likely an answer is on each copy and with something else, and the part of it that counts as wrong."""
        if (name, answer, wrong) not in self._known:
            if len(self._known) >= _REMEMBERED:
                self._known.clear()
            self._known[name, answer, wrong] = self._likelihood(name, answer, wrong)
        return self._known[name, answer, wrong]

    def _likelihood(self, name: str, answer: float, wrong: float) -> tuple[Values, Values]:
        question = self.questions[name]
        right = self._right(question, answer)
        mistaken = 1 - right if question.kind == "look" else self._elsewhere(question, answer)
        usual = float(np.mean(density(question, self.good[name], answer)))
        anything = usual / 2 + (0.25 if question.kind == "look" else self._flat(question, answer))
        return (
            np.append((1 - wrong) * right + wrong * mistaken, anything),
            np.append(wrong * mistaken / ((1 - wrong) * right + wrong * mistaken), 0.0),
        )

    def information(self, weights: Values, names: list[str]) -> Values:
        """Bits that each test is expected to tell about the place."""
        kept = weights[:-1] > _NEGLIGIBLE * weights.max()
        order = self.order[kept[self.order]]
        of_group = np.searchsorted(self.starts, np.flatnonzero(kept[self.order]), side="right")  # from 1 on
        starts = np.flatnonzero(np.diff(of_group, prepend=0))
        mass = weights[:-1][order]
        found = np.zeros(len(names))
        for index, name in enumerate(names):
            chances = self._bins[name]
            if chances.shape[1] < 2 or not len(order):
                continue
            joint = np.add.reduceat(chances[order] * mass[:, None], starts, axis=0)
            found[index] = _mutual(joint) * float(mass.sum())
        return found

    def chances(self, name: str) -> NDArray[np.float32]:
        """Chance that the answer to a test falls into each of some ranges: copies x ranges."""
        return self._bins[name]

    def by_group(self, weights: Values) -> dict[str, float]:
        """Belief in each place that can be found."""
        sums = np.add.reduceat(weights[:-1][self.order], self.starts)
        return dict(zip(self.groups, [*map(float, sums), float(weights[-1])], strict=True))

    def by_flaw(self, weights: Values) -> list[float]:
        """Belief in each fault, in the order of ``flaws``."""
        return [float(value) for value in weights[:-1].reshape(-1, COPIES).sum(axis=1)]

    def _as_good(self, question: Question) -> NDArray[np.bool_]:
        """Copies whose fault does not show in this test: as far as it tells, their parts are any good ones."""
        shown = self.shown[question.name]
        twins = np.tile(self.good[question.name][:COPIES], len(self.flaws))
        if question.kind == "look":
            return np.asarray(shown == twins)
        apart = np.abs(scale(question, shown) - scale(question, twins))
        return np.asarray(apart < 0.5 * spread_of(question, twins))

    def _ranges(self, question: Question) -> NDArray[np.float32]:
        every = bins(question, np.concatenate([self.good[question.name], self.shown[question.name]]))
        good, faulty = every[:GOOD].mean(axis=0), every[GOOD:]
        return np.where(self._same[question.name][:, None], good[None, :], faulty)

    def _right(self, question: Question, answer: float) -> Values:
        """How likely an answer is on each copy where it is no mistake."""
        good = float(np.mean(density(question, self.good[question.name], answer)))
        return np.where(self._same[question.name], good, density(question, self.shown[question.name], answer))

    def _elsewhere(self, question: Question, answer: float) -> Values:
        """How likely the answer is where it was read at another point in the same state."""
        same = [
            name
            for name, other in self.questions.items()
            if (other.kind, other.state) == (question.kind, question.state) and name != question.name
        ]
        if not same:
            return np.full(self.shown[question.name].shape, self._flat(question, answer))
        total = sum(density(self.questions[name], self.shown[name], answer) for name in same[:40])
        return np.asarray(total) / min(len(same), 40) + 0.1 * self._flat(question, answer)

    @staticmethod
    def _flat(question: Question, answer: float) -> float:
        """Density of an answer that may be anything: even in the logarithm over four decades."""
        if question.kind == "resistance":
            return 0.2
        z = abs(float(scale(question, np.array([answer]))[0]))
        return 0.1 / max(z, LEADS_OHM if question.kind != "voltage" else 0.05)


def _mutual(joint: Values) -> float:
    """Mutual information, bits, of a table of chances."""
    total = joint.sum()
    joint = joint / total
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = joint * np.log2(joint / apart)
    return float(np.nansum(terms))
