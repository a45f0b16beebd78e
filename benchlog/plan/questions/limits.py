"""The questions for a plan's limits: each is suggested once the battery is known."""

from benchlog.plan.doubts import drain_doubt
from benchlog.plan.questions import offers
from benchlog.plan.questions.kinds import AmountAnswer, ChoiceAnswer
from benchlog.plan.questions.question import PlanQuestion, PlanSection, Tables

_ANY = -1e9  # a number that may be below 0


def _drain(own: Tables, tables: Tables) -> str:
    capacity_ah = tables.get("battery", {}).get("capacity_ah")
    return "" if capacity_ah is None else drain_doubt(own["off_state_drain_ma"], capacity_ah)


def _limit(key: str, text: str, unit: str, least: float | None = None, **more: object) -> PlanQuestion:
    kind = AmountAnswer(unit, least)
    return PlanQuestion("limits", (key,), text, kind, quiet=True, offer=offers.limit_offer(key), **more)  # type: ignore[arg-type]  # a doubt


LIMITS = PlanSection(
    "limits",
    "Limits",
    (
        _limit("off_state_drain_ma", "Off-state drain at most, mA", "mA", 0, doubt=_drain),
        _limit("added_drain_ma", "Drain that the install adds at most, mA", "mA", 0),
        _limit("settle_max_s", "Asleep after the key-off within, s", "s", 0),
        _limit("feed_off_max_v", "Fuse block with the key off at most, V", "V", 0),
        _limit("battery_sag_max_v", "Battery sags under the load at most, V", "V"),
        _limit("source_resistance_max_mohm", "Battery resists at most, mΩ", "mΩ"),
        _limit("resting_min_v", "Battery at rest at least, V", "V"),
        _limit("crank_min_v", "Battery while cranking at least, V", "V"),
        PlanQuestion(
            "limits",
            ("feed_in_crank",),
            "Fuse block while cranking",
            ChoiceAnswer(("hold", "drop", "any")),
            quiet=True,
            offer=offers.always("any", "not judged"),
        ),
        _limit("charging_min_v", "Engine running, battery at least, V", "V"),
        _limit("charging_max_v", "Engine running, battery at most, V", "V"),
        _limit("charging_balance_min_a", "Engine running, into the battery at least, A", "A", _ANY),
    ),
)
