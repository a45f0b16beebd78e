"""A session's state as tables for other programs."""

import math
from typing import Any

import numpy as np

from benchlog.find.answers import answer_table
from benchlog.find.beliefs import Knowledge
from benchlog.find.copies import Values
from benchlog.find.flaws import SOMETHING_ELSE
from benchlog.find.hunt import Hunt
from benchlog.find.likelihood import METER_DIGITS, METER_SHARE, digit
from benchlog.find.mending import check_again, mend
from benchlog.find.questions import OL_OHM, Question
from benchlog.find.words import ask, caution

#: Drops up to here are given from zero: less than expected is no fault.
_DROP_V = 1.5
#: What a meter of 10 MΩ may show on a dead line that hangs on nothing. Common practice, no source.
GHOST_V = 0.1


def state(hunt: Hunt) -> dict[str, Any]:
    """Bike, how many tests were asked, the next one, the suspects, and what is found."""
    found = hunt.found()
    following = None if found else hunt.next_question()
    return {
        "bike": hunt.knowledge.plan.install.bike,
        "asked": len(hunt.replies),
        "next": None if following is None else question_table(following, hunt.knowledge),
        "suspects": [
            {"place": each.place, "belief": each.belief}
            if each.place == SOMETHING_ELSE
            else {"place": each.place, "kind": each.kind, "belief": each.belief}
            for each in hunt.suspects()
        ],
        "doubtful": hunt.doubtful(),
        "found": None
        if found is None
        else {
            "place": found.place,
            "kind": found.kind,
            "belief": found.belief,
            "mend": mend(found.place, found.kind),
            "check_again": check_again(found.place, found.kind),
            "also": list(found.also),
        },
    }


def kept(hunt: Hunt) -> dict[str, Any]:
    """What a store keeps of a session: what is found, and all answers."""
    return {
        "found": state(hunt)["found"],
        "answers": [answer_table(reply, hunt.knowledge.questions[reply.test]) for reply in hunt.replies],
    }


def question_table(question: Question, knowledge: Knowledge) -> dict[str, Any]:
    """One test as data, with what a good install shows."""
    table: dict[str, Any] = {"test": question.name, "kind": question.kind}
    if question.kind in ("voltage", "resistance"):
        table |= {"from": question.start, "to": question.end}
    if question.of:
        table["of"] = question.of
    if question.how:
        table["how"] = question.how
    if question.without or question.kind == "drain":
        table["without"] = list(question.without)
    return table | {
        "state": question.state,
        "expected": expected(question, knowledge.good[question.name]),
        "unit": question.unit,
        "minutes": question.minutes,
        "ask": ask(question, knowledge.plan),
        "caution": caution(question, knowledge.plan),
    }


def expected(question: Question, good: Values) -> dict[str, float | str | None]:
    """What a good install of this plan shows: the range of its parts, and the meter's own error."""
    if question.kind == "look":
        return {"seen": "yes"}
    low, high = float(good.min()), float(good.max())
    if question.kind == "resistance" and low >= OL_OHM / 2:
        return {"min": 100_000.0, "max": None}
    error = METER_SHARE * abs(high) + METER_DIGITS * float(digit(question.kind, np.array([abs(high)]))[0])
    places = 0 if question.kind == "resistance" and high > 20 else 2 if high >= 2 else 3
    step = 10.0**-places
    if question.kind == "voltage" and question.state == "asleep" and high < GHOST_V:
        high = GHOST_V
    least = 0.0 if question.kind == "voltage" and 0 <= high < _DROP_V else low - error
    if question.kind == "drain":
        least = max(least, 0.0)
    return {
        "min": round(math.floor(least / step + 1e-9) * step, places),
        "max": round(math.ceil((high + error) / step - 1e-9) * step, places),
    }
