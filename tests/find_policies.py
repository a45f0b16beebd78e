"""Other ways to choose the next test, for comparison: a full search of the decision tree, a half-split, a checklist.

All in one small world without wrong answers: the suspects of one cause, each test parting them into those with which
it shows the same. There the full search can be computed (dynamic programming over the sets of suspects that are
left), and the search's own rule is followed in the same world.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from find_trial import DEAD

from benchlog.find.beliefs import Knowledge
from benchlog.find.copies import COPIES
from benchlog.find.flaws import OF_CAUSE
from benchlog.find.hunt import EVERY_MIN, WORTH_SHARE

#: The order of a fixed checklist, as a handbook has it: look first, then along the path, then what takes long.
CHECKLIST = ("look", "voltage", "current", "resistance", "drain")
#: More suspects than this are not searched in full.
MOST = 13


@dataclass(frozen=True, slots=True)
class Cost:
    """Expected until the place is known."""

    tests: float
    minutes: float


@dataclass(frozen=True)
class World:
    """The suspects of a cause, or of several that a log cannot part.

    Attributes:
        knowledge: of the plan. causes: their ids. slot: of the circuit that failed; None for all.
    """

    knowledge: Knowledge
    causes: tuple[str, ...]
    slot: int | None = None

    @cached_property
    def suspects(self) -> list[int]:
        """Indices of the faults that the cause may be; one of each group's kind."""
        found: dict[tuple[str, str], int] = {}
        for index, flaw in enumerate(self.knowledge.flaws):
            words = flaw.place.split()
            own = words[1] if len(words) > 1 and words[0] in ("fuse", "slot", "device") and words[1].isdigit() else None
            pattern = " ".join("N" if own and word == own else word for word in words)
            meant = any((pattern, flaw.kind) in OF_CAUSE[cause] for cause in self.causes)
            if meant and (own is None or self.slot in (None, int(own))):
                found.setdefault((flaw.group, flaw.kind), index)
        return list(found.values())

    @cached_property
    def weights(self) -> list[float]:
        """How common each suspect is; they sum to one."""
        common = [self.knowledge.flaws[index].common for index in self.suspects]
        return [each / sum(common) for each in common]

    @cached_property
    def classes(self) -> dict[str, tuple[int, ...]]:
        """Test -> which suspects it shows alike: a number each."""
        found = {}
        for name in self.knowledge.asked:
            chances = self.knowledge.chances(name)
            rows = chances.reshape(-1, COPIES, chances.shape[1])
            told = tuple(int(rows[index].mean(axis=0).argmax()) for index in self.suspects)
            if len(set(told)) > 1:
                found[name] = told
        return found

    @cached_property
    def names(self) -> list[str]:
        """Tests that part anything; of several that part alike the cheapest."""
        best: dict[tuple[tuple[int, ...], ...], str] = {}
        for name, told in self.classes.items():
            parts = tuple(sorted(tuple(i for i, one in enumerate(told) if one == each) for each in set(told)))
            if parts not in best or self.cost(name) < self.cost(best[parts]):
                best[parts] = name
        return sorted(best.values())

    def cost(self, name: str) -> float:
        """Minutes of a test with its danger, and those that every test takes besides."""
        return self.knowledge.questions[name].cost + EVERY_MIN

    def mass(self, left: int) -> float:
        """How likely a set of suspects is; a bit each."""
        return sum(weight for bit, weight in enumerate(self.weights) if left >> bit & 1)

    def parts(self, left: int, name: str) -> list[int]:
        """The sets into which a test parts those that are left."""
        sets: dict[int, int] = {}
        for bit, told in enumerate(self.classes[name]):
            if left >> bit & 1:
                sets[told] = sets.get(told, 0) | 1 << bit
        return list(sets.values())

    def telling(self, left: int) -> list[str]:
        """Tests that part those that are left."""
        return [name for name in self.classes if len(self.parts(left, name)) > 1]


def bits(world: World, left: int, name: str) -> float:
    """What a test is expected to tell of those that are left."""
    shares = np.array([world.mass(part) for part in world.parts(left, name)]) / world.mass(left)
    return float(-(shares * np.log2(shares)).sum())


def one_step(world: World, left: int) -> str:
    """The search's own rule: most bits a minute, trifles left out."""
    told = {name: bits(world, left, name) for name in world.telling(left)}
    least = WORTH_SHARE * max(told.values())
    return max((name for name in told if told[name] >= least), key=lambda name: told[name] / world.cost(name))


def half_split(world: World, left: int) -> str:
    """The test that parts the suspects most evenly, whatever it costs; the first of several."""
    return max(world.telling(left), key=lambda name: bits(world, left, name))


def checklist(world: World, left: int) -> str:
    """The next line of the list that parts anything that is left."""
    kinds = {name: world.knowledge.questions[name].kind for name in world.telling(left)}
    return min(kinds, key=lambda name: (CHECKLIST.index(kinds[name]), world.knowledge.asked.index(name)))


def walked(world: World, rule: Callable[[World, int], str]) -> list[Cost]:
    """What it takes with each suspect, by a rule that chooses the next test."""
    found = [Cost(0.0, 0.0)] * len(world.suspects)
    ahead = [((1 << len(world.suspects)) - 1, 0.0, 0.0)]
    while ahead:
        left, tests, minutes = ahead.pop()
        if left & (left - 1) and world.telling(left):
            name = rule(world, left)
            spent = world.knowledge.questions[name].minutes
            ahead += [(part, tests + 1, minutes + spent) for part in world.parts(left, name)]
            continue
        for bit in range(len(found)):
            if left >> bit & 1:
                found[bit] = Cost(tests, minutes)
    return found


def full_search(world: World) -> list[Cost] | None:
    """What the best tree of all takes with each suspect; None where there are too many to search."""
    if len(world.suspects) > MOST:
        return None
    known: dict[int, tuple[float, str]] = {}

    def best(left: int) -> float:
        if not left & (left - 1):
            return 0.0
        if left in known:
            return known[left][0]
        found = (np.inf, "")
        for name in world.names:
            parts = world.parts(left, name)
            if len(parts) < 2:
                continue
            after = sum(world.mass(part) * best(part) for part in parts) / world.mass(left)
            found = min(found, (world.cost(name) + after, name))
        known[left] = found if found[1] else (0.0, "")
        return known[left][0]

    best((1 << len(world.suspects)) - 1)
    return walked(world, lambda _, left: known[left][1])


#: Rule -> its name in the table.
RULES = {"this search": one_step, "half-split": half_split, "checklist": checklist}


def by_kind(knowledge: Knowledge) -> dict[str, dict[str, Cost | None]]:
    """Kind of fault -> way to choose -> what it takes on average; "full search" is None where it was not computed."""
    gathered: dict[str, list[tuple[float, dict[str, Cost | None]]]] = {}
    for causes in [*((cause,) for cause in OF_CAUSE), DEAD]:
        world = World(knowledge, causes, 1 if causes[0].startswith("slot") else None)
        ways: dict[str, list[Cost] | None] = {name: walked(world, rule) for name, rule in RULES.items()}
        ways["full search"] = full_search(world)
        for bit, index in enumerate(world.suspects):
            costs = {name: None if each is None else each[bit] for name, each in ways.items()}
            gathered.setdefault(knowledge.flaws[index].kind, []).append((world.weights[bit], costs))
            gathered.setdefault("all", []).append((world.weights[bit], costs))
    return {kind: {way: _mean(rows, way) for way in rows[0][1]} for kind, rows in gathered.items()}


def _mean(rows: list[tuple[float, dict[str, Cost | None]]], way: str) -> Cost | None:
    """Over the faults of a kind, as common as they are."""
    costs = [(weight, found[way]) for weight, found in rows]
    if any(cost is None for _, cost in costs):
        return None
    total = sum(weight for weight, _ in costs)
    kept = [(weight, cost) for weight, cost in costs if cost is not None]
    return Cost(
        sum(weight * cost.tests for weight, cost in kept) / total,
        sum(weight * cost.minutes for weight, cost in kept) / total,
    )
