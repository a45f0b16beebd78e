"""Checks of the engine's start and run: what cranking does to battery and feed, and how the battery is charged."""

from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Plan
from benchlog.verdict.proving import loss_as_planned
from benchlog.verdict.registry.kind import CheckKind, LimitWords
from benchlog.verdict.registry.limiting import at_least, from_plan, window

CRANK_MINIMUM = CheckKind(
    id="crank_minimum",
    title="Cranking minimum",
    short="Crank",
    unit="V",
    measures="lowest battery voltage held for 10 ms while cranking",
    limit=at_least("limits.crank_min_v"),
    found="while cranking the battery fell to {}",
    first_test="charge the battery full and crank again; if it falls as low, have it tested under load",
)


def _hold_or_drop(plan: Plan) -> PlannedLimit | None:
    wanted, key = plan.limits.feed_in_crank, "limits.feed_in_crank"
    if wanted == "hold":
        return PlannedLimit(None, 0.0, "given", f'{key} = "hold": no loss allowed')
    if wanted == "drop":
        return PlannedLimit(0.0, None, "given", f'{key} = "drop": a loss must be seen, so strictly above 0')
    return None


def _holds(limit: PlannedLimit) -> bool:
    return limit.max is not None


FEED_IN_CRANK = CheckKind(
    id="feed_in_crank",
    title="Feed while cranking",
    short="Crank feed",
    unit="s",
    measures="longest loss of the feed while cranking",
    limit_from="`limits.feed_in_crank`: hold, drop or any",
    limit=from_plan(("limits.feed_in_crank",), _hold_or_drop),
    rule=loss_as_planned,
    found="while cranking the feed was lost for {} at the longest",
    found_none="no loss of the feed was seen while cranking",
    limit_words=LimitWords(
        sentence=lambda limit: (
            "the plan, which allows no loss" if _holds(limit) else "the plan, in which the feed drops"
        ),
        plan=lambda limit: "no loss" if _holds(limit) else "a loss is seen",
    ),
    first_test=(
        "log trigger_v and feed_v while cranking: a trigger that falls too is on a circuit that starting cuts off"
    ),
    explained_when_open=False,
)
CHARGING_VOLTAGE = CheckKind(
    id="charging_voltage",
    title="Charging voltage",
    short="Charging",
    unit="V",
    measures="mean battery voltage, engine running",
    limit=window("limits.charging_min_v", "limits.charging_max_v"),
    found="with the engine running the battery stood at {}",
    first_test=(
        "with the engine running measure at the battery's posts, then at the regulator: what differs is lost between"
    ),
)
CHARGING_BALANCE = CheckKind(
    id="charging_balance",
    title="Charging balance",
    short="Balance",
    unit="A",
    measures="mean current into the battery, engine running, loads on",
    limit=at_least("limits.charging_balance_min_a"),
    found="with the engine running {} went into the battery",
    first_test=(
        "with the engine running turn one circuit off after the other, and see from where on the battery is charged"
    ),
)
