"""The searches for a place behind the pages: what is known of each plan, and where each session's answers lie."""

import threading
from collections import OrderedDict
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from benchlog.core.places import data_folder
from benchlog.plan.model import Plan
from dashboards.trays import kind_of

if TYPE_CHECKING:
    from benchlog.find.beliefs import Knowledge
    from benchlog.find.hunt import Hunt
    from dashboards.looked import Behind

#: What is known of a plan takes some 40 MB with twelve circuits.
MOST_PLANS = 3


@dataclass(slots=True)
class Searches:
    """What the pages of one server know of the plans whose faults they look for; one answer at a time is written."""

    lock: threading.RLock = field(default_factory=threading.RLock)
    _known: "OrderedDict[str, Knowledge]" = field(default_factory=OrderedDict)

    def knowledge(self, plan: Plan) -> "Knowledge":
        """What every test shows with every fault of this plan; worked out once."""
        from benchlog.find.beliefs import Knowledge

        key = plan.model_dump_json()
        with self.lock:
            if key not in self._known:
                self._known[key] = Knowledge(plan)
                while len(self._known) > MOST_PLANS:
                    self._known.popitem(last=False)
            self._known.move_to_end(key)
            return self._known[key]

    def hunt(self, whose: "Behind") -> "Hunt":
        """The session as its file has it.

        Raises:
            BenchlogError: the file cannot be read, or is of another plan.
        """
        from benchlog.find.answers import read_answers
        from benchlog.find.hunt import Hunt

        knowledge = self.knowledge(plan_behind(whose))
        return Hunt(knowledge, whose.result, read_answers(answers_path(whose), knowledge.questions))

    def write(self, whose: "Behind", hunt: "Hunt") -> None:
        """Write all answers of a session, the file whole at each.

        Raises:
            CannotWrite: there is no room, or no right to write.
        """
        from benchlog.find.answers import write_answers

        path = answers_path(whose)
        with suppress(OSError):  # told as the file cannot be written
            path.parent.mkdir(parents=True, exist_ok=True)
        write_answers(path, hunt.replies, hunt.knowledge.questions)


def plan_behind(whose: "Behind") -> Plan:
    """The plan that the result was judged by."""
    if whose.checked is not None:
        return whose.checked.plan
    assert whose.record is not None  # one of the two is behind every result
    return whose.record.plan


def answers_path(whose: "Behind") -> Path:
    """Where a session's answers lie: beside a dropped log, or for a sheet on file in the data folder.

    A dropped file of answers is the session that a terminal began; it goes on in it.
    """
    from benchlog.find.answers import beside

    if whose.checked is not None:
        log = whose.checked.paths[0]
        dropped = sorted(path for path in log.parent.glob("*.toml") if kind_of(path) == "answers")
        return dropped[0] if dropped else beside(log)
    assert whose.record is not None  # one of the two is behind every result
    return of_record(whose.record.hash)


def of_record(record_hash: str) -> Path:
    """Where the answers about a sheet on file lie."""
    return data_folder() / "searches" / f"{record_hash[:32]}.answers.toml"
