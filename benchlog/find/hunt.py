"""One session: what was answered, what is believed, what to ask next, and whether the place is found."""

from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from benchlog.find.beliefs import Knowledge
from benchlog.find.copies import Values
from benchlog.find.flaws import SOMETHING_ELSE, prior
from benchlog.find.likelihood import WRONG, scale, spread_of
from benchlog.find.questions import LOG_DRAIN, Question
from benchlog.plan.model import Plan
from benchlog.verdict.result import Result

#: Belief in a place (or in a group that no test parts) that ends the session; and the same while an answer does not fit
#: the others: it is asked again in another way before it is put aside.
FOUND_AT, SURE_AT = 0.97, 0.98
#: Bits that a test must be expected to tell to be worth asking, and the share of the most telling test's bits that a
#: quicker one must be expected to tell: trifles are not asked.
WORTH_BITS, WORTH_SHARE = 0.01, 0.2
#: Minutes that every test takes besides: to read it, to fetch the meter, to type. An estimate.
EVERY_MIN = 1.0
#: A test that was answered may be asked again, so often in all; it tells the less the oftener it was asked.
MOST_ASKED, AGAIN = 3, 0.3
#: Share of its bits that counts of a test that could not be done: it is asked for again where it tells far more.
SKIPPED_AGAIN = 0.4
#: Of an answer: how likely it is to be wrong before it counts as doubtful. A log's own figures are rarely wrong.
DOUBTFUL, _LOG_WRONG = 0.5, 0.02


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer to a test: a value in the test's unit (of a look 1 yes, 0 no), or None where it was skipped."""

    test: str
    value: float | None


@dataclass(frozen=True, slots=True)
class Suspect:
    """A place and kind of fault.

    Attributes:
        place, kind: as in the tables of flaws. belief: that it is there, 0 to 1.
    """

    place: str
    kind: str
    belief: float


def share_words(belief: float) -> str:
    """A belief in whole per cent; nothing is ever quite sure."""
    return f"{min(round(100 * belief), 99)} %"


@dataclass(frozen=True, slots=True)
class FoundPlace(Suspect):
    """The place that is found; ``also`` are places that no test at hand can part from it."""

    also: tuple[str, ...]


@dataclass(slots=True)
class Hunt:
    """A session over one plan and what its logs showed.

    Attributes:
        knowledge: of the plan.
        result: of the logs; None where there is none.
        replies: in the order in which they were given.
    """

    knowledge: Knowledge
    result: Result | None = None
    replies: list[Reply] = field(default_factory=list)
    _begin: Values = field(init=False)

    def __post_init__(self) -> None:
        self._begin = self._from_log()

    @property
    def weights(self) -> Values:
        """Belief in every copy after all replies."""
        return self._weighed({})

    def _weighed(self, believed: dict[str, float]) -> Values:
        """Belief after all replies, where some tests' share of wrong answers is another."""
        weights = self._begin.copy()
        for test, value, count in self._told():
            # an answer that comes again the same is no slip, but tells nothing new of the bike
            wrong = believed.get(test, WRONG) ** count
            weights = _normal(weights * self.knowledge.likelihood(test, value, wrong)[0])
        return weights

    def _told(self) -> list[tuple[str, float, int]]:
        """Each test's different answers, and how often each came; of a try each answer is one of its own."""
        told: list[tuple[str, float, int]] = []
        for reply in self.replies:
            if reply.value is None:
                continue
            same = next(
                (
                    at
                    for at, (test, value, _) in enumerate(told)
                    if test == reply.test and not _is_try(test) and self._alike(test, value, reply)
                ),
                None,
            )
            if same is None:
                told.append((reply.test, reply.value, 1))
            else:
                told[same] = (*told[same][:2], told[same][2] + 1)
        return told

    def _alike(self, test: str, value: float, reply: Reply) -> bool:
        question = self.knowledge.questions[test]
        if question.kind == "look" or reply.value is None:
            return value == reply.value
        values = np.array([value, reply.value])
        apart = abs(float(np.diff(scale(question, values))[0]))
        return apart < float(spread_of(question, values).min())

    def doubtful(self) -> list[str]:
        """Tests whose answer does not fit the others, as far as can be told."""
        weights = self.weights
        found = []
        for test, value, count in self._told():
            wrong = self.knowledge.likelihood(test, value, WRONG**count)[1]
            if float(wrong @ weights) > DOUBTFUL:
                found.append(test)
        return found

    def suspects(self) -> list[Suspect]:
        """Every fault by belief, the likeliest first, "something else" included; they sum to one."""
        weights = self.weights
        beliefs = self.knowledge.by_flaw(weights)
        found = [
            Suspect(flaw.place, flaw.kind, belief) for flaw, belief in zip(self.knowledge.flaws, beliefs, strict=True)
        ]
        found.append(Suspect(SOMETHING_ELSE, "", float(weights[-1])))
        return sorted(found, key=lambda suspect: -suspect.belief)

    def found(self) -> FoundPlace | None:
        """The place, once the belief in it is large enough."""
        group, belief = max(self.knowledge.by_group(self.weights).items(), key=lambda item: item[1])
        if belief < (SURE_AT if self.doubtful() else FOUND_AT) or group == SOMETHING_ELSE:
            return None
        among = {(flaw.place, flaw.kind) for flaw in self.knowledge.flaws if flaw.group == group}
        first = next(suspect for suspect in self.suspects() if (suspect.place, suspect.kind) in among)
        kind = first.kind
        places = [place for place, what in sorted(among) if what == kind]
        place = group if group in places else first.place
        return FoundPlace(place, kind, belief, tuple(other for other in places if other != place))

    def next_question(self) -> Question | None:
        """The test that is expected to tell most for its minutes and danger; None where none tells anything more.

        A test that was skipped is offered once more, where it would tell far more than the others or nothing else does.
        """
        asked = Counter(reply.test for reply in self.replies)
        skipped = Counter(reply.test for reply in self.replies if reply.value is None)
        names = [name for name in self.knowledge.asked if asked[name] < MOST_ASKED and skipped[name] <= 1]
        others = [name for name in names if not self.replies or name != self.replies[-1].test or not skipped[name]]
        again = {name: 1.0 if _is_try(name) else AGAIN ** (asked[name] - skipped[name]) for name in names}
        skip = {name: again[name] * SKIPPED_AGAIN ** skipped[name] for name in names}
        return self._best(others, skip) or self._best(names, again)

    def _best(self, names: list[str], share: dict[str, float]) -> Question | None:
        """The best of these tests, of whose bits only a share counts; None where none tells enough."""
        again = np.array([share[name] for name in names])
        bits = self.knowledge.information(self._open_minded(), names) * again
        if not names or bits.max() < WORTH_BITS:
            return None
        cost = np.array([self.knowledge.questions[name].cost + EVERY_MIN for name in names])
        worth = np.where(bits >= WORTH_SHARE * bits.max(), bits / cost, 0.0)
        return self.knowledge.questions[names[int(worth.argmax())]]

    def _open_minded(self) -> Values:
        """Belief for choosing a test: an answer that does not fit the others counts half as if it were right."""
        weights = self.weights
        doubtful = self.doubtful()
        if not doubtful:
            return weights
        others = {test: 0.3 for test, _, _ in self._told()}
        return (weights + self._weighed(others | dict.fromkeys(doubtful, 0.001))) / 2

    def _from_log(self) -> Values:
        """Belief from the log: its causes, then the figures of its checks."""
        weights = self.knowledge.weights(prior(self.knowledge.flaws, self.result))
        for name, value in log_figures(self.result, self.knowledge.plan):
            if name in self.knowledge.questions:
                weights = _normal(weights * self.knowledge.likelihood(name, value, _LOG_WRONG)[0])
        return weights


def _is_try(test: str) -> bool:
    """Whether a test may end otherwise the next time: a joint opens under the hand, or this time it does not."""
    return test.startswith("wiggle ")


def log_figures(result: Result | None, plan: Plan) -> list[tuple[str, float]]:
    """What checks have measured that is a test here as well: its name, and the value in its unit."""
    same = {
        "feed_drop": "voltage battery + to block, all on",
        "ground_lift": "voltage bus to battery -, all on",
        "off_state_drain": LOG_DRAIN.name,
        "resting_voltage": "voltage battery + to battery -, asleep",
        "charging_voltage": "voltage battery + to battery -, running",
    } | {f"slot_{circuit.slot}_current": f"current slot {circuit.slot}, all on" for circuit in plan.circuit}
    checks = result.checks if result else ()
    return [
        (same[check.id], check.measured)
        for check in checks
        if check.id in same and check.measured is not None and check.verdict in ("pass", "fail")
    ]


def _normal(weights: Values) -> Values:
    total = weights.sum()
    return weights / total if total > 0 else np.full_like(weights, 1 / len(weights))
